"""Recalls as they are kept: numbers without gaps."""

from __future__ import annotations

import threading

from oracle_cases import cal, force_fault, lab, ref
from sqlalchemy import select

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls, run
from api.store.tables import Recall

LATER = 1_893_456_000_000_000  # 2030


def test_recalls_stored_at_once_get_numbers_of_their_own_without_gaps(database):
    with database.write() as session:
        made = lab(cal("C-1", "A", "03-01", [ref("REF")]))
        import_laboratory(session, LaboratorySchema().load(made), 0)
        request = RecallRequestSchema().load({"fault": force_fault()})
        answer = run.recall(session, request, LATER)
    problems: list[Exception] = []

    def store() -> None:
        try:
            with database.write() as session:
                recalls.store(session, answer, None, LATER, 0, overtaken=True)
        except Exception as error:
            problems.append(error)

    threads = [threading.Thread(target=store) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert problems == []
    with database.read() as session:
        numbers = sorted(session.scalars(select(Recall.number)))
    assert numbers == [f"R-{number:05}" for number in range(1, 7)]
