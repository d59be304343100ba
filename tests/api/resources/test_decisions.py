"""Decisions over HTTP.

Expected limits come from ILAC-G8:09/2019 (read: nominal 10, limits 9 and 11, U 0.2), probabilities
from the published check values or from the normal distribution, worked out here.
"""

from __future__ import annotations

import json
from decimal import Decimal
from math import erf, erfc, sqrt
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import update

from api.rules import ENGINE_VERSION
from api.rules.units import convert
from api.schemas.decision_answers import DecisionSchema
from api.store.tables import StoredDecision

CHECKS = Path(__file__).parents[3] / "fixtures" / "published" / "decision_checks.json"
NOMINAL_10 = {
    "value": "10.8",
    "U": "0.2",
    "unit": "kN",
    "limits": {"lower": "9", "upper": "11"},
    "rule": "guard_U",
}
ORDER = [
    "id",
    "verdict",
    "limits",
    "acceptance",
    "guard_band",
    "conformance_probability",
    "specific_risk",
    "tur",
    "capability",
    "statement",
    "value",
    "U",
    "k",
    "unit",
    "reported",
    "rule",
    "engine_version",
]


def published(name: str) -> dict:
    """One check value, its numbers with their own digits."""
    checks = json.loads(CHECKS.read_text(encoding="utf-8"), parse_float=Decimal)
    (found,) = [check for check in checks if check["id"] == name]
    return found


def decided(client, **changes) -> dict:
    """Answer to the example with changes, not stored; None takes a field away."""
    request = {k: v for k, v in {**NOMINAL_10, "store": False, **changes}.items() if v is not None}
    answer = client.post("/v1/decisions", json=request)
    assert answer.status_code == 200, answer.text
    return json.loads(answer.text)


def refused(client, **changes) -> dict:
    """The one fault of the example with changes."""
    request = {k: v for k, v in {**NOMINAL_10, **changes}.items() if v is not None}
    answer = client.post("/v1/decisions", json=request)
    assert answer.status_code == 422, answer.text
    (issue,) = answer.get_json()["errors"]
    assert issue["remedy"]
    return issue


def test_a_decision_is_answered_in_the_agreed_shape_and_order(client):
    made = client.post("/v1/decisions", json=NOMINAL_10)
    body = json.loads(made.text)
    assert made.status_code == 201
    assert made.headers["Location"] == f"/v1/decisions/{body['id']}"
    assert list(body) == ORDER
    assert body["verdict"] == "pass"
    assert body["limits"] == {"lower": "9", "upper": "11"}
    assert body["acceptance"] == {"lower": "9.2", "upper": "10.8"}
    assert (body["guard_band"], body["tur"]) == ("0.2", "5")
    assert body["rule"] == {"id": "guard_U", "version": 1}
    assert body["reported"] == {"value": "10.8", "U": "0.2"}
    assert body["engine_version"] == ENGINE_VERSION
    # two standard uncertainties from the upper limit: Q(2), the lower limit is 18 away
    assert body["specific_risk"]["consumer"] == pytest.approx(erfc(2 / sqrt(2)) / 2, rel=1e-12)
    assert body["conformance_probability"] == body["specific_risk"]["producer"]


def test_the_statement_names_results_specification_and_rule(client):
    body = decided(client, results="results 1 to 5", specification="drawing 7, issue B")
    for words in ("results 1 to 5", "drawing 7, issue B", "guard_U, version 1", "w = 0.2 kN"):
        assert words in body["statement"]


def test_a_stored_decision_keeps_the_request_and_can_be_read_again(client):
    made = client.post("/v1/decisions", json={**NOMINAL_10, "value": 10.80}).get_json()
    shown = client.get(f"/v1/decisions/{made['id']}").get_json()
    assert {key: shown[key] for key in made} == made
    assert shown["request"]["value"] == "10.8"
    assert shown["request"]["rule"] == {"id": "guard_U"}
    assert shown["recorded_at"].endswith("Z")


def test_an_unstored_decision_has_no_id_and_leaves_no_trace(client):
    assert decided(client)["id"] is None
    assert client.get("/v1/decisions").get_json()["items"] == []
    assert client.get("/v1/decisions/1").status_code == 404


def test_decisions_are_listed_latest_first_in_pages_and_by_verdict(client):
    ids = [
        client.post("/v1/decisions", json={**NOMINAL_10, "value": value}).get_json()["id"]
        for value in ("10.8", "10.9", "10")
    ]
    first = client.get("/v1/decisions?limit=2").get_json()
    rest = client.get(first["next"]).get_json()
    assert [entry["id"] for entry in first["items"] + rest["items"]] == ids[::-1]
    assert rest["next"] is None
    (failed,) = client.get("/v1/decisions?verdict=fail").get_json()["items"]
    assert (failed["id"], failed["value"], failed["unit"]) == (ids[1], "10.9", "kN")


