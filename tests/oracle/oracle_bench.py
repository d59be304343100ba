"""How is one result of a random laboratory drawn, and what does every draw rest on?

Errors, limits and uncertainties are tenths of the tolerance, forces come from few steps and
instants from few hours of few days, so that limits, spans, segment bounds and the instants of voids
and issues are met exactly now and then. Days are Sundays: two of them have 23 hours, in New York
and in Berlin. All figures are invented.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any, TypeVar

from oracle_verdicts import Limits, verdict

Json = dict[str, Any]
T = TypeVar("T")

FIRST_DAY = date(2025, 1, 5)
WEEKS = 24
HOURS = ("08:00:00", "12:00:00", "16:00:00")
STEPS = {
    "kN": ("5", "10", "20", "50"),
    "N": ("5000", "10000", "20000", "50000"),
    "MN": ("0.005", "0.01", "0.02", "0.05"),
    "lbf": ("1000", "2000", "4500", "11000"),
    "kip": ("1", "2", "4.5", "11"),
    "kgf": ("500", "1000", "2000", "5000"),
    "tf": ("0.5", "1", "2", "5"),
    "tonf_US": ("0.5", "1", "2", "5"),
}
LARGE = ("10", "25", "50", "100")


@dataclass
class Bench:
    """A laboratory in the making. `choose(n)` draws one of 0 to n - 1; 0 is the simplest.

    `modal`, `directional`, `signed`: whether its records tell of modes, of directions, and of
    compression by a minus sign.
    """

    choose: Callable[[int], int]
    calibrations: list[Json] = field(default_factory=list)
    modal: bool = False
    directional: bool = False
    signed: bool = False

    def pick(self, *choices: T) -> T:
        """One of the choices; the first is the simplest."""
        return choices[self.choose(len(choices))]

    def chance(self, n: int) -> bool:
        """True about one time in n."""
        return self.choose(n) == n - 1

    def some(self, choices: Sequence[T], count: int) -> list[T]:
        """That many different ones of the choices, in the order drawn."""
        left = list(choices)
        return [left.pop(self.choose(len(left))) for _ in range(min(count, len(left)))]

    def days(self, count: int) -> list[int]:
        """That many different weeks, in order."""
        return sorted(self.some(range(WEEKS), count))


def day_text(week: int) -> str:
    """The bare date of a week's working day."""
    return (FIRST_DAY + timedelta(weeks=week)).isoformat()


def instant(bench: Bench, week: int, bare: int = 7) -> str:
    """An instant of a week's working day, the bare date one time in `bare`, at times an offset."""
    if bench.chance(bare):
        return day_text(week)
    return f"{day_text(week)}T{bench.pick(*HOURS)}{bench.pick('Z', 'Z', 'Z', '+02:00', '-05:00')}"


def plain(value: Decimal) -> str:
    """Plain text of a decimal."""
    return format(value.normalize(), "f") if value else "0"


def decide(bench: Bench, made: Json, names: tuple[str, str, str], size: Decimal) -> None:
    """Error, U, limits and rule of a result, in tenths of the tolerance; at times without two."""
    tenth = size / 10000
    error, u = (bench.choose(25) - 12) * tenth, bench.pick(2, 1, 3, 5, 2, 1, 3, 0) * tenth
    upper = 10 * tenth
    lower = -upper / 2 if bench.chance(8) else -upper
    rule = bench.pick("guard_U", "simple", "four_state_U")
    made |= {names[0]: plain(error), names[1]: plain(u), "rule": rule}
    made[names[2]] = (
        plain(upper) if lower == -upper else {"lower": plain(lower), "upper": plain(upper)}
    )
    limits: Limits = (Fraction(lower), Fraction(upper))
    if bench.chance(16):
        side = bench.pick("upper", "lower")
        made[names[2]] = {side: plain(upper if side == "upper" else lower)}
        limits = (None, limits[1]) if side == "upper" else (limits[0], None)
    given = verdict(Fraction(error), Fraction(u), limits, rule)
    if bench.chance(14):
        del made[names[1]]
        given = given if rule == "simple" else None
    if bench.chance(14):
        del made[names[2]]
        given = None
    if given is not None and bench.pick(True, False):
        # Now and then what was reported is not what the rule gives.
        made["verdict_reported"] = "fail" if bench.chance(16) else given
    if bench.pick(True, False):
        made["k"] = bench.pick("2", "2", "1.96", "2.5")


