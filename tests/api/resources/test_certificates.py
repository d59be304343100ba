"""Certificates over HTTP: shown, voided, issued, revised, and what that does to later uses."""

from __future__ import annotations

import pytest
import sqlalchemy as sa
from oracle_cases import answered, cal, force_fault, lab, ref

VOID = {"reason": "wrong transducer"}
# Before the use of C-2, at which the later certificates of WS no longer hold.
EARLY = VOID | {"voided_at": "2025-03-15T00:00:00Z"}


@pytest.fixture
def chained(client):
    """WS calibrated on W-1 and later on W-2; C-1 used it in between, C-2 after both."""
    client.post(
        "/v1/imports",
        json=lab(
            cal("W-1", "WS", "01-10", [ref("REF")]),
            cal("C-1", "A", "02-01", [ref("WS")]),
            cal("W-2", "WS", "03-01", []),
            cal("C-2", "B", "04-01", [ref("WS")]),
        ),
    )
    return client


def in_force(client, number: str):
    (use,) = client.get(f"/v1/certificates/{number}").get_json()["uses"]
    return use.get("in_force")


def post(client, address: str, **body):
    return client.post(f"/v1/certificates/{address}", json=body)


def revised(number: str = "W-2", revision: int = 1, **more):
    record = cal(number, "WS", "03-01", [], revision=revision, amendment="U corrected")
    return record | more


def test_a_use_shows_the_certificate_that_was_in_force(chained):
    assert in_force(chained, "C-1") == {"certificate": "W-1", "revision": 0}
    assert in_force(chained, "C-2") == {"certificate": "W-2", "revision": 0}
    assert in_force(chained, "W-1") is None


def test_voiding_gives_later_uses_the_value_before(chained):
    answer = post(chained, "W-2/void", **EARLY)
    assert answer.status_code == 200
    body = answer.get_json()
    assert (body["status"], body["void_reason"], body["version"]) == ("voided", VOID["reason"], 2)
    assert body["voided_at"] == EARLY["voided_at"]
    assert in_force(chained, "C-2") == {"certificate": "W-1", "revision": 0}
    assert post(chained, "W-2/void", **VOID).status_code == 409
    assert post(chained, "W-1/void", **EARLY).status_code == 200
    assert in_force(chained, "C-2") is None
    assert in_force(chained, "C-1") == {"certificate": "W-1", "revision": 0}


def test_who_used_a_certificate_before_its_void_stays_a_user_of_it(chained):
    body = post(chained, "W-2/void", **VOID).get_json()
    assert body["voided_at"].endswith("Z")  # now
    assert in_force(chained, "C-2") == {"certificate": "W-2", "revision": 0}
    late = cal("C-3", "A", "2099-01-01T00:00:00Z", [ref("WS")])
    chained.post("/v1/calibrations", json=answered(late))
    assert in_force(chained, "C-3") == {"certificate": "W-1", "revision": 0}


@pytest.mark.parametrize(
    ("voided_at", "detail"),
    [
        ("2025-03-01T09:59:59Z", "before the calibration"),
        ("2025-02-28", "before the calibration"),
        ("2099-01-01T00:00:00Z", "in the future"),
        ("2025-03-15T00:00:00", "no time zone"),
    ],
)
def test_an_instant_of_a_void_that_cannot_be_is_refused(chained, voided_at, detail):
    answer = post(chained, "W-2/void", **VOID, voided_at=voided_at)
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert (error["pointer"], detail in error["detail"]) == ("/voided_at", True)
    assert error["remedy"]
    assert chained.get("/v1/certificates/W-2").get_json()["status"] == "issued"


def test_a_draft_that_is_voided_served_nobody(chained):
    chained.post("/v1/calibrations", json=cal("W-3", "WS", "03-10", [], status="draft"))
    assert post(chained, "W-3/void", **VOID).status_code == 200
    assert in_force(chained, "C-2") == {"certificate": "W-2", "revision": 0}


