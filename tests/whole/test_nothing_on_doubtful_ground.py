"""What is accepted without override stands in no list of a fresh recall of a fault stored before.

Random laboratories and faults (tests/oracle/laboratories.py), the fault stored as a recall: every
certificate of the laboratory is recorded once more, under another number, as far as that is not
refused for something else. The lists of a whole recall, which asks everybody, are what the finding
`in_doubt`, which asks the certificate alone, is held to: it is found exactly for those listed.
"""

from __future__ import annotations

import json
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from laboratories import faults_for, laboratories

from api.errors import Conflict, DoubtfulGround, TraceholdError
from api.schemas.calibrations import CalibrationSchema
from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.certificates import certificates
from api.services.imports.imports import import_laboratory
from api.services.recalls import recalls
from api.services.recalls.run import recall
from api.store.record_changes import position
from tests.databases import shared

NOW_US = 1_893_456_000_000_000
MOST = 6
Json = dict[str, Any]


@st.composite
def cases(draw: st.DrawFn) -> tuple[Json, Json, list[Json]]:
    """A laboratory, a fault, and some of its certificates once more."""
    laboratory = draw(laboratories())
    again = [
        one | {"certificate": f"AGAIN-{place}", "revision": 0, "status": "issued"}
        for place, one in enumerate(laboratory["calibrations"])
        if one.get("uses") and one.get("status", "issued") == "issued"
    ]
    for one in again:
        for name in ("voided_at", "void_reason", "superseded_by"):
            one.pop(name, None)
    chosen = draw(st.permutations(again)) if again else []
    return laboratory, draw(faults_for(laboratory)), chosen[:MOST]


def listed(session: Any, request: Json) -> set[str]:
    """Numbers that a whole recall lists as affected or indeterminate."""
    found = recall(session, request, NOW_US).lists
    return {
        json.loads(one.text)["certificate"]
        for name in ("affected", "indeterminate")
        for one in found[name]
    }


@settings(
    max_examples=shared(12),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(case=cases())
def test_in_doubt_is_found_exactly_for_who_would_be_listed(database, case):
    laboratory, fault, candidates = case
    request = RecallRequestSchema().load({"fault": fault})
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(laboratory), NOW_US)
        answer = recall(session, request, NOW_US)
        recalls.store(session, answer, None, NOW_US, position(session))
        for sent in candidates:
            record = CalibrationSchema().load(sent)
            answered = record | {"override": {"by": "Robin Manager", "reason": "a trial"}}
            inside = session.begin_nested()
            try:
                refused: set[str | None] = set()
                try:
                    certificates.record_alone(session, record, NOW_US)
                except DoubtfulGround as doubtful:
                    refused = {one.code for one in doubtful.issues}
                    inside.rollback()
                    session.expire_all()
                    inside = session.begin_nested()
                    certificates.record_alone(session, answered, NOW_US)
            except (Conflict, TraceholdError):
                inside.rollback()  # refused for something else, as a circle
                session.expire_all()
                continue
            assert ("in_doubt" in refused) is (sent["certificate"] in listed(session, request))
        session.rollback()
