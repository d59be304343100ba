"""A complete laboratory, to which one certificate comes: what speaks against it?"""

from __future__ import annotations

import json
from typing import Any

import pytest
from oracle_cases import cal, lab, ref, row

Json = dict[str, Any]
ROOT = {"external": True, "issuer": "Institute", "accreditation": "K-1"}
# Calibrated from 10 kN to 100 kN with U = 0.02 % (k = 2) at every force.
SPAN = [
    row(point=n, applied=f, U=u, tolerance="1")
    for n, f, u in ((1, "10", "0.002"), (2, "100", "0.02"))
]


def laboratory(*more: Json, **kinds: Any) -> Json:
    """REF was calibrated elsewhere (E-1), WS against REF (W-1); nothing speaks against either."""
    return lab(
        cal("E-1", "REF", "01-01", [], SPAN, due_at="2027-01-01", **ROOT),
        cal("W-1", "WS", "02-01", [ref("REF")], SPAN),
        *more,
        **kinds,
    )


def candidate(
    *uses: Json, number: str = "N-1", at: str = "06-01", results: Any = None, **more: Any
):
    """A certificate of CELL at 10 kN against WS, unless told otherwise, with U = 0.04 %."""
    rows = [row(U="0.004")] if results is None else results
    return cal(number, "CELL", at, list(uses) or [ref("WS")], rows, **more)


class Bench:
    """The laboratory over HTTP."""

    def __init__(self, client):
        self.client = client

    def get(self, path: str) -> Any:
        answer = self.client.get(path)
        assert answer.status_code == 200, answer.text
        return json.loads(answer.text)

    def post(self, path: str, body: Json, status: int = 201) -> Any:
        answer = self.client.post(path, json=body)
        assert answer.status_code == status, answer.text
        return json.loads(answer.text)

    def imported(self, *more: Json, **kinds: Any) -> None:
        kinds.setdefault("kinds", {})["CELL"] = "customer_instrument"
        self.post("/v1/imports", laboratory(*more, **kinds))

    def found(self, record: Json) -> list[Json]:
        """What a dry run says of a record; it stores nothing."""
        before = self.get("/v1/certificates?limit=200")["items"]
        (answer,) = self.post("/v1/calibrations?dry_run=true", record, 200).items()
        assert self.get("/v1/certificates?limit=200")["items"] == before
        assert answer[0] == "grounds"
        found: list[Json] = answer[1]
        return found

    def codes(self, record: Json) -> list[tuple[str, str]]:
        return [(one["code"], one["weight"]) for one in self.found(record)]

    def fault(self, **more: Any) -> Json:
        fault = {
            "item": "REF",
            "kind": "true_force_relative_error",
            "delta_rel": "0.0005",
            "last_good_at": "2025-01-15T00:00:00Z",
            "isolated_at": "2025-03-01T00:00:00Z",
        }
        sent = {
            name: one
            for name, one in (fault | more).items()
            if name != "previous" and one is not None
        }
        body = {"fault": sent} | ({"previous": more["previous"]} if "previous" in more else {})
        return self.post("/v1/recalls", body)


@pytest.fixture
def bench(client) -> Bench:
    return Bench(client)
