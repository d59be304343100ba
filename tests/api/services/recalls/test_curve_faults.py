"""A fault of a curve: what it leaves out is taken from the certificate, or it is refused."""

from __future__ import annotations

import pytest
from oracle_cases import OPEN, cal, lab, ref, row
from worked_curves import ASSIGNED, LINE, W_1, WRONG

OTHER = LINE | {"coefficients": ["0", "10.1"]}
WHOLE = {"of": "force", "unit": "kN", "coefficients_recorded": ["0", "10"], "range": LINE["range"]}


def recorded(client, *calibrations):
    assert client.post("/v1/imports", json=lab(*calibrations)).status_code == 201


def asked(client, **more):
    fault = {name: one for name, one in (WRONG | {"item": "REF"} | more).items() if one is not None}
    return client.post("/v1/recalls", json={"fault": fault})


def refusal(answer) -> tuple[str, str]:
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    return error["pointer"], error["detail"]


def again(number: str, at: str, **more):
    return cal(number, "REF", at, [], [], external=True, **more)


def test_a_stored_recall_keeps_the_curve_that_it_was_reported_with(client):
    recorded(client, ASSIGNED, W_1)
    stored = asked(client).get_json()
    told = {name: stored["faults"][0][name] for name in WHOLE}
    assert told == WHOLE
    # A later curve inside the window would leave open which one is meant: not for this recall.
    client.post("/v1/imports", json=lab(again("R-2", "06-01", curve=OTHER)))
    assert refusal(asked(client))[0] == "/fault/coefficients_recorded"
    assert client.get("/v1/recalls/1").get_json()["stale"] is not True


@pytest.mark.parametrize(
    ("later", "told"),
    [
        (again("R-2", "06-01", curve=OTHER), "different values"),
        (again("R-2", "06-01"), "different values"),
        (again("R-2", "2024-06-01T10:00:00Z", curve=OTHER), None),  # before R-1, and over
        (again("R-2", "2026-02-01T10:00:00Z", curve=OTHER), None),  # after the window
        (again("R-2", "06-01", curve=LINE), None),  # the same again
        (again("R-2", "06-01", assigns_value=False), None),
    ],
)
def test_one_curve_in_force_in_the_whole_window_is_meant(client, later, told):
    recorded(client, ASSIGNED, W_1, later)
    answer = asked(client)
    if told is None:
        assert answer.get_json()["faults"][0]["coefficients_recorded"] == ["0", "10"]
    else:
        assert told in refusal(answer)[1]
        # The certificate says it, and so does the fault itself.
        named = asked(client, item=None, certificate="R-1").get_json()
        assert named["faults"][0]["coefficients_recorded"] == ["0", "10"]
        assert asked(client, **WHOLE).status_code == 201


def test_a_fault_of_one_mode_means_the_curve_of_that_mode(client):
    # Both modes were calibrated before the window, each with its own curve.
    before = "2024-06-01T10:00:00Z"
    recorded(
        client,
        again("R-T", before, mode="tension", curve=LINE),
        again("R-C", before, mode="compression", curve=OTHER),
        W_1,
    )
    assert "different values" in refusal(asked(client))[1]
    for mode, curve in (("tension", LINE), ("compression", OTHER)):
        stored = asked(client, only={"mode": mode}).get_json()
        assert stored["faults"][0]["coefficients_recorded"] == curve["coefficients"]


def test_a_later_certificate_of_both_modes_takes_the_place_of_one(client):
    recorded(
        client,
        again("R-T", "2024-05-01T10:00:00Z", mode="tension", curve=OTHER),
        again("R-B", "2024-06-01T10:00:00Z", curve=LINE),
        W_1,
    )
    assert asked(client).get_json()["faults"][0]["coefficients_recorded"] == ["0", "10"]


def test_without_a_curve_on_record_the_fault_says_all_of_it(client):
    recorded(client, again("R-1", "2024-12-01T00:00:00Z"), W_1)
    assert "no certificate in force then assigns a curve" in refusal(asked(client))[1]
    part = {name: one for name, one in WHOLE.items() if name != "range"}
    assert refusal(asked(client, **part))[0] == "/fault/range"
    answer = asked(client, **WHOLE).get_json()
    # -0.001 + 0.00005 x 10 and x 30, see `worked_curves`
    (entry,) = answer["affected"]
    assert [one["delta_rel"] for one in entry["points"]] == ["-0.0005", "0.0005"]