def result(bench: Bench, point: int, unit: str, applied: str, relative: bool) -> Json:
    """One result, absolute or in percent, the latter with or without its force."""
    force = Decimal(applied)
    made: Json = {"point": point, "stage": "single"}
    if relative:
        decide(bench, made, ("error_rel_pct", "U_rel_pct", "tolerance_rel_pct"), Decimal(100))
    else:
        decide(bench, made, ("error", "U", "tolerance"), abs(force) or Decimal(1))
        made["indicated"] = plain(force + Decimal(made["error"]))
        if bench.chance(12):
            # Applied and indicated say the error as well; seldom neither is told.
            del made["error"]
            if bench.chance(4):
                del made["indicated"]
    if not relative or bench.chance(2):
        made["applied"], made["unit"] = applied, unit
    return made


def ways(bench: Bench, forces: list[str]) -> list[tuple[str, str | None]]:
    """Forces with the directions in which they were approached, if the records tell them."""
    form = (
        bench.pick("none", "up", "both", "both", "down", "down", "mixed")
        if bench.directional
        else "none"
    )
    up: list[tuple[str, str | None]] = [(force, "increasing") for force in forces]
    down: list[tuple[str, str | None]] = [
        (force, "decreasing") for force in reversed(forces) if Decimal(force) != 0
    ]
    if form == "up":
        return up
    if form == "both":
        return up + down
    if form == "down":
        return down
    if form == "mixed":
        return [(force, None) for force in forces] + bench.pick(up, down, up + down)[:2]
    return [(force, None) for force in forces]


def results(bench: Bench, mode: str | None, large: bool) -> list[Json]:
    """One to three forces, at times with a zero, before and after, in percent, up and down."""
    unit = "kN" if large else bench.pick("kN", "kN", "kN", *STEPS)
    steps = LARGE if large else STEPS[unit]
    forces = sorted(bench.some(steps, bench.pick(2, 1, 3)), key=Decimal)
    if bench.signed and mode == "compression":
        forces = [f"-{force}" for force in forces]
    relative = bench.chance(8)
    if not relative and bench.chance(5):
        forces = ["0", *forces]
    found = [
        result(bench, number, unit, force, relative) | ({} if way is None else {"direction": way})
        for number, (force, way) in enumerate(ways(bench, forces), start=1)
    ]
    if bench.chance(4):
        # Both stages have the same points, so that a weight by point names every one of them.
        found = [one | {"stage": "as_found"} for one in found] + alike(bench, found)
    return found


def error_of(one: Json) -> Decimal:
    """The error of a result, as it is told or as applied and indicated say it; 0 where unknown."""
    told = one.get("error_rel_pct", one.get("error"))
    if told is None and "indicated" in one:
        return Decimal(one["indicated"]) - Decimal(one["applied"])
    return Decimal(told or 0)


def alike(bench: Bench, before: list[Json]) -> list[Json]:
    """The same points as left: same force, direction, limits; another error."""
    made = []
    for one in before:
        after = {name: value for name, value in one.items() if name != "verdict_reported"}
        name = "error_rel_pct" if "error_rel_pct" in one else "error"
        error = error_of(one) * bench.pick(Decimal("0.5"), Decimal(0), Decimal(1))
        after |= {"stage": "as_left"}
        if name in one:
            after[name] = plain(error)
        if "indicated" in one:
            after["indicated"] = plain(Decimal(one["applied"]) + error)
        made.append(after)
    return made
