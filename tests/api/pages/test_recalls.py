"""The recall page: the sentence, lists in pages, a certificate looked at, and what is done."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest

CHOSEN = "/recalls/1?chosen=MV-25-0075&revision=0"
# Figures of the recall: fixtures/demo_lab/story.json, held by tests/fixtures/test_demo_story.py.
AFFECTED, CHANGES, EXPOSED = 40, 9, 6


def rows(page: str) -> list[str]:
    """Certificates of the list, in their order."""
    table = page.split('id="certificates"')[1].split("<tbody>")[1].split("</tbody>")[0]
    return re.findall(r'<th scope="row"><a class="id" href="[^"]+">([^<]+)</a>', table)


def test_a_sentence_says_what_was_found(visitor):
    page = visitor.get("/recalls/1").text
    assert (
        f"{AFFECTED} certificates are affected and 9 customers concerned; a statement of "
        f"conformity changes on {CHANGES} certificates, {EXPOSED} more were exposed without effect."
        in page
    )


def test_every_list_has_its_rows(visitor, keys):
    answer = visitor.client.get("/v1/recalls/1", headers=keys.headers()).get_json()
    for name in ("affected", "exposed_zero_effect", "traced_not_recalled", "cleared"):
        shown = rows(visitor.get(f"/recalls/1?list={name}").text)
        named = [one["certificate"] for one in answer[name]]
        assert [text.split(" rev. ")[0] for text in shown] == named
    assert visitor.get("/recalls/1?list=everything").status_code == 404


def test_sorting_and_filters_are_those_of_the_api(visitor, keys):
    address = "sort=shift_over_U&generation=2&verdict_changes=true"
    answer = visitor.client.get(f"/v1/recalls/1/affected?{address}", headers=keys.headers())
    page = visitor.get(f"/recalls/1?{address}").text
    assert rows(page) == [one["certificate"] for one in answer.get_json()["items"]]
    assert 'aria-sort="descending"><a' in page
    assert "4 certificates pass the filter" in page
    page = visitor.get("/recalls/1?generation=two").text
    assert '<a href="#filter-generation">Generation</a>' in page


def test_long_lists_come_in_pages(visitor, monkeypatch):
    from api.pages import recalls

    monkeypatch.setattr(recalls, "ROWS", 15)
    first, last = visitor.get("/recalls/1").text, visitor.get("/recalls/1?start=30").text
    assert len(rows(first)) == 15
    assert "Page 1 of 3" in first
    assert "Previous" not in first
    assert len(rows(last)) == 10
    assert "Page 3 of 3" in last
    assert "Next" not in last


def test_a_chosen_certificate_is_shown_before_and_after_with_the_reason(visitor):
    page = visitor.get(CHOSEN).text
    assert "MV-25-0075 used WS-101, which had been calibrated (MV-25-0052) with the faulty" in page
    # Applied 16 kip, delta -0.0007: shift 0.0112; error 0.03, limits -0.04 and 0.04.
    assert "0.0112" in page
    assert "0.0412" in page
    assert "<strong>changed</strong>" in page
    assert "Errors before and after drawn against their limits" in page
    assert 'tr class="chosen"' in page
    assert "does not list" in visitor.get("/recalls/1?chosen=NOSUCH").text


def test_dispositions_are_recorded_for_those_ticked(visitor, keys):
    ticked = [json.dumps({"certificate": n, "revision": 0}) for n in ("MV-25-0075", "MV-25-0053")]
    fields = {"scope": "ticked", "certificate": ticked, "list": "affected", "action": "reissue"}
    answer = visitor.send("/recalls/1", "/recalls/1/dispositions", by="Ida Example", **fields)
    assert answer.status_code == 303
    assert "Recorded for 2 certificates" in visitor.get(answer.headers["Location"]).text
    found = visitor.client.get("/v1/recalls/1/dispositions", headers=keys.headers()).get_json()
    assert {(one["certificate"], one["action"], one["by"]) for one in found["items"]} == {
        ("MV-25-0075", "reissue", "Ida Example"),
        ("MV-25-0053", "reissue", "Ida Example"),
    }


def test_a_whole_list_is_disposed_of_at_once_and_only_once(visitor):
    fields = {"scope": "filter", "list": "affected", "undecided": "yes", "action": "withdraw"}
    fields |= {"by": "Ida Example", "once": "one-form"}
    fields |= {"filter_verdict_changes": "true", "count": str(CHANGES)}
    shown = visitor.get("/recalls/1").text
    version = re.search(r'name="version" value="(\d+)"', shown)[1]
    for _ in range(2):
        answer = visitor.send("/recalls/1", "/recalls/1/dispositions", **fields, version=version)
        assert f"disposed={CHANGES}" in answer.headers["Location"]
    assert f"{AFFECTED - CHANGES} of {AFFECTED} without a disposition" in (
        visitor.get("/recalls/1").text
    )


def test_all_that_pass_the_filter_are_those_that_the_page_counts(visitor, keys):
    customer = "Morrowick Docks"
    page = visitor.get(f"/recalls/1?customer={customer}").text
    said = re.search(r"all (\d+) that pass the filter, on all pages: customer ([^<]+)<", page)
    assert said is not None
    assert said[2] == customer
    assert f'name="filter_customer" value="{customer}"' in page
    fields = {"scope": "filter", "list": "affected", "action": "reissue", "by": "Ida Example"}
    fields["filter_customer"] = customer
    address = "/recalls/1/dispositions"
    refused = visitor.send("/recalls/1", address, **fields, count=str(AFFECTED))
    assert refused.status_code == 409
    assert f"{said[1]} certificate(s) are meant and not {AFFECTED}" in refused.text
    assert f"{AFFECTED} of {AFFECTED} without" in visitor.get("/recalls/1").text
    made = visitor.send("/recalls/1", address, **fields, count=said[1])
    assert f"disposed={said[1]}" in made.headers["Location"]
    assert "customer=Morrowick+Docks" in made.headers["Location"]
    listed = visitor.client.get("/v1/recalls/1/dispositions", headers=keys.headers()).get_json()
    assert len(listed["items"]) == int(said[1])


def test_a_row_tells_every_disposition_that_was_made(visitor):
    ticked = json.dumps({"certificate": "MV-25-0053", "revision": 0})
    fields = {"scope": "ticked", "certificate": ticked, "list": "affected", "by": "Ida Example"}
    why = {"justification": "the link was scrapped", "reason_for_customer": "You scrapped it."}
    for more in ({"action": "withdraw"}, {"action": "no_action"} | why):
        made = visitor.send("/recalls/1", "/recalls/1/dispositions", **fields, **more)
        assert made.status_code == 303
    row = visitor.get("/recalls/1").text.split(">MV-25-0053</a>")[1].split("</tr>")[0]
    assert "by Ida Example, 1 earlier" in row
    assert "the link was scrapped" in row
    assert "for the customer: You scrapped it." in row
    assert row.index("no action: Ida") < row.index("withdraw: Ida")


def test_a_page_that_is_out_of_date_changes_nothing(visitor):
    fields = {"scope": "filter", "list": "affected", "action": "withdraw", "by": "Ida Example"}
    fields["count"] = str(AFFECTED)
    page = visitor.get("/recalls/1").text
    old = re.search(r'name="version" value="(\d+)"', page)[1]
    visitor.send("/recalls/1", "/recalls/1/dispositions", **fields)
    late = visitor.send("/recalls/1", "/recalls/1/dispositions", **fields, version=old)
    assert late.status_code == 412
    assert "look again" in late.text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"scope": "ticked", "action": "withdraw", "by": "Ida"}, "No certificate was ticked"),
        (
            {"scope": "filter", "list": "affected", "action": "no_action", "by": "Ida"},
            "justification",
        ),
        (
            {"scope": "filter", "list": "cleared", "action": "withdraw", "by": "Ida"},
            "Must be one of",
        ),
        ({"scope": "filter", "list": "affected", "action": "withdraw"}, "mpty text"),
        (
            {"scope": "filter", "list": "affected", "action": "withdraw", "by": "Ida"},
            "Write how many certificates are meant",
        ),
    ],
)
def test_what_cannot_be_recorded_is_refused_in_words(visitor, fields, said):
    answer = visitor.send("/recalls/1", "/recalls/1/dispositions", **fields)
    assert answer.status_code == 422
    assert said in answer.text


def test_a_key_that_may_only_read_sees_no_forms_and_may_send_none(signed_in):
    reader = signed_in("read")
    page = reader.get("/recalls/1").text
    assert "Record the disposition" not in page
    assert 'type="checkbox"' not in page
    token = page.split('name="token" value="')[1].split('"')[0]
    sent = {"token": token, "once": "x", "scope": "list", "list": "affected"}
    assert reader.client.post("/recalls/1/dispositions", data=sent).status_code == 403
    assert reader.client.post("/recalls/1/case", data=sent).status_code == 403
    assert reader.client.post("/recalls/1/notices", data=sent).status_code == 403


@pytest.mark.parametrize(
    "address", ["/recalls/1/dispositions", "/recalls/1/case", "/recalls/1/notices", "/recalls/new"]
)
def test_a_form_from_elsewhere_changes_nothing(visitor, address):
    sent = {"action": "withdraw", "scope": "list", "list": "affected", "by": "Somebody"}
    assert visitor.client.post(address, data=sent).status_code == 403
    assert visitor.client.post(address, data=sent | {"token": "0" * 64}).status_code == 403


@pytest.mark.parametrize("kind", ["csv", "xlsx", "ndjson", "prov", "graphml"])
def test_exports_are_the_files_of_the_api(visitor, keys, kind):
    theirs = {
        "prov": "/v1/recalls/1/provenance",
        "graphml": "/v1/recalls/1/graph.graphml",
    }.get(kind, f"/v1/recalls/1/export.{kind}")
    ours = visitor.get(f"/recalls/1/export.{kind}")
    assert "attachment" in ours.headers["Content-Disposition"]
    api = visitor.client.get(theirs, headers=keys.headers())
    assert ours.mimetype == api.mimetype
    if kind == "xlsx":  # packed with the time at which it was packed
        assert ours.data.startswith(b"PK")
    else:
        assert ours.data == api.data
    if kind == "csv":
        assert "MV-25-0075" in {row[0] for row in csv.reader(io.StringIO(ours.text))} or (
            "MV-25-0075" in ours.text
        )


def test_an_export_that_is_not_offered_is_not_found(visitor):
    assert visitor.get("/recalls/1/export.doc").status_code == 404
