"""What a customer is shown of a certificate, and that nothing else gets out."""

from __future__ import annotations

import json

import pytest
from oracle_cases import cal, lab, ref, row

from api.schemas.imports import LaboratorySchema
from api.services.certificates import certificates, customer_view
from api.services.certificates.customer_view import CERTIFICATE, RESULT, STATED
from api.services.imports.imports import import_laboratory
from api.services.records.revisions import choose

SECRET = "not for customers"
USES = [ref("WS", note=SECRET)]
OPEN = {"method": "MP v3", "accreditation": "CAL-1", "due_at": "2026-03-01", "mode": "tension"}
CLOSED = {"note": SECRET, "title": SECRET, "meaning": SECRET, "load_applications": 987654}
# A correction: ISO/IEC 17025:2017, 7.8.8.
AMENDED = {"amendment": "replaces revision 0", "revision": 2, "customer": "Alder Rigging"}
LABORATORY = lab(
    cal("W-1", "WS", "01-10", []),
    cal("C-1", "A", "03-01", USES, status="superseded", customer="Alder Rigging"),
    cal("C-1", "A", "03-01", USES, revision=1, status="voided", customer="Mine Works"),
    cal(
        *("C-1", "A", "03-01", USES),
        [row("10", "0.0010", note=SECRET), row("20", "0", point=2)],
        **(OPEN | CLOSED | AMENDED),
    ),
)


@pytest.fixture
def shown(database):
    """The certificate as its customer sees it, and whole."""
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        certificate = choose(session, "C-1")
        yield customer_view.answer(session, certificate), certificates.answer(session, certificate)


def text(answer):
    return json.dumps(answer, default=str)


def test_what_stays_with_the_laboratory_is_in_no_part_of_it(shown):
    seen, whole = shown
    for kept in (SECRET, "WS", "987654"):
        assert kept in text(whole)
        assert kept not in text(seen)
    assert not {"uses", "use_corrections", "note", "load_applications"} & seen.keys()
    assert seen.keys() <= {*CERTIFICATE, *STATED, "revisions", "results"}


def test_what_stands_on_the_paper_is_shown_as_it_is(shown):
    seen, whole = shown
    for name, value in OPEN.items():
        assert seen[name] == value
    for name in ("certificate", "item", "customer", "performed_at", "status", "recall_state"):
        assert seen[name] == whole[name]
    assert seen["amendment"] == "replaces revision 0"
    assert [one["point"] for one in seen["results"]] == [1, 2]
    assert (seen["statement"], seen["overall"]) == (whole["statement"], {"single": "pass"})
    assert [one["verdict"] for one in seen["results"]] == ["pass", "pass"]
    (first, second) = seen["results"]
    assert first == {name: value for name, value in whole["results"][0].items() if name != "note"}
    assert {"applied", "error", "U", "k", "tolerance", "rule", "rule_version"} <= second.keys()
    assert str(first["error"]) == "0.0010"


def test_a_revision_for_another_customer_is_not_told_of(shown):
    seen, whole = shown
    assert [one["revision"] for one in whole["revisions"]] == [2, 1, 0]
    assert [(one["revision"], one["status"]) for one in seen["revisions"]] == [
        *((2, "issued"), (0, "superseded"))
    ]


def test_a_field_that_nobody_listed_is_left_out():
    assert customer_view.head({"certificate": "C-1", "new_field": SECRET}) == {"certificate": "C-1"}
    assert "note" not in CERTIFICATE
    assert "note" not in RESULT
