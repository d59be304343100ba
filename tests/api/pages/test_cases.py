"""The case on the page of its recall: steps, what stands against one, resumption, similar items."""

from __future__ import annotations

import json
import re
from html import unescape

from tests.browser.site import DEMO

STORY = json.loads(DEMO.joinpath("story.json").read_bytes())
STEP = {"reason": "looked at", "by": "Ida Example"}
RESUME = {"reason": "REF-500B stands in", "by": "Tor Example"}


def steps(page: str) -> list[str]:
    """The steps of the case, as text."""
    listed = page.split('<ol class="steps">')[1].split("</ol>")[0].split("<li>")[1:]
    return [" ".join(re.sub(r"<[^>]+>", " ", one).split()) for one in listed]


def leave_out_all(visitor) -> None:
    """Record of every customer who was not told why."""
    page = visitor.get("/recalls/1").text
    names = [unescape(one) for one in re.findall(r'name="customer" value="([^"]+)"> ', page)]
    assert names
    sent = {"customer": names, "reason": "told by telephone", "by": "Tor Example"}
    assert visitor.send("/recalls/1", "/recalls/1/notice-exceptions", **sent).status_code == 303
    assert "is sent no notice: Tor Example" in visitor.get("/recalls/1").text


def test_the_case_takes_its_next_step(visitor):
    opened, assessed, notified, closed = steps(visitor.get("/recalls/1").text)
    assert opened.startswith("open : The recall was stored.")
    assert "Set it to assessed" in assessed
    assert "customers concerned were not told" in notified
    assert "; 40 certificates lack a disposition." in closed
    answer = visitor.send("/recalls/1", "/recalls/1/case", state="assessed", **STEP)
    assert answer.status_code == 303
    _, assessed, notified, _ = steps(visitor.get("/recalls/1").text)
    assert "Ida Example" in assessed
    assert "looked at" in assessed
    assert "Not possible yet" in notified
    assert "Set it to notified" not in notified
    again = visitor.send("/recalls/1", "/recalls/1/case", state="assessed", **STEP)
    assert again.status_code == 409
    assert 'href="/recalls/1">Back to the recall' in again.text


def test_a_case_is_closed_when_nothing_stands_against_it_any_more(visitor):
    leave_out_all(visitor)
    for state in ("assessed", "notified"):
        assert visitor.send("/recalls/1", "/recalls/1/case", state=state, **STEP).status_code == 303
    assert "Set it to closed" not in visitor.get("/recalls/1").text
    fields = {"scope": "filter", "list": "affected", "action": "reissue", "by": "Ida Example"}
    fields["count"] = "40"
    visitor.send("/recalls/1", "/recalls/1/dispositions", **fields)
    before = visitor.get("/recalls/1").text
    assert "Set it to closed" in before
    assert "Mind:</strong> To be reissued, and no corrected revision is drafted: " in before
    answer = visitor.send("/recalls/1", "/recalls/1/case", state="closed", **STEP)
    assert answer.status_code == 303
    page = visitor.get("/recalls/1").text
    assert "Set it to" not in page
    assert "Still to be done, though the case is closed" in page
    assert "Record the disposition" not in page


def test_corrected_revisions_are_drafted_one_by_one_and_all_that_are_to_be_reissued(
    visitor, signed_in
):
    at, chosen = "/recalls/1/revisions", "/recalls/1?chosen=MV-25-0075"
    assert 'id="revisions"' not in visitor.get("/recalls/1").text
    button = "Draft its corrected revision"
    assert button in visitor.get(chosen).text
    assert button not in signed_in("read", "recall").get(chosen).text
    (one,) = re.findall(r'name="certificate" value="([^"]+)">\s*<div', visitor.get(chosen).text)
    made = visitor.send(chosen, at, certificate=unescape(one), by="Ida Example")
    assert made.headers["Location"] == "/recalls/1?drafted=1#revisions"
    assert "1 draft recorded" in " ".join(visitor.get(made.headers["Location"]).text.split())
    fields = {"scope": "filter", "list": "affected", "action": "reissue", "by": "Ida Example"}
    visitor.send("/recalls/1", "/recalls/1/dispositions", **fields, count="40")
    page = visitor.get("/recalls/1").text
    assert "39 certificates to be reissued without a corrected revision" in page
    for count, status in (("", 422), ("40", 409), ("39", 303)):
        answer = visitor.send("/recalls/1", at, by="Ida Example", count=count)
        assert answer.status_code == status, answer.text
    page = visitor.get("/recalls/1").text
    assert "to be reissued without a corrected revision" not in page
    assert "the corrected revision is a draft yet" in page
    assert "recall R-00001" in visitor.get("/certificates/MV-25-0075?revision=1").text


