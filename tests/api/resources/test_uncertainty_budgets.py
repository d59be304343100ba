"""Uncertainty budgets over HTTP: evaluated, stored, floored, and used by decisions and results.

The maths has its published values in tests/api/rules/uncertainty; here they are asked for through
the API.
"""

from __future__ import annotations

import json
from decimal import Decimal

import pytest
from oracle_cases import cal, force_fault, lab, ref
from scipy.stats import norm

from api.store.uncertainty import UncertaintyBudget

BUDGETS = "/v1/uncertainty-budgets"
# u = 0.05 kN of 3 and 4: shares 0.36 and 0.64; U = 0.1 kN at k = 2.
SMALL = {
    "point": {"value": "100", "unit": "kN"},
    "components": [
        {"name": "reference", "kind": "reference", "U": "0.06", "k": "2"},
        {"name": "drift", "distribution": "normal", "u": "0.04"},
    ],
}
# JCGM 100:2008, H.1 (read in public tests of open code), in nm about 50.000838 mm.
END_GAUGE = {
    "point": {"value": "50.000838", "unit": "mm"},
    "coverage": {"probability_pct": "99"},
    "components": [
        {"name": "standard", "distribution": "normal", "U": "0.000075", "k": "3", "dof": "18"},
        {"name": "readings", "distribution": "student", "s": "0.000013", "n": 5, "dof": "24"},
        {"name": "random", "distribution": "student", "u": "0.0000039", "dof": "5"},
        {"name": "systematic", "distribution": "student", "u": "0.0000067", "dof": "8"},
        {"name": "expansion", "distribution": "normal", "u": "0.0000029", "dof": "50"},
        {"name": "temperature", "distribution": "normal", "u": "0.0000166", "dof": "2"},
    ],
}
CMC = {"id": "T", "mode": "tension", "range": {"lower": "1", "upper": "500", "unit": "kN"}}


def asked(client, budget, status=201, **changes):
    sent = {name: part for name, part in {**budget, **changes}.items() if part != "absent"}
    answer = client.post(BUDGETS, json=sent)
    assert answer.status_code == status, answer.text
    return json.loads(answer.text)


def test_the_end_gauge_of_the_gum_through_the_api(client):
    made = asked(client, END_GAUGE)
    assert made["dof_for_k"] == 16
    assert round(Decimal(made["k"]), 2) == Decimal("2.92")
    assert (made["U_reported"], made["value_reported"]) == ("0.000093", "50.000838")
    assert made["dof_effective"].startswith("16.7")


def test_a_budget_says_all_of_its_components(client):
    made = asked(client, SMALL)
    reference, drift = made["components"]
    assert reference == {
        "name": "reference",
        "kind": "reference",
        "distribution": "normal",
        "figure": "0.06",
        "divisor": "k = 2",
        "u": "0.03",
        "unit": "kN",
        "sensitivity": "1",
        "contribution": "0.03",
        "dof": None,
        "share": "0.36",
    }
    assert drift["share"] == "0.64"
    assert (made["u"], made["u_rel_pct"], made["U"], made["k"]) == ("0.05", "0.05", "0.1", "2")
    assert (made["U_stated"], made["U_reported"]) == ("0.1", "0.10")
    assert made["value_reported"] == "100.00"
    assert made["coverage"] == {"method": "student", "probability_pct": "95.45"}
    assert made["reasons"] == {
        "dof_effective": "infinitely many, or more than 10^9",
        "dof_for_k": "infinitely many: k is that of the normal distribution",
    }
    assert (made["floor"], made["notes"]) == (None, [])


