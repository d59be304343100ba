"""A customer's key in the demonstration laboratory: it sees its own and nobody else's, anywhere."""

from __future__ import annotations

import json
from importlib.resources import files

import pytest

LABORATORY = json.loads(files("fixtures.demo_lab").joinpath("laboratory.json").read_bytes())
STORY = json.loads(files("fixtures.demo_lab").joinpath("story.json").read_bytes())
MINE = "Corvane Offshore"
OWN = {
    (one["certificate"], one["revision"])
    for one in LABORATORY["calibrations"]
    if one.get("customer") == MINE
}
OTHERS = {one["certificate"] for one in LABORATORY["calibrations"] if one.get("customer") != MINE}
# Names, certificates and items of everybody else, the laboratory's own customers "internal" aside.
CUSTOMERS = {one.get("customer") for one in LABORATORY["calibrations"]} - {MINE, None, "internal"}
ITEMS = {one["item"] for one in LABORATORY["calibrations"] if one.get("customer") in CUSTOMERS}
FOREIGN = CUSTOMERS | OTHERS | ITEMS
ACKNOWLEDGEMENT = {"from": "Sam", "how": "email", "by": "Sam"}


@pytest.fixture
def demo(client):
    """The demonstration laboratory with its recall, and a notice for every customer concerned."""
    assert client.post("/v1/imports", json=LABORATORY).status_code == 201
    etag = client.get("/v1/laboratory").headers["ETag"]
    sender = {"name": "Marrowvale", "contact": "quality@example.org"}
    client.patch("/v1/laboratory", json=sender, headers={"If-Match": etag})
    recall = client.post("/v1/recalls", json={"fault": STORY["fault"]}).get_json()["id"]
    body = {"by": "Robin Manager", "reply_by": "2099-01-31"}
    notices = client.post(f"/v1/recalls/{recall}/notices", json=body).get_json()["items"]
    assert MINE in {one["customer"] for one in notices}
    assert len(notices) > 3
    return recall, notices


@pytest.fixture
def ask(app, keys):
    """Ask as the customer; the text may name nobody else."""
    bare, headers = app.test_client(), keys.headers(customer=MINE)

    def asked(method, path, status=200, json=None, accept="application/json"):
        answer = bare.open(path, method=method, headers={**headers, "Accept": accept}, json=json)
        assert answer.status_code == status, answer.text
        named = [word for word in FOREIGN if word in answer.text]
        assert named == [] or status == 404, named
        return answer

    return asked


def whole_list(ask, path):
    found = []
    while path is not None:
        page = ask("GET", path).get_json()
        found += page["items"]
        path = page["next"]
    return found


def test_its_certificates_are_listed_and_no_other(demo, ask):
    listed = whole_list(ask, "/v1/certificates?limit=7")
    assert {(one["certificate"], one["revision"]) for one in listed} == OWN
    assert {one["customer"] for one in listed} == {MINE}
    assert whole_list(ask, "/v1/certificates?customer=Ulverby%20Test%20House") == []
    others = next(one for one in LABORATORY["calibrations"] if one["certificate"] in OTHERS)
    assert whole_list(ask, f"/v1/certificates?item={others['item']}") == []


def test_each_of_its_certificates_is_shown_as_on_paper(demo, ask, client):
    for number, revision in OWN:
        shown = ask("GET", f"/v1/certificates/{number}?revision={revision}").get_json()
        inside = {"uses", "use_corrections", "note", "void_reason", "load_applications"}
        assert not inside & set(shown)
        whole = client.get(f"/v1/certificates/{number}?revision={revision}").get_json()
        assert shown["results"] == [
            {name: value for name, value in one.items() if name not in ("note", "below_cmc")}
            for one in whole["results"]
        ]
        assert shown["recalls"] == whole["recalls"]


def test_another_certificate_does_not_exist_for_it(demo, ask):
    unknown = ask("GET", "/v1/certificates/NOBODY-1", 404).get_json()
    for number in OTHERS:
        refused = ask("GET", f"/v1/certificates/{number}", 404).get_json()
        # The same words as for a number that nobody has.
        assert refused["detail"].replace(number, "NOBODY-1") == unknown["detail"]


def test_its_notices_are_shown_in_every_form_and_no_other_exists(demo, ask):
    recall, notices = demo
    listed = whole_list(ask, f"/v1/recalls/{recall}/notices")
    assert [one["customer"] for one in listed] == [MINE]
    for one in notices:
        at = f"/v1/recalls/{recall}/notices/{one['id']}"
        if one["customer"] != MINE:
            ask("GET", at, 404)
            ask("POST", f"{at}/acknowledgements", 404, json=ACKNOWLEDGEMENT)
            continue
        # The PDF is made of the same content; its text is packed.
        for accept in ("application/json", "text/plain", "text/html"):
            ask("GET", at, accept=accept)
        answered = ask("POST", f"{at}/acknowledgements", 201, json=ACKNOWLEDGEMENT)
        assert answered.get_json()["acknowledged"] is True


def test_its_changes_are_told_and_no_other(demo, ask, client):
    path, mine = "/v1/changes?limit=50", []
    while path is not None:
        page = ask("GET", path).get_json()
        mine += page["items"]
        path = page["next"]
    assert {one["certificate"] for one in mine if "certificate" in one} == {n for n, _ in OWN}
    assert [one["event"] for one in mine].count("notice.created") == 1


def test_a_revision_that_belongs_to_somebody_else_stays_with_them(client, ask, keys):
    one = next(c for c in LABORATORY["calibrations"] if c.get("customer") == MINE)
    assert client.post("/v1/imports", json=LABORATORY).status_code == 201
    amended = {**one, "revision": one["revision"] + 1, "customer": "Ulverby Test House"}
    amended["amendment"] = "the customer was wrong"
    amended["override"] = {"by": "Ida Example", "reason": "nothing but the customer changed"}
    made = client.post(f"/v1/certificates/{one['certificate']}/revisions", json=amended)
    assert made.status_code == 201, made.text
    shown = ask("GET", f"/v1/certificates/{one['certificate']}").get_json()
    assert (shown["revision"], shown["status"]) == (one["revision"], "superseded")
    assert [r["revision"] for r in shown["revisions"]] == [one["revision"]]
    ask("GET", f"/v1/certificates/{one['certificate']}?revision={one['revision'] + 1}", 404)