def test_work_resumes_by_the_word_of_somebody_who_did_not_assess_the_case(visitor, keys):
    page = visitor.get("/recalls/1").text
    assert "REF-500A is isolated by this recall" in page.replace("  ", " ")
    assert "Not possible yet:</strong> the case has not been assessed yet" in page
    assert visitor.send("/recalls/1", "/recalls/1/resumption", **RESUME).status_code == 409
    visitor.send("/recalls/1", "/recalls/1/case", state="assessed", **STEP)
    refused = visitor.send("/recalls/1", "/recalls/1/resumption", reason="x", by=" ida  EXAMPLE")
    assert refused.status_code == 409
    assert "this person assessed the case" in refused.text
    answer = visitor.send("/recalls/1", "/recalls/1/resumption", **RESUME)
    assert answer.headers["Location"] == "/recalls/1#resumption"
    assert "Work may resume: authorised by Tor Example" in visitor.get("/recalls/1").text
    case = visitor.client.get("/v1/recalls/1/case", headers=keys.headers()).get_json()
    assert case["resumption"]["by"] == "Tor Example"
    assert "Isolated" not in visitor.get("/items/REF-500A").text


def test_who_assessed_the_case_is_told_that_another_has_to_let_work_resume(
    stranger, keys, database
):
    from api.services.access import persons

    with database.write() as session:
        persons.create(session, {"id": "qm", "name": "Ida Example"}, 1)
    stranger.sign_in(keys.token(), person="qm")
    stranger.send("/recalls/1", "/recalls/1/case", state="assessed", reason="looked at")
    page = stranger.get("/recalls/1").text
    assert "you assessed the case, and another person has to authorise it" in page
    assert "Let work resume" not in page


def test_a_reader_sees_the_case_and_may_do_nothing_in_it(signed_in):
    reader = signed_in("read")
    page = reader.get("/recalls/1").text
    assert len(steps(page)) == 4
    assert "Set it to" not in page
    token = page.split('name="token" value="')[1].split('"')[0]
    sent = RESUME | {"token": token, "once": "x"}
    assert reader.client.post("/recalls/1/resumption", data=sent).status_code == 403


def test_items_that_could_have_the_same_thing_wrong_are_those_of_the_api(visitor, keys):
    page = visitor.get("/recalls/1").text
    answer = visitor.client.get("/v1/recalls/1/similar", headers=keys.headers()).get_json()
    assert answer["items"]
    part = page.split('id="similar"')[1]
    for one in answer["items"]:
        assert f"/items/{one['item']}" in part
        assert "; ".join(one["reasons"]) in part


def test_a_second_look_shows_what_it_changed_and_the_first_leads_to_it(visitor, keys):
    again = STORY["fault"] | {"delta_rel": "-0.0009", "last_good_at": "2025-05-01"}
    answer = visitor.client.post(
        "/v1/recalls", json={"fault": again, "previous": 1}, headers=keys.headers()
    ).get_json()
    page = visitor.get("/recalls/3").text
    part = page.split('id="differences"')[1].split("Window, checks and notes")[0]
    for name, words in (("removed", "found no longer"), ("changed", "with other numbers")):
        count = answer["differences"][name]["count"]
        assert count
        assert f"{count} certificates {words}" in part
    assert "/certificates/MV-25-0075" in part
    assert 'href="/recalls/3#differences">R-00003' in visitor.get("/recalls/1").text