@pytest.mark.parametrize("place", range(5))
def test_guarded_limits_are_those_of_the_published_example(client, place):
    check = published("G8-NOMINAL10")  # ILAC-G8:09/2019, read
    factor = str(check["inputs"]["r"][place])
    body = decided(client, rule={"guard": {"basis": "U", "factor": factor}})
    found = [Decimal(body["acceptance"][side]) for side in ("lower", "upper")]
    assert found == [check["expected"][name][place] for name in ("AL", "AU")]


def test_a_negative_quantity_with_an_upper_limit_conforms_as_published(client):
    check = published("J106-ZENER")  # JCGM 106:2012, from memory
    given = check["inputs"]
    body = decided(
        client,
        value=str(given["y_V"]),
        U=str(2 * given["u_V"]),
        unit="V",
        limits={"upper": str(given["TU_V"])},
        rule="simple",
    )
    expected = float(check["expected"]["p_c"])
    assert body["conformance_probability"] == pytest.approx(expected, abs=0.005)
    assert (body["limits"]["lower"], body["tur"]) == (None, None)


def test_the_five_deviations_of_the_published_micrometer_are_decided_as_printed(client):
    check = published("G8-BIN-MICROM")  # read
    limit = check["inputs"]["MPE"]
    verdicts = [
        decided(
            client,
            value=deviation,
            U=check["inputs"]["U"],
            unit="mm",
            limits={"lower": f"-{limit}", "upper": limit},
        )["verdict"]
        for deviation in check["inputs"]["deviations"]
    ]
    assert verdicts == check["expected"]["binary_guarded"]


def test_global_risks_for_a_prior_are_those_of_the_published_case(client):
    check = published("RP1342-CRPR")  # NASA RP-1342, read
    body = decided(
        client,
        value="0",
        U=str(2 * check["inputs"]["sigma_m"]),
        limits={"lower": "-2", "upper": "2"},
        rule="simple",
        prior={"mean": "0", "sd": "1"},
    )
    risk = body["global_risk"]
    assert risk["consumer"] == pytest.approx(float(check["expected"]["CR"]), abs=1e-12)
    assert risk["producer"] == pytest.approx(float(check["expected"]["PR"]), abs=1e-12)
    # prior variance 1, measurement variance 1/4: the posterior variance is 1/5
    assert body["posterior"]["sd"] == pytest.approx(sqrt(0.2), rel=1e-12)


def test_limits_in_another_unit_are_converted_exactly(client):
    # 1 lbf = 4.4482216152605 N exactly (0.45359237 kg x 9.80665 m/s2)
    limits = {"lower": {"value": "9000", "unit": "N"}, "upper": {"value": "2500", "unit": "lbf"}}
    on_it = decided(client, value="11.12055403815125", limits=limits, rule="simple")
    assert on_it["limits"] == {"lower": "9", "upper": "11.12055403815125"}
    assert on_it["verdict"] == "pass"
    above = decided(client, value="11.12055403815126", limits=limits, rule="simple")
    assert above["verdict"] == "fail"


def test_a_limit_without_end_in_the_unit_of_the_value_still_decides_exactly(client):
    # 1 kN = 224.8089430997104829... lbf, printed with 12 significant digits
    limits = {"upper": {"value": "1", "unit": "kN"}}
    below, above = (
        decided(client, value=value, unit="lbf", limits=limits, rule="simple")
        for value in ("224.80894309971048", "224.80894309971049")
    )
    assert (below["verdict"], above["verdict"]) == ("pass", "fail")
    assert below["limits"]["upper"] == "224.8089431"


def test_numbers_keep_their_digits_and_a_result_on_the_limit_is_inside(client):
    body = decided(
        client, value="0.30", U="0.10", limits={"upper": "0.40"}, rule="guard_U", unit="N"
    )
    # in binary 0.40 - 0.10 < 0.30
    assert (body["verdict"], body["value"]) == ("pass", "0.30")
    assert body["acceptance"]["upper"] == "0.30"


def test_what_is_reported_is_rounded_last(client):
    body = decided(client, value="10.81234", U="0.0121")
    assert body["reported"] == {"value": "10.812", "U": "0.013"}
    assert (body["value"], body["U"]) == ("10.81234", "0.0121")


def test_a_nominal_with_a_tolerance_gives_the_limits(client):
    body = decided(client, limits=None, nominal="10", tolerance={"lower": "-0.5", "upper": "1"})
    assert body["limits"] == {"lower": "9.5", "upper": "11"}
    terms = {"terms": [{"kind": "percent_of_nominal", "value": "1"}], "combine": "rss"}
    body = decided(client, limits=None, nominal="10", tolerance=terms)
    assert [Decimal(body["limits"][side]) for side in ("lower", "upper")] == [
        Decimal("9.9"),
        Decimal("10.1"),
    ]


