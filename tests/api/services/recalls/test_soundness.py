"""What spoke for an item and against it, in order of time.

Under guard_U with a tolerance of 0.01 kN and U of 0.002 kN an error fails above 0.008 kN; under
four_state_U it fails on condition from 0.01 to 0.012 kN (`graph` and rules are tested elsewhere).
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, row

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.soundness import histories, last_before, next_after
from api.store.tables import Item

# Reported without a rule that could tell.
SILENT = {name: part for name, part in row().items() if name != "rule"}
SILENT |= {"verdict_reported": "no_statement"}


@pytest.fixture
def told(database):
    """What is said of STD, in order: name and whether it is good."""

    def made(*calibrations, checks=()):
        laboratory = lab(*calibrations, kinds={"STD": "working_standard"}, checks=list(checks))
        with database.write() as session:
            import_laboratory(session, LaboratorySchema().load(laboratory), 0)
            session.flush()
            key = session.query(Item).filter_by(code="STD").one().id
            return histories(session, [key]).get(key, [])

    return made


def said(history):
    return [(one.name, one.good) for one in history]


@pytest.mark.parametrize(
    ("results", "expected"),
    [
        ([row(error="0.008")], [True]),
        ([row(error="0.009")], [False]),
        ([row(error="0.009", stage="as_found"), row(stage="as_left")], [False, True]),
        ([row(stage="as_found"), row(error="0.009", stage="as_left")], []),
        ([row(error="0.011", rule="four_state_U")], [False]),
        ([row(error="0.009", rule="four_state_U")], [True]),  # passes on condition
        ([row(stage="as_found")], []),
        # Of what nothing is stated nobody knows whether it is good: no evidence, either way.
        ([SILENT], []),
        ([row(), SILENT | {"point": 2}], []),
        ([SILENT, row(error="0.02", point=2)], [False]),
        ([], []),
    ],
)
def test_a_calibration_speaks_by_its_stages(told, results, expected):
    assert said(told(cal("S-1", "STD", "01-10", [], results))) == [("S-1", one) for one in expected]


def test_only_what_is_issued_and_not_withdrawn_speaks(told):
    checks = [{"id": "K-1", "item": "STD", "at": "2025-01-05", "result": "pass"}]
    drafts = [cal("S-1", "STD", "01-10", [], status="draft"), cal("S-2", "STD", "01-11", [])]
    assert said(told(*drafts, checks=checks)) == [("K-1", True), ("S-2", True)]


def test_of_two_at_one_instant_the_failure_comes_first(told):
    at = "2025-01-10T10:00:00Z"
    checks = [
        {"id": "K-1", "item": "STD", "at": at, "result": "pass"},
        {"id": "K-2", "item": "STD", "at": at, "result": "fail"},
        {"id": "K-3", "item": "STD", "at": "2025-01-09", "result": "pass"},
    ]
    history = told(checks=checks)
    assert said(history) == [("K-3", True), ("K-2", False), ("K-1", True)]
    failure = history[1]
    assert next_after(history, failure.at_us, failure) == {"check": "K-1", "at": at}
    assert next_after(history, failure.at_us, None) is None
    assert last_before(history, failure.at_us) == {"check": "K-3", "at": "2025-01-09"}
    assert last_before(history, history[0].at_us) is None
