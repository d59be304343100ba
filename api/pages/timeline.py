"""The history of an item on a line of time, drawn from its records; the page's tables say the same.

Choice: one lane for calibrations, one for checks, one for uses where they are asked for, one for
every recall window, and one for every part held or assembly entered; shapes tell kinds apart. The
line runs from the first event to now or the last, whichever is later. Places are floats, from whole
microseconds.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

WIDTH, LEFT, RIGHT, LANE, TOP, FOOT = 760.0, 128.0, 16.0, 24.0, 8.0, 26.0
MOST_LANES = 14
MOST_TICKS = 9
DAY_US = 86_400_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(slots=True)
class Mark:
    """One event: its place, its shape, and what it says where it is pointed at."""

    x: float
    shape: str
    says: str


@dataclass(slots=True)
class Bar:
    """A stretch of time; `open` says that it has no end yet."""

    x: float
    width: float
    says: str
    open: bool


@dataclass(slots=True)
class Lane:
    """One row: its name, height, marks and bars."""

    name: str
    y: float
    kind: str
    marks: list[Mark] = field(default_factory=list)
    bars: list[Bar] = field(default_factory=list)


@dataclass(slots=True)
class Timeline:
    """Everything that the template draws; `window` is the one under discussion, if any."""

    width: float
    height: float
    lanes: list[Lane]
    ticks: list[tuple[float, str]]
    foot: float
    window: Bar | None
    left_out: int


class _Scale:
    """Where instants stand between the first and the last."""

    def __init__(self, first_us: int, last_us: int) -> None:
        spare = max((last_us - first_us) // 40, DAY_US)
        self.first, self.last = first_us - spare, last_us + spare

    def x(self, at_us: int) -> float:
        share = (min(max(at_us, self.first), self.last) - self.first) / (self.last - self.first)
        return round(LEFT + (WIDTH - LEFT - RIGHT) * share, 2)

    def bar(self, start_us: int | None, end_us: int | None, says: str) -> Bar:
        left = LEFT if start_us is None else self.x(start_us)
        right = WIDTH - RIGHT if end_us is None else self.x(end_us)
        return Bar(left, max(2.0, round(right - left, 2)), says, end_us is None)

    def ticks(self) -> list[tuple[float, str]]:
        """Begins of years, or of months where the line is short."""
        first, last = self.first // DAY_US, self.last // DAY_US
        start, end = _EPOCH + timedelta(days=first), _EPOCH + timedelta(days=last)
        months = [
            datetime(year, month, 1, tzinfo=UTC)
            for year in range(start.year, end.year + 1)
            for month in range(1, 13)
        ]
        inside = [one for one in months if start <= one <= end]
        for step in (1, 3, 6, 12, 24, 60, 120, 240):
            chosen = [one for one in inside if (one.year * 12 + one.month - 1) % step == 0]
            if len(chosen) <= MOST_TICKS:
                break
        wide = all(one.month == 1 for one in chosen)
        return [
            (
                self.x((one - _EPOCH) // timedelta(microseconds=1)),
                str(one.year) if wide else f"{one.year}-{one.month:02d}",
            )
            for one in chosen
        ]


def timeline(
    history: Mapping[str, Any],
    now_us: int,
    window: tuple[int | None, int | None] | None = None,
    narrowing: Iterable[str] = (),
    uses: str = "Used",
) -> Timeline:
    """Return the drawing of a history (`api.services.overview.item_history.history`).

    `window` is the suspect period of a fault that is being looked at, and `narrowing` the ids of
    the checks that move its start. `uses` names the lane of what the history may hold under that
    name (`api.services.overview.fault_subjects`).
    """
    scale = _scale(history, now_us, window)
    lanes = [
        _marked("Calibrations", "calibration", history["calibrations"], scale, _calibration),
        _marked("Checks", "check", history["checks"], scale, _check(set(narrowing))),
        _marked(uses, "use", history.get("uses", ()), scale, _use),
    ]
    lanes = [lane for lane in lanes if lane.marks]
    stretches = [
        *((f"Recall {w['number']}", "window", w, "suspect") for w in history["windows"]),
        *((f"Part {h['part']}", "held", h, "in it") for h in history["parts"]),
        *((f"In {h['assembly']}", "held", h, "in the assembly") for h in history["assemblies"]),
    ]
    names: dict[str, Lane] = {}
    for name, kind, one, says in stretches:
        lane = names.setdefault(name, Lane(name[:22], 0, kind))
        lane.bars.append(scale.bar(one["from_us"], one["until_us"], f"{name}, {says}"))
    lanes += names.values()
    shown = lanes[:MOST_LANES]
    for place, lane in enumerate(shown):
        lane.y = TOP + LANE * (place + 0.5)
    foot = TOP + LANE * len(shown)
    found = None
    if window is not None:
        found = scale.bar(*window, "the window of this fault")
    return Timeline(WIDTH, foot + FOOT, shown, scale.ticks(), foot, found, len(lanes) - len(shown))


def _scale(
    history: Mapping[str, Any], now_us: int, window: tuple[int | None, int | None] | None
) -> _Scale:
    known = [now_us]
    for entries in history.values():
        for one in entries:
            known += [one[name] for name in ("at_us", "from_us", "until_us") if one.get(name)]
    known += [at for at in window or () if at is not None]
    return _Scale(min(known), max(known))


def _marked(
    name: str, kind: str, entries: Sequence[Mapping[str, Any]], scale: _Scale, look: Any
) -> Lane:
    lane = Lane(name, 0, kind)
    for one in entries:
        shape, says = look(one)
        lane.marks.append(Mark(scale.x(one["at_us"]), shape, says))
    return lane


def _calibration(one: Mapping[str, Any]) -> tuple[str, str]:
    shape = "dot" if one["status"] == "issued" else "ring"
    adjusted = ", adjusted" if one["adjusted"] else ""
    return shape, f"{one['certificate']} {one['status']}, {one['performed_at'][:10]}{adjusted}"


def _use(one: Mapping[str, Any]) -> tuple[str, str]:
    day = (_EPOCH + timedelta(microseconds=one["at_us"])).date()
    more = f" and {one['many'] - 1} more" if one["many"] > 1 else ""
    return "stroke", f"{one['certificate']}{more}, from {day}"


def _check(narrowing: set[str]) -> Any:
    def look(one: Mapping[str, Any]) -> tuple[str, str]:
        says = f"{one['id']} {one['result']}, {one['at'][:10]}"
        if one["result"] != "pass":
            return "cross", says
        if one["id"] in narrowing:
            return "wedge", f"{says}, narrows the window"
        return "triangle", says

    return look