def test_a_relative_uncertainty_is_a_share_of_the_value(client):
    body = decided(client, value="-20", U=None, U_rel_pct="0.5", limits={"upper": "0"})
    assert Decimal(body["U"]) == Decimal("0.1")


def test_degrees_of_freedom_make_the_risk_student_t(client):
    body = decided(client, value="11", dof="1", limits={"upper": "11.1"}, rule="simple")
    # one standard uncertainty from the limit; Student's t with 1 degree: 1/2 - atan(1)/pi = 1/4
    assert body["specific_risk"]["consumer"] == pytest.approx(0.25, rel=1e-12)
    assert body["dof"] == "1"


def test_an_empty_acceptance_interval_says_why_nothing_passes(client):
    body = decided(client, value="10", U="1.5")
    assert body["verdict"] == "fail"
    assert body["acceptance"]["empty"] is True
    assert "no result can pass" in body["acceptance"]["reason"]
    assert body["acceptance"]["reason"] in body["statement"]


def test_without_uncertainty_there_is_no_ratio_and_no_number_that_json_lacks(client):
    body = decided(client, U="0", rule="simple")
    assert (body["tur"], body["specific_risk"]["consumer"]) == (None, 0.0)


def test_a_guard_band_that_differs_is_given_for_both_sides(client):
    width = {"lower": "0.1", "upper": "0.3"}
    body = decided(client, rule={"guard": {"basis": "absolute", "width": width}, "zones": 4})
    assert body["guard_band"] == width
    assert body["verdict"] == "conditional_pass"
    assert body["rule"] == {"guard": {"basis": "absolute", "width": width}, "zones": 4}


def test_a_recorded_specification_gives_limits_and_its_name(client):
    terms = [
        {"kind": "percent_of_reading", "value": "0.5"},
        {"kind": "percent_of_full_scale", "value": "0.1"},
    ]
    specification = {
        "id": "GAUGE",
        "title": "Force gauges",
        "source": "from memory, verify",
        "unit": "N",
        "full_scale": "50000",
        "tolerance": {"terms": terms},
    }
    assert client.post("/v1/specifications", json=specification).status_code == 201
    body = decided(client, value="20", U="0.01", limits=None, nominal="20", tolerance="GAUGE")
    # 0.5 % of 20 kN is 0.1 kN, 0.1 % of 50 kN is 0.05 kN
    assert [Decimal(limit) for limit in body["limits"].values()] == [
        Decimal("19.85"),
        Decimal("20.15"),
    ]
    assert "Force gauges" in body["statement"]
    error = decided(
        client, value="0.15", U="0", limits=None, tolerance="GAUGE", reading="20", rule="simple"
    )
    assert error["verdict"] == "pass"
    assert [Decimal(limit) for limit in error["limits"].values()] == [
        Decimal("-0.15"),
        Decimal("0.15"),
    ]


def test_a_rule_may_be_named_in_a_given_version(client):
    for factor in ("0.5", "2"):
        rule = {"id": "ours", "guard": {"basis": "U", "factor": factor}}
        assert client.post("/v1/decision-rules", json=rule).status_code == 201
    assert decided(client, rule="ours")["rule"] == {"id": "ours", "version": 2}
    old = decided(client, rule={"id": "ours", "version": 1})
    assert (old["rule"]["version"], old["acceptance"]["upper"]) == (1, "10.90")


