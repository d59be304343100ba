"""Laboratories worked by hand, over HTTP: every list, figure, path and doubt as it was written.

Those of tests/oracle/worked_laboratories.py were worked before anything was run, with the
arithmetic beside them; those of fixtures/scenarios/recall_10.json were solved by two or three
programs of as many authors (see each one's `solved`). Figures hold within 1e-6.
"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from worked_laboratories import LABORATORIES, differences, request

FILE = Path(__file__).parents[2] / "fixtures" / "scenarios" / "recall_10.json"
SCENARIOS = {one["id"]: one for one in json.loads(FILE.read_text("utf-8"))["scenarios"]}
LISTS = (
    "affected",
    "exposed_zero_effect",
    "indeterminate",
    "traced_not_recalled",
    "cannot_be_excluded",
    "cleared",
)
FIGURES = ("delta_rel", "shift", "corrected_error", "U_after")
NOTES = ("why", "note", "points")


def answer(client: Any, laboratory: dict[str, Any], asked: Any) -> dict[str, Any]:
    imported = client.post("/v1/imports", json=laboratory)
    assert imported.status_code == 201, imported.text
    body = {"faults" if isinstance(asked, list) else "fault": asked}
    made = client.post("/v1/recalls", json=body)
    assert made.status_code == 201, made.text
    return json.loads(made.text)


@pytest.mark.parametrize("worked", LABORATORIES, ids=lambda one: one["id"])
def test_a_laboratory_is_answered_as_it_was_worked_by_hand(client, worked):
    assert differences(worked, answer(client, worked["laboratory"], request(worked))) == []


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_a_solved_laboratory_is_answered_to_the_digit(client, name):
    solved = SCENARIOS[name]
    kept = ("items", "composition", "calibrations", "checks")
    laboratory = {part: solved[part] for part in kept if part in solved}
    found = answer(client, laboratory, solved.get("faults", solved.get("fault")))
    for list_name in LISTS:
        expected = {key(one): one for one in solved["expected"][list_name]}
        made = {key(one): one for one in found[list_name]}
        assert made.keys() == expected.keys(), list_name
        for number, one in expected.items():
            told = {name: made[number].get(name) for name in one if name not in NOTES}
            assert told == {name: one[name] for name in told}
            assert_points(one.get("points", []), made[number].get("points", []), number)


def key(entry: dict[str, Any]) -> tuple[str, int]:
    return entry["certificate"], entry["revision"]


def assert_points(expected: list[Any], found: list[Any], number: Any) -> None:
    assert len(expected) == len(found)
    for one, made in zip(expected, found, strict=True):
        for name in one.keys() - {*FIGURES, *NOTES}:
            assert made[name] == one[name], (number, one["point"], name)
        for name in FIGURES:
            assert (name in one) == (name in made), (number, one["point"], name)
            if one.get(name) is None:
                assert made.get(name) is None, (number, one["point"], name)
            else:
                off = abs(Decimal(made[name]) - Decimal(one[name]))
                assert off <= Decimal("0.000001"), (number, one["point"], name, made[name])
