"""A laboratory after a recall: two customers, three affected certificates, one nobody can judge."""

from __future__ import annotations

import json

import pytest
from oracle_cases import cal, force_fault, lab, ref, row

ISOLATED = "2025-06-30T12:00:00Z"
HARBOUR, QUARRY = "Harbour Cranes", "Quarry & Söhne"
# Applied 10 kN, delta 0.0005: every error moves by -0.005 kN; |error| may be 0.008 kN (guard_U).
CALIBRATIONS = [
    cal("C-1", "I-1", "02-01", [ref("REF")], [row(error="-0.004")], customer=HARBOUR),
    cal("C-2", "I-2", "03-01", [ref("REF")], [row(error="0.001")], customer=HARBOUR),
    cal("C-3", "I-3", "04-01", [ref("REF")], [row(error="-0.006")], customer=QUARRY),
    cal("C-4", "I-4", "05-01", [ref("REF")], [], customer=QUARRY),
]
FAULT = force_fault("REF", isolated_at=ISOLATED, meaning="it reads low", U_delta_rel="0.0002")


class Recalled:
    """A test client with the stored recall of a laboratory, and shorthands for its case."""

    def __init__(self, client, recall):
        self.client, self.recall = client, recall
        self.at = f"/v1/recalls/{self.recall['id']}"

    def report(self, fault=FAULT, **more):
        return reported(self.client, fault, **more)

    def case(self):
        return self.client.get(f"{self.at}/case")

    def step(self, state, by="Quinn Assessor", reason="looked into it", etag=None):
        headers = {"If-Match": etag or self.case().headers["ETag"]}
        body = {"state": state, "by": by, "reason": reason}
        return self.client.patch(f"{self.at}/case", json=body, headers=headers)

    def resume(self, by="Robin Manager", reason="checked and fit"):
        headers = {"If-Match": self.case().headers["ETag"]}
        body = {"by": by, "reason": reason}
        return self.client.post(f"{self.at}/resumption", json=body, headers=headers)

    def excepted(self, *customers, by="Robin Manager", reason="told in person"):
        body = {"customers": customers or [HARBOUR, QUARRY], "by": by, "reason": reason}
        return self.client.post(f"{self.at}/notice-exceptions", json=body)

    def corrective(self, step, text="the screw was loose", by="Quinn Assessor", **more):
        headers = {"If-Match": self.case().headers["ETag"]}
        body = {"step": step, "by": by, "text": text} | more
        return self.client.post(f"{self.at}/corrective-steps", json=body, headers=headers)

    def dispose(self, action="withdraw", **more):
        body = {"action": action, "by": "Quinn Assessor"} | more
        return self.client.post(f"{self.at}/dispositions", json=body)


def reported(client, fault=FAULT, **more):
    """The answer to a fault."""
    answer = client.post("/v1/recalls", json={"fault": fault} | more)
    assert answer.status_code == 201, answer.text
    return json.loads(answer.text)


def imported_and_reported(client, laboratory):
    """The answer to the fault of REF in a laboratory that had no records."""
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    return reported(client)


@pytest.fixture
def recall_of(client, once):
    """Record a laboratory and a recall of its REF."""
    return lambda laboratory: Recalled(client, once(imported_and_reported, laboratory))


@pytest.fixture
def recalled(recall_of):
    """The laboratory with its recall."""
    return recall_of(lab(*CALIBRATIONS))


@pytest.fixture
def recalled_now(client):
    """The same, carried out by the application of the test and not copied."""
    return Recalled(client, imported_and_reported(client, lab(*CALIBRATIONS)))
