"""Three worked laboratories through HTTP: imported, a fault reported, every figure as written.

The expected answers come from fixtures/scenarios/recall.json (read); figures hold within its 1e-6.
The indeterminate entry of S6 has no points there; the API gives them with nulls in their place.
"""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from api.store.tables import Recall, RecallEntry
from graph.lists import LISTS

FILE = Path(__file__).parents[2] / "fixtures" / "scenarios" / "recall.json"
WORKED = {one["id"]: one for one in json.loads(FILE.read_text("utf-8"))["scenarios"]}
RECORDS = ("items", "composition", "composition_bounds", "calibrations", "checks")
RECALLED = ("affected", "exposed_zero_effect", "indeterminate")
FIGURES = ("delta_rel", "shift", "corrected_error", "U_after")
TOLERANCE = Decimal("0.000001")


@pytest.fixture(params=sorted(WORKED))
def worked(request, client) -> dict[str, Any]:
    """One worked laboratory, imported."""
    scenario = WORKED[request.param]
    laboratory = {name: scenario[name] for name in RECORDS if name in scenario}
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    return scenario


def report(client, fault: dict[str, Any], **more: Any) -> dict[str, Any]:
    answer = client.post("/v1/recalls", json={"fault": fault, **more})
    assert answer.status_code == (200 if more.get("preview") else 201), answer.text
    return json.loads(answer.text)


def entries(answer: dict[str, Any], names: tuple[str, ...] = RECALLED) -> dict[str, Any]:
    return {one["certificate"]: one for name in names for one in answer[name]}


def assert_point(expected: dict[str, Any], found: dict[str, Any], place: str) -> None:
    for name in expected.keys() - set(FIGURES):
        assert found[name] == expected[name], f"{place} {name}"
    for name in FIGURES:
        assert (name in expected) == (name in found), f"{place} {name}"
        if name in expected:
            off = abs(Decimal(found[name]) - Decimal(expected[name]))
            assert off <= TOLERANCE, f"{place} {name}: {found[name]}"


def test_every_expected_certificate_stands_in_its_list_with_its_figures(client, worked):
    answer = report(client, worked["fault"])
    found = entries(answer)
    expected = {one["certificate"]: one for one in worked["expected"]["affected"]}
    assert found.keys() == expected.keys()
    for number, one in expected.items():
        made = found[number]
        assert made in answer[one["class"]]
        # Where the points were left out, what they come to together was left out as well.
        left_out = {"points", "note"} | ({"overall"} if one["points"] is None else set())
        for name in one.keys() - left_out:
            assert made[name] == one[name], f"{number} {name}"
        if one["points"] is not None:
            assert len(made["points"]) == len(one["points"])
            for point, got in zip(one["points"], made["points"], strict=True):
                assert_point(point, got, f"{number} point {point['point']}")


def test_points_of_an_indeterminate_certificate_are_given_with_nulls(client, worked):
    for made in report(client, worked["fault"])["indeterminate"]:
        assert made["points"]
        for point in made["points"]:
            known = [point[name] for name in ("delta_rel", "shift", "corrected_error")]
            assert known == [None] * 3
            assert point["verdict_after"] is None


def test_the_window_is_as_written(client, worked):
    window = report(client, worked["fault"])["window"]
    assert {name: window[name] for name in worked["window"]} == worked["window"]


def test_what_is_not_affected_is_in_no_list_of_recalled_ones(client, worked):
    found = entries(report(client, worked["fault"]))
    spared = {one["certificate"] for one in worked["expected"]["not_affected"]}
    assert spared
    assert not spared & found.keys()


def test_the_summary_counts_what_the_lists_hold(client, worked):
    answer = report(client, worked["fault"])
    assert {name: answer["summary"][name] for name in LISTS} == {
        name: len(answer[name]) for name in LISTS
    }
    changed = [one for one in worked["expected"]["affected"] if one["verdict_changes"]]
    assert answer["summary"]["verdict_changes"] == len(changed)


def test_the_same_recall_again_has_the_same_hashes_and_another_number(client, worked):
    first, second = report(client, worked["fault"]), report(client, worked["fault"])
    for name in ("result_hash", "input_hash", *LISTS):
        assert first[name] == second[name]
    assert (first["number"], second["number"]) == ("R-00001", "R-00002")


def test_a_stored_recall_is_shown_as_it_was_answered(client, worked):
    answer = report(client, worked["fault"])
    shown = json.loads(client.get(f"/v1/recalls/{answer['id']}").text)
    assert shown == answer


def test_a_preview_gives_the_same_lists_and_stores_nothing(client, worked, database):
    preview = report(client, worked["fault"], preview=True)
    with database.read() as session:
        for table in (Recall, RecallEntry):
            assert session.scalar(select(func.count()).select_from(table)) == 0
    stored = report(client, worked["fault"])
    for name in ("result_hash", *LISTS):
        assert preview[name] == stored[name]
