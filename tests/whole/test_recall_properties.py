"""What must hold for any laboratory, whatever the numbers: metamorphic properties of a recall.

No expected values are needed: the answer to one question is compared with the answer to a changed
one. Laboratories and faults are random (tests/oracle/laboratories.py).
"""

from __future__ import annotations

import copy
import json
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from laboratories import faults_for, laboratories

from api.rules.units import factor
from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.run import recall
from api.store.database import Database
from graph.lists import LISTS
from tests.databases import shared

NOW_US = 1_893_456_000_000_000
Json = dict[str, Any]
REACHED = ("affected", "exposed_zero_effect", "indeterminate", "traced_not_recalled")
quick = settings(
    max_examples=shared(14),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@st.composite
def cases(draw: st.DrawFn) -> tuple[Json, Json]:
    laboratory = draw(laboratories())
    return laboratory, draw(faults_for(laboratory))


def lists_of(database: Database, fault: Json, *documents: Json) -> dict[str, list[Json]]:
    """Lists of a recall on documents imported one after the other; rolled back afterwards."""
    with database.write() as session:
        for document in documents:
            import_laboratory(session, LaboratorySchema().load(document), NOW_US)
        request = RecallRequestSchema().load({"fault": fault})
        answer = recall(session, request, NOW_US)
        session.rollback()
    return {name: [json.loads(one.text) for one in answer.lists[name]] for name in LISTS}


def names(lists: dict[str, list[Json]], wanted: tuple[str, ...]) -> set[tuple[str, int]]:
    return {(one["certificate"], one["revision"]) for name in wanted for one in lists[name]}


def at_noon(value: Any) -> Any:
    """Make instants of the bare dates of a document."""
    if isinstance(value, dict):
        return {key: at_noon(part) for key, part in value.items()}
    if isinstance(value, list):
        return [at_noon(part) for part in value]
    if isinstance(value, str) and len(value) == 10 and value[4] == value[7] == "-":
        return f"{value}T12:00:00Z"
    return value


def later(value: Any, by: timedelta) -> Any:
    """Move every date-time of a document."""
    if isinstance(value, dict):
        return {key: later(part, by) for key, part in value.items()}
    if isinstance(value, list):
        return [later(part, by) for part in value]
    if isinstance(value, str) and len(value) > 18 and value[4] == value[7] == "-":
        return (datetime.fromisoformat(value) + by).isoformat()
    return value


@pytest.mark.slow
@quick
@given(case=cases(), days=st.integers(1, 200))
def test_a_wider_window_never_loses_a_certificate(
    database: Database, case: tuple[Json, Json], days: int
) -> None:
    laboratory, fault = case
    ends = [name for name in ("isolated_at", "fixed_at") if fault.get(name)]
    # A drift's effect at one time does not depend on the end; checks are set aside, since a wider
    # window may let one in that moves its start.
    assume(ends)
    document = laboratory | {"checks": []}
    narrow = lists_of(database, fault, document)
    wide = fault | {name: later(fault[name], timedelta(days=days)) for name in ends}
    wider = lists_of(database, wide, document)
    recalled = ("affected", "indeterminate", "exposed_zero_effect", "traced_not_recalled")
    assert names(narrow, ("affected", "indeterminate")) <= names(wider, recalled)


@pytest.mark.slow
@quick
@given(case=cases())
def test_an_unrelated_calibration_changes_nothing(
    database: Database, case: tuple[Json, Json]
) -> None:
    laboratory, fault = case
    other = {
        "items": [
            {"id": "ELSEWHERE", "kind": "reference_standard"},
            {"id": "STRANGER", "kind": "customer_instrument"},
        ],
        "calibrations": [
            {
                "certificate": "STRANGE-1",
                "item": "STRANGER",
                "performed_at": "2025-02-14T12:34:56Z",
                "uses": [{"item": "ELSEWHERE", "role": "force_reference"}],
                "results": [{"point": 1, "applied": "10", "error": "0", "U": "0.1", "unit": "kN"}],
            }
        ],
    }
    found = lists_of(database, fault, laboratory, other)
    # It may say too little to be excluded, as what it is silent about may have been the faulty one.
    silent = found["cannot_be_excluded"]
    silent[:] = [one for one in silent if one["certificate"] != "STRANGE-1"]
    assert found == lists_of(database, fault, laboratory)


@pytest.mark.slow
@quick
@given(case=cases(), hours=st.integers(-10_000, 10_000))
def test_shifting_all_instants_changes_nothing(
    database: Database, case: tuple[Json, Json], hours: int
) -> None:
    laboratory, fault = (at_noon(part) for part in case)  # a day cannot be shifted by hours
    by = timedelta(hours=hours)
    shifted = lists_of(database, later(fault, by), later(laboratory, by))
    assert shifted == lists_of(database, fault, laboratory)


@pytest.mark.slow
@quick
@given(case=cases(), data=st.data())
def test_splitting_an_import_changes_nothing(
    database: Database, case: tuple[Json, Json], data: st.DataObject
) -> None:
    laboratory, fault = case
    calibrations = laboratory["calibrations"]
    named = any("certificate" in use for one in calibrations for use in one["uses"])
    assume(not named)  # a use that names a certificate needs it to be there
    whole = lists_of(database, fault, laboratory)
    shuffled = data.draw(st.permutations(calibrations))
    cut = data.draw(st.integers(0, len(shuffled)))
    first = laboratory | {"calibrations": list(shuffled[:cut]), "checks": []}
    second = {name: laboratory[name] for name in ("time_zone",) if name in laboratory}
    second |= {"calibrations": list(shuffled[cut:]), "checks": laboratory.get("checks", [])}
    assert lists_of(database, fault, first, second) == whole


@pytest.mark.slow
@quick
@given(case=cases())
def test_the_unit_of_a_certificate_never_changes_a_verdict(
    database: Database, case: tuple[Json, Json]
) -> None:
    """Results in kN and N: their factor is a power of ten, so that every digit is kept."""
    laboratory, fault = case
    rewritten = copy.deepcopy(laboratory)
    for calibration in rewritten["calibrations"]:
        for result in calibration["results"]:
            _in_newton(result)

    def verdicts(lists: dict[str, list[Json]]) -> dict[tuple[str, int], Any]:
        return {
            (one["certificate"], one["revision"]): (
                one["class"],
                [(p["verdict_before"], p["verdict_after"]) for p in one.get("points", [])],
            )
            for name in REACHED
            for one in lists[name]
        }

    assert verdicts(lists_of(database, fault, rewritten)) == verdicts(
        lists_of(database, fault, laboratory)
    )


def _in_newton(result: Json) -> None:
    if result.get("unit") not in ("kN", "MN"):
        return
    size = factor(result["unit"])
    for name in ("applied", "indicated", "error", "U", "tolerance"):
        value = result.get(name)
        if isinstance(value, dict):
            result[name] = {side: str(_exact(limit, size)) for side, limit in value.items()}
        elif value is not None:
            result[name] = str(_exact(value, size))
    result["unit"] = "N"


def _exact(value: Any, size: Fraction) -> Any:
    """A decimal times a power of ten."""
    return format(Decimal(str(value)) * size.numerator, "f")
