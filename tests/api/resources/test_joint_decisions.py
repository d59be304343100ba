"""Several results decided together, over HTTP; joint probabilities are SciPy's."""

from __future__ import annotations

import json

import pytest
from scipy.stats import multivariate_normal, norm

URL = "/v1/joint-decisions"
# u = 0.05 kN; the first is 1 u inside its upper limit, the second 2 u.
TWO = [
    {"value": "10.15", "U": "0.1", "nominal": "10", "tolerance": "0.2", "results": "10 kN"},
    {"value": "20.10", "U": "0.1", "nominal": "20", "tolerance": "0.2", "results": "20 kN"},
]
ASKED = {"results": TWO, "unit": "kN", "rule": "simple"}
ONE, OTHER = (norm.cdf(1) - norm.cdf(-7), norm.cdf(2) - norm.cdf(-6))


def asked(client, status=200, **changes):
    answer = client.post(URL, json={**ASKED, **changes})
    assert answer.status_code == status, answer.text
    return json.loads(answer.text)


def test_independent_results_have_the_product_of_their_probabilities(client):
    found = asked(client)
    assert (found["verdict"], found["joint_risk"]["dependence"]) == ("pass", "independent")
    assert found["joint_risk"]["all_conform"] == pytest.approx(ONE * OTHER, rel=1e-12)
    assert found["joint_risk"]["consumer"] == pytest.approx(1 - ONE * OTHER, rel=1e-12)
    # 1 - 0.841345 x 0.977250 = 17.8 %
    assert found["statement"] == (
        "Of 2 results together: all of them meet their specifications. Joint risk that at least "
        "one does not conform: 18 % (independent)."
    )
    single = client.post("/v1/decisions", json={**TWO[0], "unit": "kN", "rule": "simple"})
    assert found["results"][0] == {n: p for n, p in json.loads(single.text).items() if n != "id"}


def test_a_stated_correlation_lowers_the_joint_risk(client):
    found = asked(client, correlation="0.6")
    expected = multivariate_normal.cdf([1, 2], cov=[[1, 0.6], [0.6, 1]], lower_limit=[-7, -6])
    assert found["joint_risk"]["all_conform"] == pytest.approx(float(expected), abs=1e-7)
    assert found["joint_risk"]["dependence"] == "correlated with r = 0.6"
    opposed = asked(client, correlation="-0.6")["joint_risk"]
    assert opposed["consumer"] > asked(client)["joint_risk"]["consumer"]


def test_the_common_part_of_the_uncertainty_correlates(client):
    # Parts 0.08 of 0.1 and 60 N of 0.1 kN: r = 0.8 x 0.6 = 0.48.
    parts = ("0.08", {"value": "60", "unit": "N"})
    results = [one | {"common_U": part} for one, part in zip(TWO, parts, strict=True)]
    found = asked(client, results=results)["joint_risk"]
    same = asked(client, correlation="0.48")["joint_risk"]
    assert found["consumer"] == pytest.approx(same["consumer"], rel=1e-10)
    assert found["dependence"] == "correlated by the stated common part of U"


def test_priors_of_independent_results_give_the_total_global_risk(client):
    results = [one | {"prior": {"mean": one["nominal"], "sd": "0.1"}} for one in TWO]
    found = asked(client, results=results)
    single = [one["global_risk"] for one in found["results"]]
    accepted = single[0]["accepted"] * single[1]["accepted"]
    both = 1.0
    for one in single:
        both *= one["accepted"] - one["consumer"]
    total = found["joint_risk"]["global_risk"]
    assert total["accepted"] == pytest.approx(accepted, rel=1e-12)
    assert total["consumer"] == pytest.approx(accepted - both, rel=1e-9)
    assert "global_risk" not in asked(client, results=results, correlation="0.5")["joint_risk"]


def test_the_worst_verdict_is_that_of_all(client):
    results = [*TWO, TWO[0] | {"value": "10.21"}]
    found = asked(client, results=results)
    assert [one["verdict"] for one in found["results"]] == ["pass", "pass", "fail"]
    assert found["verdict"] == "fail"
    assert "at least one of them does not meet" in found["statement"]


def test_a_result_may_have_a_rule_and_a_unit_of_its_own(client):
    own = {"value": "20100", "U": "100", "unit": "N", "nominal": "20000", "tolerance": "200"}
    found = asked(client, results=[TWO[0], own | {"rule": "guard_U"}])
    assert [one["rule"]["id"] for one in found["results"]] == ["simple", "guard_U"]
    assert found["joint_risk"]["all_conform"] == pytest.approx(ONE * OTHER, rel=1e-12)


def test_a_rectangle_counts_with_its_own_probability_and_is_not_correlated(client):
    # Half-width 0.1 about 20.10 is wholly inside 20.2; the other one is normal.
    flat = TWO[1] | {"k": "1.7320508075688772", "density": "rectangular"}
    found = asked(client, results=[TWO[0], flat])["joint_risk"]
    assert found["all_conform"] == pytest.approx(ONE, rel=1e-12)
    problem = asked(client, 422, results=[TWO[0], flat], correlation="0.5")
    assert problem["errors"][0]["pointer"] == "/results/1/density"


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"results": TWO[:1]}, "/results"),
        ({"rule": None}, "/rule"),
        ({"correlation": "1.2"}, "/correlation"),
        ({"correlation": "-0.1", "results": [*TWO, TWO[0]]}, "/correlation"),
        ({"correlation": "0.5", "results": [TWO[0], TWO[1] | {"common_U": "0"}]}, "/correlation"),
        ({"results": [TWO[0], TWO[1] | {"common_U": "0.2"}]}, "/results/1/common_U"),
        ({"results": [TWO[0], TWO[1] | {"common_U": "-1"}]}, "/results/1/common_U"),
        ({"correlation": "0.5", "results": [TWO[0], TWO[1] | {"dof": "5"}]}, "/results/1/dof"),
        ({"results": [TWO[0], TWO[1] | {"U": "-1"}]}, "/results/1/U"),
        ({"results": [TWO[0], TWO[1] | {"unit": "stone"}]}, "/results/1/unit"),
        ({"results": [TWO[0], TWO[1] | {"store": True}]}, "/results/1/store"),
        ({"results": [TWO[0], TWO[1] | {"rule": "none such"}]}, "/results/1/rule"),
        ({"agreement": "A"}, "/agreement"),
    ],
)
def test_what_cannot_be_decided_together_is_refused_where_it_is_wrong(client, changes, pointer):
    problem = asked(client, 422, **changes)
    assert pointer in [one["pointer"] for one in problem["errors"]]
    assert all(one["remedy"] for one in problem["errors"])


def test_a_unit_and_a_rule_are_needed_of_each_result(client):
    answer = client.post(URL, json={"results": TWO})
    pointers = [one["pointer"] for one in answer.get_json()["errors"]]
    assert sorted(pointers) == [f"/results/{i}/{name}" for i in (0, 1) for name in ("rule", "unit")]
