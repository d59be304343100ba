"""A small laboratory that is written to in every way, and what its stored recalls must say then.

`Laboratory` sends each kind of write over HTTP and remembers what there is to change. `wrong` gives
whatever contradicts the promise: `stale` is true exactly if a fresh recall of the same faults on
today's records differs in its windows or in any list but `cleared`; it may say "checking" until
that was worked out; and nobody whom a fresh recall recalls may be relied on as if nothing were
the matter.
The comparison is made here from the stored texts, and shares nothing with the product's own.
"""

from __future__ import annotations

import json
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from flask.testing import FlaskClient
from oracle_cases import answered, ref, row
from sqlalchemy.orm import Session

from api.errors import TraceholdError
from api.services.recalls import recalls, reporting
from api.services.recalls.recall_states import recall_states
from api.services.recalls.rechecking import recheck_marked
from api.services.recalls.run import recall
from api.store.casework import Disposition
from api.store.database import Database
from api.store.record_watch import RecallWatch
from api.store.tables import Base, Recall, RecallEntry

Json = dict[str, Any]
SAID = {"by": "M. Tarn", "reason": "work sheet"}
STANDARDS = ("REF", "WS-1", "WS-2", "GAUGE")
INSTRUMENTS = ("CI-1", "CI-2", "CI-3")
ADAPTERS = ("ADP", "RIG", "PIN-1", "PIN-2")
USED = (*STANDARDS, "CI-1", *ADAPTERS, "RO")
TYPES = ("tension_link", "crane_scale", "load_cell")
COMPARED = ("affected", "exposed_zero_effect", "indeterminate", "traced_not_recalled")
COMPARED += ("cannot_be_excluded",)
# A range narrower than the usual one, and directions.
RESULTS: dict[str, list[Json]] = {
    "usual": [row(), row("20", "0.004", point=2)],
    "low": [row("5", "0.001"), row("10", "0", point=2)],
    "both ways": [
        row("10", "0", direction="increasing"),
        row("20", "0.002", point=2, direction="increasing"),
        row("10", "0.003", point=3, direction="decreasing"),
    ],
}
ITEMS: list[Json] = [
    *({"id": name, "kind": "working_standard"} for name in STANDARDS),
    *({"id": n, "kind": "customer_instrument", "type": TYPES[0]} for n in INSTRUMENTS),
    {"id": "ADP", "kind": "adapter", "type": "clevis"},
    {"id": "RIG", "kind": "force_machine"},
    *({"id": name, "kind": "adapter_part", "type": "pin"} for name in ("PIN-1", "PIN-2")),
    {"id": "RO", "kind": "readout", "channels": ["A", "B"]},
]


def at(day: int, hour: int = 10) -> str:
    """An instant of 2025: days 0 to 83 are the days 1 to 28 of its first three months."""
    return f"2025-{day // 28 + 1:02d}-{day % 28 + 1:02d}T{hour:02d}:00:00Z"


def use(item: str, weight: str | None = None) -> Json:
    """A use in the role that fits the item."""
    if item == "RO":
        return {"item": item, "role": "readout_dut", "channel": "A"}
    role = "adapter" if item in ADAPTERS else "force_reference"
    return ref(item, weight) | {"role": role}


def calibration(number: str, item: str, day: int, used: list[str], **more: Any) -> Json:
    """A calibration at two points, by whatever was used."""
    made: Json = {
        "certificate": number,
        "revision": 0,
        "status": "issued",
        "item": item,
        "performed_at": at(day),
        "uses": [use(one) for one in used],
        "results": RESULTS["usual"],
    }
    made |= {"customer": "Quellen Works"} if item in INSTRUMENTS else {}
    return made | {name: value for name, value in more.items() if value is not None}


