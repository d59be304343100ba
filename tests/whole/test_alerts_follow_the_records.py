"""Whatever is written, in whatever order: the open alerts are exactly those of the records.

Random histories of the laboratory of `stale_laboratory`. After each step the alerts that are not
ended must be those which a plain reading of all records gives, made here row by row in Python, and
an answered one may not have a failure, or a use that stands on it, that its answer did not know. A
few histories run with the long tests; for a thousand:

    python -m pytest tests/whole/test_alerts_follow_the_records.py --hypothesis-profile=histories
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from hypothesis.stateful import run_state_machine_as_test as run
from oracle_cases import row

from api.services.alerts import standing
from api.store.database import Database
from tests.databases import shared
from tests.whole.stale_laboratory import ADAPTERS, STANDARDS, Laboratory, at

FEW, STEPS = 8, 14
DAYS = st.integers(0, 60)
WHICH = st.integers(0, 30)
ITEMS = st.sampled_from((*STANDARDS, "CI-1", "CI-2", "RIG"))
USED = (*STANDARDS, "CI-1", "RIG", "RIG", "ADP")
USES = st.lists(st.sampled_from(USED), max_size=2, unique=True)
PARTS = st.sampled_from(("PIN-1", "WS-1", "WS-2", "GAUGE"))
MODES = st.sampled_from(("tension", "compression", None, None))
DUE = st.none() | DAYS
# Under guard_U an error of up to 0.01 - 0.002 = 0.008 kN is accepted.
ERRORS = st.sampled_from(("0", "0.008", "0.009", "-0.02"))
MEASURING = ("reference_standard", "working_standard", "force_machine", "customer_instrument")
Key = tuple[str, str, str]
Row = dict[str, Any]
Used = tuple[str, str, int]  # issuer and number of the certificate, and when


class Reading:
    """All records, read row by row; nothing of the product's own reading is used."""

    def __init__(self, database: Database) -> None:
        with database.engine.connect() as connection:
            tables = ("item", "certificate", "usage", "result", "intermediate_check", "composition")
            rows = {
                name: [
                    dict(one._mapping)
                    for one in connection.execute(sa.text(f"SELECT * FROM {name}"))
                ]
                for name in tables
            }
        self.items: dict[int, Row] = {one["id"]: one for one in rows["item"]}
        self.certificates: dict[int, Row] = {one["id"]: one for one in rows["certificate"]}
        self.uses, self.results = rows["usage"], rows["result"]
        self.checks = [one for one in rows["intermediate_check"] if not one["withdrawn"]]
        self.held = [one for one in rows["composition"] if not one["withdrawn"]]
        self.ever_held = {one["part_id"] for one in rows["composition"]}

    def failures(self) -> dict[Key, set[tuple[int, int]]]:
        """(Item, kind, cause) of every failure, with the overdue uses that it has."""
        found = {(self.code(one), "check", str(one["id"])): set() for one in self.failed_checks()}
        found |= {(self.code(one), "as_found", named(one)): set() for one in self.failed_as_found()}
        for use, value in self.overdue():
            key = self.code(value), "overdue_use", named(value)
            found.setdefault(key, set()).add((use["certificate_id"], use["position"]))
        return found

    def code(self, one: Row) -> str:
        code: str = self.items[one["item_id"]]["code"]
        return code

    def failed_checks(self) -> Iterator[Row]:
        return (one for one in self.checks if one["result"] == "fail")

    def failed_as_found(self) -> Iterator[Row]:
        used = {one["item_id"] for one in self.uses} | self.ever_held
        for one in self.certificates.values():
            own = [r for r in self.results if r["certificate_id"] == one["id"]]
            first = [r for r in own if r["stage"] == "as_found"] or [
                r for r in own if r["stage"] == "single"
            ]
            ours = self.items[one["item_id"]]["kind"] != "customer_instrument"
            beyond = any(abs(Decimal(r["error"])) > Decimal("0.008") for r in first)
            if one["status"] == "issued" and beyond and (ours or one["item_id"] in used):
                yield one

    def standing_on(self) -> dict[Key, set[Used]]:
        """What used the item of each failure between the good evidence around it, held then too."""
        found: dict[Key, set[Used]] = {}
        for one in self.failed_checks():
            found[self.code(one), "check", str(one["id"])] = self.around(one)
        for one in self.failed_as_found():
            found[self.code(one), "as_found", named(one)] = self.around(one)
        return found

    def around(self, failure: Row) -> set[Used]:
        item, at_us = failure["item_id"], failure["performed_us"]
        good = [one["performed_us"] for one in self.good(item)]
        before = max((one for one in good if one < at_us), default=None)
        behind = min((one for one in good if one >= at_us), default=None)
        return {
            (made["issuer"], made["number"], use["used_us"])
            for use in self.uses
            for made in (self.certificates[use["certificate_id"]],)
            if made["status"] == "issued"
            and (before is None or use["used_end_us"] > before)
            and (behind is None or use["used_us"] < behind)
            and self.within(item, use["item_id"], (use["used_us"], use["used_end_us"]), ())
        }

    def good(self, item: int) -> Iterator[Row]:
        yield from (o for o in self.checks if o["item_id"] == item and o["result"] == "pass")
        for one in self.certificates.values():
            own = [r for r in self.results if r["certificate_id"] == one["id"]]
            left = [r for r in own if r["stage"] == "as_left"] or [
                r for r in own if r["stage"] == "single"
            ]
            beyond = any(abs(Decimal(r["error"])) > Decimal("0.008") for r in left)
            if one["item_id"] == item and one["status"] == "issued" and left and not beyond:
                yield one

    def within(self, item: int, used: int, during: tuple[int, int], chain: tuple[int, ...]) -> bool:
        """Whether what was used is the item, or held it at some instant of the use."""
        if item == used:
            return True
        for one in self.held:
            start = max(during[0], one["from_us"])
            ends = [during[1]] if one["until_us"] is None else [during[1], one["until_us"] - 1]
            if one["part_id"] == item and item not in chain and start <= min(ends):
                above = one["assembly_id"]
                if self.within(above, used, (start, min(ends)), (*chain, item)):
                    return True
        return False

    def overdue(self) -> Iterator[tuple[Row, Row]]:
        """Uses in issued certificates, with the value that each rested on and that was due."""
        for use in self.uses:
            made = self.certificates[use["certificate_id"]]
            if made["status"] != "issued":
                continue
            confirmed = self.in_force(use["item_id"], use["used_us"], made["mode"], every=True)
            extended = None
            if confirmed is not None and not confirmed["assigns_value"]:
                extended = confirmed["due_us"]
            for value in self.values(use["item_id"], use["used_us"], made["mode"], ()):
                due = value["due_us"] if extended is None else extended
                if due is not None and due < use["used_us"]:
                    yield use, value

    def values(
        self, item: int, at_us: int, mode: str | None, chain: tuple[int, ...]
    ) -> Iterator[Row]:
        """The value of an item, or those of the measuring parts that it held."""
        own = self.in_force(item, at_us, mode)
        if own is not None:
            yield own
            return
        for one in self.held:
            part = one["part_id"]
            during = one["from_us"] <= at_us and (
                one["until_us"] is None or at_us < one["until_us"]
            )
            if one["assembly_id"] != item or not during or part in chain:
                continue
            if self.items[part]["kind"] in MEASURING:
                yield from self.values(part, at_us, mode, (*chain, item))

    def in_force(
        self, item: int, at_us: int, mode: str | None, *, every: bool = False
    ) -> Row | None:
        serving = [
            one
            for one in self.certificates.values()
            if one["item_id"] == item
            and (every or one["assigns_value"])
            and one["performed_us"] <= at_us
            and one["serves_from_us"] is not None
            and one["serves_from_us"] <= at_us
            and (one["serves_until_us"] is None or at_us < one["serves_until_us"])
            and (mode is None or one["mode"] in (None, mode))
        ]
        return max(
            serving,
            key=lambda one: (one["performed_us"], one["revision"], one["number"]),
            default=None,
        )


