"""Notices over HTTP: each customer its own, in four forms, unchangeable, and who has answered."""

from __future__ import annotations

import base64
import hashlib
import json
import re

import pytest
from oracle_cases import cal, force_fault, lab, ref, row

HARBOUR, QUARRY = "Harbour Cranes", "Quarry & Söhne"
LABORATORY = {
    "name": "Marrowvale Force Laboratory",
    "address": "1 Load Lane\nMarrowvale",
    "contact": "quality@example.org",
}


@pytest.fixture
def named(recalled):
    """The recalled laboratory, with its name and contact recorded."""
    client = recalled.client
    etag = client.get("/v1/laboratory").headers["ETag"]
    changed = client.patch("/v1/laboratory", json=LABORATORY, headers={"If-Match": etag})
    assert changed.status_code == 200
    return recalled


def notify(recalled, **more):
    body = {"by": "Robin Manager", "reply_by": "2099-01-31"} | more
    return recalled.client.post(f"{recalled.at}/notices", json=body)


def show(recalled, number=1, **more):
    return recalled.client.get(f"{recalled.at}/notices/{number}", **more)


def content(recalled, number=1):
    return json.loads(show(recalled, number).text)["content"]


def test_each_customer_gets_one_notice_with_only_its_own_certificates(named):
    made = notify(named)
    assert made.status_code == 201
    heads = made.get_json()["items"]
    assert [(one["number"], one["customer"]) for one in heads] == [
        ("R-00001-N01", HARBOUR),
        ("R-00001-N02", QUARRY),
    ]
    harbour, quarry = show(named, 1).text, show(named, 2).text
    for mine, theirs, text in (
        (("C-1", "C-2", "I-1"), ("C-3", "C-4", "I-3", "Quarry"), harbour),
        (("C-3", "C-4", "I-3"), ("C-1", "C-2", "I-1", "Harbour"), quarry),
    ):
        assert all(f'"{word}"' in text for word in mine)
        assert not [word for word in theirs if word in text]


def test_a_notice_says_all_that_the_customer_needs(named):
    named.dispose("recalibrate_free", certificates=["C-1"])
    notify(named)
    said = content(named)
    assert said["laboratory"] == LABORATORY
    assert said["what_was_wrong"] == ["Our working standard REF: it reads low"]
    assert said["periods"] == ["from 2025-01-01 00:00 UTC+00:00 to 2025-06-30 12:00 UTC+00:00"]
    assert (said["reply_by"], said["authorised_by"]) == ("2099-01-31", "Robin Manager")
    assert "reference for measurements" in said["downstream"]
    assert "authorised person" in said["safety"]
    first, second = said["certificates"]
    assert (first["certificate"], first["revision"], first["item"]) == ("C-1", 0, {"id": "I-1"})
    assert first["performed_at"] == "2025-02-01T10:00:00Z"
    assert first["action"]["action"] == "recalibrate_free"
    assert second["action"]["action"] is None
    assert first["may_read_wrong_now"]["answer"] == "yes"
    # error - delta x applied = -0.004 - 0.0005 x 10; U after = 2 sqrt(0.001^2 + (10 x 0.0001)^2)
    (point,) = first["points"]
    assert point.pop("rule").startswith("guard_U, version")
    assert point == {
        "point": 1,
        "stage": "single",
        "applied": "10",
        "indicated": None,
        "applied_unit": "kN",
        "unit": "kN",
        "reported_error": "-0.004",
        "corrected_error": "-0.009",
        "corrected_error_rounded": "-0.0090",
        "U": "0.002",
        "U_unit": "kN",
        "U_after": "0.00282842712475",
        "U_after_rounded": "0.0029",
        "k": "2",
        "limits": {"lower": "-0.01", "upper": "0.01"},
        "verdict_before": "pass",
        "verdict_after": "fail",
        "verdicts_possible": None,
        "changed": True,
    }


def test_a_notice_without_sender_is_refused(recalled):
    refused = notify(recalled)
    assert refused.status_code == 409
    assert {one["detail"] for one in refused.get_json()["errors"]} == {
        "the laboratory has no name yet",
        "the laboratory has no contact yet",
    }


