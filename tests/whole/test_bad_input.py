"""Bad input: each is a 4xx problem with the pointer and a remedy, and the database is untouched."""

from __future__ import annotations

import json
from copy import deepcopy
from typing import Any

import pytest
from oracle_cases import OPEN, cal, force_fault, lab, ref, row
from sqlalchemy import func, select

from api.store.tables import Base

WS = "/calibrations/1"


def sound() -> dict[str, Any]:
    """A laboratory without a fault: an external root, a working standard, a customer's cell."""
    made = lab(
        cal("E-1", "REF", "01-02", [], external=True, issuer="Institute"),
        cal("W-1", "WS", "01-10", [ref("REF")]),
        cal("C-1", "CELL", "02-01", [ref("WS"), {"item": "ADP", "role": "adapter"}]),
        composition=[{"assembly": "ADP", "part": "PIN", "from": "2025-01-01T00:00:00Z"}],
        checks=[{"id": "K-1", "item": "WS", "at": "2025-01-20T08:00:00Z", "result": "pass"}],
    )
    made["items"].append({"id": "PIN", "kind": "adapter_part"})
    return made


def rows_of(database) -> dict[str, int]:
    with database.read() as session:
        return {
            table.name: session.scalar(select(func.count()).select_from(table)) or 0
            for table in Base.metadata.sorted_tables
        }


def problem_of(answer, status: int, code: str | None = None) -> list[dict[str, str]]:
    """Faults of a problem answer, each of which must have a place and a remedy."""
    assert answer.status_code == status, answer.text
    assert answer.mimetype == "application/problem+json"
    body = json.loads(answer.text)
    assert body["status"] == status
    if code is not None:
        assert body["type"] == f"/problems/{code}"
    for one in body["errors"]:
        assert "pointer" in one
        assert one["remedy"], one
    return body["errors"]


def places(answer, status: int = 422) -> list[str]:
    return [one["pointer"] for one in problem_of(answer, status)]


def changed(*path: Any, to: Any) -> dict[str, Any]:
    """The sound laboratory with one value put in at a path."""
    made = sound()
    place: Any = made
    for part in path[:-1]:
        place = place[part]
    place[path[-1]] = to
    return made


def added(collection: str, *records: dict[str, Any]) -> dict[str, Any]:
    made = sound()
    made[collection].extend(records)
    return made


def item(made: dict[str, Any], code: str) -> int:
    return [one["id"] for one in made["items"]].index(code)


def before_it_existed() -> dict[str, Any]:
    made = sound()
    made["items"][item(made, "WS")]["in_service_from"] = "2025-02-02T00:00:00Z"
    del made["calibrations"][1]
    return made


def calibrated_before_it_existed() -> dict[str, Any]:
    made = sound()
    made["items"][item(made, "CELL")]["in_service_from"] = "2025-02-02"
    return made


def within_itself() -> dict[str, Any]:
    holding = {"assembly": "PIN", "part": "ADP", "from": "2025-02-01T00:00:00Z"}
    return added("composition", holding)


def circle_of_two() -> dict[str, Any]:
    # On one day, with bare dates: each rests on the other.
    return added(
        "calibrations",
        cal("X-1", "REF", "2025-03-01", [ref("WS")]),
        cal("X-2", "WS", "2025-03-01", [ref("REF")]),
    )


def circle_of_one() -> dict[str, Any]:
    return added("calibrations", cal("X-1", "WS", "03-01", [ref("WS", certificate="X-1")]))


