"""Refused, overridden by name, kept: every way to the status issued."""

from __future__ import annotations

import pytest
from oracle_cases import cal, ref, row

from tests.api.services.grounds.conftest import SPAN, candidate

OVERRIDE = {"by": "Robin Manager", "reason": "the customer knows and agreed"}
BARE = {"kinds": {"BARE": "working_standard"}}


def codes(refused):
    assert refused["type"] == "/problems/doubtful-ground"
    assert all(one["remedy"] and one["detail"] for one in refused["errors"])
    return [(one["code"], one["pointer"]) for one in refused["errors"]]


def test_recorded_piece_by_piece_it_is_refused_whole_with_every_stop_in_its_place(bench):
    bench.imported(**BARE)
    record = candidate(ref("WS"), ref("BARE", "0.5"), results=SPAN[:1])
    refused = bench.post("/v1/calibrations", record, 409)
    # U/k equals that of WS alone, and no more is known.
    assert codes(refused) == [("no_value", "/uses/1/item")]
    assert bench.client.get("/v1/certificates/N-1").status_code == 404


def test_an_override_is_kept_shown_in_certificate_and_chain_and_journaled(bench):
    bench.imported(**BARE)
    record = candidate(ref("BARE")) | {"override": OVERRIDE}
    assert bench.post("/v1/calibrations", record)["override"] == OVERRIDE
    assert bench.get("/v1/certificates/N-1")["override"] == OVERRIDE
    assert bench.get("/v1/certificates/N-1/chain")["override"] == OVERRIDE
    kept = bench.get("/v1/certificates/N-1/grounds")
    assert kept["override"] == OVERRIDE
    assert [one["code"] for one in kept["grounds"]] == ["no_value"]
    lines = bench.get("/v1/journal?limit=200")["items"]
    (fact,) = [
        fact for line in lines for fact in line["facts"] if fact["what"] == "issued under override"
    ]
    assert {name: fact[name] for name in ("by", "reason", "codes")} == OVERRIDE | {
        "codes": ["no_value"]
    }
    bench.post("/v1/calibrations", record, 200)  # the same again
    other = record | {"override": OVERRIDE | {"by": "Another"}}
    assert bench.post("/v1/calibrations", other, 409)["type"] == "/problems/conflict"


def test_a_draft_is_recorded_and_asked_when_it_is_issued(bench):
    bench.imported(**BARE)
    bench.post("/v1/calibrations", candidate(ref("BARE"), status="draft"))
    body = {"issued_at": "2025-06-02T00:00:00Z"}
    assert codes(bench.post("/v1/certificates/N-1/issue", body, 409)) == [("no_value", "")]
    shown = bench.post("/v1/certificates/N-1/issue", body | {"override": OVERRIDE}, 200)
    assert (shown["status"], shown["override"]) == ("issued", OVERRIDE)


def test_a_revision_is_asked_too_and_leaves_the_one_before_in_its_place(bench):
    bench.imported(candidate(), **BARE)
    revised = candidate(ref("BARE"), revision=1, amendment="another standard was used")
    assert codes(bench.post("/v1/certificates/N-1/revisions", revised, 409)) == [
        ("no_value", "/uses/0/item")
    ]
    assert bench.get("/v1/certificates/N-1")["revision"] == 0
    bench.post("/v1/certificates/N-1/revisions", revised | {"override": OVERRIDE})
    assert bench.get("/v1/certificates/N-1")["override"] == OVERRIDE


def test_an_import_of_history_records_what_is_found_and_refuses_nothing(bench):
    bench.imported(
        candidate(ref("BARE")), cal("D-1", "CELL", "06-03", [ref("BARE")], status="draft")
    )
    kept = bench.get("/v1/certificates/N-1/grounds")
    assert [one["code"] for one in kept["grounds"]] == ["no_value"]
    assert "at" in kept
    assert bench.get("/v1/certificates/D-1/grounds")["grounds"] is None


def test_an_override_that_an_import_brings_is_kept(bench):
    bench.imported(candidate(ref("BARE")) | {"override": OVERRIDE})
    assert bench.get("/v1/certificates/N-1")["override"] == OVERRIDE


def test_an_override_has_a_person_and_a_reason(bench):
    bench.imported()
    refused = bench.post("/v1/calibrations", candidate() | {"override": {}}, 422)
    assert [one["pointer"] for one in refused["errors"]] == ["/override/by", "/override/reason"]


@pytest.mark.parametrize("blank", ["\u200b", "\u202e", "\u2800", "\u3164 \u2060"])
def test_nobody_answers_under_a_name_that_leaves_nothing_on_paper(bench, blank):
    bench.imported()
    record = candidate() | {"override": {"by": blank, "reason": blank}}
    refused = bench.post("/v1/calibrations", record, 422)
    assert [one["pointer"] for one in refused["errors"]] == ["/override/by", "/override/reason"]


def test_a_refusal_names_what_is_to_be_borne_in_mind_after_what_stops(bench):
    with_box = [ref("REF"), {"item": "BOX", "role": "readout_dut", "channel": "A"}]
    bench.imported(
        cal("B-1", "BOX", "01-05", [], []), cal("W-2", "WS", "03-01", with_box, SPAN), **BARE
    )
    read = {"item": "BOX", "role": "readout_reference", "channel": "B"}
    record = candidate(ref("WS"), ref("BARE", "0.5"), read, results=SPAN[:1])
    refused = bench.post("/v1/calibrations", record, 409)
    assert [(one["code"], one["weight"]) for one in refused["errors"]] == [
        ("no_value", "stop"),
        ("pairing", "mind"),
    ]


