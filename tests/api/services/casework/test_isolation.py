"""No new use of an isolated item, unless somebody answers for it by name."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest
from oracle_cases import cal, force_fault, lab, ref

ISOLATED = "2025-06-30T12:00:00Z"
OVERRIDE = {"by": "Robin Manager", "reason": "load check only, value not reported"}


def isolate(client):
    """Record a laboratory, and isolate REF, and with it ADP while it holds REF."""
    records = lab(
        cal("E-1", "REF", "01-02", [], external=True, issuer="Institute"),
        cal("C-1", "I-1", "02-01", [ref("REF")]),
        cal("C-2", "I-2", "02-01", [ref("ADP")]),
        composition=[
            {
                "assembly": "ADP",
                "part": "REF",
                "from": "2025-01-01T00:00:00Z",
                "until": "2025-09-01T00:00:00Z",
            }
        ],
    )
    assert client.post("/v1/imports", json=records).status_code == 201
    report(client)


@pytest.fixture
def isolated(client, once):
    """A client of a laboratory whose REF is isolated."""
    once(isolate)
    return client


def report(client, **more):
    fault = force_fault("REF", isolated_at=ISOLATED) | more.pop("fault", {})
    answer = client.post("/v1/recalls", json={"fault": fault} | more)
    assert answer.status_code == 201
    return json.loads(answer.text)["id"]


def use(client, item="REF", at="2025-07-01T10:00:00Z", **more):
    record = cal("N-1", "I-1", at, [ref(item, **more)])
    return client.post("/v1/calibrations", json=record)


def soon():
    """An hour from now: after what is authorised now."""
    return (datetime.now(UTC) + timedelta(hours=1)).isoformat()


def is_isolated(answer):
    """Whether the isolation is among what speaks against an issue."""
    return "isolated" in [one.get("code") for one in answer.get_json().get("errors", ())]


def resume(client, recall_id=1):
    address = f"/v1/recalls/{recall_id}"
    for path, method, body in (
        ("case", client.patch, {"state": "assessed", "by": "Quinn", "reason": "seen"}),
        ("resumption", client.post, {"by": "Robin", "reason": "repaired"}),
    ):
        etag = client.get(f"{address}/case").headers["ETag"]
        answer = method(f"{address}/{path}", json=body, headers={"If-Match": etag})
        assert answer.status_code == 200


def test_a_use_after_the_isolation_is_refused_with_the_place_and_the_remedy(isolated):
    refused = use(isolated)
    assert refused.status_code == 409
    assert refused.get_json()["type"] == "/problems/doubtful-ground"
    (issue,) = refused.get_json()["errors"]
    assert issue["pointer"] == "/uses/0/item"
    assert issue["detail"] == "REF is isolated by recall R-00001"
    assert "override" in issue["remedy"]
    assert isolated.get("/v1/certificates/N-1").status_code == 404


def test_an_import_of_history_records_it_and_refuses_nothing(isolated):
    record = lab(cal("N-1", "I-1", "2025-07-01T10:00:00Z", [ref("I-2"), ref("REF")]))
    assert isolated.post("/v1/imports", json=record | {"items": []}).status_code == 201
    found = isolated.get("/v1/certificates/N-1/grounds").get_json()["grounds"]
    assert [one["item"] for one in found if one["code"] == "isolated"] == ["REF"]


@pytest.mark.parametrize(
    ("at", "refused"),
    [
        ("2025-06-30T12:00:00Z", False),  # at the instant of isolation
        ("2025-06-30T12:00:00.000001Z", True),
        ("2025-06-30", False),  # could be earlier that day; the recall's window holds it
        ("2025-07-01", True),
    ],
)
def test_only_uses_after_the_isolation_are_refused_for_it(isolated, at, refused):
    assert is_isolated(use(isolated, at=at)) is refused


def test_uses_up_to_the_isolation_lie_in_the_window_of_the_recall(isolated):
    (issue,) = use(isolated, at="2025-06-30T12:00:00Z").get_json()["errors"]
    assert (issue["code"], issue["pointer"]) == ("in_doubt", "/uses/0/item")


@pytest.mark.parametrize(
    ("at", "refused"), [("2025-07-01T10:00:00Z", True), ("2025-09-02T10:00:00Z", False)]
)
def test_an_assembly_is_isolated_while_it_holds_the_part(isolated, at, refused):
    answer = use(isolated, "ADP", at)
    assert is_isolated(answer) is refused
    if refused:
        assert answer.get_json()["errors"][0]["detail"] == (
            "REF, which is in ADP, is isolated by recall R-00001"
        )


def test_a_fault_that_names_a_certificate_isolates_its_item_until_work_is_resumed(client):
    records = lab(
        cal("E-1", "REF", "01-02", [], external=True, issuer="Institute"),
        cal("C-1", "I-1", "02-01", [ref("REF")]),
    )
    assert client.post("/v1/imports", json=records).status_code == 201
    fault = force_fault(certificate="E-1", issuer="Institute", isolated_at=ISOLATED)
    del fault["item"]
    assert client.post("/v1/recalls", json={"fault": fault}).status_code == 201
    assert is_isolated(use(client))
    resume(client)
    assert is_isolated(use(client))  # the use is of July; work was resumed only now
    assert use(client, at=soon()).status_code == 201


def test_a_certificate_of_the_same_number_from_elsewhere_isolates_nothing(client):
    records = lab(
        cal("E-1", "REF", "01-02", [], external=True, issuer="Institute"),
        cal("E-1", "OTHER", "01-02", [], external=True, issuer="Elsewhere"),
        cal("C-1", "I-1", "02-01", [ref("REF")]),
    )
    assert client.post("/v1/imports", json=records).status_code == 201
    fault = {"certificate": "E-1", "issuer": "Elsewhere", "kind": "unknown"}
    window = {"last_good_at": "2025-01-01T00:00:00Z", "isolated_at": ISOLATED}
    assert client.post("/v1/recalls", json={"fault": fault | window}).status_code == 201
    assert use(client).status_code == 201


def test_an_override_is_stored_and_can_be_read(isolated):
    assert use(isolated, override=OVERRIDE).status_code == 201
    shown = isolated.get("/v1/certificates/N-1").get_json()
    assert shown["uses"][0]["override"] == OVERRIDE
    assert use(isolated, override=OVERRIDE).status_code == 200  # the same again
    assert use(isolated, override=OVERRIDE | {"by": "X"}).status_code == 409


def test_an_override_has_a_person_and_a_reason(isolated):
    refused = use(isolated, override={})
    assert [one["pointer"] for one in refused.get_json()["errors"]] == [
        "/uses/0/override/by",
        "/uses/0/override/reason",
    ]


def test_work_resumes_when_it_is_authorised_and_not_before(isolated):
    resume(isolated)
    # What was used in the time between was isolated then, whatever is authorised now.
    assert is_isolated(use(isolated))
    assert use(isolated, at=soon()).status_code == 201


def test_a_second_recall_of_the_item_isolates_it_for_itself(isolated):
    report(isolated)
    resume(isolated, 1)
    assert use(isolated, at=soon()).get_json()["errors"][0]["detail"].endswith("R-00002")


def test_another_look_at_the_same_fault_is_resumed_with_the_first(isolated):
    report(isolated, previous=1)
    resume(isolated, 2)
    assert use(isolated, at=soon()).status_code == 201


def test_a_use_recorded_before_stays_the_same_and_older_ones_can_still_be_recorded(isolated):
    assert (
        isolated.post("/v1/calibrations", json=cal("C-1", "I-1", "02-01", [ref("REF")])).status_code
        == 200
    )
    assert not is_isolated(use(isolated, at="2025-03-01T10:00:00Z"))


@pytest.mark.parametrize(("channel", "refused"), [("A", True), ("B", False), (None, True)])
def test_a_fault_on_a_channel_isolates_that_channel_and_unnamed_ones(client, channel, refused):
    records = lab(cal("C-1", "I-1", "02-01", [ref("IND", channel="A")]))
    records["items"] = [
        {"id": "IND", "kind": "readout", "channels": ["A", "B"]},
        {"id": "I-1", "kind": "customer_instrument"},
    ]
    client.post("/v1/imports", json=records)
    fault = {
        "item": "IND",
        "kind": "readout_gain",
        "gain": "1.001",
        "channel": "A",
        "last_good_at": "2025-01-01T00:00:00Z",
        "isolated_at": ISOLATED,
    }
    assert client.post("/v1/recalls", json={"fault": fault}).status_code == 201
    more = {} if channel is None else {"channel": channel}
    assert is_isolated(use(client, "IND", **more)) is refused


def test_a_fault_that_names_no_isolation_isolates_nothing(client):
    client.post("/v1/imports", json=lab(cal("C-1", "I-1", "02-01", [ref("REF")])))
    report(client, fault={"isolated_at": None})
    assert not is_isolated(use(client))


def test_a_use_that_is_corrected_or_added_is_refused_in_the_same_words(isolated):
    # C-3 was made after the isolation, with another reference; the sheet says it was REF.
    made = cal("C-3", "I-1", "2025-07-01T10:00:00Z", [ref("OTHER")])
    laboratory = lab(cal("E-2", "OTHER", "01-02", [], external=True, issuer="Institute"), made)
    assert isolated.post("/v1/imports", json=laboratory).status_code == 201
    said = {"by": "M. Tarn", "reason": "the sheet says so"}
    for address in ("/v1/certificates/C-3/uses", "/v1/certificates/C-3/uses/0/corrections"):
        refused = isolated.post(address, json=said | {"use": ref("REF")})
        assert refused.get_json()["type"] == "/problems/doubtful-ground"
        (issue,) = refused.get_json()["errors"]
        assert (issue["pointer"], issue["code"]) == ("/use/item", "isolated")
        assert issue["detail"] == "REF is isolated by recall R-00001"
    (kept,) = isolated.get("/v1/certificates/C-3").get_json()["uses"]
    assert kept["item"] == "OTHER"
    answered = said | {"use": ref("REF", override=OVERRIDE)}
    assert isolated.post(address, json=answered).status_code == 201
    # Before the isolation it was in use.
    assert (
        isolated.post("/v1/certificates/C-2/uses", json=said | {"use": ref("REF")}).status_code
        == 201
    )