@pytest.mark.parametrize(
    ("more", "place", "told"),
    [
        ({"coefficients_right": ["0.0", "10.00", "0"]}, "coefficients_right", "are the right ones"),
        ({"coefficients_right": ["0", "1", "-0.01"]}, "coefficients_right", "whole range"),
        ({"coefficients_right": None}, "coefficients_right", "needs coefficients_right"),
        ({"coefficients_right": ["1"]}, "coefficients_right", "degree 1 to 5"),
        ({"unit": "kg"}, "unit", "no unit of force"),
        ({"delta_rel": "0.001"}, "delta_rel", "takes no delta_rel"),
    ],
)
def test_what_is_no_fault_of_a_curve_is_refused_with_its_place(client, more, place, told):
    recorded(client, ASSIGNED, W_1)
    assert refusal(asked(client, **more))[0] == f"/fault/{place}"
    assert told in refusal(asked(client, **more))[1]


def test_other_units_are_those_of_the_curve(client):
    # 10 kN = 2248.08943... lbf; F = 0.001 d there was used, and 0.001001 d is right: 0.001 always.
    whole = {
        **{"of": "force", "unit": "lbf", "range": {"from": "1000", "to": "9000"}},
        **{"coefficients_recorded": ["0", "1000"], "coefficients_right": ["0", "1001"]},
    }
    recorded(client, W_1)
    (entry,) = asked(client, **whole).get_json()["affected"]
    assert [one["delta_rel"] for one in entry["points"]] == ["0.001", "0.001"]


@pytest.mark.parametrize("name", ["item", "certificate"])
def test_what_is_not_recorded_is_told_before_its_curve(client, name):
    recorded(client, ASSIGNED, W_1)
    pointer, detail = refusal(asked(client, **({"item": None} | {name: "NONE-1"})))
    assert pointer == f"/fault/{name}"
    assert "NONE-1" in detail


def test_a_method_has_no_certificate_to_take_the_curve_from(client):
    recorded(client, cal("C-1", "CI", "02-01", [ref("REF")], [row("10")], method="FP-1"))
    left = asked(client, item=None, method="FP-1", last_good_at=None, isolated_at=None)
    assert refusal(left)[0] == "/fault/coefficients_recorded"
    assert OPEN.keys() <= WRONG.keys()


def test_a_revision_corrected_for_a_wrong_curve_is_cleared_by_the_same_fault(client):
    # -1/11 at 11 kN, which does not end, and a root at 5 kN: see P3 of `worked_curves`.
    results = [row("11", point=1), row("5", point=2)]
    recorded(client, ASSIGNED, cal("C-1", "CI", "02-02", [ref("REF")], results))
    bent = {"of": "deflection", "coefficients_recorded": ["0", "0.1"]}
    bent |= {"coefficients_right": ["0", "0.1", "0.001"]}
    assert asked(client, **bent).status_code == 201
    body = {"by": "Robin Manager", "certificates": [{"certificate": "C-1"}]}
    assert client.post("/v1/recalls/1/revisions", json=body).status_code == 201
    issue = {"issued_at": "2026-02-01", "override": {"by": "R", "reason": "REF has no results"}}
    address = "/v1/certificates/C-1/issue?revision=1"
    assert client.post(address, json=issue).status_code == 200
    found = asked(client, **bent).get_json()
    assert [(one["revision"], one["reason"]) for one in found["cleared"]] == [(1, "corrected")]
    assert found["affected"] == []
    # Another estimate leaves the difference: d = 0.1 F + 0.0015 F^2 at 11 kN has d = 1.1 at
    # (-100 + sqrt(10000 + 6600))/3 = 9.61366...
    other = asked(client, **bent | {"coefficients_right": ["0", "0.1", "0.0015"]}).get_json()
    (entry,) = other["affected"]
    true = (-100 + 16600**0.5) / 3
    left = (true / 11 - 1) - (-1 / 11)
    assert float(entry["points"][0]["delta_rel"]) == pytest.approx(left, rel=1e-9)
