"""Builders for the graph's tests: short names for its records, instants counted in days."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

from graph.model import Calibration, Point, Use
from graph.moments import Moment

DAY = 86_400_000_000


def at(day: int) -> Moment:
    """The instant at which a day begins."""
    return Moment(day * DAY, day * DAY)


def whole(day: int) -> Moment:
    """A bare date."""
    return Moment(day * DAY, (day + 1) * DAY - 1)


def number(value: Any) -> Decimal | None:
    return None if value is None else Decimal(value)


def point(name: Any = 1, kn: Any = "10", error: Any = "0", U: Any = "0.002", **more: Any) -> Point:
    """An absolute result in kN; `kn` is the recorded applied force."""
    made: dict[str, Any] = {
        "name": name,
        "stage": "single",
        "unit": "kN",
        "relative": False,
        "recorded": number(kn),
        "newton": Fraction(1000),
        "error": number(error),
        "U": number(U),
        "k": Decimal(2),
    }
    return Point(**made | more)


def percent(name: Any = 1, error: Any = "0", U: Any = "0.02", kn: Any = "10") -> Point:
    """A result in percent; `kn` is the recorded applied force, if any."""
    return point(name, kn, error, U, unit="%", relative=True)


def use(item: str = "REF", day: int = 10, **more: Any) -> Use:
    if not isinstance(more.get("weight", {}), dict):
        more["weight"] = Fraction(more["weight"])
    return Use(item, more.pop("role", "force_reference"), more.pop("when", at(day)), **more)


def cal(
    key: int, *uses: Use, item: str | None = None, points: Any = None, **more: Any
) -> Calibration:
    """Calibration `C-key` of item `I-key`."""
    return Calibration(
        key,
        more.pop("number", f"C-{key}"),
        more.pop("revision", 0),
        more.pop("status", "issued"),
        item or f"I-{key}",
        more.pop("item_type", None),
        more.pop("performed", at(10)),
        uses=uses,
        points=(point(),) if points is None else tuple(points),
        **more,
    )
