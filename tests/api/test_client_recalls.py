"""A recall from the fault to the last acknowledgement, through the client against a live server."""

from __future__ import annotations

import json
from collections.abc import Iterator
from decimal import Decimal

import networkx as nx
import pytest

from api.client import Client, Conflict, InvalidRequest, Stale

REF = {"id": "REF-1", "kind": "reference_standard", "type": "load_cell", "capacity": "50 kN"}
POINT = {"point": 1, "unit": "kN", "applied": "10.0", "U": "0.004", "error": "0.002"}
JUDGED = {**POINT, "tolerance": "0.010", "rule": "simple"}
FOUND = {**POINT, "stage": "as_found", "error": "0.020", "tolerance": "0.010", "rule": "simple"}
FAULT = {
    "item": "REF-1",
    "kind": "true_force_relative_error",
    "delta_rel": Decimal("-0.0010"),
    "last_good_at": "2024-02-01T08:00:00Z",
    "isolated_at": "2024-06-01T08:00:00Z",
}


def calibration(number, item, day, **more):
    return {
        **{"certificate": number, "item": item, "results": [JUDGED]},
        **{"performed_at": f"{day}T08:00:00Z", "issued_at": f"{day}T09:00:00Z"},
        **more,
    }


@pytest.fixture
def lab(server, keys) -> Iterator[Client]:
    """Client of a server that knows a reference, its recalibration and an instrument."""
    uses = [{"item": "REF-1", "role": "force_reference"}]
    calibrations = [
        calibration("R/24", "REF-1", "2024-01-10"),
        calibration("C/1", "DUT-1", "2024-03-10", customer="Lift Co", uses=uses),
        calibration("R/25", "REF-1", "2024-07-01", results=[FOUND, JUDGED | {"stage": "as_left"}]),
    ]
    items = [REF, {"id": "DUT-1", "kind": "customer_instrument", "type": "tension_link"}]
    with Client(server, keys.token()) as client:
        client.import_laboratory({"items": items, "calibrations": calibrations})
        client.change_laboratory(client.laboratory(), name="Lab", address="Road 1", contact="Robin")
        yield client


def test_a_case_goes_from_the_fault_to_its_end(lab):
    recall = lab.report_fault(FAULT)["id"]
    assert lab.totals(recall)["affected"]["by_customer"][0]["of"] == "Lift Co"
    entries = lab.recall_entries(recall, "affected", verdict_changes="true")
    # delta = -0.0010 of 10.0 kN: the error 0.002 becomes 0.012, outside 0.010
    assert [one["certificate"] for one in entries] == ["C/1"]
    case = lab.case(recall)
    lab.dispose(recall, "reissue", "Robin", certificates=["C/1"])
    with pytest.raises(Stale):  # the disposition made a new version of the case
        lab.advance_case(case, "assessed", "Robin", "looked at")
    case = lab.advance_case(lab.case(recall), "assessed", "Robin", "looked at")
    with pytest.raises(Conflict):
        lab.resume_work(case, "Robin", "the same person may not")
    case = lab.resume_work(case, "Kim", "the standard was replaced")
    assert case["resumption"]["by"] == "Kim"
    assert [one["action"] for one in lab.dispositions(recall)] == ["reissue"]
    assert isinstance(lab.similar_items(recall)["items"], list)