def test_a_revision_serves_from_its_issue(chained):
    made = post(chained, "W-2/revisions", **revised(issued_at="2025-04-15T00:00:00Z"))
    assert made.status_code == 201
    assert in_force(chained, "C-2") == {"certificate": "W-2", "revision": 0}
    post(chained, "W-2/void", **VOID, voided_at="2025-04-20T00:00:00Z")
    assert in_force(chained, "C-2") == {"certificate": "W-2", "revision": 0}


def test_a_draft_revision_serves_from_the_instant_at_which_it_is_issued(chained):
    draft = revised(status="draft")
    assert chained.post("/v1/calibrations", json=draft).status_code == 201
    at = {"issued_at": "2025-03-20T00:00:00Z"}
    assert post(chained, "W-2/issue?revision=1", **at).status_code == 200
    assert in_force(chained, "C-2") == {"certificate": "W-2", "revision": 1}
    late = cal("C-0", "B", "2025-03-19T00:00:00Z", [ref("WS")])
    chained.post("/v1/calibrations", json=late)
    assert in_force(chained, "C-0") == {"certificate": "W-2", "revision": 0}


def test_voiding_needs_a_reason(chained):
    assert post(chained, "W-2/void").status_code == 422


def test_a_void_that_would_let_a_calibration_rest_on_itself_is_refused(client):
    late = {"performed_at": "2025-05-01T00:00:00Z"}
    client.post(
        "/v1/imports",
        json=lab(
            cal("A-1", "X", "01-01", [ref("Y", **late)]),
            cal("B-1", "Y", "03-01", [ref("X")]),
            cal("B-2", "Y", "04-01", []),
        ),
    )
    answer = post(client, "B-2/void", **VOID, voided_at="2025-04-20T00:00:00Z")
    assert answer.status_code == 422
    assert "rests on itself" in answer.get_json()["errors"][0]["detail"]
    assert client.get("/v1/certificates/B-2").get_json()["status"] == "issued"


def test_a_new_revision_takes_the_place_of_the_issued_one(chained):
    answer = post(chained, "W-2/revisions", **revised())
    assert answer.status_code == 201
    assert answer.headers["Location"] == "/v1/certificates/W-2?revision=1"
    assert answer.get_json()["revisions"] == [
        {"revision": 1, "status": "issued"},
        {"revision": 0, "status": "superseded"},
    ]
    before = chained.get("/v1/certificates/W-2?revision=0").get_json()
    assert (before["status"], before["superseded_by"]) == ("superseded", "1")
    assert chained.get("/v1/certificates/W-2").get_json()["revision"] == 1
    assert in_force(chained, "C-2") == {"certificate": "W-2", "revision": 1}


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"revision": 0}, "/revision"),
        ({"amendment": None}, "/amendment"),
        ({"certificate": "W-9"}, "/certificate"),
    ],
)
def test_a_revision_that_does_not_follow_is_refused_and_changes_nothing(chained, changes, place):
    record = {name: value for name, value in (revised() | changes).items() if value is not None}
    answer = post(chained, "W-2/revisions", **record)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == place
    assert chained.get("/v1/certificates/W-2").get_json()["status"] == "issued"


def test_a_revision_of_an_external_certificate_is_found_at_its_location(client):
    external = {"external": True, "issuer": "Institute"}
    client.post("/v1/imports", json=lab(cal("W-2", "WS", "03-01", [], **external)))
    answer = post(client, "W-2/revisions", **revised(**external))
    assert answer.status_code == 201
    client.post("/v1/calibrations", json=cal("W-2", "WS", "04-01", []))
    shown = client.get(answer.headers["Location"]).get_json()
    assert (shown["issuer"], shown["revision"]) == ("Institute", 1)


