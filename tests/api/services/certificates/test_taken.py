"""What a corrected revision took is kept fault by fault, with what it widened U by.

Worked by hand: of 10 kN, 0.0005 moves an error by 0.005 kN and 0.0003 by 0.003 kN; what is left of
an effect is the effect less what was taken. U grows in squares (JCGM 100:2008, 5.1.2):
2 sqrt(0.001^2 + (10 x 0.0001)^2) = 0.00282842712475 kN.
"""

from __future__ import annotations

import pytest
from oracle_cases import answered, cal, force_fault, lab, ref, row

ISSUE = {"issued_at": "2025-07-15T08:00:00Z"}
ISOLATED = "2025-06-30T12:00:00Z"
TWO = [
    force_fault("REF", isolated_at=ISOLATED, U_delta_rel="0.0002"),
    force_fault("RD", isolated_at=ISOLATED, delta_rel="0.0003"),
]


def reissue(client, recall, *numbers):
    for number in numbers:
        made = client.post(f"/v1/recalls/{recall}/revisions/{number}", json={"by": "R. Manager"})
        assert made.status_code == 201, made.text
        address = f"/v1/certificates/{number}/issue?revision={made.get_json()['revision']}"
        issued = client.post(address, json=answered(ISSUE))
        assert issued.status_code == 200, issued.text
        yield made.get_json()


def listed(client, faults):
    found = client.post("/v1/recalls", json={"faults": faults, "preview": True}).get_json()
    return {
        one["certificate"]: (name, [point["delta_rel"] for point in one.get("points", ())])
        for name in ("affected", "cleared")
        for one in found[name]
        if one["revision"] == 1 and one.get("reason") != "window"
    }


def test_of_several_faults_it_is_kept_what_each_of_them_took(client, once):
    once(bring_two_faults)
    (both, first, second) = reissue(client, 1, "B-1", "R-1", "D-1")
    # B-1 used both: 0.0005 + 0.0003 = 0.0008 of 10 kN.
    assert both["results"][0]["error"] == "-0.012"
    (taken,) = both["fault_corrections"]
    assert [one["delta_rel"] for one in taken["points"]] == ["0.0008"]
    assert [one[0]["delta_rel"] for one in taken["by_fault"]] == ["0.0005", "0.0003"]
    assert [one[0].get("u_rel") for one in taken["by_fault"]] == ["0.0001", None]
    for one, alone in ((first, ["0.0005", "0"]), (second, ["0", "0.0003"])):
        (kept,) = one["fault_corrections"]
        assert [points[0]["delta_rel"] for points in kept["by_fault"]] == alone
    # Both again, each alone, and one with another size: 0.0007 - 0.0005.
    gone = {"B-1": ("cleared", []), "R-1": ("cleared", []), "D-1": ("cleared", [])}
    assert listed(client, TWO) == gone
    assert listed(client, TWO[:1]).items() >= {"B-1": gone["B-1"], "R-1": gone["R-1"]}.items()
    assert listed(client, TWO[1:]).items() >= {"B-1": gone["B-1"], "D-1": gone["D-1"]}.items()
    larger = listed(client, [TWO[0] | {"delta_rel": "0.0007"}])
    assert larger["B-1"] == larger["R-1"] == ("affected", ["0.0002"])


# u^2 that lacked: (0.0005/2)^2 - (0.0003/2)^2 = 0.0002^2; 2 sqrt(0.001^2 + 0.002^2) kN.
UNSURE = {
    "kind": "understated_uncertainty",
    "U_rel_recorded": "0.0003",
    "U_rel_right": "0.0005",
}
LOAD = {"kind": "indicates_high", "indication_rel": "0.0002"}


@pytest.mark.parametrize(
    ("other", "error", "U", "first_alone"),
    # 1/(1 + 0.0002) - 1 = -0.000199960007998...: -0.004 - (0.0005 - 0.00019996) x 10.
    # What was taken for one thing counts whatever its kind: 0.0005 - (0.0005 - 0.00019996).
    [
        (LOAD, "-0.00700039992001600", None, ("affected", ["0.000199960007998"])),
        (UNSURE, "-0.009", "0.004472135955", ("cleared", [])),
    ],
)
def test_two_faults_of_one_item_are_each_corrected_once(client, once, other, error, U, first_alone):
    first = force_fault("REF", isolated_at=ISOLATED)
    second = {name: value for name, value in first.items() if name not in ("kind", "delta_rel")}
    faults = [first, second | other]
    once(bring, faults)
    (made,) = reissue(client, 1, "C-1")
    result = made["results"][0]
    assert result["error"].startswith(error[:14])
    assert U is None or result["U"] == U
    assert listed(client, faults) == {"C-1": ("cleared", [])}
    assert listed(client, faults[:1]) == {"C-1": first_alone}
    assert listed(client, faults[::-1]) == {"C-1": ("cleared", [])}