CASES: dict[str, tuple[Any, list[str]]] = {
    "a use before its item existed": (before_it_existed, ["/calibrations/1/uses/0/item"]),
    "a calibration before its item existed": (
        calibrated_before_it_existed,
        ["/calibrations/2/performed_at"],
    ),
    "two calibrations that rest on each other": (circle_of_two, ["/calibrations"]),
    "a calibration that rests on itself": (circle_of_one, ["/calibrations"]),
    "a part within itself": (within_itself, ["/composition"]),
    "a part of itself": (
        lambda: changed("composition", 0, "part", to="ADP"),
        ["/composition"],
    ),
    "a holding that ends before it begins": (
        lambda: changed("composition", 0, "until", to="2024-12-31T00:00:00Z"),
        ["/composition/0/until"],
    ),
    "a use of an item nobody recorded": (
        lambda: changed("calibrations", 1, "uses", 0, "item", to="GHOST"),
        [f"{WS}/uses/0/item"],
    ),
    "a calibration of an item nobody recorded": (
        lambda: changed("calibrations", 1, "item", to="GHOST"),
        [f"{WS}/item"],
    ),
    "a part nobody recorded": (
        lambda: changed("composition", 0, "part", to="GHOST"),
        ["/composition/0/part"],
    ),
    "a check of an item nobody recorded": (
        lambda: changed("checks", 0, "item", to="GHOST"),
        ["/checks/0/item"],
    ),
    "a check against an item nobody recorded": (
        lambda: changed("checks", 0, "against", to="GHOST"),
        ["/checks/0/against"],
    ),
    "a rule nobody recorded": (
        lambda: changed("calibrations", 1, "results", 0, "rule", to="ghost"),
        [f"{WS}/results/0/rule"],
    ),
    "a specification nobody recorded": (
        lambda: changed("calibrations", 1, "results", 0, "tolerance", to="GHOST"),
        [f"{WS}/results/0/tolerance"],
    ),
    "a named certificate that does not exist": (
        lambda: changed("calibrations", 2, "uses", 0, to=ref("WS", certificate="W-9")),
        ["/calibrations/2/uses/0/certificate"],
    ),
    "a named certificate of another item": (
        lambda: changed("calibrations", 2, "uses", 0, to=ref("WS", certificate="E-1")),
        ["/calibrations/2/uses/0/certificate"],
    ),
    "a named revision that does not exist": (
        lambda: changed("calibrations", 2, "uses", 0, to=ref("WS", certificate="W-1", revision=3)),
        ["/calibrations/2/uses/0/certificate"],
    ),
    "a revision without its certificate": (
        lambda: changed("calibrations", 2, "uses", 0, to=ref("WS", revision=0)),
        ["/calibrations/2/uses/0/revision"],
    ),
    "two issued revisions of one number": (
        lambda: added("calibrations", cal("W-1", "WS", "01-10", [ref("REF")], revision=1)),
        ["/calibrations/3/status"],
    ),
    "a result without unit": (
        lambda: changed("calibrations", 1, "results", 0, to={"point": 1, "error": "0.1"}),
        [f"{WS}/results/0/unit"],
    ),
    "a result whose unit is a percentage": (
        lambda: changed("calibrations", 1, "results", 0, "unit", to="%"),
        [f"{WS}/results/0/unit"],
    ),
    "a unit nobody knows": (
        lambda: changed("calibrations", 1, "results", 0, "unit", to="stone"),
        [f"{WS}/results/0/unit"],
    ),
    "a tolerance in percent without the applied force": (
        lambda: changed(
            "calibrations",
            1,
            "results",
            0,
            to={"point": 1, "unit": "kN", "error": "0", "tolerance_rel_pct": "0.1"},
        ),
        [f"{WS}/results/0/tolerance_rel_pct"],
    ),
    "a tolerance in a unit for an error in percent": (
        lambda: changed(
            "calibrations",
            1,
            "results",
            0,
            to={"point": 1, "unit": "kN", "error_rel_pct": "0", "tolerance": "0.1"},
        ),
        [f"{WS}/results/0/tolerance"],
    ),
    "crossed limits": (
        lambda: changed(
            "calibrations", 1, "results", 0, "tolerance", to={"lower": "1", "upper": "-1"}
        ),
        [f"{WS}/results/0/tolerance"],
    ),
    "a negative uncertainty": (
        lambda: changed("calibrations", 1, "results", 0, "U", to="-0.1"),
        [f"{WS}/results/0/U"],
    ),
    "a number that is none": (
        lambda: changed("calibrations", 1, "results", 0, "error", to="0,1"),
        [f"{WS}/results/0/error"],
    ),
    "a date-time without zone": (
        lambda: changed("calibrations", 1, "performed_at", to="2025-01-10T10:00:00"),
        [f"{WS}/performed_at"],
    ),
    "a date that is none": (
        lambda: changed("checks", 0, "at", to="2025-02-30"),
        ["/checks/0/at"],
    ),
    "an unknown key of a use": (
        lambda: changed("calibrations", 1, "uses", 0, "wieght", to="1"),
        [f"{WS}/uses/0/wieght"],
    ),
    "an unknown key of the file": (lambda: sound() | {"faults": []}, ["/faults"]),
    "an unknown kind of item": (
        lambda: changed("items", 0, "kind", to="hammer"),
        ["/items/0/kind"],
    ),
    "a missing key": (
        lambda: changed("checks", 0, to={"id": "K-1", "item": "WS", "result": "pass"}),
        ["/checks/0/at"],
    ),
    "one item twice": (lambda: added("items", {"id": "REF", "kind": "software"}), ["/items/5"]),
    "one calibration twice": (
        lambda: added("calibrations", cal("W-1", "WS", "01-10", [ref("REF")])),
        ["/calibrations/3"],
    ),
    "one check twice": (
        lambda: added("checks", deepcopy(sound()["checks"][0])),
        ["/checks/1"],
    ),
    "one holding twice": (
        lambda: added("composition", deepcopy(sound()["composition"][0])),
        ["/composition/1"],
    ),
    "weights that miss a point": (
        lambda: changed(
            "calibrations",
            1,
            to=cal("W-1", "WS", "01-10", [ref("REF", {"1": "1"})], [row(), row(point=2)]),
        ),
        [f"{WS}/uses/0/weight"],
    ),
    "a weight for a point that is not there": (
        lambda: changed("calibrations", 1, "uses", 0, "weight", to={"1": "1", "9": "1"}),
        [f"{WS}/uses/0/weight"],
    ),
    "a point that is not there": (
        lambda: changed("calibrations", 1, "uses", 0, "points", to=[9]),
        [f"{WS}/uses/0/points"],
    ),
    "a time zone nobody knows": (
        lambda: sound() | {"time_zone": "Europe/Atlantis"},
        ["/time_zone"],
    ),
    "a correction factor of zero": (
        lambda: changed("calibrations", 1, "uses", 0, "factor_applied", to="0"),
        [f"{WS}/uses/0/factor_applied"],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_bad_file_is_refused_at_its_place_and_leaves_nothing(client, database, name):
    other = {"items": [{"id": "OTHER", "kind": "readout"}]}
    assert client.post("/v1/imports", json=other).status_code == 201
    before = rows_of(database)
    build, expected = CASES[name]
    answer = client.post("/v1/imports", json=build())
    assert places(answer) == expected
    assert rows_of(database) == before


def test_the_sound_laboratory_is_accepted(client):
    assert client.post("/v1/imports", json=sound()).status_code == 201


AGAIN: dict[str, tuple[list[Any], Any, str]] = {
    "an item": (["items", 0, "capacity"], "5 kN", "/items/0"),
    "a holding": (["composition", 0, "until"], "2026-01-01T00:00:00Z", "/composition/0"),
    "a calibration": (["calibrations", 1, "results", 0, "error"], "0.001", "/calibrations/1"),
    "a check": (["checks", 0, "result"], "fail", "/checks/0"),
}


@pytest.mark.parametrize("name", AGAIN)
def test_the_same_id_with_other_content_is_a_conflict(client, database, name):
    assert client.post("/v1/imports", json=sound()).status_code == 201
    before = rows_of(database)
    path, to, expected = AGAIN[name]
    answer = client.post("/v1/imports", json=changed(*path, to=to))
    assert [one["pointer"] for one in problem_of(answer, 409, "conflict")] == [expected]
    assert rows_of(database) == before


def test_a_second_issued_revision_of_a_recorded_number_is_refused(client, database):
    assert client.post("/v1/imports", json=sound()).status_code == 201
    before = rows_of(database)
    answer = client.post("/v1/calibrations", json=cal("W-1", "WS", "01-10", [], revision=1))
    assert places(answer) == ["/status"]
    assert rows_of(database) == before


def test_every_fault_of_a_collection_is_named_at_once(client):
    made = sound()
    for calibration in made["calibrations"][1:]:
        calibration["uses"][0]["item"] = "GHOST"
    answer = client.post("/v1/imports", json=made)
    assert places(answer) == ["/calibrations/1/uses/0/item", "/calibrations/2/uses/0/item"]
    assert json.loads(answer.text)["type"] == "/problems/unknown-reference"


FAULTS: dict[str, tuple[dict[str, Any], str]] = {
    "an unknown item": ({"fault": force_fault("GHOST")}, "/fault/item"),
    "an unknown item among several": (
        {"faults": [force_fault("REF"), force_fault("GHOST")]},
        "/faults/1/item",
    ),
    "an unknown channel": (
        {"fault": {"item": "BOX", "kind": "readout_gain", "gain": "1.01", "channel": "C"} | OPEN},
        "/fault/channel",
    ),
    "an unknown kind": ({"fault": force_fault() | {"kind": "gremlins"}}, "/fault/kind"),
    "a number of another kind": ({"fault": force_fault(gain="1.1")}, "/fault/gain"),
    "no number": ({"fault": {"item": "REF", "kind": "interval"} | OPEN}, "/fault/bound_rel"),
    "no window": (
        {"fault": {"item": "REF", "kind": "unknown", "last_good_at": None}},
        "/fault/isolated_at",
    ),
    "a window that ends before it begins": (
        {"fault": force_fault(isolated_at="2024-01-01T00:00:00Z")},
        "/fault/isolated_at",
    ),
    "segments that overlap": (
        {
            "fault": {
                "item": "REF",
                "kind": "true_force_relative_error",
                "segments": [
                    {"up_to_kN": "10", "delta_rel": "0"},
                    {"above_kN": "5", "delta_rel": "0.1"},
                ],
            }
            | OPEN
        },
        "/fault/segments/1",
    ),
    "a drift measured before it began": (
        {
            "fault": {
                "item": "REF",
                "kind": "linear_drift",
                "delta_rel": "0.001",
                "measured_at": "2024-01-01T00:00:00Z",
            }
            | OPEN
        },
        "/fault/measured_at",
    ),
    "no fault at all": ({}, "/fault"),
    "a previous recall that does not exist": (
        {"fault": force_fault("REF"), "previous": 77},
        "/previous",
    ),
    "an instant of the records": ({"fault": force_fault("REF"), "as_of": "2025-01-01"}, "/as_of"),
    "an uncertainty that does not grow": (
        {
            "fault": {
                "item": "REF",
                "kind": "understated_uncertainty",
                "U_rel_recorded": "0.0004",
                "U_rel_right": "0.0006",
                "k_right": "3",
            }
            | OPEN
        },
        "/fault/U_rel_right",
    ),
    "a limit that limits nothing": ({"fault": force_fault("REF") | {"only": {}}}, "/fault/only"),
    "a limit to no mode that there is": (
        {"fault": force_fault("REF") | {"only": {"mode": "torsion"}}},
        "/fault/only/mode",
    ),
    "a force without unit": (
        {"fault": {"item": "REF", "kind": "true_force_offset", "delta_force": "2"} | OPEN},
        "/fault/unit",
    ),
    "a force in no unit of force": (
        {
            "fault": {"item": "REF", "kind": "true_force_offset", "delta_force": "2", "unit": "kg"}
            | OPEN
        },
        "/fault/unit",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_bad_fault_is_refused_at_its_place_and_leaves_nothing(client, database, name):
    made = sound()
    made["items"].append({"id": "BOX", "kind": "readout", "channels": ["A", "B"]})
    assert client.post("/v1/imports", json=made).status_code == 201
    before = rows_of(database)
    request, expected = FAULTS[name]
    assert places(client.post("/v1/recalls", json=request)) == [expected]
    assert rows_of(database) == before
