"""A laboratory with one stored recall, for the tests of what becomes of it."""

from __future__ import annotations

import json

import pytest
from oracle_cases import OPEN, answered, cal, force_fault, lab, ref

FAULT = {"item": "REF", "kind": "true_force_relative_error", "delta_rel": "-0.0005"} | OPEN
LABORATORY = lab(
    cal("W-1", "WS", "01-10", [ref("REF")]),
    cal("C-1", "A", "02-01", [ref("WS")]),
    cal("C-2", "B", "04-01", [ref("WS")]),
    cal("G-1", "GOOD", "01-05", [ref("GOLD")]),
)
LISTED = ("affected", "exposed_zero_effect", "indeterminate", "traced_not_recalled", "cleared")
# Instruments that nobody rests on.
LABORATORY["items"] += [{"id": n, "kind": "customer_instrument"} for n in ("X", "Y", "PIN")]


class Recalled:
    """What is asked of that laboratory over HTTP."""

    def __init__(self, client):
        self.client = client
        self.fault = FAULT
        self.post("/v1/imports", LABORATORY)
        self.first = self.report()

    def post(self, path, body):
        answer = self.client.post(path, json=body)
        assert answer.status_code in (200, 201), answer.get_json()
        return answer.get_json()

    def record(self, *calibrations):
        for one in calibrations:
            self.post("/v1/calibrations", answered(one))

    def report(self, **more):
        return self.post("/v1/recalls", {"fault": self.fault} | more)

    def shown(self, key=1, **query):
        return self.client.get(f"/v1/recalls/{key}", query_string=query).get_json()

    def state(self, number):
        return self.client.get(f"/v1/certificates/{number}").get_json()["recall_state"]


@pytest.fixture
def recalled(client):
    return Recalled(client)


@pytest.fixture
def entry(client):
    """Entry of C-1, which used REF, after a fault of delta = 0.0005 unless told otherwise."""

    def found(*results, fault=None, **more):
        laboratory = lab(cal("C-1", "A", "02-01", [ref("REF")], list(results), **more))
        assert client.post("/v1/imports", json=laboratory).status_code == 201
        request = {"fault": fault or force_fault("REF"), "preview": True}
        answer = json.loads(client.post("/v1/recalls", json=request).text)
        (made,) = [one for name in LISTED for one in answer[name]]
        return made

    return found