def test_a_case_is_closed_by_the_client(lab):
    recall = lab.report_fault(FAULT)["id"]
    sent = {"list": "affected", "customer": "Lift Co", "count": 1}
    lab.dispose(recall, "no_action", "Robin", **sent, justification="scrapped",
                reason_for_customer="You scrapped it.")  # fmt: skip
    made = lab.draft_revision(recall, "C/1", "Robin", amendment="Corrected.")
    assert (made["revision"], made["amendment"]) == (1, "Corrected.")
    assert lab.draft_revisions(recall, "Robin")["items"] == []
    case = lab.except_from_notice(recall, ["Lift Co"], "Robin", "told in person")
    assert case["customers"]["missing"] == 0
    read = lab.case(recall)
    case = lab.record_corrective_step(read, "cause", "Robin", text="overloaded")
    assert case["corrective"]["cause"]["text"] == "overloaded"
    with pytest.raises(Stale):
        lab.record_corrective_step(read, "cause", "Robin", text="worn")
    for state in ("assessed", "notified", "closed"):
        if state == "closed":  # the draft was recorded after this recall
            lab.report_fault(FAULT, previous=recall)
        case = lab.advance_case(lab.case(recall), state, "Robin", "as agreed")
    assert case["state"] == "closed"


def test_notices_are_made_delivered_and_acknowledged(lab):
    recall = lab.report_fault(FAULT)["id"]
    (made,) = lab.create_notices(recall, "Robin", wrong="the standard read low")["items"]
    assert lab.notice(recall, made["id"])["content"]["customer"]["name"] == "Lift Co"
    assert b"C/1" in lab.notice_file(recall, made["id"], "text")
    assert lab.notice_file(recall, made["id"], "pdf").startswith(b"%PDF")
    delivery = {"by": "Robin", "to": "lift@example.org", "how": "email"}
    assert lab.record_delivery(recall, made["id"], delivery)["deliveries"]
    assert [one["id"] for one in lab.notices(recall, acknowledged="false")] == [made["id"]]
    answer = {"by": "Robin", "from": "lift@example.org", "how": "email"}
    assert lab.record_acknowledgement(recall, made["id"], answer)["acknowledged"] is True
    assert list(lab.notices(recall, acknowledged="false")) == []
    changes = lab.changes()
    assert "C/1" in {one.get("certificate") for one in changes["items"]}
    assert lab.changes(changes["cursor"])["items"] == []


def test_evidence_comes_as_objects_and_files(lab):
    recall = lab.report_fault(FAULT)["id"]
    assert "C/1" in str(lab.explanation(recall, "C/1")["paths"])
    assert "prefix" in lab.provenance(recall)
    assert b"<graphml" in lab.graphml(recall)
    graph = lab.graph(recall)
    assert isinstance(graph, nx.MultiDiGraph)
    assert "fault/REF-1" in nx.ancestors(graph, "certificate/C%2F1/0")
    assert b"<svg" in lab.figure(recall)
    assert lab.figure(recall, "png").startswith(b"\x89PNG")
    assert b"C/1" in lab.export(recall, "csv")
    first = json.loads(lab.export(recall, "ndjson").splitlines()[0])
    assert first["certificate"] == "C/1"
    with pytest.raises(InvalidRequest):
        lab.export(recall, "csv", raw="perhaps")


def test_faults_are_drafted_and_compared_without_storing(lab):
    draft = lab.draft_fault("R/25")["fault"]
    assert draft["item"] == "REF-1"
    later = FAULT | {"last_good_at": "2024-04-01T08:00:00Z"}
    compared = lab.compare_faults(FAULT, later)
    assert compared["second"]["summary"]["affected"] == 0
    assert list(lab.recalls()) == []


def test_a_late_record_is_told_and_an_exact_answer_given_on_request(lab):
    recall = lab.report_fault(FAULT)["id"]
    uses = [{"item": "REF-1", "role": "force_reference"}]
    late = calibration("C/2", "DUT-1", "2024-03-12", uses=uses)
    lab.import_laboratory({"calibrations": [late]})
    assert lab.recall(recall)["stale"] == "checking"
    assert [one["id"] for one in lab.recalls(stale="checking")] == [recall]
    shown = lab.recall(recall, exact=True)
    assert shown["stale"] is True
    assert shown["staleness"]["differences"]["added"]["count"] == 1
    assert [one["id"] for one in lab.recalls(stale=True)] == [recall]
    assert list(lab.recalls(stale=False)) == list(lab.recalls(reopen=True)) == []