@pytest.mark.parametrize(
    ("changes", "pointer", "value"),
    [
        ({"value": "ten"}, "/value", "ten"),
        ({"value": None}, "/value", None),
        ({"U": "-0.1"}, "/U", "-0.1"),
        ({"U": None}, "/U", None),
        ({"U_rel_pct": "1"}, "/U_rel_pct", "1"),
        ({"U": None, "U_rel_pct": "1", "value": "0"}, "/U_rel_pct", "1"),
        ({"k": "0"}, "/k", "0"),
        ({"dof": "0.5"}, "/dof", "0.5"),
        ({"unit": "kg"}, "/unit", "kg"),
        ({"unit": "kn"}, "/unit", "kn"),
        ({"limits": {"lower": "12", "upper": "11"}}, "/limits/lower", "12"),
        ({"limits": {}}, "/limits", None),
        ({"limits": {"upper": {"value": "1", "unit": "mm"}}}, "/limits/upper/unit", "mm"),
        ({"limits": {"upper": {"value": "1", "unit": "ton"}}}, "/limits/upper/unit", "ton"),
        ({"limits": None}, "/limits", None),
        ({"limits": None, "tolerance": "0.5"}, "/nominal", None),
        ({"tolerance": "0.5"}, "/tolerance", "0.5"),
        ({"limits": None, "nominal": "1", "tolerance": "-0.5"}, "/tolerance", "-0.5"),
        ({"limits": None, "nominal": "1", "tolerance": "no such"}, "/tolerance", "no such"),
        (
            {
                "limits": None,
                "nominal": "1",
                "tolerance": {"terms": [{"kind": "percent_of_full_scale", "value": "1"}]},
            },
            "/tolerance/terms/0/kind",
            "percent_of_full_scale",
        ),
        (
            {"limits": None, "nominal": "1", "tolerance": {"lower": "1", "upper": "-1"}},
            "/tol",
            None,
        ),
        ({"rule": "no such"}, "/rule", "no such"),
        ({"rule": {"id": "guard_U", "version": 9}}, "/rule", "guard_U"),
        ({"rule": 7}, "/rule", "7"),
        ({"rule": {"guard": {"basis": "U"}}}, "/rule/guard/factor", None),
        ({"rule": {"guard": {"basis": "U", "factor": "-1"}, "zones": 4}}, None, "-1"),
        ({"limits": {"upper": "11"}, "rule": {"guard": {"basis": "rds"}}}, None, "rds"),
        ({"rule": {"guard": {"basis": "global_risk", "target": "0.02"}}}, None, "global_risk"),
        ({"prior": {"mean": "10", "sd": "-1"}}, "/prior/sd", "-1"),
        ({"prior": {"mean": "10"}}, "/prior/sd", None),
        ({"prior": {"reliability": "1"}}, "/prior/reliability", "1"),
        ({"prior": {"reliability": "0.9", "sd": "1"}}, "/prior/sd", "1"),
        ({"prior": {"reliability": "0.999"}, "U": "2"}, "/prior/reliability", "0.999"),
        ({"prior": {"reliability": "0.9", "mean": "12"}}, "/prior/mean", "12"),
        ({"prior": {"reliability": "0.9"}, "limits": {"upper": "11"}}, "/prior/mean", None),
        ({"prior": {"mean": {"value": "1", "unit": "V"}, "sd": "1"}}, "/prior/mean/unit", "V"),
        ({"U": {"value": "1", "unit": "mm"}}, "/U/unit", "mm"),
        ({"U": {"value": "-1", "unit": "N"}}, "/U", None),
        ({"U": {"value": "1"}}, "/U/unit", None),
        ({"tolerence": "1"}, "/tolerence", "1"),
    ],
)
def test_what_is_wrong_is_named_with_field_value_and_remedy(client, changes, pointer, value):
    issue = refused(client, **changes)
    assert issue["pointer"].startswith("/rule/guard/" if pointer is None else pointer)
    assert issue.get("value") == value


def test_a_prior_from_an_observed_rate_takes_the_measurement_error_out(client):
    # 95.45 % inside +-1 is an observed sd of 0.5; with u = 0.3 the items scatter with 0.4
    rate = str(erf(sqrt(2)))
    body = decided(client, U="0.6", rule="simple", prior={"reliability": rate})
    assert body["prior"]["mean"] == "10.0"
    assert float(body["prior"]["sd"]) == pytest.approx(0.4, rel=1e-9)
    assert body["prior"]["reliability"] == rate
    assert body["global_risk"]["accepted"] == pytest.approx(erf(sqrt(2)), abs=1e-12)
    stated = decided(client, U="0.6", rule="simple", prior={"mean": "10", "sd": "0.4"})
    assert stated["posterior"]["mean"] == pytest.approx(body["posterior"]["mean"], rel=1e-9)
    assert stated["prior"] == {"mean": "10", "sd": "0.4"}


@pytest.mark.parametrize("limits", [{"lower": "9", "upper": "11"}, {"upper": "11"}])
def test_a_guard_band_is_solved_for_a_global_risk_with_a_rate_for_a_prior(client, limits):
    rule = {"guard": {"basis": "global_risk", "target": "0.002"}, "zones": 4}
    prior = {"reliability": "0.95", "mean": "10.1"}
    body = decided(client, U="0.6", rule=rule, limits=limits, prior=prior)
    assert body["global_risk"]["consumer"] == pytest.approx(0.002, abs=1e-12)
    assert "the mean 10.1 kN and the standard deviation" in body["statement"]


def test_a_rate_of_one_limit_decides_as_the_spread_that_it_means(client):
    # z(0.98) = 2.05374891 (tables): the observed sd is 0.48691444, less u = 0.1 it is 0.47653507.
    asked = {"value": "0.994", "U": "0.2", "limits": {"upper": "1"}}
    asked["rule"] = {"guard": {"basis": "global_risk", "target": "0.0025"}}
    rated = decided(client, **asked, prior={"reliability": "0.98", "mean": "0"})
    stated = decided(client, **asked, prior={"sd": "0.476535068529779", "mean": "0"})
    assert float(rated["prior"]["sd"]) == pytest.approx(0.476535068529779, rel=1e-14)
    assert [body["verdict"] for body in (rated, stated)] == ["fail", "fail"]


