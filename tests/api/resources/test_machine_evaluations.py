"""Testing machines over HTTP; the figures have their arithmetic in the tests of the rules."""

from __future__ import annotations

import pytest

URL = "/v1/machine-evaluations"
TABLES = [{"id": "iso_7500_1_2018", "case": "increasing"}, "astm_e4"]


def series(true, zero="0.01", **more):
    readings = [{"indicated": i, "applied": t} for i, t in zip(("20", "100"), true, strict=True)]
    return {"ascending": readings, "zero_after": zero, **more}


THREE = [series(("19.90", "99.8"), "0.02"), series(("20.00", "99.9")), series(("20.04", "100.0"))]
ASKED = {"unit": "kN", "resolution": "0.01", "series": THREE, "class_tables": TABLES}


def asked(client, status=200, **changes):
    sent = {name: part for name, part in {**ASKED, **changes}.items() if part is not None}
    answer = client.post(URL, json=sent)
    assert answer.status_code == status, answer.text
    return answer.get_json()


def test_a_verification_has_figures_and_classes_at_each_point(client):
    found = asked(client, reference={"U_rel_pct": "0.12"})
    low, high = found["points"]
    assert (low["held"], high["held"]) == ("20", "100")
    assert low["figures"]["accuracy"] == "0.1001001001"  # 0.02/19.98, 12 digits
    assert low["figures"]["zero"] == "0.02"
    assert low["reasons"] == {"reversibility": "no reading at falling force"}
    assert low["contributions"]["reference"] == "0.06"
    assert [one["meets"] for one in low["classes"]] == ["1", "verified"]
    iso, e4 = found["class_reports"]
    assert (iso["case"], iso["table"]["edition"]) == ("increasing", "ISO 7500-1:2018")
    assert [one["begins"] for one in iso["ranges"]] == [None, "20", "20", "20"]
    assert "from memory: verify" in iso["notice"]
    assert e4["ranges"] == [{"name": "verified", "begins": "20", "reason": None}]


def test_indications_in_another_unit_are_the_same_machine(client):
    def in_newton(one):
        rows = [r | {"indicated": r["indicated"] + "000"} for r in one["ascending"]]
        return one | {"ascending": rows, "zero_after": str(float(one["zero_after"]) * 1000)}

    other = asked(
        client, indication_unit="N", resolution="10", series=[in_newton(one) for one in THREE]
    )
    same = asked(client)
    assert [one["held"] for one in other["points"]] == ["20000", "100000"]
    for one, two in zip(other["points"], same["points"], strict=True):
        assert (one["figures"], one["errors"]) == (two["figures"], two["errors"])
    assert other["class_reports"][1]["ranges"][0]["begins"] == "20000"


def test_true_forces_may_be_held(client):
    rows = [[{"applied": "20", "indicated": i}] for i in ("20.02", "19.98", "20.06")]
    made = [{"ascending": one, "descending": one, "zero_after": "0"} for one in rows]
    (point,) = asked(client, held="applied", series=made)["points"]
    assert (point["figures"]["accuracy"], point["figures"]["repeatability"]) == ("0.1", "0.4")
    assert point["figures"]["reversibility"] == "0"


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"unit": "kg"}, "/unit"),
        ({"indication_unit": "mV/V"}, "/indication_unit"),
        ({"held": "neither"}, "/held"),
        ({"series": []}, "/series"),
        ({"series": [THREE[0], {"ascending": THREE[1]["ascending"][:1]}]}, "/series/1/ascending"),
        ({"series": [series(("0", "99"))]}, "/series/0/ascending/0/applied"),
        (
            {"series": [{"ascending": [{"indicated": "0", "applied": "1"}]}]},
            "/series/0/ascending/0/indicated",
        ),
        (
            {"series": [{"ascending": [{"indicated": "2", "applied": "2"}] * 2}]},
            "/series/0/ascending/1/indicated",
        ),
        (
            {"series": [THREE[0] | {"descending": [{"indicated": "50", "applied": "50"}]}]},
            "/series/0/descending",
        ),
        ({"class_tables": ["none such"]}, "/class_tables/0"),
        ({"class_tables": [{"id": "astm_e4", "case": "x"}]}, "/class_tables/0/case"),
        ({"class_tables": [{"id": "astm_e4", "factor": "2"}]}, "/class_tables/0/factor"),
        ({"resolution": "0"}, "/resolution"),
    ],
)
def test_what_cannot_be_evaluated_is_refused_where_it_is_wrong(client, changes, pointer):
    problem = asked(client, 422, **changes)
    assert pointer in [one["pointer"] for one in problem["errors"]]
    assert all(one["remedy"] for one in problem["errors"])