def test_what_was_taken_for_a_time_that_is_now_two_is_counted_where_it_was_used(client, once):
    whole = force_fault("REF", isolated_at=ISOLATED)
    once(bring, [whole])
    list(reissue(client, 1, "C-1"))
    # C-1 used it on 1 February, in the second of the two windows.
    early = whole | {"isolated_at": "2025-01-20T00:00:00Z"}
    late = whole | {"last_good_at": "2025-01-20T00:00:00Z"}
    assert listed(client, [early, late]) == {"C-1": ("cleared", [])}
    larger = listed(client, [early, late | {"delta_rel": "0.0008"}])
    assert larger["C-1"] == ("affected", ["0.0003"])


def bring(client, faults):
    one = cal("C-1", "I-1", "02-01", [ref("REF")], [row(error="-0.004")])
    assert client.post("/v1/imports", json=lab(one)).status_code == 201
    made = client.post("/v1/recalls", json={"faults": faults})
    assert made.status_code == 201, made.text


def bring_two_faults(client):
    pairs = (("B-1", ["REF", "RD"]), ("R-1", ["REF"]), ("D-1", ["RD"]))
    calibrations = [
        cal(number, f"I-{number}", "02-01", [ref(item) for item in used], [row(error="-0.004")])
        for number, used in pairs
    ]
    kinds = {"RD": "reference_standard"}
    assert client.post("/v1/imports", json=lab(*calibrations, kinds=kinds)).status_code == 201
    assert client.post("/v1/recalls", json={"faults": TWO}).status_code == 201


def test_a_sum_that_later_records_changed_is_not_taken_apart(client, once):
    once(bring_two_faults)
    gone = {"use": None, "by": "R. Manager", "reason": "it stood beside the rig"}
    removed = client.post("/v1/certificates/B-1/uses/1/corrections", json=gone)
    assert removed.status_code == 201, removed.text
    refused = client.post("/v1/recalls/1/revisions/B-1", json={"by": "R. Manager"})
    assert refused.status_code == 409
    assert '"previous"' in refused.get_json()["errors"][0]["remedy"]
    assert client.get("/v1/certificates/B-1?revision=1").status_code == 404


def test_an_understated_uncertainty_is_corrected_once(client, once):
    fault = force_fault("REF", delta_rel="0", U_delta_rel="0.0002", isolated_at=ISOLATED)
    once(bring_uncertain, fault)
    (made,) = reissue(client, 1, "C-1")
    assert made["results"][0]["U"] == "0.00282842712475"
    (point,) = made["fault_corrections"][0]["points"]
    assert (point["delta_rel"], point["u_rel"]) == ("0", "0.0001")
    assert listed(client, [fault]) == {"C-1": ("cleared", [])}
    wider = listed(client, [fault | {"U_delta_rel": "0.0004"}])
    assert wider == {"C-1": ("affected", ["0"])}


@pytest.mark.parametrize("U", [{"U": "0.002"}, {"U_rel_pct": "0.02"}])
def test_U_of_a_relative_result_is_told_from_percent_and_from_the_unit(client, once, U):
    fault = force_fault("REF", delta_rel="0", U_delta_rel="0.0002", isolated_at=ISOLATED)
    result = {"point": 1, "stage": "single", "applied": "10", "unit": "kN"}
    once(bring_uncertain, fault, result | {"error_rel_pct": "-0.04"} | U)
    (made,) = reissue(client, 1, "C-1")
    # 2 sqrt(0.01^2 + (100 x 0.0001)^2) %
    assert made["results"][0]["U_rel_pct"] == "0.0282842712475"
    assert made["fault_corrections"][0]["points"][0]["u_rel"] == "0.0001"
    assert listed(client, [fault]) == {"C-1": ("cleared", [])}


def bring_uncertain(client, fault, result=None):
    one = cal("C-1", "I-1", "02-01", [ref("REF")], [result or row(error="-0.004")])
    assert client.post("/v1/imports", json=lab(one)).status_code == 201
    assert client.post("/v1/recalls", json={"fault": fault}).status_code == 201