def test_a_stored_budget_is_read_with_its_request_and_listed(client):
    made = asked(client, SMALL, id="B/1", title="Tension, 100 kN")
    shown = client.get(f"{BUDGETS}/B%2F1").get_json()
    request = {**SMALL, "title": "Tension, 100 kN"}
    assert shown["request"] == request
    assert {name: shown[name] for name in made} == made
    (listed,) = client.get(BUDGETS).get_json()["items"]
    assert listed["points"] == [{"point": SMALL["point"], "k": "2", "U_reported": "0.10"}]
    assert (listed["id"], listed["title"]) == ("B/1", "Tension, 100 kN")
    assert client.get(f"{BUDGETS}/other").status_code == 404


def test_an_unstored_budget_has_no_id(client, database):
    made = asked(client, SMALL, status=200, store=False)
    assert made["id"] is None
    with database.read() as session:
        assert session.query(UncertaintyBudget).count() == 0


def test_the_same_budget_is_one_record_and_another_under_its_id_a_conflict(client):
    first = asked(client, SMALL)
    assert asked(client, SMALL, status=200)["id"] == first["id"]
    asked(client, SMALL, id="B")
    assert asked(client, SMALL, status=200, id="B")["id"] == "B"
    problem = asked(client, END_GAUGE, status=409, id="B")
    assert problem["errors"][0]["pointer"] == "/id"


def test_several_points_share_components_and_may_have_their_own(client):
    relative = {"name": "machine", "kind": "machine", "U": "0.02", "k": "2", "relative": True}
    own = {"name": "resolution", "kind": "resolution", "digit": "0.012"}
    made = asked(
        client,
        SMALL,
        point="absent",
        points=[{"value": "10", "unit": "kN"}, {"value": "50", "unit": "kN", "components": [own]}],
        components=[relative],
    )
    first, second = made["points"]
    assert first["u"] == "0.001"  # 0.01 % of 10 kN
    assert [one["name"] for one in second["components"]] == ["machine", "resolution"]
    assert Decimal(second["u"]) ** 2 == pytest.approx(Decimal("0.000037"))  # 0.005^2 + 0.012^2/12


def test_a_relative_figure_may_be_of_another_value_than_the_point(client):
    zero = {"name": "zero", "kind": "zero", "u": "0.01", "relative": True, "of": "500"}
    made = asked(client, SMALL, components=[zero])
    assert (made["u"], made["components"][0]["relative"]) == ("0.05", True)


def test_a_figure_in_another_unit_is_converted_or_has_a_sensitivity(client):
    pounds = {"name": "in lbf", "distribution": "normal", "u": "100", "unit": "lbf"}
    signal = {"name": "signal", "distribution": "normal", "u": "0.00001", "unit": "mV/V"}
    made = asked(client, SMALL, components=[pounds, {**signal, "sensitivity": "50"}])
    first, second = made["components"]
    assert first["contribution"] == "0.44482216152605"[:14]  # NIST SP 811, 12 digits
    assert (second["u"], second["unit"], second["contribution"]) == ("0.00001", "mV/V", "0.0005")
    problem = asked(client, SMALL, status=422, components=[signal])
    assert problem["errors"][0]["pointer"] == "/components/0/sensitivity"


def test_correlated_components_share_with_a_sign_and_say_so(client):
    parts = [
        {"name": "a", "distribution": "student", "u": "3", "dof": "4"},
        {"name": "b", "distribution": "student", "u": "4", "dof": "9", "sensitivity": "-1"},
    ]
    pairs = [{"between": ["a", "b"], "r": "1"}]
    made = asked(client, SMALL, components=parts, correlations=pairs)
    assert (made["u"], made["dof_for_k"]) == ("1", 4)
    assert [one["share"] for one in made["components"]] == ["-3", "4"]
    assert "a, b are correlated" in made["notes"][0]


