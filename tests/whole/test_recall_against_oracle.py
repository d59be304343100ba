"""Random laboratories: the product's recall equals a slow, independent reference implementation.

The oracle (tests/oracle) shares no code with the product, works in exact fractions and scans the
whole laboratory; it reproduces the worked laboratories of fixtures/scenarios by itself.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from laboratories import faults_for, laboratories, several_faults_for
from recall_oracle import recall as oracle

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.run import recall
from api.store.database import Database
from graph.recall import FOUND as LISTS

NOW_US = 1_893_456_000_000_000  # 2030-01-01, after everything that the laboratories did


def product(database: Database, laboratory: dict[str, Any], request: dict[str, Any]) -> Any:
    """Import and recall in one transaction that is rolled back."""
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(laboratory), NOW_US)
        answer = recall(session, RecallRequestSchema().load(request), NOW_US)
        session.rollback()
    return answer.head, {
        name: [json.loads(one.text) for one in answer.lists[name]] for name in LISTS
    }


def differences(expected: Any, found: Any, place: str = "") -> list[str]:
    """Where `found` lacks or contradicts what is expected; more keys than expected are allowed."""
    if isinstance(expected, dict) and isinstance(found, dict):
        return [
            line
            for key, value in expected.items()
            for line in differences(value, found.get(key, "absent"), f"{place}/{key}")
        ]
    if isinstance(expected, list) and isinstance(found, list) and len(expected) == len(found):
        return [
            line
            for index, pair in enumerate(zip(expected, found, strict=True))
            for line in differences(*pair, f"{place}/{index}")
        ]
    # An interval that is one value may be written either way.
    if isinstance(expected, str) and found == {"lower": expected, "upper": expected}:
        return []
    return [] if expected == found else [f"{place}: expected {expected!r}, found {found!r}"]


@st.composite
def cases(draw: st.DrawFn, several: bool) -> tuple[dict[str, Any], Any]:
    laboratory = draw(laboratories())
    return laboratory, draw((several_faults_for if several else faults_for)(laboratory))


@pytest.mark.slow
@settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(case=cases(several=False))
def test_one_fault_gives_the_lists_of_the_oracle(
    database: Database, case: tuple[dict[str, Any], dict[str, Any]]
) -> None:
    laboratory, fault = case
    expected = oracle(laboratory, fault)
    head, lists = product(database, laboratory, {"fault": fault})
    assert differences(expected["window"], head["window"]) == []
    for name in LISTS:
        assert differences(expected[name], lists[name], name) == []


@pytest.mark.slow
@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(case=cases(several=True))
def test_several_faults_add_up_as_in_the_oracle(
    database: Database, case: tuple[dict[str, Any], list[dict[str, Any]]]
) -> None:
    laboratory, faults = case
    expected = oracle(laboratory, faults)
    _, lists = product(database, laboratory, {"faults": faults})
    for name in LISTS:
        assert differences(expected[name], lists[name], name) == []
