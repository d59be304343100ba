"""What is agreed with a customer gives its results their rule, and stands in the statement.

That the rule is agreed at contract review: ISO/IEC 17025:2017, 7.1.3, from memory.
"""

from __future__ import annotations

import json

import pytest
from oracle_cases import answered, cal, lab, ref, row

ALDER = "Alder Rigging"
# Half of U as guard band in the first version, U in the second.
HALF = {"id": "G", "guard": {"basis": "U", "factor": "0.5"}, "zones": 2}
WHOLE = HALF | {"guard": {"basis": "U", "factor": "1"}}
AGREED = {"id": "AG", "customer": ALDER, "rule": "G", "from": "2025-02-01", "by": "R. Manager"}


@pytest.fixture
def agreed(client):
    """Post to the laboratory of a customer with whom the first version of a rule is agreed."""

    def post(path, body):
        answer = client.post(path, json=body, headers={"If-Match": "*"})
        assert answer.status_code in (200, 201), answer.text
        return json.loads(answer.text)

    post("/v1/imports", lab(cal("W-1", "REF", "01-01", []), kinds={"CELL": "working_standard"}))
    post("/v1/customers", {"name": ALDER})
    post("/v1/decision-rules", HALF)
    post("/v1/agreements", AGREED)
    post("/v1/decision-rules", WHOLE)
    return post


def calibrated(post, number, at="03-01", **more):
    """A certificate with 0.009 at T 0.01 and U 0.002: in by 0.01 - 0.001, out by 0.01 - 0.002."""
    result = row("10", "0.009") | more.pop("result", {})
    sent = {name: value for name, value in result.items() if value is not None}
    # Another rule than the one agreed needs somebody who answers for it.
    made = cal(number, "CELL", at, [ref("REF")], [sent], **({"customer": ALDER} | more))
    return post("/v1/calibrations", answered(made))


@pytest.mark.parametrize(
    ("rule", "version", "verdict"), [(None, 1, "pass"), ("G", 1, "pass"), ("guard_U", 1, "fail")]
)
def test_what_names_no_rule_or_version_is_judged_by_the_one_agreed(agreed, rule, version, verdict):
    made = calibrated(agreed, "C-1", result={"rule": rule})
    (result,) = made["results"]
    assert (result["rule"], result["rule_version"]) == (rule or "G", version)
    assert (result["verdict"], made["overall"]) == (verdict, {"single": verdict})
    assert made["agreement"] == {"id": "AG", "version": 1}


def test_without_a_customer_what_was_agreed_with_the_owner_holds(agreed):
    agreed(
        "/v1/imports", {"items": [{"id": "LINK", "kind": "customer_instrument", "owner": ALDER}]}
    )
    made = agreed(
        "/v1/calibrations",
        answered(cal("C-1", "LINK", "03-01", [ref("REF")], [row("10", "0.009", rule="G")])),
    )
    assert made["agreement"] == {"id": "AG", "version": 1}
    assert made["results"][0]["rule_version"] == 1


@pytest.mark.parametrize(
    "more",
    [
        {"at": "01-31"},  # not agreed yet
        {"customer": "Birch Lifting"},
        {"external": True, "issuer": "Other"},
    ],
)
def test_without_an_agreement_the_latest_version_counts_and_no_rule_is_invented(agreed, more):
    made = calibrated(agreed, "C-1", result={"rule": "G"}, **more)
    assert made["results"][0]["rule_version"] == 2
    bare = calibrated(agreed, "C-2", result={"rule": None}, **more)
    assert not {"rule", "verdict"} & bare["results"][0].keys()
    assert "agreement" not in made


def test_a_result_without_limits_is_given_no_rule(agreed):
    made = calibrated(agreed, "C-1", result={"rule": None, "tolerance": None})
    assert "rule" not in made["results"][0]


def test_the_statement_says_with_whom_the_rule_was_agreed_or_that_another_was_used(agreed):
    made = calibrated(agreed, "C-1", result={"rule": "G"})
    assert made["statement"].endswith(
        "Decision rule: G, version 1: guard band w = 0.5 U. "
        f"The rule was agreed with {ALDER} (agreement AG, version 1)."
    )
    other = calibrated(agreed, "C-2", result={"rule": "guard_U"})
    assert other["statement"].endswith(
        f"Not every rule used is the one agreed with {ALDER} "
        "(agreement AG, version 1: rule G, version 1)."
    )


def test_what_is_agreed_later_changes_no_certificate_and_a_draft_goes_by_what_holds_at_its_issue(
    agreed, client
):
    before = calibrated(agreed, "C-1", result={"rule": "G"})
    calibrated(agreed, "C-2", result={"rule": "G"}, status="draft")
    agreed("/v1/agreements", AGREED | {"rule": {"id": "G", "version": 2}})
    after = json.loads(client.get("/v1/certificates/C-1").text)
    assert (after["agreement"], after["statement"]) == (before["agreement"], before["statement"])
    issued = agreed("/v1/certificates/C-2/issue", answered({"issued_at": "2025-03-02T00:00:00Z"}))
    assert issued["agreement"] == {"id": "AG", "version": 2}
    assert "Not every rule used" in issued["statement"]


def test_an_order_stands_on_the_certificate_and_finds_its_own_agreement(agreed):
    agreed("/v1/agreements", AGREED | {"id": "AO", "order": "PO 7", "rule": "simple"})
    made = calibrated(agreed, "C-1", order="PO 7", result={"rule": None})
    assert (made["order"], made["agreement"]["id"]) == ("PO 7", "AO")
    assert made["results"][0]["rule"] == "simple"
    assert calibrated(agreed, "C-2", result={"rule": None})["agreement"]["id"] == "AG"


def test_the_agreed_version_of_a_specification_gives_the_limits(agreed):
    # 0.09 % of the reading 10.009 = 0.0090081, then 0.2 %.
    for value in ("0.09", "0.2"):
        terms = {"terms": [{"kind": "percent_of_reading", "value": value}], "combine": "sum"}
        agreed("/v1/specifications", {"id": "S", "tolerance": terms})
    asked = {"tolerance": "S", "rule": "simple"}
    latest = calibrated(agreed, "C-1", result=asked)
    assert latest["results"][0]["specification_version"] == 2
    agreed("/v1/agreements", AGREED | {"specification": {"id": "S", "version": 1}})
    made = calibrated(agreed, "C-2", result=asked)
    assert made["results"][0]["specification_version"] == 1
    assert "Specification: recorded as S, version 1." in made["statement"]
