"""Findings in the figures of a certificate; each fires, and is silent just inside.

Expected findings are worked by hand beside each case. That contradictions are no ground to issue
on: ISO/IEC 17025:2017, 7.1.3 (rule agreed), 7.8.6 (rule applied), from memory.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref, row

from api.services.grounds.candidates import Candidates
from api.services.grounds.figures import figure_findings
from api.services.grounds.finding import MIND, STOP
from api.services.records.revisions import choose

NOW = 2**62
ALDER, BIRCH = "Alder Rigging", "Birch Lifting"


def spoken(session, *certificates):
    """What is found in the figures of certificates, by key."""
    found = {one.id: [] for one in certificates}
    for key, finding in figure_findings(Candidates(session, *[dict.fromkeys(found, NOW)] * 2)):
        found[key].append(finding)
    return found


@pytest.fixture
def found(client, database):
    """Record one certificate of a cell of type load_cell, and return what speaks against it."""

    def ask(*results, owner=None, **more):
        one = cal("C-1", "CELL", "02-01", [ref("REF")], list(results), **more)
        made = lab(one, types={"CELL": "load_cell"})
        if owner is not None:
            made["items"][0]["owner"] = owner
        answer = client.post("/v1/imports", json=made)
        assert answer.status_code == 201, answer.text
        with database.read() as session:
            certificate = choose(session, "C-1")
            return spoken(session, certificate)[certificate.id]

    return ask


@pytest.fixture
def record(client):
    def post(path, body):
        answer = client.post(path, json=body, headers={"If-Match": "*"})
        assert answer.status_code == 201, answer.text

    return post


def codes(findings):
    return [(one.code, one.weight, one.point) for one in findings]


def test_nothing_speaks_against_figures_that_hold(found):
    assert found(row("10", "0.001", indicated="10.001", verdict_reported="pass")) == []


@pytest.mark.parametrize(
    ("indicated", "error", "wrong"),
    [
        # 10.0062 - 10 = 0.0062; 0.006 is off by 0.0002, its last digit is worth 0.001.
        ("10.0062", "0.006", False),
        # 10.007 - 10 = 0.007: off by 0.001, one unit of the last digit and no more.
        ("10.007", "0.006", False),
        # 10.0070001 - 10 = 0.0070001: off by 0.0010001.
        ("10.0070001", "0.006", True),
        # As written with one digit more the unit is 0.0001, and 0.001 is more than that.
        ("10.007", "0.0060", True),
        ("9.993", "-0.006", False),
        ("9.9929", "-0.006", True),
        ("10.006", "-0.006", True),
    ],
)
def test_an_error_is_what_was_indicated_less_what_was_applied(found, indicated, error, wrong):
    result = row("10", error, indicated=indicated)
    assert codes(found(result)) == ([("wrong_sum", STOP, "1")] if wrong else [])


def test_an_error_of_600_where_6_was_read_too_much_is_both_wrong_and_no_pass(found):
    # 10006 - 10000 = 6 and not 600; |600| > 20 fails under simple acceptance.
    result = row("10000", "600", indicated="10006", unit="lbf", U="5", tolerance="20",
                 rule="simple", verdict_reported="pass")  # fmt: skip
    findings = found(result)
    assert codes(findings) == [("wrong_sum", STOP, "1"), ("verdict_differs", STOP, "1")]
    assert "600 lbf" in findings[0].detail
    assert "reported as pass" in findings[1].detail
    assert "give fail" in findings[1].detail


@pytest.mark.parametrize(
    ("error", "reported", "differs"),
    [
        # T 0.01, U 0.002, guard_U: accepted to 0.008, the limit included.
        ("0.008", "pass", False),
        ("0.0080001", "pass", True),
        ("0.0080001", "fail", False),
        ("0.008", "fail", True),
    ],
)
def test_a_reported_verdict_is_that_of_the_rule(found, error, reported, differs):
    findings = found(row("10", error, verdict_reported=reported, stage="as_found"))
    assert codes(findings) == ([("verdict_differs", STOP, "1")] if differs else [])
    assert all("point 1, as found" in one.detail for one in findings)


def test_a_reported_verdict_that_nothing_decides_contradicts_nothing(found):
    bare = {"point": 1, "unit": "kN", "applied": "10", "error": "9", "verdict_reported": "pass"}
    assert found(bare) == []


CMC = {"id": "T", "mode": "tension", "range": {"lower": "1", "upper": "100", "unit": "kN"},
       "U_rel_pct": "0.02"}  # fmt: skip


@pytest.mark.parametrize(
    ("U", "more", "weight"),
    [
        # 0.02 % of 10 kN = 0.002 kN
        ("0.002", {"accreditation": "CAL-1"}, None),
        ("0.0019999", {"accreditation": "CAL-1"}, STOP),
        ("0.0019999", {}, MIND),
        # Certificates of others are not measured by our capability.
        ("0.0019999", {"external": True, "issuer": "Other", "accreditation": "X"}, None),
    ],
)
def test_u_below_the_capability_stops_an_accredited_certificate(found, record, U, more, weight):
    record("/v1/cmcs", CMC)
    findings = found(row("10", "0", U=U), mode="tension", **more)
    assert codes(findings) == ([] if weight is None else [("below_cmc", weight, "1")])
    if weight is not None:
        assert 'U = 0.0019999 kN is below the capability "T", version 1' in findings[0].detail
        assert "0.002 kN" in findings[0].detail


GUARD = {"id": "G", "guard": {"basis": "U", "factor": "1"}, "zones": 2}
AGREED = {"id": "AG", "customer": ALDER, "rule": "G", "from": "2025-01-01", "by": "R. Manager"}


@pytest.fixture
def agreed(record):
    """Two versions of a rule, of which the first is agreed with one of two customers."""
    for name in (ALDER, BIRCH):
        record("/v1/customers", {"name": name})
    record("/v1/decision-rules", GUARD)
    record("/v1/agreements", AGREED)
    record("/v1/decision-rules", GUARD | {"guard": {"basis": "U", "factor": "0.5"}})


@pytest.mark.parametrize(
    ("rule", "more", "fires"),
    [
        ("G", {"customer": ALDER}, False),  # in the version agreed, though there is a later one
        ("simple", {"customer": ALDER}, True),
        ("simple", {"customer": BIRCH}, False),  # nothing is agreed with it
        ("simple", {}, False),
        ("simple", {"customer": ALDER, "external": True, "issuer": "Other"}, False),
    ],
)
def test_another_rule_than_agreed_is_found(found, agreed, rule, more, fires):
    findings = found(row("10", "0", rule=rule), **more)
    assert codes(findings) == ([("rule_not_agreed", STOP, "1")] if fires else [])
    if fires:
        assert 'judged by rule "simple", version 1' in findings[0].detail
        assert 'rule "G", version 1 (agreement AG, version 1)' in findings[0].detail


@pytest.mark.parametrize("name", ["ALDER  rigging", "\uff21lder Rigging", " Alder\u00a0Rigging "])
def test_another_spelling_of_the_customer_escapes_no_agreement(found, agreed, name):
    findings = found(row("10", "0", rule="simple"), customer=name)
    assert codes(findings) == [("rule_not_agreed", STOP, "1")]


@pytest.mark.parametrize(("owner", "fires"), [(ALDER, True), (BIRCH, False), (None, False)])
def test_leaving_the_customer_out_escapes_no_agreement_with_the_owner(found, agreed, owner, fires):
    findings = found(row("10", "0", rule="simple"), owner=owner)
    assert codes(findings) == ([("rule_not_agreed", STOP, "1")] if fires else [])


def test_another_spelling_of_the_order_escapes_no_agreement(found, record, agreed):
    record("/v1/agreements", AGREED | {"id": "AO", "order": "PO 7", "rule": "simple"})
    own = {"customer": ALDER, "order": "po\u00a07"}
    assert codes(found(row("10", "0", rule="G"), **own)) == [("rule_not_agreed", STOP, "1")]


def test_another_version_than_agreed_is_found(found, client, record, agreed, database):
    # Recorded before the agreement is changed: its next version is of the rule's second one.
    assert found(row("10", "0", rule="G"), customer=ALDER) == []
    record("/v1/agreements", AGREED | {"rule": {"id": "G", "version": 2}})
    with database.read() as session:
        certificate = choose(session, "C-1")
        (one,) = spoken(session, certificate)[certificate.id]
    assert 'judged by rule "G", version 1, but agreed' in one.detail
    assert 'rule "G", version 2 (agreement AG, version 2)' in one.detail


def test_a_rule_agreed_with_one_customer_is_not_used_for_another(found, record):
    record("/v1/decision-rules", GUARD | {"id": "H", "agreed_with": f"{ALDER}, order 7"})
    assert found(row("10", "0", rule="H"), customer=ALDER) == []


def test_a_rule_agreed_with_another_customer_is_found(found, record):
    record("/v1/decision-rules", GUARD | {"id": "H", "agreed_with": f"{ALDER}, order 7"})
    (one,) = found(row("10", "0", rule="H"), customer=BIRCH)
    assert codes([one]) == [("rule_not_agreed", STOP, "1")]
    assert one.detail.endswith(f"which was agreed with {ALDER}, order 7, not with {BIRCH}")


SPEC = {"id": "S", "tolerance": {"terms": [{"kind": "percent_of_reading", "value": "0.1"}],
                                 "combine": "sum"}}  # fmt: skip


@pytest.mark.parametrize(
    ("tolerance", "fires"),
    [
        ("S", False),
        # 0.1 % of the reading 10 + 0 = 0.01: the same limits in a number.
        ("0.01", False),
        ("0.0100001", True),
        ({"upper": "0.01"}, True),
    ],
)
def test_other_limits_than_those_of_the_agreed_specification_are_found(
    found, record, tolerance, fires
):
    record("/v1/customers", {"name": ALDER})
    record("/v1/specifications", SPEC)
    record("/v1/agreements", AGREED | {"rule": "guard_U", "specification": "S"})
    findings = found(row("10", "0", tolerance=tolerance), customer=ALDER)
    assert codes(findings) == ([("rule_not_agreed", STOP, "1")] if fires else [])


def test_many_certificates_are_asked_together_and_each_gets_its_own(client, database):
    good, bad = row("10", "0"), row("10", "0", verdict_reported="fail")
    made = lab(
        cal("C-1", "A", "02-01", [ref("REF")], [good, bad | {"point": 2}]),
        cal("C-2", "B", "02-02", [ref("REF")], [bad]),
        cal("C-3", "C", "02-03", [ref("REF")], []),
    )
    assert client.post("/v1/imports", json=made).status_code == 201
    with database.read() as session:
        some = [choose(session, number) for number in ("C-1", "C-2", "C-3")]
        found = spoken(session, *some)
        points = [[one.point for one in found[certificate.id]] for certificate in some]
    assert points == [["2"], ["1"], []]