@pytest.mark.parametrize("coverage", ["dominant_rectangular", {"method": "dominant_rectangular"}])
def test_a_dominant_rectangle_is_offered_and_taken_only_when_asked(client, coverage):
    parts = [
        {"name": "resolution", "kind": "resolution", "digit": "0.1"},
        {"name": "standard", "distribution": "normal", "u": "0.001"},
    ]
    usual = asked(client, SMALL, components=parts)
    assert usual["k"] == "2"
    assert "resolution outweighs the rest" in usual["notes"][0]
    made = asked(client, SMALL, components=parts, coverage=coverage)
    assert Decimal("1.65") < Decimal(made["k"]) < Decimal("1.70")
    assert made["coverage"]["components"] == ["resolution"]
    assert (made["coverage"]["half_width"], made["coverage"]["beta"]) == ("0.05", "1")
    assert made["reasons"]["dof_for_k"] == "k comes from the density"
    assert made["notes"] == []


def test_nothing_is_null_without_a_reason(client):
    nothing = {"name": "n", "distribution": "normal", "u": "0"}
    made = asked(client, SMALL, point={"value": "0", "unit": "kN"}, components=[nothing])
    assert (made["u"], made["U_reported"], made["value_reported"]) == ("0", "0", "0")
    assert made["components"][0]["share"] is None
    assert set(made["reasons"]) == {
        *("u_rel_pct", "U_rel_pct", "share", "dof_effective", "dof_for_k")
    }


def test_a_stated_k_and_one_digit_may_be_asked_for(client):
    made = asked(client, SMALL, coverage={"k": "3"}, rounding={"digits": 1})
    assert (made["k"], made["U"], made["U_reported"]) == ("3", "0.15", "0.2")
    assert made["coverage"] == {"method": "stated", "probability_pct": None}


def test_numbers_of_any_size_are_answered_in_plain_notation(client):
    huge, tiny = "1E+60", "1E-60"
    parts = [
        {"name": "a", "distribution": "rectangular", "half_width": huge, "sensitivity": huge},
        {"name": "b", "distribution": "student", "u": tiny, "sensitivity": tiny, "dof": "1"},
    ]
    for coverage in ("student", "dominant_rectangular"):
        made = asked(client, SMALL, components=parts, coverage=coverage)
        assert made["dof_effective"] is None
        assert "E" not in json.dumps([made["U"], made["components"][1]["share"]])
    small = asked(client, SMALL, components=[parts[1]])
    assert (small["dof_for_k"], small["u"]) == (1, "0." + 119 * "0" + "1")


FLAT = {"name": "a", "distribution": "rectangular", "half_width": "1"}
PLAIN = {"name": "b", "distribution": "normal", "u": "1"}


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"components": "absent"}, "/components"),
        ({"point": "absent"}, "/point"),
        ({"points": [{"value": "1", "unit": "kN"}]}, "/point"),
        ({"point": {"value": "1", "unit": "kg"}}, "/point/unit"),
        ({"components": [{"name": "a"}]}, "/components/0/distribution"),
        ({"components": [{"name": "a", "kind": "x", "u": "1"}]}, "/components/0/kind"),
        ({"components": [{"name": "a", "kind": "drift", "u": "1"}]}, "/components/0/u"),
        ({"components": [PLAIN, PLAIN]}, "/components/1/name"),
        ({"components": [{**PLAIN, "unit": "kg", "sensitivity": "1"}]}, "/components/0/unit"),
        ({"components": [{**PLAIN, "of": "1"}]}, "/components/0/of"),
        ({"components": [PLAIN], "correlations": [{"between": ["b"], "r": "1"}]},
         "/correlations/0/between"),
        ({"components": [PLAIN], "correlations": [{"between": ["b", "c"], "r": "1"}]},
         "/correlations/0/between"),
        ({"coverage": {"probability_pct": "0.95"}}, "/coverage/probability_pct"),
        ({"coverage": {"k": "2", "probability_pct": "95"}}, "/coverage/k"),
        ({"coverage": {"components": ["a"]}}, "/coverage/components"),
        ({"coverage": "guess"}, "/coverage/method"),
        ({"coverage": "dominant_rectangular"}, "/coverage"),
        ({"coverage": {"method": "dominant_rectangular", "components": ["x"]}},
         "/coverage/components"),
        ({"cmc": "none"}, "/cmc"),
        ({"rounding": {"digits": 3}}, "/rounding/digits"),
    ],
)  # fmt: skip
def test_a_budget_that_cannot_be_is_refused_where_it_is_wrong(client, changes, pointer):
    problem = asked(client, {**SMALL, "components": [FLAT, PLAIN]}, status=422, **changes)
    assert problem["errors"][0]["pointer"] == pointer