def test_a_draft_counts_for_nothing_until_it_is_issued(chained):
    chained.post("/v1/calibrations", json=cal("W-3", "WS", "03-15", [], status="draft"))
    assert in_force(chained, "C-2") == {"certificate": "W-2", "revision": 0}
    answer = post(chained, "W-3/issue", issued_at="2025-03-20")
    assert answer.status_code == 200
    assert (answer.get_json()["status"], answer.get_json()["issued_at"]) == ("issued", "2025-03-20")
    assert in_force(chained, "C-2") == {"certificate": "W-3", "revision": 0}
    assert post(chained, "W-3/issue", issued_at="2025-03-20").status_code == 409


def test_an_amended_draft_supersedes_the_issued_revision(chained):
    chained.post("/v1/calibrations", json=revised(status="draft"))
    answer = post(chained, "W-2/issue?revision=1", issued_at="2025-03-15")
    assert answer.status_code == 200
    assert chained.get("/v1/certificates/W-2?revision=0").get_json()["status"] == "superseded"
    assert in_force(chained, "C-2") == {"certificate": "W-2", "revision": 1}


def test_a_draft_without_amendment_does_not_push_the_issued_revision_aside(chained):
    chained.post("/v1/calibrations", json=cal("W-2", "WS", "03-01", [], revision=1, status="draft"))
    assert post(chained, "W-2/issue?revision=1", issued_at="2025-03-15").status_code == 409
    assert chained.get("/v1/certificates/W-2").get_json()["revision"] == 0


def test_numbers_with_slashes_are_addressed_in_every_way(client):
    client.post("/v1/imports", json=lab(cal("W/1/25", "WS", "03-01", [])))
    for address in ("W/1/25", "W%2F1%2F25"):
        assert client.get(f"/v1/certificates/{address}").get_json()["certificate"] == "W/1/25"
        assert client.get(f"/v1/certificates/{address}/chain").status_code == 200
    assert post(client, "W%2F1%2F25/revisions", **revised("W/1/25")).status_code == 201
    assert post(client, "W/1/25/void", **VOID).status_code == 200


def test_the_etag_changes_with_what_is_known_about_a_certificate(chained):
    def tag() -> str:
        return chained.get("/v1/certificates/C-2").headers["ETag"]

    tags = [tag()]
    post(chained, "W-2/void", **EARLY)  # what was in force for its use
    tags.append(tag())
    fault = force_fault("WS", isolated_at="2025-12-31T00:00:00Z")
    assert chained.post("/v1/recalls", json={"fault": fault}).status_code == 201
    tags.append(tag())  # a recall lists it
    assert len(set(tags)) == 3
    unchanged = chained.get("/v1/certificates/C-2", headers={"If-None-Match": tags[-1]})
    assert unchanged.status_code == 304


def test_a_certificate_names_the_recalls_that_list_it(chained):
    recall = chained.post("/v1/recalls", json={"fault": force_fault("WS")}).get_json()
    shown = chained.get("/v1/certificates/C-1").get_json()
    assert shown["recalls"] == [
        {"id": 1, "number": recall["number"], "class": "affected", "verdict_changes": False}
    ]


def test_the_list_is_read_in_a_fixed_number_of_statements(chained, database):
    seen: list[str] = []

    def note(connection, cursor, statement, *_):
        seen.append(statement)

    sa.event.listen(database.engine, "before_cursor_execute", note)
    counts = []
    for limit in (1, 4):
        seen.clear()
        chained.get(f"/v1/certificates?limit={limit}")
        counts.append(len(seen))
    sa.event.remove(database.engine, "before_cursor_execute", note)
    assert counts[0] == counts[1]


@pytest.mark.parametrize("address", ["GHOST", "GHOST/chain", "W-1?revision=9", "W-1?issuer=X"])
def test_what_is_not_recorded_is_not_found(chained, address):
    assert chained.get(f"/v1/certificates/{address}").status_code == 404


def test_changes_need_the_scope(app, chained, keys):
    other = app.test_client()
    answer = other.post("/v1/certificates/W-2/void", json=VOID, headers=keys.headers("read"))
    assert answer.status_code == 403
