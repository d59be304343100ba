"""What contradicts itself is refused with its place and the remedy, and nothing of it is stored.

What is refused: DESIGN of recalls, shares above 0 and at most 1; a void not before its calibration;
an uncertainty that was understated grows; a limit that limits something; a force has a unit; a
correction has a person and a reason; nobody chooses the instant that a recall is of.
"""

from __future__ import annotations

import pytest
from oracle_cases import OPEN, cal, force_fault, lab, part, ref

UNDERSTATED = {"item": "REF", "kind": "understated_uncertainty", "U_rel_recorded": "0.001"} | OPEN
OFFSET = {"item": "REF", "kind": "true_force_offset", "delta_force": "5"} | OPEN
CHECK = {"id": "CHK", "item": "REF", "at": "2025-03-01T00:00:00Z", "result": "pass"}
VOIDED = {"status": "voided", "void_reason": "lost"}
NO_PERSON, NO_REASON = {"reason": "as the log has it"}, {"by": "M. Tarn"}


@pytest.fixture
def recorded(client):
    """C-1 of CI by REF, CELL in RIG, and a check."""
    records = lab(
        cal("C-1", "CI", "04-01", [ref("REF")]),
        composition=[part("RIG", "CELL", "1")],
        checks=[CHECK],
        kinds={"RIG": "force_machine", "CELL": "working_standard"},
    )
    assert client.post("/v1/imports", json=records).status_code == 201
    return client


def state(client):
    names = ("items/REF", "items/RIG", "certificates/C-1", "recalls", "checks", "compositions")
    return [client.get(f"/v1/{name}").get_json() for name in names]


def refused(client, address, body, status=422):
    """The one fault that is named; nothing may have changed."""
    before = state(client)
    answer = client.post(address, json=body)
    assert answer.status_code == status, answer.text
    (error,) = answer.get_json()["errors"]
    assert error["detail"]
    assert error["remedy"]
    assert state(client) == before
    return error.get("pointer", error.get("parameter"))


@pytest.mark.parametrize("share", ["0", "-0.1", "1.001", 2])
def test_a_share_is_above_0_and_at_most_1(recorded, share):
    held = part("RIG", "CI", share)
    assert refused(recorded, "/v1/compositions", held) == "/share"
    assert refused(recorded, "/v1/imports", {"composition": [held]}) == "/composition/0/share"
    corrected = NO_PERSON | NO_REASON | {"share": share}
    assert refused(recorded, "/v1/compositions/1/corrections", corrected) == "/share"


def test_nothing_is_voided_before_it_was_performed(recorded):
    early = "2025-03-31T23:59:59Z"
    voided = cal("C-2", "CI", "04-01", [ref("REF")], voided_at=early, **VOIDED)
    assert refused(recorded, "/v1/calibrations", voided) == "/voided_at"
    sent = {"calibrations": [voided]}
    assert refused(recorded, "/v1/imports", sent) == "/calibrations/0/voided_at"
    etag = recorded.get("/v1/certificates/C-1").headers["ETag"]
    body = {"reason": "lost", "voided_at": early}
    answer = recorded.post("/v1/certificates/C-1/void", json=body, headers={"If-Match": etag})
    (error,) = answer.get_json()["errors"]
    assert (answer.status_code, error["pointer"], bool(error["remedy"])) == (
        422,
        "/voided_at",
        True,
    )
    assert recorded.get("/v1/certificates/C-1").get_json()["status"] == "issued"


@pytest.mark.parametrize(
    "more", [{"U_rel_right": "0.001"}, {"U_rel_right": "0.0015", "k_right": "3"}]
)
def test_an_understated_uncertainty_grows(recorded, more):
    # 0.0015/3 = 0.0005 is 0.001/2.
    assert refused(recorded, "/v1/recalls", {"fault": UNDERSTATED | more}) == "/fault/U_rel_right"


@pytest.mark.parametrize(
    ("only", "place"),
    [
        ({}, ""),
        ({"directions": []}, "/directions"),
        ({"roles": []}, "/roles"),
        ({"mode": "tension", "roles": []}, "/roles"),
        ({"mode": None}, "/mode"),
        ({"directions": ["sideways"]}, "/directions/0"),
    ],
)
def test_a_limit_limits_something(recorded, only, place):
    fault = force_fault(only=only)
    assert refused(recorded, "/v1/recalls", {"fault": fault}) == f"/fault/only{place}"


@pytest.mark.parametrize("unit", [{}, {"unit": "%"}, {"unit": "m"}])
def test_an_offset_has_a_unit_of_force(recorded, unit):
    assert refused(recorded, "/v1/recalls", {"fault": OFFSET | unit}) == "/fault/unit"


@pytest.mark.parametrize(
    ("address", "body"),
    [
        ("certificates/C-1/uses", {"use": ref("CELL")}),
        ("certificates/C-1/uses/0/corrections", {"use": ref("CELL")}),
        ("certificates/C-1/uses/0/corrections", {"use": None}),
        ("compositions/1/corrections", {"share": "0.5"}),
        ("checks/CHK/corrections", {"result": "fail"}),
        ("checks/CHK/corrections", {"withdrawn": True}),
        ("identity-swaps", {"items": ["REF", "CELL"], "from": "2025-01-01T00:00:00Z"}),
    ],
)
def test_a_correction_has_a_person_and_a_reason(recorded, address, body):
    assert refused(recorded, f"/v1/{address}", body | NO_PERSON) == "/by"
    assert refused(recorded, f"/v1/{address}", body | NO_REASON) == "/reason"
    empty = body | NO_PERSON | {"by": " "}
    assert refused(recorded, f"/v1/{address}", empty) == "/by"


def test_the_instant_that_a_recall_is_of_is_not_chosen(recorded):
    past = "2025-01-01T00:00:00Z"
    fault = {"fault": force_fault()}
    assert refused(recorded, "/v1/recalls", fault | {"as_of": past}) == "/as_of"
    assert refused(recorded, "/v1/recalls", {"fault": force_fault(as_of=past)}) == "/fault/as_of"
    assert refused(recorded, f"/v1/recalls?as_of={past}", fault) == "as_of"