def test_a_component_of_one_point_is_named_by_its_own_place(client):
    points = [{"value": "1", "unit": "kN", "components": [{**FLAT, "half_width": "-1"}]}]
    problem = asked(client, SMALL, status=422, point="absent", points=points)
    assert problem["errors"][0]["pointer"] == "/points/0/components/0/half_width"


def test_evaluating_takes_the_decide_scope(client, keys):
    answer = client.post(BUDGETS, json=SMALL, headers=keys.headers("read"))
    assert answer.status_code == 403


def test_the_capability_is_the_floor_of_what_is_stated(client):
    client.post("/v1/cmcs", json={**CMC, "U_rel_pct": "0.15"})
    made = asked(client, SMALL, mode="tension")
    assert (made["U"], made["U_stated"], made["U_reported"]) == ("0.1", "0.15", "0.15")
    assert made["floor"] == {
        "cmc": "T",
        "version": 1,
        "mode": "tension",
        "U_cmc": "0.15",
        "applied": True,
    }
    assert made["below_cmc"] == {"cmc": "T", "version": 1, "U_cmc": "0.15"}
    assert "stated in its place" in made["notes"][0]


def test_a_smaller_capability_leaves_the_uncertainty_as_it_is(client):
    client.post("/v1/cmcs", json={**CMC, "U_rel_pct": "0.1"})
    made = asked(client, SMALL, mode="tension")
    assert (made["U_stated"], made["floor"]["applied"]) == ("0.1", False)
    assert "below_cmc" not in made
    assert asked(client, SMALL, mode="compression")["floor"] is None


def test_a_later_capability_shows_on_a_stored_budget(client):
    made = asked(client, SMALL, id="B", mode="tension")
    assert made["floor"] is None
    client.post("/v1/cmcs", json={**CMC, "U_abs": "0.2"})
    shown = client.get(f"{BUDGETS}/B").get_json()
    assert shown["below_cmc"] == {"cmc": "T", "version": 1, "U_cmc": "0.2"}
    assert (shown["floor"], shown["U_stated"]) == (None, "0.1")


def test_a_capability_may_be_named_or_declined(client):
    client.post("/v1/cmcs", json={**CMC, "U_rel_pct": "0.15"})
    client.post("/v1/cmcs", json={**CMC, "U_rel_pct": "0.2"})
    first = asked(client, SMALL, cmc={"id": "T", "version": 1})
    assert (first["floor"]["version"], first["U_stated"]) == (1, "0.15")
    none = asked(client, SMALL, cmc=None)
    assert (none["floor"], none["U_stated"], none["below_cmc"]["version"]) == (None, "0.1", 2)
    problem = asked(client, SMALL, status=422, cmc={"id": "T", "version": 3})
    assert "known versions: 1, 2" in problem["errors"][0]["remedy"]
    for changes in ({"mode": "compression"}, {"point": {"value": "1000", "unit": "kN"}}):
        problem = asked(client, SMALL, status=422, cmc="T", **changes)
        assert problem["errors"][0]["pointer"] == "/cmc"
    problem = asked(client, END_GAUGE, status=422, cmc="T")
    assert problem["errors"][0]["pointer"] == "/cmc"


DECISION = {"value": "0.05", "unit": "kN", "limits": {"lower": "-0.2", "upper": "0.2"}}