def test_a_notice_stays_as_it_was_created(named):
    notify(named)
    before = show(named).text
    named.dispose("withdraw", list="affected")
    etag = named.client.get("/v1/laboratory").headers["ETag"]
    named.client.patch("/v1/laboratory", json={"name": "New"}, headers={"If-Match": etag})
    again = notify(named)
    assert (again.status_code, again.get_json()["items"]) == (200, [])
    assert again.get_json()["kept"] == [HARBOUR, QUARRY]
    assert show(named).text == before


def test_the_hash_is_of_the_content_as_sent(named):
    notify(named)
    body = show(named).text
    sent = body[body.index('"content":') + len('"content":') : -1]
    digest = hashlib.sha256(sent.encode()).hexdigest()
    assert json.loads(body)["content_hash"] == digest


def test_a_new_notice_replaces_an_earlier_one_which_stays_readable(named):
    notify(named)
    named.dispose("withdraw", list="affected")
    made = notify(named, replace=True, customers=[HARBOUR]).get_json()["items"]
    assert [(one["number"], one["replaces"]) for one in made] == [("R-00001-N03", "R-00001-N01")]
    assert content(named, 3)["certificates"][0]["action"]["action"] == "withdraw"
    assert content(named, 1)["certificates"][0]["action"]["action"] is None


def test_customers_that_are_not_concerned_are_named(named):
    refused = notify(named, customers=[HARBOUR, "Nobody"])
    assert refused.status_code == 422
    assert [one["pointer"] for one in refused.get_json()["errors"]] == ["/customers/1"]


def test_plain_words_of_the_sender_take_the_place_of_the_faults(named):
    notify(named, wrong="A weight was missing from the stack.")
    assert content(named)["what_was_wrong"] == ["A weight was missing from the stack."]


def test_who_has_not_answered_is_listed_until_it_is_answered_or_replaced(named):
    notify(named)
    address = f"{named.at}/notices"

    def waiting():
        found = named.client.get(f"{address}?acknowledged=false").get_json()["items"]
        return [one["number"] for one in found]

    sent = {"to": "stores@example.org", "how": "email", "by": "Ada Office"}
    delivered = named.client.post(f"{address}/1/deliveries", json=sent)
    assert delivered.status_code == 201
    named.client.post(f"{address}/1/deliveries", json=sent | {"reminder": True, "how": "phone"})
    assert waiting() == ["R-00001-N01", "R-00001-N02"]
    received = {"from": "Stores", "how": "email", "by": "Ada Office", "note": "will send it back"}
    head = named.client.post(f"{address}/1/acknowledgements", json=received).get_json()
    assert waiting() == ["R-00001-N02"]
    assert head["acknowledged"] is True
    assert [one["how"] for one in head["deliveries"] + head["reminders"]] == ["email", "phone"]
    assert head["acknowledgements"][0]["from"] == "Stores"
    notify(named, replace=True, customers=[QUARRY])
    assert waiting() == ["R-00001-N03"]
    counts = named.case().get_json()["notices"]
    assert counts == {"created": 3, "delivered": 1, "acknowledged": 1}


@pytest.mark.parametrize("at", ["2000-01-01", "2099-01-01T00:00:00Z"])
def test_nothing_is_delivered_before_it_exists_or_in_the_future(named, at):
    notify(named)
    sent = {"to": "x", "how": "post", "by": "y", "at": at}
    refused = named.client.post(f"{named.at}/notices/1/deliveries", json=sent)
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/at"


def test_a_customers_key_sees_and_acknowledges_its_own_notices_only(named, keys):
    notify(named)
    headers = keys.headers("read", customer=QUARRY)
    found = named.client.get(f"{named.at}/notices", headers=headers).get_json()["items"]
    assert [one["customer"] for one in found] == [QUARRY]
    assert show(named, 2, headers=headers).status_code == 200
    assert show(named, 1, headers=headers).status_code == 404
    received = {"from": "Buyer", "how": "portal", "by": "Buyer"}
    for number, status in ((2, 201), (1, 404)):
        answer = named.client.post(
            f"{named.at}/notices/{number}/acknowledgements", json=received, headers=headers
        )
        assert answer.status_code == status
    assert notify_with(named, headers) == 403


