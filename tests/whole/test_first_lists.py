"""The first list misses nothing that the complete recall finds, wherever the records are read.

Worked, demonstration and random laboratories. What the recall finds is settled elsewhere
(test_worked_laboratories, test_recall_against_oracle); here its lists are the measure.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from laboratories import faults_for, laboratories, several_faults_for

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.reach import first_list
from api.services.recalls.run import recall, recall_from
from api.services.upkeep import snapshots
from api.store.database import Database
from api.store.reading import SessionReader, file_of, opened
from api.store.sources import Recorded
from tests.databases import shared

FIXTURES = Path(__file__).parents[2] / "fixtures"
WORKED = json.loads((FIXTURES / "scenarios" / "recall.json").read_text("utf-8"))["scenarios"]
DEMO = json.loads((FIXTURES / "demo_lab" / "laboratory.json").read_text("ascii"))
STORY = json.loads((FIXTURES / "demo_lab" / "story.json").read_text("utf-8"))
RECORDS = ("items", "composition", "composition_bounds", "calibrations", "checks", "time_zone")
NOW_US = 1_893_456_000_000_000
SEGMENTS = [{"up_to_kN": "20", "delta_rel": "0"}, {"above_kN": "20", "delta_rel": "0.0004"}]
WINDOW = {"last_good_at": "2025-01-10T00:00:00Z", "isolated_at": "2025-09-11"}
Json = dict[str, Any]
Name = tuple[str, int, str | None]


def name_of(entry: Json) -> Name:
    return entry["certificate"], entry["revision"], entry.get("issuer")


def both(database: Database, laboratory: Json, faults: Any) -> tuple[Json, dict[str, list[Json]]]:
    """The first list and the lists of the recall; everything is rolled back."""
    request = RecallRequestSchema().load(
        {"faults" if isinstance(faults, list) else "fault": faults}
    )
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(laboratory), NOW_US)
        first = first_list(Recorded(SessionReader(session)), request, NOW_US)
        answer = recall(session, request, NOW_US)
        session.rollback()
    lists = {name: [json.loads(one.text) for one in found] for name, found in answer.lists.items()}
    for name in ("window", "windows"):
        assert first.get(name) == answer.head.get(name)
    assert first["notes"] == answer.head["notes"]
    return first, lists


def assert_nothing_is_missed(first: Json, lists: dict[str, list[Json]]) -> None:
    named = [name_of(one) for one in first["certificates"]]
    assert first["count"] == len(named) == len(set(named))
    assert named == sorted(named, key=lambda name: (*name[:2], name[2] or ""))
    recalled = {name_of(one) for name in ("affected", "indeterminate") for one in lists[name]}
    assert recalled <= set(named)
    # Nothing is named that was superseded, voided or never issued.
    assert not {name_of(one) for one in lists["traced_not_recalled"]} & set(named)


@pytest.mark.parametrize("scenario", WORKED, ids=lambda one: one["id"])
def test_a_worked_laboratory_misses_nothing(database, scenario):
    laboratory = {name: scenario[name] for name in RECORDS if name in scenario}
    first, lists = both(database, laboratory, scenario["fault"])
    assert first["certificates"]
    assert_nothing_is_missed(first, lists)


@pytest.mark.parametrize(
    "faults",
    [
        STORY["fault"],
        STORY["second_fault"],
        [STORY["fault"], STORY["second_fault"]],
        {"item": "REF-500A", "kind": "true_force_relative_error", "segments": SEGMENTS, **WINDOW},
        {"certificate": "MV-24-0131", "kind": "unknown", **WINDOW},
    ],
)
def test_the_demonstration_laboratory_misses_nothing(database, faults):
    first, lists = both(database, DEMO, faults)
    assert first["certificates"]
    assert_nothing_is_missed(first, lists)


def test_an_entry_says_what_the_recall_says_of_its_certificate(database):
    first, lists = both(database, DEMO, STORY["fault"])
    recalled = {name_of(one): one for one in lists["affected"]}
    for one in first["certificates"]:
        if name_of(one) in recalled:
            made = recalled[name_of(one)]
            assert one.items() - {("performed_at", one["performed_at"])} <= {
                (name, value) for name, value in made.items() if not isinstance(value, dict | list)
            }


def test_where_a_fault_has_an_effect_everywhere_both_lists_are_the_same(database):
    # The chain carries every effect on: weights are 1, no value is confirmed only.
    def calibration(number: str, item: str, day: str, used: str) -> Json:
        result = {"point": 1, "unit": "kN", "applied": "10", "error": "0", "U": "0.01"}
        use = {"item": used, "role": "force_reference"}
        at = f"2025-{day}T12:00:00Z"
        return {"certificate": number, "item": item, "performed_at": at, "issued_at": at} | {
            "status": "issued",
            "uses": [use],
            "results": [result],
        }

    kinds = {"REF": "reference_standard", "WS": "working_standard", "A": "customer_instrument"}
    laboratory = {
        "items": [{"id": code, "kind": kind} for code, kind in kinds.items()],
        "calibrations": [
            calibration("W-1", "WS", "02-01", "REF"),
            calibration("C-1", "A", "03-01", "WS"),
            calibration("C-2", "A", "04-01", "WS"),
        ],
    }
    window = {"last_good_at": "2025-01-01T00:00:00Z", "isolated_at": "2025-12-01T00:00:00Z"}
    fault = {"item": "REF", "kind": "true_force_relative_error", "delta_rel": "0.001", **window}
    first, lists = both(database, laboratory, fault)
    assert {name_of(one)[0] for one in first["certificates"]} == {"W-1", "C-1", "C-2"}
    assert {name_of(one) for one in first["certificates"]} == {
        name_of(one) for one in lists["affected"]
    }


@st.composite
def cases(draw: st.DrawFn) -> tuple[Json, Any]:
    laboratory = draw(laboratories())
    return laboratory, draw(st.one_of(faults_for(laboratory), several_faults_for(laboratory)))


@pytest.mark.slow
@settings(
    max_examples=shared(32),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(case=cases())
def test_a_random_laboratory_misses_nothing(database: Database, case: tuple[Json, Any]) -> None:
    assert_nothing_is_missed(*both(database, *case))


def test_a_file_a_session_and_a_snapshot_answer_alike(database, tmp_path):
    request = RecallRequestSchema().load({"fault": STORY["fault"]})
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(DEMO), NOW_US)
    with database.read() as session:
        snapshots.take(session, tmp_path / "s", "0001", NOW_US)
        expected = first_list(Recorded(SessionReader(session)), request, NOW_US)
        complete = recall(session, request, NOW_US)
    assert first_list(snapshots.opened(tmp_path / "s"), request, NOW_US) == expected
    file = file_of(database.url)
    if file is not None:
        with opened(file) as reader:
            assert first_list(Recorded(reader), request, NOW_US) == expected
            # The complete recall too, to the last byte.
            assert recall_from(Recorded(reader), request, NOW_US) == complete