def decided(client, status=201, **changes):
    answer = client.post("/v1/decisions", json={**DECISION, "rule": "guard_U"} | changes)
    assert answer.status_code == status, answer.text
    return json.loads(answer.text)


def test_a_decision_takes_its_uncertainty_from_a_budget_and_keeps_both(client):
    asked(client, SMALL, id="B")
    by_budget = decided(client, budget="B")
    by_hand = decided(client, U="0.10", k="2")
    assert by_budget.pop("budget") == {"id": "B", "point": SMALL["point"]}
    assert by_budget | {"id": 0} == by_hand | {"id": 0}
    stored = json.loads(client.get(f"/v1/decisions/{by_budget['id']}").text)
    assert stored["request"]["budget"]["id"] == "B"
    assert stored["request"]["U"] == {"value": "0.10", "unit": "kN"}
    assert stored["request"]["k"] == "2"
    assert stored["budget"]["id"] == "B"
    again = client.post(f"/v1/decisions/{by_budget['id']}/replay").get_json()
    assert again["identical"] is True


def test_a_decision_converts_the_budget_and_takes_its_degrees_of_freedom(client):
    parts = [{"name": "s", "distribution": "readings", "readings": ["10.0", "10.1", "10.3"]}]
    asked(client, SMALL, id="B", components=parts)
    made = decided(client, budget="B", unit="N", store=False, status=200)
    assert made["dof"] == "2"
    U = asked(client, SMALL, status=200, id="B", components=parts)["U"]
    assert Decimal(made["U"]) == Decimal(U) * 1000


def test_a_floored_budget_decides_by_what_is_stated(client):
    client.post("/v1/cmcs", json={**CMC, "U_rel_pct": "0.15"})
    asked(client, SMALL, id="B")
    made = decided(client, budget="B")
    assert (made["U"], made["verdict"]) == ("0.15", "pass")


# Three readings whose k is Student's, and a capability above their U.
READINGS = [
    {"name": "runs", "distribution": "readings", "readings": ["50.01", "50.02", "50.00"]},
    {"name": "reference", "distribution": "normal", "U": "0.01", "k": "2"},
]
AT_50 = {"point": {"value": "50", "unit": "kN"}, "components": READINGS, "mode": "tension"}
RESULT_AT_50 = {"value": "50.03", "limits": {"lower": "49.95", "upper": "50.05"}}


def test_a_raised_uncertainty_has_the_coverage_factor_of_the_capability(client):
    # ILAC-P14:09/2020, from memory: a CMC is stated for about 95 %, k = 2. So u = 0.05/2 = 0.025.
    client.post("/v1/cmcs", json={**CMC, "U_rel_pct": "0.1"})
    made = asked(client, AT_50, id="B")
    assert made["dof_for_k"] == 6
    assert (made["k"][:5], made["U_stated"], made["k_stated"]) == ("2.516", "0.05", "2")
    decision = decided(client, budget="B", **RESULT_AT_50)
    assert (decision["U"], decision["k"]) == ("0.050", "2")
    assert "dof" not in decision
    assert "k = 2." in decision["statement"]
    outside = norm.sf(0.02 / 0.025) + norm.cdf(-0.08 / 0.025)
    assert decision["specific_risk"]["consumer"] == pytest.approx(outside, rel=1e-12)
    assert Decimal(decision["tur"]) == 1  # 0.1/(2 x 0.05)


def test_a_capability_may_have_another_coverage_factor(client):
    client.post("/v1/cmcs", json={**CMC, "U_rel_pct": "0.1", "k": "2.5"})
    assert client.get("/v1/cmcs/T").get_json()["k"] == "2.5"
    assert asked(client, AT_50, id="B")["k_stated"] == "2.5"
    decision = decided(client, budget="B", **RESULT_AT_50)
    assert (decision["k"], decision["tur"]) == ("2.5", "1.25")  # 0.1/(2 x 2 x 0.05/2.5)
    refused = client.post("/v1/cmcs", json={**CMC, "U_rel_pct": "0.1", "k": "0"})
    assert refused.get_json()["errors"][0]["pointer"] == "/k"