def test_what_the_records_cannot_exclude_is_said_and_listed_with_its_reason(visitor, keys):
    # The record of a calibration in the window that names no force reference at all.
    gap = {
        "certificate": "MV-25-0900",
        "item": "LC-01",
        "performed_at": "2025-06-03T10:00:00-07:00",
        "uses": [],
        "results": [],
    }
    headers = keys.headers()
    made = visitor.client.post("/v1/imports", json={"calibrations": [gap]}, headers=headers)
    assert made.status_code == 201, made.text
    fault = {"fault": STORY["fault"], "previous": 1}
    assert visitor.client.post("/v1/recalls", json=fault, headers=headers).status_code == 201
    page = visitor.get("/recalls/3").text
    assert "The records cannot exclude 1 further certificate" in page
    page = visitor.get("/recalls/3?list=cannot_be_excluded").text
    assert "MV-25-0900" in page
    assert "the record names nothing in the role" in page
    assert "Record the disposition" in page
    form = {"scope": "filter", "list": "cannot_be_excluded", "action": "withdraw", "by": "Quinn"}
    form["count"] = "1"
    shown = "/recalls/3?list=cannot_be_excluded"
    assert visitor.send(shown, "/recalls/3/dispositions", **form).status_code == 303
    page = visitor.get(shown).text
    assert "withdraw" in page.split('id="certificates"')[1].split("</tbody>")[0]


def test_cause_action_and_review_are_recorded_in_their_order(visitor):
    step = {"text": "the reference was overloaded", "by": "Ida Example"}
    page = "/recalls/1"
    late = visitor.send(page, "/recalls/1/corrective-steps", step="corrective_action", **step)
    assert late.status_code == 409
    assert "no cause is recorded yet" in late.text
    made = visitor.send(page, "/recalls/1/corrective-steps", step="cause", **step)
    assert made.headers["Location"] == "/recalls/1#corrective"
    visitor.send(page, "/recalls/1/corrective-steps", step="corrective_action", **step)
    review = {"step": "effectiveness_review", "effective": "no"} | step
    assert visitor.send(page, "/recalls/1/corrective-steps", **review).status_code == 303
    part = visitor.get(page).text.split('id="corrective"')[1].split('id="resumption"')[0]
    assert "cause: the reference was overloaded" in part
    assert "review of effectiveness (it did not help)" in part


def test_a_certificate_of_which_nobody_knows_who_is_to_be_told_is_ticked_by_itself(visitor, keys):
    # An instrument without owner, calibrated without naming a customer; its number holds a space.
    lost = {
        "certificate": "MV 25/0901",
        "item": "LOST-1",
        "performed_at": "2025-06-03T10:00:00-07:00",
        "uses": [{"item": STORY["fault"]["item"], "role": "force_reference"}],
        "results": [],
    }
    items = [{"id": "LOST-1", "kind": "customer_instrument"}]
    sent = {"items": items, "calibrations": [lost]}
    headers = keys.headers()
    made = visitor.client.post("/v1/imports", json=sent, headers=headers)
    assert made.status_code == 201, made.text
    fault = {"fault": STORY["fault"], "previous": 1}
    assert visitor.client.post("/v1/recalls", json=fault, headers=headers).status_code == 201
    page = visitor.get("/recalls/3").text
    assert "Nobody knows who is to be told of 1 certificate" in page
    (ticked,) = re.findall(r'name="certificate" value="([^"]+)"> <span>anybody, of', page)
    form = {"certificate": unescape(ticked), "reason": "it was scrapped", "by": "Tor Example"}
    answer = visitor.send("/recalls/3", "/recalls/3/notice-exceptions", **form)
    assert answer.status_code == 303, answer.text
    page = visitor.get("/recalls/3").text
    assert "Nobody knows who is to be told" not in page
    part = page.split('id="told"')[1].split('id="corrective"')[0]
    assert "Nobody is told of" in part
    assert "MV 25/0901" in part
    assert "it was scrapped" in part


def test_nobody_is_left_out_without_being_ticked(visitor):
    sent = {"reason": "told by telephone", "by": "Tor Example"}
    answer = visitor.send("/recalls/1", "/recalls/1/notice-exceptions", **sent)
    assert answer.status_code == 422
    assert "No customer and no certificate was ticked" in answer.text