def test_quantities_in_other_units_are_converted_with_the_value(client):
    expected = decided(
        client,
        limits=None,
        nominal="10",
        tolerance={"terms": [{"kind": "percent_of_full_scale", "value": "5"}]},
        full_scale="20",
        prior={"mean": "10", "sd": "0.5"},
    )
    body = decided(
        client,
        U={"value": "200", "unit": "N"},
        limits=None,
        nominal={"value": "10000", "unit": "N"},
        tolerance={"terms": [{"kind": "percent_of_full_scale", "value": "5"}]},
        full_scale={"value": "0.02", "unit": "MN"},
        prior={"mean": {"value": "10000", "unit": "N"}, "sd": {"value": "500", "unit": "N"}},
    )
    for name in ("verdict", "specific_risk", "global_risk", "posterior", "tur", "reported"):
        assert body[name] == expected[name]


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    value=st.decimals(8, 12, places=2),
    U=st.decimals("0.01", "0.6", places=2),
    unit=st.sampled_from(["N", "MN", "kgf", "tf", "lbf", "kip", "tonf_US", "tonf_UK"]),
)
def test_limits_and_uncertainty_in_another_unit_never_change_a_verdict(client, value, U, unit):
    body = decided(client, value=str(value), U=str(U), rule="four_state_U")

    # 9 and 11 kN have no end in most units: what is sent in kN is said to be in `unit`, and back
    def sent(number):
        fraction = convert(Decimal(number), "kN", unit)
        text = str(Decimal(fraction.numerator) / Decimal(fraction.denominator))
        exact = convert(Decimal(text), unit, "kN") == Decimal(number)
        return {"value": text, "unit": unit} if exact else str(number)

    limits = {"lower": sent("9"), "upper": sent("11")}
    other = decided(client, value=str(value), U=sent(U), limits=limits, rule="four_state_U")
    assert (other["verdict"], other["specific_risk"]) == (body["verdict"], body["specific_risk"])


def test_the_capability_index_is_the_width_over_four_standard_uncertainties(client):
    # JCGM 106:2012, 7.6: (11 - 9) / (4 * 0.2 / 2.5), whatever k marks as 95 %
    body = decided(client, k="2.5", dof="6")
    assert body["capability"] == "6.25"
    assert decided(client, limits={"upper": "11"})["capability"] is None


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"dof": "5", "prior": {"reliability": "0.9"}},
        {"U": "1.5", "limits": {"lower": "9", "upper": "11"}},
        {"limits": {"upper": {"value": "2500", "unit": "lbf"}}, "prior": {"mean": "9", "sd": "1"}},
        {"rule": {"guard": {"basis": "absolute", "width": {"upper": "0.1"}}, "zones": 4}},
    ],
)
def test_the_answer_has_the_documented_form_and_nothing_else(client, changes):
    body = decided(client, **changes)
    assert DecisionSchema().dump(body) == body


def test_a_stored_decision_is_replayed_to_the_same_answer(client):
    terms = [{"kind": "percent_of_nominal", "value": "10"}]
    specification = {"id": "SPEC", "edition": "2nd", "tolerance": {"terms": terms}}
    assert client.post("/v1/specifications", json=specification).status_code == 201
    rule = {"id": "ours", "guard": {"basis": "global_risk", "target": "0.01"}, "zones": 4}
    assert client.post("/v1/decision-rules", json=rule).status_code == 201
    spec = {"limits": None, "nominal": "1E+1", "tolerance": "SPEC"}
    requests = [
        {},
        {"value": "108E-1", "U": "2E-1", "k": "2.0", "dof": "7"},
        {"U": "1E+1", "limits": {"lower": {"value": "1", "unit": "kip"}}},
        {"rule": "ours", "prior": {"reliability": "0.95"}, **spec},
        {"rule": {"guard": {"basis": "U", "factor": "1E+1"}, "agreed_with": "Client Q"}},
        {"U": None, "U_rel_pct": "0.5", "prior": {"mean": {"value": "9", "unit": "kN"}, "sd": "1"}},
    ]
    made = []
    for changes in requests:
        request = {k: v for k, v in {**NOMINAL_10, **changes}.items() if v is not None}
        answer = client.post("/v1/decisions", json=request)
        assert answer.status_code == 201, answer.text
        made.append(answer.get_json()["id"])
    # Later versions of the rule and the specification do not touch what was decided.
    client.post("/v1/decision-rules", json={**rule, "guard": {"basis": "none"}})
    client.post("/v1/specifications", json={**specification, "edition": "3rd"})
    for key in made:
        replayed = client.post(f"/v1/decisions/{key}/replay").get_json()
        assert (replayed["identical"], replayed["differences"]) == (True, [])
        assert replayed["engine_version"] == {"stored": ENGINE_VERSION, "replayed": ENGINE_VERSION}
    stored = client.get(f"/v1/decisions/{made[3]}").get_json()
    assert stored["request"]["tolerance"] == {"specification": "SPEC", "version": 1}
    assert stored["rule"] == {"id": "ours", "version": 1}
    assert "2nd" in stored["statement"]


