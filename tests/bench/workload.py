"""Clients that read, decide, record, change and recall at once, and what they were told was done.

Each write carries its own mark, so that afterwards the store can be asked whether every
acknowledged one is there once, and whether any is there in part.
"""

from __future__ import annotations

import itertools
import random
import threading
import time
import uuid
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import requests

SHARED_ITEMS = 8
WAIT_S = 0.1
# How often each kind of request is made, in percent.
MIX = {"read": 37, "decide": 28, "record": 12, "change": 12, "recall": 5, "late": 6}
PAGES = (
    "/v1/certificates?limit=20",
    "/v1/items?limit=20",
    "/v1/recalls?limit=5",
    "/v1/decisions?limit=20",
    "/v1/changes?limit=20",
)


@dataclass
class Told:
    """What the clients were told was done, and what went wrong."""

    decisions: dict[str, int] = field(default_factory=dict)
    laboratories: set[str] = field(default_factory=set)
    # What each stored recall was answered with: its hash and how many it lists.
    recalls: dict[int, str] = field(default_factory=dict)
    changes: Counter[str] = field(default_factory=Counter)
    unsure_changes: Counter[str] = field(default_factory=Counter)
    requests: Counter[str] = field(default_factory=Counter)
    errors: list[str] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)


def laboratory(name: str) -> dict[str, Any]:
    """Two instruments with three certificates, one of which another rests on."""
    items = [{"id": f"{name}-{n}", "kind": "customer_instrument"} for n in range(2)]

    def certificate(number: int, item: str, day: int, uses: list[dict[str, Any]]) -> dict[str, Any]:
        result = {"point": 1, "applied": "10", "indicated": "10.002", "error": "0.002"}
        result |= {"U": "0.001", "unit": "kN", "tolerance": "0.005", "rule": "guard_U"}
        return {
            "certificate": f"{name}-C{number}",
            "revision": 0,
            "status": "issued",
            "item": item,
            "performed_at": f"2025-03-{day:02d}T10:00:00Z",
            "uses": uses,
            "results": [result],
        }

    calibrations = [
        certificate(0, f"{name}-0", 1, [{"item": "SHARED-REF", "role": "force_reference"}]),
        certificate(1, f"{name}-1", 2, [{"item": f"{name}-0", "role": "force_reference"}]),
        certificate(2, f"{name}-1", 3, [{"item": "SHARED-REF", "role": "force_reference"}]),
    ]
    return {"items": items, "calibrations": calibrations}


def prepare(base: str, token: str) -> None:
    """Record what all clients share."""
    items = [{"id": "SHARED-REF", "kind": "reference_standard"}]
    items += [
        {"id": f"SHARED-{n}", "kind": "adapter", "properties": {"count": "0"}}
        for n in range(SHARED_ITEMS)
    ]
    answer = requests.post(
        f"{base}/v1/imports",
        json={"items": items},
        headers={"Authorization": f"Bearer {token}"},
        timeout=60,
    )
    answer.raise_for_status()


