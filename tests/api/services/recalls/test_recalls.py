"""A recall as a snapshot: hashes that say what it rests on, numbers without gaps."""

from __future__ import annotations

import json
import threading

import pytest
from oracle_cases import OPEN, cal, force_fault, lab, ref, row
from sqlalchemy import select

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls, run
from api.store.tables import Item, Recall

LAB = lab(
    cal("W-1", "WS", "02-01", [ref("ADP")], customer="Mine Works"),
    cal("C-1", "A", "03-01", [ref("WS")], [row("10", "-0.004")], customer="Mine Works"),
    composition=[{"assembly": "ADP", "part": "PIN", "from": "2025-01-01T00:00:00Z"}],
)
LAB["items"].append({"id": "PIN", "kind": "adapter_part"})
FAULT = force_fault("PIN")
CHECK = {"id": "K", "item": "PIN", "at": "2025-01-15", "result": "fail", "independent": True}
LATER = 1_893_456_000_000_000  # 2030


def put(database, **laboratory):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(laboratory), 0)


def ask(database, fault=FAULT, now_us=LATER):
    with database.read() as session:
        request = RecallRequestSchema().load({"fault": fault})
        return run.recall(session, request, now_us)


@pytest.fixture
def filled(database):
    """Database of a laboratory whose pin is in an adapter."""
    put(database, **LAB)
    return database


def test_the_hashes_do_not_depend_on_when_it_is_asked(filled):
    first, second = ask(filled), ask(filled, now_us=LATER + 1)
    assert (first.input_hash, first.result_hash) == (second.input_hash, second.result_hash)


def test_the_summary_counts_certificates_customers_and_generations(filled):
    summary = ask(filled).head["summary"]
    assert summary["affected"] == 2
    assert summary["by_generation"] == {"1": 1, "2": 1}
    assert (summary["customers"], summary["verdict_changes"]) == (1, 1)


def change_type(database):
    with database.write() as session:
        session.scalars(select(Item).where(Item.code == "A")).one().type = "crane_scale"


CHANGES = {
    "a new user": lambda d: put(d, calibrations=[cal("C-2", "A", "04-01", [ref("WS")])]),
    "a holding": lambda d: put(
        d, composition=[{"assembly": "WS", "part": "PIN", "from": "2026-01-01T00:00:00Z"}]
    ),
    "a check": lambda d: put(d, checks=[CHECK]),
    "the type of an item": change_type,
}


@pytest.mark.parametrize("name", CHANGES)
def test_the_input_hash_covers_every_kind_of_record_it_rests_on(filled, name):
    before = ask(filled)
    CHANGES[name](filled)
    assert ask(filled).input_hash != before.input_hash


def test_the_input_hash_leaves_out_what_has_nothing_to_do_with_it(filled):
    before = ask(filled)
    put(filled, **lab(cal("X-1", "X", "02-01", [ref("Y")])))
    after = ask(filled)
    assert (after.input_hash, after.result_hash) == (before.input_hash, before.result_hash)


def test_another_question_has_another_input_hash(filled):
    other = ask(filled, force_fault("PIN", delta="0.0004"))
    assert other.input_hash != ask(filled).input_hash


def test_recalls_stored_at_once_get_numbers_of_their_own_without_gaps(filled):
    answer = ask(filled)
    problems: list[Exception] = []

    def store() -> None:
        try:
            with filled.write() as session:
                recalls.store(session, answer, None, LATER, 0, overtaken=True)
        except Exception as error:
            problems.append(error)

    threads = [threading.Thread(target=store) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert problems == []
    with filled.read() as session:
        numbers = sorted(session.scalars(select(Recall.number)))
    assert numbers == [f"R-{number:05}" for number in range(1, 7)]


def test_a_recall_walks_through_an_import_that_is_not_yet_done(filled):
    before = ask(filled)
    with filled.write() as session:
        more = LaboratorySchema().load({"calibrations": [cal("C-2", "A", "04-01", [ref("WS")])]})
        import_laboratory(session, more, 0)
        assert ask(filled).result_hash == before.result_hash
    assert ask(filled).result_hash != before.result_hash


def test_a_part_in_parts_reaches_through_every_assembly(filled):
    put(
        filled,
        items=[{"id": "RIG", "kind": "force_machine"}],
        composition=[{"assembly": "RIG", "part": "ADP", "from": "2025-01-01T00:00:00Z"}],
        calibrations=[cal("R-1", "A", "05-01", [ref("RIG")])],
    )
    unknown = ask(filled, {"item": "PIN", "kind": "unknown"} | OPEN)
    made = [json.loads(entry.text) for entry in unknown.lists["indeterminate"]]
    paths = {one["certificate"]: one["reason_paths"] for one in made}
    assert paths["R-1"] == [["PIN", "ADP", "RIG", "R-1"]]