def test_a_result_has_the_coverage_factor_of_the_uncertainty_that_it_states(client, calibrate):
    client.post("/v1/cmcs", json={**CMC, "mode": "any", "U_rel_pct": "0.1"})
    made = asked(client, AT_50, id="B")
    U, k = made["U"], made["k"]
    at = {"budget": "B", "applied": "50"}
    raised = calibrate(U=None, **at)["results"][0]
    assert (raised["U"], raised["k"], raised.get("dof")) == ("0.05", "2", None)
    own = calibrate(U=U, number="C-2", **at)["results"][0]
    assert (own["U"], own["k"], own["dof"]) == (U, k, "6")
    for wrong, place in (({"k": k}, "k"), ({"dof": "6"}, "dof")):
        problem = calibrate(422, U="0.05", number="C-3", **at, **wrong)
        assert problem["errors"][0]["pointer"] == f"/results/0/{place}"


def test_a_density_with_ends_passes_on_no_degrees_of_freedom(client):
    parts = [
        {"name": "digit", "kind": "resolution", "digit": "0.1"},
        {"name": "s", "distribution": "student", "u": "0.001", "dof": "5"},
    ]
    asked(client, SMALL, id="B", components=parts, coverage="dominant_rectangular")
    assert "dof" not in decided(client, budget="B")


COARSE = {
    "point": {"value": "50.44", "unit": "kN"},
    "components": [
        {"name": "digit", "kind": "resolution", "digit": "0.2"},
        {"name": "reference", "distribution": "normal", "U": "0.01", "k": "2"},
    ],
}


@pytest.mark.parametrize("coverage", [{}, {"coverage": "dominant_rectangular"}])
def test_a_result_of_a_coarse_indicator_is_decided_with_its_own_density(client, coverage):
    # Half-width 0.1 and u 0.005: the mean of Phi((0.06 - x)/0.005) over x in +-0.1 is 0.8, so that
    # a fifth lies above 50.5; the normal distribution would say 0.15. By hand: (0.1 - 0.06)/0.2.
    made = asked(client, COARSE, id="B", **coverage)
    assert made["density"]["kind"] == "rectangular"
    sent = {"value": "50.44", "limits": {"upper": "50.5"}, "rule": "simple", "budget": "B"}
    found = decided(client, **sent)
    assert found["specific_risk"]["consumer"] == pytest.approx(0.2, abs=1e-9)
    assert found["density"] == made["density"]
    assert "distributed as a rectangle convolved with the rest" in found["statement"]
    again = client.post(f"/v1/decisions/{found['id']}/replay").get_json()
    assert again["identical"] is True
    usual = decided(client, **sent, density="normal")
    assert usual["specific_risk"]["consumer"] == pytest.approx(0.1503, abs=5e-5)
    assert "density" not in usual
    # TUR by the half-width of 95.45 % (k of the density, which the budget finds): not by 2 u.
    k = Decimal(asked(client, COARSE, coverage="dominant_rectangular", id="K")["k"])
    u = Decimal(made["u"])
    both = decided(client, **sent | {"limits": {"lower": "50", "upper": "51"}})
    assert float(both["tur"]) == pytest.approx(float(1 / (2 * k * u)), rel=1e-9)


def test_a_raised_uncertainty_is_no_longer_that_of_the_density(client):
    client.post("/v1/cmcs", json={**CMC, "U_rel_pct": "0.5"})
    made = asked(client, COARSE | {"mode": "tension"}, id="B")
    assert (made["floor"]["applied"], "density" in made) == (True, False)


def test_a_normal_budget_has_no_density(client):
    assert "density" not in asked(client, SMALL)