@dataclass
class Laboratory:
    """The application under test, and what was recorded through it."""

    client: FlaskClient
    database: Database
    numbers: list[str] = field(default_factory=list)
    holdings: list[int] = field(default_factory=list)
    checks: list[str] = field(default_factory=list)
    recalls: list[int] = field(default_factory=list)
    done: Counter[str] = field(default_factory=Counter)
    said: int = 0
    steady: bool = False

    def empty(self) -> None:
        """Begin anew; keys stay."""
        writing = self.database.engine.execution_options(writing=True)
        with writing.begin() as connection:
            for table in reversed(Base.metadata.sorted_tables):
                if table.name != "api_key":
                    connection.execute(table.delete())
        self.numbers, self.holdings, self.checks, self.recalls, self.said = [], [], [], [], 0
        assert self.send("POST", "/v1/imports", {"items": ITEMS}) is not None

    def send(self, method: str, path: str, body: Json | None = None) -> Json | None:
        """Send a request; None if it was refused, as a laboratory's mistakes are."""
        headers = {}
        if self.steady and method != "GET":
            self.recheck()
        if method == "PATCH":
            headers["If-Match"] = self.client.get(path).headers["ETag"]
        answer = self.client.open(path, method=method, json=body, headers=headers)
        assert answer.status_code < 500, answer.text
        if answer.status_code >= 400:
            assert answer.status_code in (404, 409, 422), answer.text
            return None
        what = "/".join(part for part in path.split("/") if part.replace("-", "").isalpha())
        self.done[f"{method} {what}"] += 1
        found: Json = json.loads(answer.text)
        return found

    def number(self) -> str:
        self.said += 1
        return f"K-{self.said}"

    def record(self, item: str, day: int, used: list[str], **more: Any) -> None:
        made = calibration(self.number(), item, day, [one for one in used if one != item], **more)
        if self.send("POST", "/v1/calibrations", answered(made)) is not None:
            self.numbers.append(made["certificate"])

    def bring(
        self, records: list[tuple[str, int, list[str]]], part: str, day: int, *, voided: bool
    ) -> None:
        """Import certificates (the first may be voided, nobody knows when), a holding, a check."""
        made = [calibration(self.number(), *one) for one in records]
        made[0] |= {"status": "voided", "void_reason": "unknown"} if voided else {}
        laboratory: Json = {"calibrations": made}
        laboratory["composition"] = [{"assembly": "RIG", "part": part, "from": at(day, 6)}]
        laboratory["checks"] = [self._check("REF", day, "pass", None)]
        if self.send("POST", "/v1/imports", laboratory) is not None:
            self.numbers += [one["certificate"] for one in made]

    def hold(
        self, assembly: str, part: str, day: int, until: int | None, share: str | None = None
    ) -> None:
        body = {"assembly": assembly, "part": part, "from": at(day, 6)}
        body |= {} if until is None else {"until": at(max(until, day + 1), 6)}
        body |= {} if share is None else {"share": share}
        made = self.send("POST", "/v1/compositions", body)
        if made is not None:
            self.holdings.append(made["id"])

    def release(self, which: int, day: int) -> None:
        if self.holdings:
            key = self.holdings[which % len(self.holdings)]
            self.send("PATCH", f"/v1/compositions/{key}", {"until": at(day, 20)})

    def correct_holding(self, which: int, changes: Json) -> None:
        if self.holdings:
            key = self.holdings[which % len(self.holdings)]
            self.send("POST", f"/v1/compositions/{key}/corrections", changes | SAID)

    def check(self, item: str, day: int, result: str, against: str | None) -> None:
        made = self.send("POST", "/v1/checks", self._check(item, day, result, against))
        if made is not None:
            self.checks.append(made["id"])

    def correct_check(self, which: int, changes: Json) -> None:
        if self.checks:
            key = self.checks[which % len(self.checks)]
            self.send("POST", f"/v1/checks/{key}/corrections", changes | SAID)

    def swap(self, items: tuple[str, str], day: int, until: int | None) -> None:
        body: Json = {"items": list(items), "from": at(day, 0)} | SAID
        body |= {} if until is None else {"until": at(max(until, day + 1), 0)}
        self.send("POST", "/v1/identity-swaps", body)

    def _check(self, item: str, day: int, result: str, against: str | None) -> Json:
        made: Json = {"id": self.number(), "item": item, "at": at(day, 12), "result": result}
        made |= {"acceptance_limit_rel": "0.0001", "U_rel": "0.0001", "independent": True}
        made |= {"covers": "full range"} if against is None else {"covers": ["15 kN"]}
        return made | ({"against": against} if against not in (None, item) else {})

    def change(self, item: str, **changes: Any) -> None:
        self.send("PATCH", f"/v1/items/{item}", changes)

    def void(self, which: int, day: int | None) -> None:
        if self.numbers:
            number = self.numbers[which % len(self.numbers)]
            body = {"reason": "wrong sheet"} | ({} if day is None else {"voided_at": at(day, 23)})
            self.send("POST", f"/v1/certificates/{number}/void", body)

    def issue(self, which: int) -> None:
        if self.numbers:
            number = self.numbers[which % len(self.numbers)]
            self.send("POST", f"/v1/certificates/{number}/issue", answered({"issued_at": at(80)}))

    def revise(self, which: int, used: list[str], error: str, issued: int | None) -> None:
        if not self.numbers:
            return
        number = self.numbers[which % len(self.numbers)]
        shown = self.send("GET", f"/v1/certificates/{number}") or {}
        made = calibration(number, shown["item"], 0, [one for one in used if one != shown["item"]])
        made |= {"performed_at": shown["performed_at"], "amendment": "the uses were wrong"}
        made |= {"revision": shown["revision"] + 1, "results": [row("10", error)]}
        made |= {} if issued is None else {"issued_at": at(issued, 23)}
        self.send("POST", f"/v1/certificates/{number}/revisions", answered(made))

    def correct(self, which: int, item: str | None, weight: str | None) -> None:
        """Replace the first use of a certificate, or remove it."""
        if self.numbers:
            path = f"/v1/certificates/{self.numbers[which % len(self.numbers)]}"
            if (self.send("GET", path) or {})["uses"]:
                body = {"use": None if item is None else use(item, weight)} | SAID
                self.send("POST", f"{path}/uses/0/corrections", body)

    def add_use(self, which: int, item: str) -> None:
        if self.numbers:
            number = self.numbers[which % len(self.numbers)]
            self.send("POST", f"/v1/certificates/{number}/uses", {"use": use(item)} | SAID)

    def other(self) -> None:
        """Write what no recall reads."""
        name = self.number()
        rule = {"id": name, "guard": {"basis": "U", "factor": "0.5"}}
        self.send("POST", "/v1/decision-rules", rule)
        self.send("POST", "/v1/specifications", {"id": name, "unit": "kN", "tolerance": "0.05"})
        self.send("POST", "/v1/customers", {"name": name})
        self.change("CI-2", owner=name)

    def recall(self, fault: Json | list[Json], previous: int | None) -> None:
        body: Json = {"faults": fault} if isinstance(fault, list) else {"fault": fault}
        if previous is not None and self.recalls:
            body["previous"] = self.recalls[previous % len(self.recalls)]
        made = self.send("POST", "/v1/recalls", body)
        if made is not None:
            self.recalls.append(made["id"])

    def recall_late(self, fault: Json, write: Any, *, mended: bool) -> None:
        """Write while a recall is being worked out, and store it afterwards."""
        request = {"fault": fault, "previous": None}
        try:
            with self.database.read() as session:
                looked = reporting.look(session, request, now_us())
        except TraceholdError:
            return
        write()
        if mended:
            opened = self.database.read, self.database.write
            try:
                _, head = reporting.reported(*opened, request, now_us, looked)
            except TraceholdError:
                return
        else:
            with self.database.write() as session:
                made = looked.answer, None, now_us(), looked.read_at
                head = recalls.store(session, *made, overtaken=True)
        self.recalls.append(head["id"])

    def close(self, which: int) -> None:
        """Decide about everybody whom a recall lists, and close its case."""
        if not self.recalls:
            return
        address = f"/v1/recalls/{self.recalls[which % len(self.recalls)]}"
        lists = self.send("GET", address) or {}
        named = [
            {"certificate": one["certificate"], "revision": one["revision"]}
            for name in ("affected", "indeterminate", "cannot_be_excluded")
            for one in lists[name]
        ]
        if named:
            body = {"certificates": named, "action": "withdraw", "by": "Ada Quill"}
            etag = {"If-Match": self.client.get(f"{address}/case").headers["ETag"]}
            self.client.post(f"{address}/dispositions", json=body, headers=etag)
        concerned = self.client.get(f"{address}/case").get_json()["customers"]["named"]
        if concerned:
            told = {"customers": concerned, "by": "Ada Quill", "reason": "told in person"}
            self.send("POST", f"{address}/notice-exceptions", told)
        for state in ("assessed", "notified", "closed"):
            step = {"state": state, "by": "Ada Quill", "reason": "as agreed"}
            self.send("PATCH", f"{address}/case", step)

    def recheck(self) -> None:
        """Do what a server does in the background; afterwards nothing may wait."""
        for _, flag in recheck_marked(self.database, now_us):
            assert flag is not None
        with self.database.read() as session:
            states = session.scalars(sa.select(RecallWatch.marked_position)).all()
        assert set(states) <= {None}