def test_a_dry_run_is_asked_anew_each_time_whatever_key_it_has(bench):
    bench.imported()

    def dry():
        headers = {"Idempotency-Key": "K"}
        address = "/v1/calibrations?dry_run=true"
        return bench.client.post(address, json=candidate(), headers=headers).get_json()["grounds"]

    assert dry() == []
    bench.fault(item="WS", isolated_at="2025-08-01T00:00:00Z")
    assert "in_doubt" in [one["code"] for one in dry()]
    headers = {"Idempotency-Key": "K"}
    assert (
        bench.client.post("/v1/calibrations", json=candidate(), headers=headers).status_code == 409
    )


def test_a_dry_run_says_everything_and_the_override_does_not_hide_it(bench):
    bench.imported(**BARE)
    record = candidate(ref("BARE")) | {"override": OVERRIDE}
    assert bench.codes(record) == [("no_value", "stop")]


def test_a_customer_does_not_see_who_answered(bench, client, keys):
    bench.imported(**BARE)
    record = candidate(ref("BARE"), customer="Harbour") | {"override": OVERRIDE}
    bench.post("/v1/calibrations", record)
    headers = keys.headers("read", customer="Harbour")
    assert "override" not in client.get("/v1/certificates/N-1", headers=headers).json
    assert client.get("/v1/certificates/N-1/grounds", headers=headers).status_code == 403


# What is wrong with the figures of a certificate, and how it is recorded so that it is. The limits
# are +-1 kN, guard_U: an error of 0 passes, whatever its U up to 1 kN (worked by hand).
FIGURES = [
    ("wrong_sum", {"error": "0.000", "indicated": "10.1"}),  # 10.1 - 10 = 0.1, and not 0.000
    ("verdict_differs", {"verdict_reported": "fail"}),
    ("rule_not_agreed", {"rule": "simple"}),
    ("below_cmc", {"U": "0.0039"}),  # the capability is 0.04 % of 10 kN = 0.004 kN
]


@pytest.fixture
def demanding(bench):
    """The same bench, with a capability, and an agreement with the customer Harbour."""
    bench.imported()
    span = {"lower": "1", "upper": "100", "unit": "kN"}
    bench.post("/v1/cmcs", {"id": "T", "mode": "tension", "range": span, "U_rel_pct": "0.04"})
    bench.post("/v1/customers", {"name": "Harbour"})
    agreed = {"id": "AG", "customer": "Harbour", "rule": "guard_U", "from": "2025-01-01"}
    bench.post("/v1/agreements", agreed | {"by": "R. Manager"})
    return bench


@pytest.mark.parametrize(("code", "wrong"), FIGURES)
def test_what_is_wrong_with_figures_is_refused_on_every_way_to_the_status_issued(
    demanding, code, wrong
):
    more = {"customer": "Harbour", "accreditation": "K-7", "mode": "tension"}
    result = row(U="0.004", tolerance="1")
    good, bad = (candidate(results=[one], **more) for one in (result, result | wrong))
    assert demanding.codes(good) == []
    assert demanding.codes(bad) == [(code, "stop")]
    assert codes(demanding.post("/v1/calibrations", bad, 409)) == [(code, "/results/0")]

    demanding.post("/v1/calibrations", good)
    revised = bad | {"revision": 1, "amendment": "the figures were mended"}
    refused = demanding.post("/v1/certificates/N-1/revisions", revised, 409)
    assert codes(refused) == [(code, "/results/0")]

    demanding.post("/v1/calibrations", bad | {"certificate": "N-2", "status": "draft"})
    body = {"issued_at": "2025-06-02T00:00:00Z"}
    assert codes(demanding.post("/v1/certificates/N-2/issue", body, 409)) == [(code, "")]
    demanding.post("/v1/certificates/N-2/issue", body | {"override": OVERRIDE}, 200)
    found = demanding.get("/v1/certificates/N-2/grounds")
    for when in ("grounds", "today"):
        assert [(one["code"], one["point"]) for one in found[when]] == [(code, "1")]

    demanding.post("/v1/imports", {"calibrations": [bad | {"certificate": "N-3"}]})
    kept = demanding.get("/v1/certificates/N-3/grounds")
    assert [one["code"] for one in kept["grounds"]] == [code]


def test_the_stage_tells_two_results_of_a_point_apart(bench):
    bench.imported()
    found, left = (row(U="0.004", stage=stage) for stage in ("as_found", "as_left"))
    record = candidate(results=[found, left | {"verdict_reported": "fail"}])
    refused = bench.post("/v1/calibrations", record, 409)
    assert codes(refused) == [("verdict_differs", "/results/1")]
    assert [one["stage"] for one in bench.found(record)] == ["as_left"]


@pytest.mark.parametrize(
    ("status", "word"),
    [("issued", "nothing more"), ("voided", "next revision"), ("superseded", "later revision")],
)
def test_what_is_no_draft_is_not_issued_and_says_what_to_do_instead(bench, status, word):
    more = {"voided": {"void_reason": "wrong"}, "superseded": {"superseded_by": 1}}.get(status, {})
    bench.imported(candidate(status=status, **more))
    body = {"issued_at": "2025-06-02T00:00:00Z"}
    (error,) = bench.post("/v1/certificates/N-1/issue", body, 409)["errors"]
    assert f"is {status}, not a draft" in error["detail"]
    assert word in error["remedy"]