class Client(threading.Thread):
    """One client: a random mix of requests until told to stop.

    A `patient` one sends a POST again, with the same Idempotency-Key, until it is answered: for a
    server that is killed. One that is not patient calls every failure an error.
    """

    def __init__(
        self, bases: list[str], token: str, told: Told, stop: threading.Event, *, patient: bool
    ) -> None:
        super().__init__(daemon=True)
        self.bases = itertools.cycle(random.sample(bases, len(bases)))
        self.told, self.stop, self.patient = told, stop, patient
        self.session = requests.Session()
        self.session.trust_env = False
        self.session.headers["Authorization"] = f"Bearer {token}"
        self.dice = random.Random(uuid.uuid4().int)

    def run(self) -> None:
        """Make requests until the stop; a fault of the client itself is an error too."""
        kinds, weights = list(MIX), list(MIX.values())
        while not self.stop.is_set():
            kind = self.dice.choices(kinds, weights)[0]
            try:
                getattr(self, f"_{kind}")()
            except Exception as error:
                with self.told.lock:
                    self.told.errors.append(f"{kind}: {error!r}")
        self.session.close()

    def _send(self, method: str, path: str, *wanted: int, **kwargs: Any) -> Any:
        """Send once; the answer, or None if there was none or it was not one that is wanted."""
        began = time.monotonic()
        try:
            answer = self.session.request(method, next(self.bases) + path, timeout=60, **kwargs)
        except requests.RequestException as error:
            self._failed(f"{method} {path}: {error!r}")
            return None
        with self.told.lock:
            self.told.requests[f"{method} {answer.status_code}"] += 1
            self.told.seconds.append(time.monotonic() - began)
        if answer.status_code in wanted:
            return answer
        if answer.status_code < 500 or not self.patient:
            self._failed(f"{method} {path}: {answer.status_code} {answer.text[:300]}", sure=True)
        return None

    def _failed(self, what: str, *, sure: bool = False) -> None:
        if sure or not self.patient:
            with self.told.lock:
                self.told.errors.append(what)

    def _post(self, path: str, body: dict[str, Any]) -> Any:
        """Send a POST until it is answered, if patient; the same key makes it one request."""
        headers = {"Idempotency-Key": str(uuid.uuid4())}
        while True:
            answer = self._send("POST", path, 201, json=body, headers=headers)
            if answer is not None or not self.patient or self.stop.is_set():
                return answer
            time.sleep(WAIT_S)

    def _read(self) -> None:
        self._send("GET", self.dice.choice(PAGES), 200)

    def _decide(self) -> None:
        # The value is the mark: no two decisions have the same.
        value = f"10.{self.dice.randrange(10**15):015d}"
        body = {"value": value, "U": "0.1", "unit": "kN", "rule": "guard_U"}
        body |= {"limits": {"lower": "9", "upper": "12"}}
        if self.dice.random() < 0.5:
            answer = self._post("/v1/decisions", body)
        else:  # without a key, into a group commit
            answer = self._send("POST", "/v1/decisions", 201, json=body)
        if answer is not None:
            with self.told.lock:
                self.told.decisions[value] = answer.json()["id"]

    def _record(self) -> None:
        name = f"L{self.dice.randrange(10**12):012d}"
        if self._post("/v1/imports", laboratory(name)) is not None:
            with self.told.lock:
                self.told.laboratories.add(name)

    def _change(self) -> None:
        """Count one up in a shared item; whoever read an old version must read again."""
        item = f"SHARED-{self.dice.randrange(SHARED_ITEMS)}"
        for _ in range(50):
            shown = self._send("GET", f"/v1/items/{item}", 200)
            if shown is None:
                return
            count = int(shown.json()["properties"]["count"]) + 1
            headers = {"If-Match": shown.headers["ETag"]}
            body = {"properties": {"count": str(count)}}
            answer = self._send("PATCH", f"/v1/items/{item}", 200, 412, json=body, headers=headers)
            if answer is None:
                with self.told.lock:
                    self.told.unsure_changes[item] += 1
                return
            if answer.status_code == 200:
                with self.told.lock:
                    self.told.changes[item] += 1
                return

    def _recall(self) -> None:
        """Report a fault of what all clients work with, isolated only after their work."""
        fault = {
            "item": "SHARED-REF",
            "kind": "true_force_relative_error",
            "delta_rel": "0.0004",
            "last_good_at": "2025-03-01T00:00:00Z",
            "isolated_at": f"2025-12-{self.dice.randrange(1, 28):02d}T12:00:00Z",
        }
        if self.dice.random() < 0.7:
            self._send("POST", "/v1/recalls", 200, json={"fault": fault, "preview": True})
            return
        answer = self._post("/v1/recalls", {"fault": fault})
        if answer is not None:
            with self.told.lock:
                self.told.recalls[answer.json()["id"]] = answer.json()["result_hash"]

    def _late(self) -> None:
        """Change what is recorded of what recalls list: a void, or a check of the shared item."""
        with self.told.lock:
            names = list(self.told.laboratories)
        if self.dice.random() < 0.5 and names:
            path = f"/v1/certificates/{self.dice.choice(names)}-C2/void"
            self._send("POST", path, 200, 409, json={"reason": "wrong sheet"})
            return
        body = {"id": str(uuid.uuid4()), "item": "SHARED-REF", "result": "fail"}
        body["at"] = f"2025-03-{self.dice.randrange(1, 28):02d}T12:00:00Z"
        self._post("/v1/checks", body)