def now_us() -> int:
    return time.time_ns() // 1000


def wrong(laboratory: Laboratory) -> list[str]:
    """Whatever contradicts the promise of the stored recalls."""
    found: list[str] = []
    for key in laboratory.recalls:
        shown = json.loads(laboratory.client.get(f"/v1/recalls/{key}").text)["stale"]
        with laboratory.database.read() as session:
            differs, recalled = _compared(session, key)
            if shown != "checking" and shown != differs:
                found.append(f"recall {key} says stale {shown}, a fresh one differs: {differs}")
            states = recall_states(session, recalled)
            freed = set(session.scalars(sa.select(Disposition.certificate_id)))
            careless = [one for one, state in states.items() if state == "none"]
            found += [f"{one} is recalled by {key} afresh" for one in careless if one not in freed]
    return found


def _bounds(head: Json) -> list[list[Any]]:
    windows = head["windows"] if "windows" in head else [head["window"]]
    ends = ("start", "start_inclusive", "end", "end_inclusive")
    return [[one[name] for name in ends] for one in windows]


def _compared(session: Session, key: int) -> tuple[bool, set[int]]:
    """Whether a fresh recall differs where it counts, and whom it recalls or cannot judge."""
    stored = session.get_one(Recall, key)
    try:
        answer = recall(session, {"faults": stored.faults}, now_us())
    except TraceholdError:
        return True, set()
    head, fresh = json.loads(stored.head), json.loads(json.dumps(answer.head))
    same = _bounds(head) == _bounds(fresh)
    for name in COMPARED:
        texts = session.scalars(
            sa.select(RecallEntry.body)
            .where(RecallEntry.recall_id == key, RecallEntry.list_name == name)
            .order_by(RecallEntry.position)
        ).all()
        same = same and list(texts) == [one.text for one in answer.lists[name]]
    listed = ("affected", "indeterminate", "cannot_be_excluded")
    return not same, {one.certificate for name in listed for one in answer.lists[name]}