def notify_with(recalled, headers):
    return recalled.client.post(
        f"{recalled.at}/notices", json={"by": "x"}, headers=headers
    ).status_code


def test_the_laboratorys_reading_key_does_not_acknowledge(named, keys):
    notify(named)
    answer = named.client.post(
        f"{named.at}/notices/1/acknowledgements",
        json={"from": "a", "how": "post", "by": "b"},
        headers=keys.headers("read"),
    )
    assert answer.status_code == 403


@pytest.mark.parametrize(
    ("accept", "query", "found"),
    [
        (None, "", "application/json"),
        ("text/plain", "", "text/plain"),
        ("text/html,application/xhtml+xml;q=0.9", "", "text/html"),
        ("application/pdf", "", "application/pdf"),
        ("application/json", "?format=pdf", "application/pdf"),
    ],
)
def test_the_form_is_chosen_by_accept_or_query(named, accept, query, found):
    notify(named)
    headers = {} if accept is None else {"Accept": accept}
    answer = named.client.get(f"{named.at}/notices/1{query}", headers=headers)
    assert (answer.status_code, answer.mimetype) == (200, found)


def test_a_form_that_is_not_offered_is_406(named):
    notify(named)
    assert show(named, headers={"Accept": "image/png"}).status_code == 406


def test_text_html_and_pdf_say_the_same(named):
    notify(named)
    text = show(named, query_string={"format": "text"}).text
    page = show(named, query_string={"format": "html"})
    for said in ("-0.004 kN", "-0.0090 kN", "0.0029 kN", "Robin Manager", "C-2"):
        assert said in text
        assert said in page.text
    assert "<script" not in page.text
    style = page.text[page.text.index("<style>") + 7 : page.text.index("</style>")]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in page.headers["Content-Security-Policy"]
    assert all(len(line) <= 78 for line in text.splitlines() if "SHA-256" not in line)


def test_html_escapes_what_customers_are_called(named):
    notify(named)
    page = show(named, 2, query_string={"format": "html"}).text
    assert "Quarry &amp; Söhne" in page


def test_the_pdf_is_the_same_each_time_and_embeds_its_fonts(named):
    notify(named)
    first, second = (show(named, query_string={"format": "pdf"}).data for _ in range(2))
    assert first == second
    assert first.startswith(b"%PDF-")
    assert re.search(rb"/FontFile2", first)
    assert len(first) < 100_000


def test_a_character_that_the_fonts_lack_is_said_to_be_missing(client):
    from api.pages.notice_pdf import UNSHOWN, pdf

    assert "\ufffd" in UNSHOWN
    plain = {
        "notice": "N",
        "recall": "R",
        "replaces": None,
        "created_at": "2026-01-01",
        "laboratory": {"name": "L", "address": None, "contact": "c"},
        "customer": {"name": "A", "contact": None, "email": None},
        "what_was_wrong": ["w"],
        "periods": ["p"],
        "certificates": [],
        "reply_by": "2026-02-01",
        "offer": "o",
        "downstream": "d",
        "safety": "s",
        "authorised_by": "b",
    }
    chinese = plain | {"customer": plain["customer"] | {"name": "吊車"}}
    assert len(pdf(chinese, "h", 0)) > len(pdf(plain, "h", 0))


def test_an_item_calibrated_again_by_something_sound_no_longer_reads_wrong(client):
    records = lab(
        cal("C-1", "I-1", "02-01", [ref("REF")], [row(error="-0.004")], customer=HARBOUR),
        cal("C-9", "I-1", "2025-08-01T10:00:00Z", [ref("OTHER")], [row()], customer=HARBOUR),
    )
    client.post("/v1/imports", json=records)
    fault = force_fault("REF", isolated_at="2025-06-30T12:00:00Z")
    client.post("/v1/recalls", json={"fault": fault})
    etag = client.get("/v1/laboratory").headers["ETag"]
    client.patch("/v1/laboratory", json=LABORATORY, headers={"If-Match": etag})
    client.post("/v1/recalls/1/notices", json={"by": "Robin"})
    said = json.loads(client.get("/v1/recalls/1/notices/1").text)["content"]
    now = said["certificates"][0]["may_read_wrong_now"]
    assert now["answer"] == "no"
    assert "certificate C-9" in now["words"]
    assert said["what_was_wrong"] == [
        "Our working standard REF gave a true force 0.05 % larger than was recorded."
    ]


