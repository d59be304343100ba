"""How is one calibration of a random laboratory drawn: its instant, results and uses?

Errors, limits and uncertainties are tenths of the tolerance and forces come from few steps, so
that limits and segment bounds are met exactly now and then. All figures are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any, TypeVar

from hypothesis import strategies as st
from oracle_verdicts import verdict

Json = dict[str, Any]
T = TypeVar("T")

FIRST_DAY = date(2025, 1, 6)
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
FACTOR_WRONG, FACTOR_RIGHT = "1.0004", "1"


@dataclass
class Bench:
    """A laboratory in the making: `pick` draws one of several, `chance` one time in n."""

    draw: st.DrawFn
    calibrations: list[Json] = field(default_factory=list)

    def pick(self, *choices: T) -> T:
        """One of the choices; the first is the simplest."""
        return self.draw(st.sampled_from(choices))

    def chance(self, n: int) -> bool:
        """True about one time in n."""
        return self.draw(st.integers(0, n - 1)) == n - 1

    def days(self, count: int) -> list[int]:
        """That many different weeks, in order."""
        weeks = st.lists(st.integers(0, WEEKS - 1), min_size=count, max_size=count, unique=True)
        return sorted(self.draw(weeks))


def day_text(week: int) -> str:
    """The bare date of a week's working day."""
    return (FIRST_DAY + timedelta(weeks=week)).isoformat()


def instant(bench: Bench, week: int) -> str:
    """An instant of a week's working day, now and then the bare date or another offset."""
    form = bench.pick("Z", "Z", "Z", "Z", "+02:00", "-05:00", "date")
    if form == "date":
        return day_text(week)
    return f"{day_text(week)}T{bench.pick(*HOURS)}{form}"


def plain(value: Decimal) -> str:
    """Plain text of a decimal."""
    return format(value.normalize(), "f") if value else "0"


def result(bench: Bench, point: int, stage: str, unit: str, applied: str, relative: bool) -> Json:
    """One result: errors, limits and U in tenths of the tolerance, so that edges are met."""
    force = Decimal(applied)
    size = Decimal(100) if relative else (force or Decimal(1))
    tenth = size / 10000
    error = bench.draw(st.integers(-12, 12)) * tenth
    u = bench.pick(2, 1, 3, 5) * tenth
    limit = 10 * tenth
    tolerance: Any = plain(limit)
    lower, upper = -limit, limit
    if bench.chance(8):
        lower = -limit / 2
        tolerance = {"lower": plain(lower), "upper": plain(upper)}
    rule = bench.pick("guard_U", "simple", "four_state_U")
    names = (
        ("error_rel_pct", "U_rel_pct", "tolerance_rel_pct")
        if relative
        else ("error", "U", "tolerance")
    )
    made: Json = {"point": point, "stage": stage, names[0]: plain(error), names[1]: plain(u)}
    made[names[2]] = tolerance
    made["rule"] = rule
    if bench.pick(True, False):
        made["k"] = bench.pick("2", "2", "1.96")
    if not relative or bench.chance(2):
        made["applied"], made["unit"] = applied, unit
    if not relative:
        made["indicated"] = plain(force + error)
    if bench.pick(True, False):
        limits = (Fraction(lower), Fraction(upper))
        made["verdict_reported"] = verdict(Fraction(error), Fraction(u), limits, rule)
    return made


def results(bench: Bench) -> list[Json]:
    """One to three forces, at times with a zero, before and after, or in percent."""
    unit = bench.pick("kN", *STEPS)
    forces = bench.draw(st.lists(st.sampled_from(STEPS[unit]), min_size=1, max_size=3, unique=True))
    relative = bench.chance(6)
    applied = sorted(forces, key=Decimal)
    if not relative and bench.chance(5):
        applied = ["0", *applied]
    stages = bench.pick(("single",), ("single",), ("single",), ("as_found", "as_left"))
    return [
        result(bench, number, stage, unit, force, relative)
        for stage in stages
        for number, force in enumerate(applied, start=1)
    ]


def use(bench: Bench, item: str, role: str, found: list[Json], week: int, weight: Any) -> Json:
    """One use with its rarer features."""
    made: Json = {"item": item, "role": role}
    if weight is not None:
        made["weight"] = weight
    points = sorted({r["point"] for r in found})
    if len(points) > 1 and bench.chance(8):
        made["points"] = points[:-1] if bench.pick(True, False) else points[1:]
    if role == "force_reference":
        if bench.chance(4):
            made["factor_applied"] = bench.pick(FACTOR_WRONG, FACTOR_RIGHT, "1.0008")
        if week > 0 and not item.startswith("REF") and bench.chance(10):
            made["performed_at"] = instant(bench, week - 1)
        elif not item.startswith("REF") and bench.chance(10):
            name_certificate(bench, made, week)
    return made


def name_certificate(bench: Bench, made: Json, week: int) -> None:
    """Let a use name one of the earlier certificates of its item."""
    known = [
        c
        for c in bench.calibrations
        if c["item"] == made["item"] and c["performed_at"][:10] < day_text(week)
    ]
    if not known:
        return
    chosen = bench.pick(*known)
    made["certificate"] = chosen["certificate"]
    if chosen["status"] != "issued" or bench.pick(True, False):
        made["revision"] = chosen["revision"]


def shares(bench: Bench, count: int, found: list[Json]) -> list[Any]:
    """Weights of several references: equal to one in all, per point, signed or zero."""
    if count == 1:
        return [bench.pick(None, "1", "1", "1", "0")]
    pairs = (("0.5", "0.5"), ("0.4", "0.6"), ("1", "-1"), ("1", "0"))
    if bench.pick(True, False):
        return list(bench.pick(*pairs))
    maps: list[Json] = [{}, {}]
    for point in sorted({r["point"] for r in found}):
        chosen = bench.pick(*pairs)
        for index in (0, 1):
            maps[index][str(point)] = chosen[index]
    return list(maps)


def references(bench: Bench, pool: list[str], found: list[Json], week: int) -> list[Json]:
    """One or two references out of a pool, with their weights."""
    count = bench.pick(1, 1, 2) if len(pool) > 1 else 1
    chosen = bench.draw(
        st.lists(st.sampled_from(pool), min_size=count, max_size=count, unique=True)
    )
    weights = shares(bench, count, found)
    return [
        use(bench, item, "force_reference", found, week, weight)
        for item, weight in zip(chosen, weights, strict=True)
    ]


def readout_uses(bench: Bench, found: list[Json], week: int) -> list[Json]:
    """The readout on the reference's side, on the instrument's side, or on both."""
    made = []
    for role in bench.pick(
        ("readout_reference",),
        ("readout_dut",),
        ("readout_reference", "readout_dut"),
        ("display",),
    ):
        entry = use(bench, "RO-1", role, found, week, None)
        if role == "display" or not bench.chance(8):
            entry["channel"] = bench.pick("A", "A", "B")
        made.append(entry)
    return made