def test_one_point_of_several_is_named_by_its_value(client):
    points = [{"value": "10", "unit": "kN"}, {"value": "20", "unit": "kN"}]
    relative = {"name": "m", "distribution": "normal", "u": "0.1", "relative": True}
    asked(client, SMALL, id="B", point="absent", points=points, components=[relative])
    made = decided(client, budget={"id": "B", "point": "20.0"})
    assert (made["U"], made["budget"]["point"]["value"]) == ("0.040", "20")
    for budget in ("B", {"id": "B", "point": "15"}):
        problem = decided(client, 422, budget=budget)
        assert problem["errors"][0]["pointer"] == "/budget"
        assert "10 kN, 20 kN" in problem["errors"][0]["detail"]


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"budget": "other"}, "/budget"),
        ({"budget": "B", "U": "0.1"}, "/U"),
        ({"budget": "B", "k": "2"}, "/k"),
        ({"budget": "B", "dof": "9"}, "/dof"),
        ({"budget": "B", "U_rel_pct": "1"}, "/U_rel_pct"),
        ({"budget": "B", "unit": "mV/V"}, "/budget"),
        ({"budget": {"id": "B", "points": 1}}, "/budget/points"),
        ({}, "/U"),
    ],
)
def test_a_decision_has_one_uncertainty_in_its_own_quantity(client, changes, pointer):
    asked(client, SMALL, id="B")
    problem = decided(client, 422, **changes)
    assert problem["errors"][0]["pointer"] == pointer


@pytest.fixture
def calibrate(client):
    """Record a calibration with one result."""
    items = [{"id": "CELL", "kind": "customer_instrument"}]
    assert client.post("/v1/imports", json={"items": items}).status_code == 201

    def record(status=201, number="C-1", **changes):
        row = {"point": 1, "applied": "100", "error": "0", "U": "0.1", "unit": "kN"} | changes
        result = {name: part for name, part in row.items() if part is not None}
        sent = {"certificate": number, "item": "CELL", "performed_at": "2025-03-10"}
        answer = client.post("/v1/calibrations", json=sent | {"results": [result]})
        assert answer.status_code == status, answer.text
        return json.loads(answer.text)

    return record


@pytest.mark.parametrize(
    "changes",
    [
        {"U": "0.1"},
        {"U": "0.10"},
        {"U": "100", "applied": "100000", "unit": "N"},
        {"U": "22.481", "applied": "22480.9", "unit": "lbf"},  # 0.1 kN / 4.4482216 N a lbf
        {"U": "23", "applied": "22480.9", "unit": "lbf"},
        {"U": None, "U_rel_pct": "0.1"},
        {"U": None},
    ],
)
def test_a_result_may_name_the_budget_of_its_uncertainty(client, calibrate, changes):
    asked(client, SMALL, id="B")
    made = calibrate(budget="B", **changes)
    assert made["results"][0]["budget"] == "B"
    again = calibrate(200, budget="B", **changes)  # the same record
    assert again["results"] == made["results"]
    calibrate(409, **changes)  # the budget is part of the content


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"budget": "other"}, "/results/0/budget"),
        ({"budget": "B", "U": "0.09"}, "/results/0/U"),
        ({"budget": "B", "U": "0.11"}, "/results/0/U"),
        ({"budget": "B", "U": "1"}, "/results/0/U"),
        ({"budget": "B", "U": None, "U_rel_pct": "0.2"}, "/results/0/U_rel_pct"),
        ({"budget": "L"}, "/results/0/budget"),
    ],
)
def test_a_result_that_contradicts_its_budget_is_refused(client, calibrate, changes, pointer):
    asked(client, SMALL, id="B")
    asked(client, END_GAUGE, id="L")
    problem = calibrate(422, **changes)
    assert problem["errors"][0]["pointer"] == pointer
    assert problem["errors"][0]["remedy"]