def test_a_replay_lists_what_comes_out_differently(client, database):
    key = client.post("/v1/decisions", json=NOMINAL_10).get_json()["id"]
    answer = client.get(f"/v1/decisions/{key}").get_json()
    kept = {name: answer[name] for name in ORDER[1:]}
    kept["acceptance"] = {"lower": "9.3", "upper": "10.8"}
    kept["specific_risk"] = {"consumer": 0.5, "producer": 0.5}
    kept["conformance_probability"] = float(kept["conformance_probability"])
    with database.write() as session:
        session.execute(update(StoredDecision).values(answer=kept, engine_version="0.0.9"))
    replayed = json.loads(client.post(f"/v1/decisions/{key}/replay").text)
    assert replayed["identical"] is False
    assert [one["pointer"] for one in replayed["differences"]] == [
        "/acceptance/lower",
        "/specific_risk/consumer",
        "/specific_risk/producer",
    ]
    assert replayed["differences"][0] == {
        "pointer": "/acceptance/lower",
        "stored": "9.3",
        "replayed": "9.2",
    }
    assert replayed["engine_version"]["stored"] == "0.0.9"
    assert client.post("/v1/decisions/999/replay").status_code == 404


def test_a_specification_may_be_named_in_a_given_version(client):
    for edition, tolerance in (("A", "1"), ("B", "2")):
        sent = {"id": "SPEC", "edition": edition, "unit": "kN", "tolerance": tolerance}
        assert client.post("/v1/specifications", json=sent).status_code == 201
    for version, upper in ((1, "11"), (2, "12"), (None, "12")):
        named = {"specification": "SPEC"} | ({"version": version} if version else {})
        body = decided(client, limits=None, nominal="10", tolerance=named)
        assert body["limits"]["upper"] == upper
    unknown = refused(client, limits=None, nominal="10", tolerance={**named, "version": 7})
    assert (unknown["pointer"], unknown["remedy"]) == ("/tolerance", "known versions: 1, 2")


def test_a_stored_decision_is_drawn(client):
    key = client.post("/v1/decisions", json=NOMINAL_10).get_json()["id"]
    drawn = client.get(f"/v1/decisions/{key}/figure.svg")
    assert (drawn.status_code, drawn.mimetype) == (200, "image/svg+xml")
    root = ET.fromstring(drawn.data)
    assert root.find("{http://www.w3.org/2000/svg}title").text.startswith(f"Decision {key}: Pass")
    assert "acceptance limit 10.8 kN" in drawn.text
    png = client.get(f"/v1/decisions/{key}/figure.png")
    assert (png.mimetype, png.data[:8]) == ("image/png", b"\x89PNG\r\n\x1a\n")
    assert client.get("/v1/decisions/999/figure.svg").status_code == 404


def test_drawing_and_replaying_need_the_scope_read(app, keys, client):
    key = client.post("/v1/decisions", json=NOMINAL_10).get_json()["id"]
    for scope, status in (("decide", 403), ("read", 200)):
        headers = keys.headers(scope)
        other = app.test_client()
        for name in ("figure.svg", "figure.png"):
            assert other.get(f"/v1/decisions/{key}/{name}", headers=headers).status_code == status
        replayed = other.post(f"/v1/decisions/{key}/replay", headers=headers)
        assert replayed.status_code == status


def test_the_remedy_for_an_unknown_rule_lists_the_known_ones(client):
    assert "simple, guard_U, four_state_U" in refused(client, rule="guardU")["remedy"]


def test_a_repeated_request_with_one_idempotency_key_is_stored_once(client):
    headers = {"Idempotency-Key": "one"}
    made = [client.post("/v1/decisions", json=NOMINAL_10, headers=headers) for _ in range(2)]
    assert made[0].text == made[1].text
    assert len(client.get("/v1/decisions").get_json()["items"]) == 1


def test_deciding_needs_the_scope_decide_and_reading_the_scope_read(app, keys):
    client, reader, decider = app.test_client(), keys.headers("read"), keys.headers("decide")
    assert client.post("/v1/decisions", json=NOMINAL_10, headers=reader).status_code == 403
    assert client.post("/v1/decisions", json=NOMINAL_10, headers=decider).status_code == 201
    assert client.get("/v1/decisions", headers=decider).status_code == 403
    assert client.get("/v1/decisions", headers=reader).status_code == 200


def test_a_rule_with_a_branch_that_is_never_reached_is_refused(client):
    tur = {"guard": {"basis": "none"}, "precondition": {"least_tur": "4"}}
    rule = tur | {"otherwise": tur | {"precondition": {"least_tur": "5"}}}
    for address, sent, place in (
        ("/v1/decisions", NOMINAL_10 | {"rule": rule}, "/rule/otherwise"),
        ("/v1/decision-rules", rule | {"id": "R"}, "/otherwise"),
    ):
        (problem,) = json.loads(client.post(address, json=sent).text)["errors"]
        assert problem["pointer"] == f"{place}/precondition/least_tur"
        assert problem["remedy"] == "ask for less than 4, or leave this rule out"


