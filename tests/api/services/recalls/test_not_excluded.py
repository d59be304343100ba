"""Calibrations whose records do not say whether they used what is faulty."""

from __future__ import annotations

import json

import pytest
from oracle_cases import OPEN, cal, lab, ref

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.run import recall

NOW = 1_893_456_000_000_000  # 2030


def use(item, role):
    return {"item": item, "role": role}


@pytest.fixture
def open_questions(database):
    """Record calibrations and return what the recall of an item cannot exclude, by number."""

    def found(*calibrations, item="ADP-9", kind="adapter", fault=None, **window):
        laboratory = lab(*calibrations)
        laboratory["items"] = [one for one in laboratory["items"] if one["id"] != item]
        laboratory["items"].append({"id": item, "kind": kind})
        sent = {"fault": fault or {"item": item, "kind": "unknown"} | OPEN | window}
        with database.write() as session:
            import_laboratory(session, LaboratorySchema().load(laboratory), 0)
            answer = recall(session, RecallRequestSchema().load(sent), NOW)
        made = [json.loads(one.text) for one in answer.lists["cannot_be_excluded"]]
        return {one["certificate"]: one for one in made}

    return found


def test_a_calibration_that_names_no_adapter_may_have_used_the_faulty_one(open_questions):
    found = open_questions(
        cal("C-1", "A", "02-01", [ref("REF")], customer="Mine Works"),
        cal("C-2", "B", "02-02", [ref("REF"), use("ADP-1", "adapter")]),
        cal("C-3", "C", "02-03", [ref("REF"), use("ADP-9", "adapter")]),
    )
    assert found == {
        "C-1": {
            "certificate": "C-1",
            "revision": 0,
            "item": "A",
            "class": "cannot_be_excluded",
            "customer": "Mine Works",
            "reasons": ["no_use_in_role"],
            "reason_paths": [["ADP-9", "C-1"]],
            "path_count": 1,
            "detail": "the record names nothing in the role adapter",
        }
    }


@pytest.mark.parametrize(
    ("kind", "role"),
    [
        ("adapter", "adapter"),
        ("adapter_part", "adapter"),
        ("environment_monitor", "environment"),
        ("software", "software"),
        ("working_standard", "force_reference"),
        ("force_machine", "force_reference"),
    ],
)
def test_an_item_never_used_is_asked_for_in_the_role_of_its_kind(open_questions, kind, role):
    found = open_questions(
        cal("C-1", "A", "02-01", [use("OTHER", role)]),
        cal("C-2", "B", "02-02", [use("OTHER", "something else")]),
        kind=kind,
    )
    assert set(found) == {"C-2"}
    assert role in found["C-2"]["detail"]


def test_an_item_that_was_used_is_asked_for_in_the_roles_it_ever_had(open_questions):
    # An adapter by kind, that was recorded as a spacer before the window.
    found = open_questions(
        cal("S-1", "S", "2024-06-01T00:00:00Z", [use("ADP-9", "spacer")]),
        cal("C-1", "A", "02-01", [use("ADP-1", "adapter")]),
        cal("C-2", "B", "02-02", [use("SPC-1", "spacer")]),
    )
    assert set(found) == {"C-1"}
    assert "spacer" in found["C-1"]["detail"]


def test_only_calibrations_of_the_window_are_asked_with_its_ends_as_they_are(open_questions):
    bare = [ref("REF")]
    found = open_questions(
        cal("BEFORE", "A", "2025-03-01T00:00:00Z", bare),  # the start is excluded
        cal("FIRST", "B", "2025-03-01T00:00:01Z", bare),
        cal("LAST", "C", "2025-04-01T00:00:00Z", bare),  # the end is included
        cal("AFTER", "D", "2025-04-01T00:00:01Z", bare),
        last_good_at="2025-03-01T00:00:00Z",
        isolated_at="2025-04-01T00:00:00Z",
    )
    assert set(found) == {"FIRST", "LAST"}


def test_what_is_recalled_on_other_grounds_is_not_listed_twice(open_questions):
    found = open_questions(
        cal("W-1", "WS", "01-10", [ref("REF"), use("ADP-9", "adapter")]),
        cal("C-1", "A", "02-01", [ref("WS")]),  # rests on W-1, and names no adapter
        cal("C-2", "B", "02-02", [ref("REF")]),
    )
    assert set(found) == {"C-2"}


def test_a_certificate_that_is_faulty_leaves_no_such_question(open_questions):
    fault = {"certificate": "W-1", "kind": "unknown"} | OPEN
    assert open_questions(
        cal("W-1", "WS", "01-10", [ref("REF")]), cal("C-1", "A", "02-01", []), fault=fault
    ) == {}  # fmt: skip