def test_another_customers_instrument_is_not_named(client):
    records = lab(
        cal("C-0", "THEIRS", "01-05", [ref("OUR")], customer=QUARRY),
        cal("C-1", "I-1", "02-01", [ref("THEIRS")], [row()], customer=HARBOUR),
    )
    for item in records["items"]:
        item["kind"] = "customer_instrument" if item["id"] == "THEIRS" else item["kind"]
    client.post("/v1/imports", json=records)
    fault = force_fault("THEIRS", meaning="dropped by Quarry")
    client.post("/v1/recalls", json={"fault": fault})
    etag = client.get("/v1/laboratory").headers["ETag"]
    client.patch("/v1/laboratory", json=LABORATORY, headers={"If-Match": etag})
    client.post("/v1/recalls/1/notices", json={"by": "Robin"})
    text = client.get("/v1/recalls/1/notices/1").text
    assert "THEIRS" not in text
    assert "Quarry" not in text
    assert "An instrument that served as a reference gave a true force" in text


@pytest.fixture
def doubtful(client):
    """A recall of REF that cannot exclude D-1, of Pier Works: it names an adapter, no reference."""
    adapter = {"item": "ADP", "role": "adapter"}
    laboratory = lab(
        cal("C-1", "I-1", "02-01", [ref("REF")], customer=HARBOUR),
        cal("D-1", "I-2", "03-01", [adapter], customer="Pier Works"),
    )
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    etag = client.get("/v1/laboratory").headers["ETag"]
    client.patch("/v1/laboratory", json=LABORATORY, headers={"If-Match": etag})
    made = client.post("/v1/recalls", json={"fault": force_fault()})
    assert [one["certificate"] for one in made.get_json()["cannot_be_excluded"]] == ["D-1"]
    return client


def test_a_customer_is_told_what_the_records_do_not_exclude_and_why(doubtful):
    made = doubtful.post("/v1/recalls/1/notices", json={"by": "Robin Manager"})
    assert [one["customer"] for one in made.get_json()["items"]] == [HARBOUR, "Pier Works"]
    shown = doubtful.get("/v1/recalls/1/notices/2", headers={"Accept": "application/json"})
    (told,) = shown.get_json()["content"]["certificates"]
    assert (told["certificate"], told["class"]) == ("D-1", "cannot_be_excluded")
    assert told["reasons"] == ["no_use_in_role"]
    assert "do not exclude it" in told["effect"]
    assert "does not say what was used" in told["effect"]
    assert told["points"] == []
    assert told["may_read_wrong_now"]["answer"] == "unknown"
    for form in ("text/plain", "text/html", "application/pdf"):
        shown = doubtful.get("/v1/recalls/1/notices/2", headers={"Accept": form})
        assert shown.status_code == 200
        if form != "application/pdf":
            assert "do not exclude" in " ".join(shown.text.split())


def test_who_turned_out_not_to_be_concerned_is_not_told(doubtful):
    made = doubtful.post(
        "/v1/recalls/1/dispositions",
        json={
            "action": "no_action",
            "list": "cannot_be_excluded",
            "by": "Quinn Assessor",
            "justification": "the workshop log names another reference",
        },
    )
    assert made.get_json() == {"recorded": 1, "missing": 1}
    made = doubtful.post("/v1/recalls/1/notices", json={"by": "Robin Manager"})
    assert [one["customer"] for one in made.get_json()["items"]] == [HARBOUR]


def test_what_cannot_be_excluded_is_totalled(doubtful):
    totals = doubtful.get("/v1/recalls/1/totals").get_json()
    assert totals["cannot_be_excluded"]["by_customer"] == [
        {"of": "Pier Works", "certificates": 1, "verdict_changes": 0}
    ]
