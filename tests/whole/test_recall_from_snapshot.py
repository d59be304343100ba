"""A recall from an exported snapshot is the database's own, byte for byte.

Worked and demonstration laboratories, every kind of fault, and random laboratories; on both
engines. What is right is settled elsewhere (test_worked_laboratories, test_recall_against_oracle):
here two ways to the same records are compared.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from laboratories import faults_for, laboratories, several_faults_for
from worked_curves import CURVES

from api.errors import UnknownReference
from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.run import Answer, recall
from api.services.upkeep import snapshots
from api.store.database import Database
from tests.databases import shared

FIXTURES = Path(__file__).parents[2] / "fixtures"
WORKED = json.loads((FIXTURES / "scenarios" / "recall.json").read_text("utf-8"))["scenarios"]
DEMO = json.loads((FIXTURES / "demo_lab" / "laboratory.json").read_text("ascii"))
STORY = json.loads((FIXTURES / "demo_lab" / "story.json").read_text("utf-8"))
RECORDS = ("items", "composition", "composition_bounds", "calibrations", "checks", "time_zone")
NOW_US = 1_893_456_000_000_000
WINDOW = {"last_good_at": "2025-01-10T00:00:00Z", "isolated_at": "2025-09-11"}
REF, BY_TYPE = {"item": "REF-500A", **WINDOW}, {"tension_link": "0.001", "crane_scale": "0"}
SEGMENTS = [{"up_to_kN": "20", "delta_rel": "0"}, {"above_kN": "20", "delta_rel": "0.0004"}]
FACTORS = {"factor_applied": "1.00032", "factor_right": "1.0004", "entered_at": "2024-01-01"}
FACTORS |= {"fixed_at": "2025-06-01"}
DEMO_FAULTS: list[Any] = [
    STORY["fault"],
    STORY["second_fault"],
    REF | {"kind": "true_force_relative_error", "segments": SEGMENTS},
    REF | {"kind": "indicates_high", "indication_rel": "0.0006"},
    REF | {"kind": "interval", "bound_rel": "0.0007"},
    REF | {"kind": "unknown"},
    REF | {"kind": "linear_drift", "delta_rel": "0.001", "measured_at": "2025-09-01"},
    {"item": "CF-3", "kind": "wrong_correction_factor", **FACTORS},
    {"item": "PIN-21A", "kind": "indication_effect_by_type", "effect_rel": BY_TYPE, **WINDOW},
    {"certificate": "MV-24-0131", "kind": "unknown", **WINDOW},
    {"method": "FP-11 edition 2", "kind": "unknown", **WINDOW},
    [STORY["fault"], STORY["second_fault"]],
]


def both(database: Database, laboratory: dict[str, Any], faults: Any) -> tuple[Answer, Answer]:
    """The answers of the database and of a snapshot of it; everything is rolled back."""
    name = "faults" if isinstance(faults, list) else "fault"
    request = RecallRequestSchema().load({name: faults})
    with database.write() as session, tempfile.TemporaryDirectory() as folder:
        import_laboratory(session, LaboratorySchema().load(laboratory), NOW_US)
        target = Path(folder) / "snapshot"
        snapshots.take(session, target, "0001", NOW_US)
        found = snapshots.recall(snapshots.opened(target), request)
        asked = recall(session, request, NOW_US)
        session.rollback()
    return asked, found


def assert_same(asked: Answer, found: Answer) -> None:
    assert found.result_hash == asked.result_hash
    assert found.input_hash == asked.input_hash
    assert found == asked  # the text of every entry, and the order


@pytest.mark.parametrize("scenario", WORKED, ids=lambda one: one["id"])
def test_a_worked_laboratory_is_recalled_alike(database, scenario):
    laboratory = {name: scenario[name] for name in RECORDS if name in scenario}
    asked, found = both(database, laboratory, scenario["fault"])
    assert asked.lists["affected"] or asked.lists["indeterminate"]
    assert_same(asked, found)


@pytest.mark.parametrize("worked", CURVES, ids=lambda one: one["id"])
def test_a_curve_that_a_fault_leaves_to_a_certificate_is_found_alike(database, worked):
    asked, found = both(database, worked["laboratory"], worked["fault"])
    assert asked.lists["affected"]
    assert_same(asked, found)


@pytest.fixture(scope="module")
def demo(sqlite_template, tmp_path_factory):
    """A session on the demonstration laboratory, and a snapshot of it."""
    folder = tmp_path_factory.mktemp("demo")
    shutil.copyfile(sqlite_template, folder / "demo.db")
    database = Database(f"sqlite:///{folder / 'demo.db'}")
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(DEMO), NOW_US)
    with database.read() as session:
        snapshots.take(session, folder / "snapshot", "0001", NOW_US)
        yield session, snapshots.opened(folder / "snapshot")
    database.dispose()


@pytest.mark.parametrize("number", range(len(DEMO_FAULTS)))
def test_every_kind_of_fault_is_answered_alike(demo, number):
    session, snapshot = demo
    faults = DEMO_FAULTS[number]
    name = "faults" if isinstance(faults, list) else "fault"
    request = RecallRequestSchema().load({name: faults})
    asked = recall(session, request, NOW_US)
    assert asked.lists["affected"] or asked.lists["indeterminate"]
    assert_same(asked, snapshots.recall(snapshot, request))


def test_a_fault_on_what_is_not_recorded_is_refused_alike(demo):
    session, snapshot = demo
    for unknown in ({"item": "NONE-1"}, {"certificate": "NONE-1"}):
        request = RecallRequestSchema().load({"fault": unknown | WINDOW | {"kind": "unknown"}})
        with pytest.raises(UnknownReference) as by_database:
            recall(session, request, NOW_US)
        with pytest.raises(UnknownReference) as by_snapshot:
            snapshots.recall(snapshot, request)
        assert by_snapshot.value.issues == by_database.value.issues


@st.composite
def cases(draw: st.DrawFn) -> tuple[dict[str, Any], Any]:
    laboratory = draw(laboratories())
    return laboratory, draw(st.one_of(faults_for(laboratory), several_faults_for(laboratory)))


@pytest.mark.slow
@settings(
    max_examples=shared(25),
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(case=cases())
def test_a_random_laboratory_is_recalled_alike(
    database: Database, case: tuple[dict[str, Any], Any]
) -> None:
    assert_same(*both(database, *case))