TABLE = {
    "basis": "tur_table",
    "steps": [
        {"from_tur": "0", "factor": "1"},
        {"from_tur": "2", "share": "0.1"},
        {"from_tur": "4", "factor": "0"},
    ],
}


def test_a_table_of_guard_bands_by_tur_decides_and_is_recorded(client):
    sent = NOMINAL_10 | {"value": "10.9", "rule": {"guard": TABLE}}
    # TUR = 2/(2 U): 5 and no guard band; 2.5 and a tenth of 1; 1.25 and U.
    for U, upper, verdict in (
        ("0.2", "11", "pass"),
        ("0.4", "10.9", "pass"),
        ("0.8", "10.2", "fail"),
    ):
        found = json.loads(client.post("/v1/decisions", json=sent | {"U": U}).text)
        assert Decimal(found["acceptance"]["upper"]) == Decimal(upper)
        assert found["verdict"] == verdict
    assert (
        "from TUR 0 U, from TUR 2 0.1 times half the tolerance interval, from TUR 4 none"
        in (found["statement"])
    )
    again = client.post(f"/v1/decisions/{found['id']}/replay").get_json()
    assert again["identical"] is True
    made = client.post("/v1/decision-rules", json={"id": "table", "guard": TABLE})
    assert made.get_json()["guard"] == TABLE
    by_name = client.post("/v1/decisions", json=sent | {"U": "0.4", "rule": "table"})
    assert Decimal(by_name.get_json()["guard_band"]) == Decimal("0.1")
    steps = [*TABLE["steps"], {"from_tur": "3", "factor": "0"}]
    refused = client.post(
        "/v1/decisions", json=sent | {"rule": {"guard": TABLE | {"steps": steps}}}
    )
    assert refused.get_json()["errors"][0]["pointer"] == "/rule/guard/steps/3/from_tur"


def test_a_rule_that_decides_on_what_is_reported_says_so_and_is_replayed(client):
    rule = {"guard": {"basis": "U", "factor": "1"}, "decides_on": "reported"}
    # U 0.1004 is reported as 0.11, 10.8953 as 10.90: beyond 11 - 0.11.
    sent = NOMINAL_10 | {"value": "10.8953", "U": "0.1004"}
    unrounded = json.loads(client.post("/v1/decisions", json=sent).text)
    found = json.loads(client.post("/v1/decisions", json=sent | {"rule": rule}).text)
    assert (unrounded["verdict"], found["verdict"]) == ("pass", "fail")
    assert found["reported"] == unrounded["reported"] == {"value": "10.90", "U": "0.11"}
    assert (found["value"], found["U"]) == ("10.8953", "0.1004")
    assert (found["acceptance"]["upper"], found["guard_band"]) == ("10.89", "0.11")
    assert found["rule"]["decides_on"] == "reported"
    again = client.post(f"/v1/decisions/{found['id']}/replay").get_json()
    assert again["identical"] is True
    made = client.post("/v1/decision-rules", json=rule | {"id": "E"}).get_json()
    assert made["decides_on"] == "reported"
    assert "as they are reported" in made["explanation"]
    rows = [
        {"value": "10.8953", "U": "0.1004", "lower": "9", "upper": "11", "rule": "E", "id": "1"}
    ]
    batch = client.post("/v1/batches", json={"rows": rows}).get_json()["rows"][0]
    assert (batch["verdict"], batch["acceptance_upper"]) == ("fail", "10.89")
    wrong = client.post("/v1/decisions", json=sent | {"rule": rule | {"decides_on": "E29"}})
    assert wrong.get_json()["errors"][0]["pointer"] == "/rule/decides_on"