def named(certificate: Row) -> str:
    return json.dumps([certificate["issuer"], certificate["number"]], ensure_ascii=False)


class Alerts:
    """The alerts as they are stored."""

    def __init__(self, database: Database) -> None:
        with database.engine.connect() as connection:
            rows = connection.execute(
                sa.text("SELECT alert.*, item.code FROM alert JOIN item ON item.id = alert.item_id")
            )
            self.rows = [dict(one._mapping) for one in rows]
            uses = connection.execute(
                sa.text("SELECT alert_id, certificate_id, position FROM alert_use")
            )
            self.uses: dict[int, set[tuple[int, int]]] = {}
            for alert, certificate, place in uses:
                self.uses.setdefault(alert, set()).add((certificate, place))

    def standing(self) -> dict[Key, set[tuple[int, int]]]:
        return {
            (one["code"], one["kind"], one["cause"]): self.uses.get(one["id"], set())
            for one in self.rows
            if one["state"] != "ended"
        }

    def state(self) -> dict[Key, str]:
        return {(one["code"], one["kind"], one["cause"]): one["state"] for one in self.rows}


class Histories(RuleBasedStateMachine):
    """One laboratory, its writers, and a plain reading of all that they wrote."""

    laboratory: Laboratory
    database: Database

    @initialize()
    def begin(self) -> None:
        self.answered: dict[Key, set[Used]] = {}
        made = self.laboratory
        made.empty()
        for item, day, used, due in (
            ("REF", 0, [], 20),
            ("WS-1", 3, ["REF"], 12),
            ("CI-1", 6, ["WS-1"], None),
            ("CI-2", 15, ["WS-1", "RIG"], None),
        ):
            made.record(item, day, used, due_at=None if due is None else at(due))
        made.hold("RIG", "WS-1", 1, None)
        # Answered from the start, so that every late use of it puts the answer to the test.
        made.check("WS-1", 30, "fail", None)
        for which in range(len(self.open())):
            self.answer(which)

    @rule(item=ITEMS, day=DAYS, used=USES, due=DUE, error=ERRORS, mode=MODES, kind=WHICH)
    def record(self, item, day, used, due, error, mode, kind) -> None:
        stages = (
            [row("10", error)],
            [row("10", error, stage="as_found"), row("10", "0", stage="as_left", point=2)],
            [row("10", error, stage="as_left")],
        )[kind % 3]
        more: Row = {"mode": mode, "due_at": None if due is None else at(due)}
        more |= {"status": "draft"} if kind % 7 == 0 else {}
        more |= {"assigns_value": False} if kind % 5 == 0 else {}
        self.laboratory.record(item, day, used, results=stages, **more)

    @rule(item=st.sampled_from((*STANDARDS, *ADAPTERS)), day=DAYS, good=st.booleans())
    def check(self, item, day, good) -> None:
        self.laboratory.check(item, day, "pass" if good else "fail", None)

    @rule(
        which=WHICH,
        change=st.sampled_from(
            (
                {"result": "pass"},
                {"result": "fail"},
                {"withdrawn": True},
                {"withdrawn": False},
                {"item": "WS-2"},
            )
        ),
    )
    def correct_check(self, which, change) -> None:
        self.laboratory.correct_check(which, change)

    @rule(which=WHICH, day=st.none() | DAYS)
    def void(self, which, day) -> None:
        self.laboratory.void(which, day)

    @rule(which=WHICH)
    def issue(self, which) -> None:
        self.laboratory.issue(which)

    @rule(which=WHICH, used=USES, error=ERRORS, issued=st.none() | DAYS)
    def revise(self, which, used, error, issued) -> None:
        self.laboratory.revise(which, used, error, issued)

    @rule(which=WHICH, item=st.none() | st.sampled_from(USED))
    def correct_use(self, which, item) -> None:
        self.laboratory.correct(which, item, None)

    @rule(which=WHICH, item=st.sampled_from(USED))
    def add_use(self, which, item) -> None:
        self.laboratory.add_use(which, item)

    @rule(assembly=st.sampled_from(("RIG", "ADP")), part=PARTS, day=DAYS, until=st.none() | DAYS)
    def hold(self, assembly, part, day, until) -> None:
        self.laboratory.hold(assembly, part, day, until)

    @rule(
        which=WHICH,
        change=st.sampled_from(
            ({"withdrawn": True}, {"withdrawn": False}, {"part": "WS-2"}, {"from": at(20, 6)})
        ),
    )
    def correct_holding(self, which, change) -> None:
        self.laboratory.correct_holding(which, change)

    @rule(items=st.sampled_from((("REF", "WS-1"), ("WS-1", "WS-2"), ("WS-2", "CI-1"))), day=DAYS)
    def swap(self, items, day) -> None:
        self.laboratory.swap(items, day, None)

    @rule(kind=st.sampled_from(("working_standard", "customer_instrument", "readout")))
    def change_kind(self, kind) -> None:
        self.laboratory.change("WS-1", kind=kind)

    @rule(records=st.lists(st.tuples(ITEMS, DAYS, USES), min_size=1, max_size=2), day=DAYS)
    def bring(self, records, day) -> None:
        self.laboratory.bring(records, "PIN-1", day, voided=False)

    def open(self) -> list[Row]:
        return [one for one in Alerts(self.database).rows if one["state"] == "open"]

    @rule(which=WHICH)
    def answer(self, which) -> None:
        alerts = self.open()
        if alerts:
            one = alerts[which % len(alerts)]
            said = {"by": "M. Tarn", "reason": "looked at"}
            assert self.laboratory.send("POST", f"/v1/alerts/{one['id']}/answers", said) is not None
            key = one["code"], one["kind"], one["cause"]
            self.answered[key] = Reading(self.database).standing_on().get(key, set())

    @invariant()
    def the_alerts_are_those_of_the_records(self) -> None:
        records = Reading(self.database)
        expected, alerts = records.failures(), Alerts(self.database)
        assert alerts.standing() == expected
        with self.database.read() as session:
            assert list(standing.astray(session)) == []
        states = alerts.state()
        answered = {key for key, state in states.items() if state == "answered"}
        # Nothing counts as answered but what somebody answered, and what went meanwhile is open.
        assert answered <= self.answered.keys()
        # Nor was anything used meanwhile of which the answer did not know.
        standing_on = records.standing_on()
        for key in answered & standing_on.keys():
            assert standing_on[key] <= self.answered[key]
        for key in self.answered.keys() - expected.keys():
            del self.answered[key]


@pytest.mark.slow
def test_the_open_alerts_are_exactly_those_of_the_records(client, database):
    laboratory = Laboratory(client, database)
    many = settings.default.max_examples >= 1_000
    bound = type("Bound", (Histories,), {"laboratory": laboratory, "database": database})
    run(
        bound,
        settings=settings(
            max_examples=settings.default.max_examples if many else shared(FEW),
            stateful_step_count=STEPS,
            deadline=None,
            derandomize=not many,
            suppress_health_check=list(HealthCheck),
        ),
    )
