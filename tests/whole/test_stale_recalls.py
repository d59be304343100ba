"""Whatever is written, in whatever order: a stored recall never says wrongly that it still holds.

Random histories of a small laboratory (`tests/whole/stale_laboratory.py`) on both engines: every
kind of write, also while a recall is worked out, between recalls, second looks and closings. After
each step every stored recall is compared with a fresh one. A few histories run with the long tests;
for a thousand:

    python -m pytest tests/whole/test_stale_recalls.py --hypothesis-profile=histories
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from hypothesis.stateful import run_state_machine_as_test as run

from tests.databases import shared
from tests.whole.stale_laboratory import (
    ADAPTERS,
    INSTRUMENTS,
    RESULTS,
    STANDARDS,
    TYPES,
    USED,
    Json,
    Laboratory,
    at,
    wrong,
)

FEW, STEPS = 12, 20
DAYS = st.integers(0, 20) | st.integers(0, 60)
WHICH = st.integers(0, 30)
ITEMS = st.sampled_from((*STANDARDS, *STANDARDS, *INSTRUMENTS, "RIG"))
USES = st.lists(st.sampled_from(USED), min_size=0, max_size=3, unique=True)
USES |= st.sampled_from((["ADP"], ["RIG"], ["REF"], ["GAUGE"]))
PARTS = st.sampled_from(("PIN-1", "PIN-2", "ADP", "WS-1", "WS-2", "GAUGE"))
MODES = st.sampled_from(("tension", "compression", None))
ONLY = (
    {"only": {"mode": "tension"}},
    {"only": {"directions": ["increasing"]}},
    {"only": {"roles": ["force_reference"]}},
)


@st.composite
def faults(draw: st.DrawFn) -> Json:
    """A fault of an item, a certificate or a method, over some of the time."""
    start = draw(st.integers(0, 20))
    window = {"last_good_at": at(start, 0), "isolated_at": at(start + draw(st.integers(5, 60)), 0)}
    kinds = ("force", "force", "type", "gain", "certificate", "method", "U", "offset")
    kind = draw(st.sampled_from(kinds))
    window |= draw(st.just({}) | st.sampled_from(ONLY))
    if kind == "type":
        effect = {"tension_link": "-0.0005", "crane_scale": "0"}
        named = {"item": draw(st.sampled_from(ADAPTERS)), "kind": "indication_effect_by_type"}
        return named | {"effect_rel": effect} | window
    if kind == "gain":
        return {"item": "RO", "kind": "readout_gain", "channel": "A", "gain": "1.0005"} | window
    if kind == "certificate":
        named = {"certificate": f"K-{draw(st.integers(1, 12))}", "kind": "unknown"}
        return named | window
    if kind == "method":
        return {"method": "M-1", "kind": "unknown"} | window
    item = {"item": draw(st.sampled_from(STANDARDS))} | window
    if kind == "U":
        understated = {"U_rel_recorded": "0.0001", "U_rel_right": "0.0004"}
        return item | {"kind": "understated_uncertainty"} | understated
    if kind == "offset":
        return item | {"kind": "true_force_offset", "delta_force": "3", "unit": "N"}
    named = {"item": item["item"], "kind": "true_force_relative_error"}
    return named | {"delta_rel": draw(st.sampled_from(("0.0005", "-0.001")))} | window


# Enough for any later write to matter to somebody: chains, adapters, an assembly, a readout.
BEGINNING = (
    ("REF", 0, []),
    ("WS-1", 3, ["REF"]),
    ("WS-2", 4, ["REF"]),
    ("CI-1", 6, ["WS-1", "ADP"]),
    ("CI-2", 15, ["WS-2", "RIG"]),
    ("CI-1", 25, ["WS-2", "RO", "ADP"]),
    ("CI-3", 40, ["WS-1", "RIG"]),
    ("CI-2", 45, ["RIG"]),
)
WINDOW = {"last_good_at": at(0, 0), "isolated_at": at(83, 0)}
FIRST: tuple[Json, ...] = (
    {"item": "REF", "kind": "true_force_relative_error", "delta_rel": "0.0005"},
    {"item": "PIN-1", "kind": "unknown"},
    {"item": "RO", "kind": "readout_gain", "channel": "A", "gain": "1.0005"},
)


WRITES = {
    "POST calibrations",
    "POST imports",
    "POST compositions",
    "PATCH compositions",
    "POST checks",
    "PATCH items",
    "POST certificates/void",
    "POST certificates/issue",
    "POST certificates/revisions",
    "POST certificates/uses/corrections",
    "POST certificates/uses",
    "POST compositions/corrections",
    "POST checks/corrections",
    "POST identity-swaps",
    "POST recalls",
    "PATCH recalls/case",
}


def begin(laboratory: Laboratory, *, steady: bool = True, held: bool = True) -> None:
    """Begin; in a steady laboratory nothing waits when the next write comes."""
    laboratory.empty()
    laboratory.steady = steady
    for item, day, used in BEGINNING:
        laboratory.record(item, day, used)
    laboratory.record("CI-2", 30, ["WS-1"], status="draft")
    laboratory.hold("RIG", "PIN-2", 1, None)
    laboratory.check("REF", 50, "fail", None)
    if held:
        laboratory.hold("ADP", "PIN-1", 10, None)
    assert len(laboratory.numbers) == len(BEGINNING) + 1
    assert laboratory.holdings
    for fault in FIRST:
        laboratory.recall(fault | WINDOW, None)


class Histories(RuleBasedStateMachine):
    """One laboratory, its writers, and a check of all that it stored."""

    laboratory: Laboratory
    seen: Counter[str]

    @initialize(steady=st.booleans(), held=st.booleans())
    def begin(self, steady: bool, held: bool) -> None:
        begin(self.laboratory, steady=steady, held=held)

    @rule(item=ITEMS, day=DAYS, used=USES, assigns=st.booleans(), draft=st.booleans())
    def record(self, item: str, day: int, used: list[str], assigns: bool, draft: bool) -> None:
        more = {"assigns_value": assigns or item in INSTRUMENTS}
        more |= {"status": "draft"} if draft and day % 3 == 0 else {}
        self.laboratory.record(item, day, used, **more)

    @rule(item=ITEMS, day=DAYS, used=USES, mode=MODES)
    def record_with_method(self, item: str, day: int, used: list[str], mode: str | None) -> None:
        self.laboratory.record(item, day, used, method="M-1", mode=mode)

    @rule(item=ITEMS, day=DAYS, used=USES, mode=MODES, results=st.sampled_from(sorted(RESULTS)))
    def record_a_range(
        self, item: str, day: int, used: list[str], mode: str | None, results: str
    ) -> None:
        self.laboratory.record(item, day, used, mode=mode, results=RESULTS[results])

    @rule(day=DAYS, used=USES, part=PARTS, voided=st.booleans())
    def bring(self, day: int, used: list[str], part: str, voided: bool) -> None:
        records = [("WS-2", day, ["REF"]), ("CI-3", day + 2, [*used, "WS-2"][-3:])]
        self.laboratory.bring(records, part, day, voided=voided)

    @rule(
        assembly=st.sampled_from(("ADP", "RIG")),
        part=PARTS,
        day=DAYS,
        until=st.none() | st.integers(1, 80),
        share=st.none() | st.sampled_from(("0.5", "1")),
    )
    def hold(
        self, assembly: str, part: str, day: int, until: int | None, share: str | None
    ) -> None:
        self.laboratory.hold(assembly, part, day, until, share)

    @rule(
        which=WHICH,
        changes=st.sampled_from(
            (
                {"withdrawn": True},
                {"withdrawn": False},
                {"share": "0.5"},
                {"part": "WS-1"},
                {"assembly": "RIG"},
                {"from": at(2, 6)},
            )
        ),
    )
    def correct_holding(self, which: int, changes: Json) -> None:
        self.laboratory.correct_holding(which, changes)

    @rule(
        which=WHICH,
        changes=st.sampled_from(
            (
                {"withdrawn": True},
                {"withdrawn": False},
                {"result": "fail"},
                {"at": at(5)},
                {"item": "REF"},
                {"covers": "full range"},
            )
        ),
    )
    def correct_check(self, which: int, changes: Json) -> None:
        self.laboratory.correct_check(which, changes)

    @rule(
        items=st.sampled_from(
            (("WS-1", "WS-2"), ("REF", "GAUGE"), ("CI-1", "CI-2"), ("PIN-1", "PIN-2"))
        ),
        day=DAYS,
        until=st.none() | st.integers(1, 80),
    )
    def swap(self, items: tuple[str, str], day: int, until: int | None) -> None:
        self.laboratory.swap(items, day, until)

    @rule(which=WHICH, day=st.integers(1, 80))
    def release(self, which: int, day: int) -> None:
        self.laboratory.release(which, day)

    @rule(
        item=st.sampled_from((*STANDARDS, "PIN-1")),
        day=DAYS,
        result=st.sampled_from(("pass", "pass", "fail")),
        against=st.none() | st.sampled_from(STANDARDS),
    )
    def check(self, item: str, day: int, result: str, against: str | None) -> None:
        self.laboratory.check(item, day, result, against)

    @rule(item=st.sampled_from(INSTRUMENTS), kind=st.sampled_from(TYPES))
    def change_type(self, item: str, kind: str) -> None:
        self.laboratory.change(item, type=kind)

    @rule(channels=st.sampled_from((["A", "B"], ["B"])))
    def change_channels(self, channels: list[str]) -> None:
        self.laboratory.change("RO", channels=channels)

    @rule(which=WHICH, day=st.none() | DAYS)
    def void(self, which: int, day: int | None) -> None:
        self.laboratory.void(which, day)

    @rule(which=WHICH | st.just(len(BEGINNING)))
    def issue(self, which: int) -> None:
        self.laboratory.issue(which)

    @rule(which=WHICH, used=USES, error=st.sampled_from(("0", "0.004")), issued=st.none() | DAYS)
    def revise(self, which: int, used: list[str], error: str, issued: int | None) -> None:
        self.laboratory.revise(which, used, error, issued)

    @rule(
        which=WHICH,
        item=st.none() | st.sampled_from(USED),
        weight=st.none() | st.sampled_from(("1", "0.5")),
    )
    def correct(self, which: int, item: str | None, weight: str | None) -> None:
        self.laboratory.correct(which, item, weight)

    @rule(which=WHICH, item=st.sampled_from(USED))
    def add_use(self, which: int, item: str) -> None:
        self.laboratory.add_use(which, item)

    @rule()
    def other(self) -> None:
        self.laboratory.other()

    @rule(fault=faults(), previous=st.none() | WHICH)
    def recall(self, fault: Json, previous: int | None) -> None:
        self.laboratory.recall(fault, previous)

    @rule(first=faults(), second=faults())
    def recall_of_two(self, first: Json, second: Json) -> None:
        self.laboratory.recall([first, second], None)

    @rule(fault=faults(), item=ITEMS, day=DAYS, used=USES, mended=st.booleans())
    def recall_late(self, fault: Json, item: str, day: int, used: list[str], mended: bool) -> None:
        def write() -> None:
            self.laboratory.record(item, day, used)

        self.laboratory.recall_late(fault, write, mended=mended)

    @rule(which=WHICH)
    def close(self, which: int) -> None:
        self.laboratory.close(which)

    @rule()
    def recheck(self) -> None:
        self.laboratory.recheck()

    @invariant()
    def holds(self) -> None:
        assert wrong(self.laboratory) == []

    def teardown(self) -> None:
        self.laboratory.recheck()
        assert wrong(self.laboratory) == []
        for key in self.laboratory.recalls:
            shown = self.laboratory.client.get(f"/v1/recalls/{key}").get_json()
            assert shown["stale"] != "checking"
            self.seen[f"stale {shown['stale']}"] += 1


@pytest.mark.long
def test_a_stored_recall_is_never_wrong_for_long(client, database):
    many = settings.get_current_profile_name() == "histories"
    laboratory, seen = Laboratory(client, database), Counter[str]()
    bound = type("Bound", (Histories,), {"laboratory": laboratory, "seen": seen})
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
    # Without both outcomes nothing was tried, nor where the laboratory refused every mistake.
    assert seen["stale True"]
    assert seen["stale False"]
    if many:
        assert {what for what, count in laboratory.done.items() if count} >= WRITES


def test_every_kind_of_write_is_heard(client, database):
    laboratory = Laboratory(client, database)
    last = len(BEGINNING)
    writes: tuple[Callable[[], None], ...] = (
        lambda: laboratory.record("CI-1", 42, ["WS-1"]),
        lambda: laboratory.bring([("WS-2", 20, ["GAUGE"])], "GAUGE", 30, voided=False),
        lambda: laboratory.bring([("WS-2", 13, ["REF"])], "WS-1", 30, voided=True),
        lambda: laboratory.hold("RIG", "WS-1", 20, None, "1"),
        lambda: laboratory.release(0, 20),
        lambda: laboratory.correct_holding(0, {"part": "WS-1"}),
        lambda: laboratory.check("REF", 10, "pass", None),
        lambda: laboratory.correct_check(0, {"result": "pass"}),
        lambda: laboratory.correct_check(0, {"withdrawn": True}),
        lambda: laboratory.change("CI-1", type="crane_scale"),
        lambda: laboratory.change("RO", channels=["B"]),
        lambda: laboratory.void(1, 5),
        lambda: laboratory.void(1, None),
        lambda: laboratory.issue(last),
        lambda: laboratory.revise(1, ["GAUGE"], "0", 10),
        lambda: laboratory.correct(3, "GAUGE", None),
        lambda: laboratory.correct(3, None, None),
        lambda: laboratory.add_use(3, "WS-2"),
        lambda: laboratory.swap(("WS-1", "WS-2"), 10, None),
        lambda: laboratory.recall(FIRST[0] | WINDOW, 0),
        lambda: laboratory.close(0),
    )
    moved: dict[int, set[object]] = {}
    for number, write in enumerate(writes):
        begin(laboratory)
        before = laboratory.done.copy()
        write()
        assert laboratory.done - before, number
        assert wrong(laboratory) == [], number
        laboratory.recheck()
        assert wrong(laboratory) == [], number
        moved[number] = {
            client.get(f"/v1/recalls/{key}").get_json()["stale"] for key in laboratory.recalls
        }
    assert laboratory.done.keys() >= WRITES
    # Most of them matter to one of the recalls; the last two are no records.
    assert sum(True in flags for flags in moved.values()) >= 15, moved