def test_a_density_may_be_stated_with_the_result(client):
    # U = 0.2 is the half-width of a rectangle: k = sqrt(3). (0.2 - 0.1)/0.4 lies above 11.
    flat = NOMINAL_10 | {"value": "10.9", "k": "1.7320508075688772", "rule": "simple"}
    found = json.loads(client.post("/v1/decisions", json=flat | {"density": "rectangular"}).text)
    assert float(found["specific_risk"]["consumer"]) == pytest.approx(0.25, abs=1e-12)
    assert found["density"] == {"kind": "rectangular", "beta": "1", "rest_over_dominant": "0"}
    shape = {"kind": "trapezoid", "beta": "0.5", "rest_over_dominant": "0.1", "rest_dof": "8"}
    found = json.loads(client.post("/v1/decisions", json=flat | {"density": shape}).text)
    assert found["density"] == shape
    again = client.post(f"/v1/decisions/{found['id']}/replay").get_json()
    assert again["identical"] is True


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"density": "rectangular", "k": None}, "/k"),
        ({"density": "rectangular", "dof": "5"}, "/dof"),
        ({"density": "square"}, "/density/kind"),
        ({"density": "trapezoid"}, "/density/beta"),
        ({"density": {"kind": "rectangular", "beta": "1"}}, "/density/beta"),
        ({"density": {"kind": "trapezoid", "beta": "1.5"}}, "/density/beta"),
        ({"density": {"kind": "normal", "rest_dof": "3"}}, "/density/kind"),
        (
            {"density": {"kind": "rectangular", "rest_over_dominant": "-1"}},
            "/density/rest_over_dominant",
        ),
        ({"density": {"kind": "rectangular", "rest_over_dominant": "11"}},
         "/density/rest_over_dominant"),
        ({"density": "rectangular", "U": None, "budget": "B", "k": None}, "/density"),
    ],
)  # fmt: skip
def test_a_density_that_cannot_be_is_refused(client, changes, pointer):
    sent = {**NOMINAL_10, "k": "1.73", **changes}
    sent = {name: part for name, part in sent.items() if part is not None}
    answer = client.post("/v1/decisions", json=sent)
    assert answer.status_code == 422
    problems = json.loads(answer.text)["errors"]
    assert pointer in [one["pointer"] for one in problems]
    assert all(one["remedy"] for one in problems)


def test_a_drift_asks_for_the_decision_at_the_end_of_the_interval(client):
    # Two years of up to 0.06 kN: u = 0.12/sqrt(3); with 0.04 the U is 0.16 (0.0016 + 0.0048).
    sent = NOMINAL_10 | {"value": "10.9", "U": "0.08"}
    drift = {"days": "730.5", "per_year": {"value": "60", "unit": "N"}}
    found = json.loads(client.post("/v1/decisions", json=sent | {"drift": drift}).text)
    end = found["at_interval_end"]
    assert (found["verdict"], end["verdict"]) == ("pass", "fail")  # 10.92 and 10.84 are accepted
    assert float(end["U"]) == pytest.approx(0.16, rel=1e-11)
    assert float(end["tur"]) == pytest.approx(2 / 0.32, rel=1e-11)
    assert float(end["specific_risk"]["consumer"]) == pytest.approx(
        erfc(1.25 / sqrt(2)) / 2, rel=1e-9
    )
    assert end["reported"] == {"value": "10.90", "U": "0.16"}
    assert end["statement"].startswith("At the end of the interval, 730.5 days on: Statement of")
    again = client.post(f"/v1/decisions/{found['id']}/replay").get_json()
    assert again["identical"] is True
    known = {"days": "365.25", "per_year": "-0.3", "U_per_year": "0.06", "known": True}
    found = json.loads(client.post("/v1/decisions", json=sent | {"drift": known}).text)
    # 10.9 - 0.3; U = sqrt(0.08^2 + 0.06^2)
    assert (found["at_interval_end"]["value"], found["at_interval_end"]["U"]) == ("10.6", "0.1")
    assert found["at_interval_end"]["verdict"] == "pass"


def test_degrees_of_freedom_and_densities_go_on_to_the_end_of_the_interval(client):
    drift = {"days": "365.25", "per_year": "0.1732050807568877"}  # u = 0.1, that of U = 0.2
    sent = NOMINAL_10 | {"drift": drift, "store": False}
    found = json.loads(client.post("/v1/decisions", json=sent | {"dof": "5"}).text)
    assert float(found["at_interval_end"]["dof"]) == pytest.approx(20, rel=1e-10)  # 5 x 2^2
    flat = sent | {"density": "rectangular", "k": "2"}
    end = json.loads(client.post("/v1/decisions", json=flat).text)["at_interval_end"]
    # A rectangle and a normal of the same u: 95.45 % lie within 1.95238453 u (a root by mpmath
    # of the closed convolution); the width is 2 and u = 0.1 sqrt 2.
    assert 1 / (float(end["tur"]) * 0.1 * sqrt(2)) == pytest.approx(1.95238453, rel=1e-7)


@pytest.mark.parametrize(
    ("drift", "pointer"),
    [
        ({"per_year": "1"}, "/drift/days"),
        ({"days": "0", "per_year": "1"}, "/drift/days"),
        ({"days": "365"}, "/drift/per_year"),
        ({"days": "365", "per_year": {"value": "1", "unit": "stone"}}, "/drift/per_year/unit"),
        ({"days": "365", "per_year": "1", "U_per_year": "1"}, "/drift/U_per_year"),
        ({"days": "365", "per_year": "1", "U_per_year": "-1", "known": True}, "/drift/U_per_year"),
        ({"days": "365", "per_year": "1", "rate": "1"}, "/drift/rate"),
    ],
)
def test_a_drift_that_cannot_be_is_refused(client, drift, pointer):
    answer = client.post("/v1/decisions", json=NOMINAL_10 | {"drift": drift})
    assert answer.status_code == 422
    (problem,) = json.loads(answer.text)["errors"]
    assert problem["pointer"] == pointer
    assert problem["remedy"]