def test_a_result_is_compared_with_the_nearest_point_of_its_budget(client, calibrate):
    points = [{"value": "10", "unit": "kN"}, {"value": "100", "unit": "kN"}]
    relative = {"name": "m", "distribution": "normal", "u": "0.1", "relative": True}
    asked(client, SMALL, id="B", point="absent", points=points, components=[relative])
    calibrate(budget="B", applied="10.003", U="0.02")
    calibrate(budget="B", applied="99.98", U="0.2", number="C-2")
    calibrate(422, budget="B", applied="10.003", U="0.2", number="C-3")


def test_a_result_with_the_uncertainty_before_the_floor_is_kept_and_flagged(client, calibrate):
    client.post("/v1/cmcs", json={**CMC, "mode": "any", "U_rel_pct": "0.15"})
    asked(client, SMALL, id="B")
    for number, U in (("C-1", "0.1"), ("C-2", "0.15")):
        (result,) = calibrate(number=number, budget="B", U=U)["results"]
        assert ("below_cmc" in result) is (U == "0.1")


def test_a_laboratory_file_may_name_budgets(client):
    asked(client, SMALL, id="B")
    result = {"point": 1, "applied": "100", "error": "0", "U": "0.10", "unit": "kN", "budget": "B"}
    calibration = {"certificate": "C-1", "item": "CELL", "performed_at": "2025-03-10"}
    laboratory = {
        "items": [{"id": "CELL", "kind": "customer_instrument"}],
        "calibrations": [calibration | {"results": [result, result | {"point": 2, "budget": "X"}]}],
    }
    problem = client.post("/v1/imports", json=laboratory)
    assert problem.status_code == 422
    assert problem.get_json()["errors"][0]["pointer"] == "/calibrations/0/results/1/budget"
    laboratory["calibrations"][0]["results"].pop()
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    shown = client.get("/v1/certificates/C-1").get_json()
    assert shown["results"][0]["budget"] == "B"


def test_a_result_with_a_budget_is_decided_again_with_its_uncertainty(client, keys):
    # U = 5 lbf at k = 2. Guarded by U the limit is 20 - 5 = 15: 6 passes, and with the true force
    # smaller by 0.002 x 10000 = 20 lbf it is 26. W 1, u of the fault 0.0006: U after =
    # 2 sqrt(2.5^2 + (10000 x 0.0006)^2) = 2 sqrt(6.25 + 36) = 13.
    budget = {
        "id": "B1",
        "point": {"value": "10000", "unit": "lbf"},
        "components": [{"name": "reference", "distribution": "normal", "U": "5", "k": "2"}],
    }
    assert client.post("/v1/uncertainty-budgets", json=budget).status_code == 201
    point = {"point": 1, "applied": "10000", "error": "6", "unit": "lbf", "budget": "B1"}
    point |= {"tolerance": "20", "rule": "guard_U"}
    laboratory = lab(cal("K-1", "TL", "02-01", [ref("REF")], [point], customer="Harbour Cranes"))
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    again = client.post("/v1/imports", json=laboratory)
    assert again.get_json()["unchanged"]["calibrations"] == 1
    (shown,) = client.get("/v1/certificates/K-1").get_json()["results"]
    assert (shown["U"], shown["k"], shown["budget"]) == ("5", "2", "B1")
    theirs = keys.headers("read", customer="Harbour Cranes")
    (shown,) = client.get("/v1/certificates/K-1", headers=theirs).get_json()["results"]
    assert (shown["U"], shown["k"]) == ("5", "2")
    fault = force_fault(delta="-0.002", U_delta_rel="0.0012", U_delta_k="2")
    made = client.post("/v1/recalls", json={"fault": fault}).get_json()
    (moved,) = made["affected"][0]["points"]
    assert (moved["corrected_error"], moved["U_after"]) == ("26", "13")
    assert (moved["verdict_before"], moved["verdict_after"], moved["changed"]) == (
        *("pass", "fail", True),
    )
    assert made["summary"]["verdict_changes"] == 1
