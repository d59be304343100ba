"""Which class does an instrument meet at each force? The limits are data, not code.

Choice: a class table is a record with its edition and source. It may hold limits by criterion (the
class of a point is the worst of its criteria) and lower limits (a class holds from a multiple of
the scatter about the fitted curve upwards). A limit itself is inside; limits are compared with the
exact figures. A class is given only where every criterion that it asks for could be judged; what
could not be is named. The tables shipped are from memory: whoever has the standard must verify.

Not checked: conditions that a table does not hold, such as preloading, intervals and adapters.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any

from api.rules.exact import FieldError, ratio
from api.rules.uncertainty.runs import Figure

# What a class table may limit.
CRITERIA = (
    "repeatability",
    "reproducibility",
    "reversibility",
    "interpolation",
    "zero",
    "creep",
    "reference_uncertainty",
    "resolution_ratio",
    "accuracy",
    "largest_error",
    "resolution",
)
SIDES = ("at_most", "at_least")


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits of one criterion, in the order of the classes."""

    criterion: str
    side: str
    values: tuple[Decimal, ...]
    minimum_rotations: int = 1  # with fewer the figure is not what is limited

    def best(self, value: Fraction) -> int | None:
        """Return the place of the best class whose limit is kept; None if none is."""
        size = abs(value)
        for place, limit in enumerate(map(Fraction, self.values)):
            if size <= limit if self.side == "at_most" else size >= limit:
                return place
        return None


@dataclass(frozen=True, slots=True)
class LowerLimits:
    """Classes by the scatter s about the curve: each holds from a multiple of its limit upwards.

    The limit is `factor` x s.

    Parameters
    ----------
    factor : Decimal
        What s is multiplied by to give the lower limit factor.
    classes : tuple of (str, Decimal)
        Name and `multiple` of each class.
    minimum_series, minimum_readings : int
        With fewer there are no lower limits.
    not_below_resolution : bool
        Whether a limit below the resolution is set equal to it.
    """

    factor: Decimal
    classes: tuple[tuple[str, Decimal], ...]
    minimum_series: int = 1
    minimum_readings: int = 1
    not_below_resolution: bool = False


@dataclass(frozen=True, slots=True)
class ClassTable:
    """One version of a class table; `table_from_mapping` makes it.

    Attributes
    ----------
    id : str
        Its name.
    version : int
        From 1.
    content : mapping
        The JSON form that it was made of.
    classes : tuple of str
        Names, best first.
    limits : tuple of Limits
        One for each criterion, its values in the order of the classes.
    cases : mapping of str to tuple of str
        The criteria that each use asks for.
    lowest_share_pct : Decimal or None
        Points below this percentage of the largest force do not count.
    must_reach_pct : Decimal or None
        A class holds nowhere unless it holds down to this percentage of the largest force.
    lower_limits : LowerLimits or None
        Limits by the scatter about the curve.
    """

    id: str
    version: int
    content: Mapping[str, Any]
    classes: tuple[str, ...]
    limits: tuple[Limits, ...]
    cases: Mapping[str, tuple[str, ...]]
    lowest_share_pct: Decimal | None
    must_reach_pct: Decimal | None
    lower_limits: LowerLimits | None


@dataclass(frozen=True, slots=True)
class Judged:
    """How one criterion came out.

    Attributes
    ----------
    criterion : str
        Its name, one of CRITERIA.
    outcome : str
        `met`, `outside` (of every class), `not_judged` or `not_applicable`.
    meets : str or None
        The class that it meets.
    reason : str or None
        Why it meets none.
    """

    criterion: str
    outcome: str
    meets: str | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class PointClass:
    """The class of one point.

    Attributes
    ----------
    criteria : tuple of Judged
        In the order of the table.
    meets : str or None
        The class; None for the `reason`.
    reason : str or None
        Why there is none.
    worst_judged : str or None
        The worst class of the criteria that could be judged; None if one is outside every class.
    """

    criteria: tuple[Judged, ...]
    meets: str | None
    reason: str | None
    worst_judged: str | None


@dataclass(frozen=True, slots=True)
class LowerLimit:
    """From which force upwards one class holds.

    Attributes
    ----------
    name : str
        The class.
    begins : Decimal or None
        The force, in the unit of the forces; None where nowhere.
    reason : str or None
        Why nowhere.
    """

    name: str
    begins: Decimal | None
    reason: str | None


def table_from_mapping(content: Mapping[str, Any], version: int = 1) -> ClassTable:
    """Make a class table of its JSON form, numbers as text or Decimal.

    Parameters
    ----------
    content : mapping
        `id`; `classes`, named best first; `criteria`, each with `criterion` and `at_most` or
        `at_least` with one limit a class, and `minimum_rotations`; `cases`, which name the criteria
        of a use; `lowest_share_pct`; `must_reach_pct`; `lower_limits`, which stand by themselves.
    version : int
        From 1.

    Returns
    -------
    ClassTable

    Raises
    ------
    FieldError
        With a pointer, for a table that judges nothing or contradicts itself.
    KeyError
        If `id`, or what a part of the table is made of, is missing.
    """
    classes = tuple(content.get("classes", ()))
    limits = tuple(
        _limits(f"/criteria/{index}", one, len(classes))
        for index, one in enumerate(content.get("criteria", ()))
    )
    lower = content.get("lower_limits")
    if not limits and lower is None:
        raise FieldError("", "a class table needs criteria with classes, or lower_limits")
    if len(set(classes)) != len(classes):
        raise FieldError("/classes", "a class stands twice")
    names = [one.criterion for one in limits]
    if len(set(names)) != len(names):
        raise FieldError("/criteria", "a criterion stands twice")
    cases = {case: tuple(wanted) for case, wanted in content.get("cases", {}).items()}
    for case, wanted in cases.items():
        if strange := [name for name in wanted if name not in names]:
            raise FieldError(f"/cases/{case}", f"{strange[0]} is no criterion of this table")
    shares = (content.get(name) for name in ("lowest_share_pct", "must_reach_pct"))
    lowest, reach = (None if share is None else Decimal(share) for share in shares)
    return ClassTable(
        content["id"],
        version,
        content,
        classes,
        limits,
        cases,
        lowest,
        reach,
        None if lower is None else _lower_limits(lower),
    )


@cache
def shipped_tables() -> Mapping[str, ClassTable]:
    """Return the class tables that come with the package, by id.

    Their limits are from memory: whoever has the standard must verify.

    Returns
    -------
    mapping of str to ClassTable
    """
    folder = files("api.rules.uncertainty") / "class_tables"
    found = [json.loads(file.read_text("utf-8")) for file in folder.iterdir()]
    tables = [table_from_mapping(content, content["version"]) for content in found]
    return {table.id: table for table in sorted(tables, key=lambda table: table.id)}


def classify(
    table: ClassTable,
    figures: Mapping[str, Figure],
    case: str | None = None,
    rotations: int | None = None,
    counted: str = "rotations",
) -> PointClass:
    """Judge the figures of one point by the limits of a table, all of them or those of a case.

    Parameters
    ----------
    table : ClassTable
        The limits.
    figures : mapping of str to Figure
        By criterion, as in `PointFigures.figures`; what is missing was not measured.
    case : str, optional
        A key of `table.cases`; all criteria unless given.
    rotations : int, optional
        How many rotations, or series of a testing machine, the figures rest on; enough for every
        limit unless given.
    counted : str
        What these are called in a reason.

    Returns
    -------
    PointClass

    Raises
    ------
    FieldError
        With `/case`, for a case that the table does not have.
    """
    if case is not None and case not in table.cases:
        known = ", ".join(table.cases) or "none"
        raise FieldError("/case", f"{table.id} has no case {case}; it has {known}")
    wanted = table.cases[case] if case is not None else [one.criterion for one in table.limits]
    places: list[int] = []
    judged = []
    for limits in table.limits:
        if limits.criterion in wanted:
            figure = figures.get(limits.criterion, Figure(None, "not measured"))
            if rotations is not None and rotations < limits.minimum_rotations:
                needed = f"{limits.minimum_rotations} {counted} are needed, there are {rotations}"
                figure = Figure(None, needed)
            judged.append(_judged(table, limits, figure, places))
    worst = table.classes[max(places)] if places else None
    reason = None
    if outside := [one.criterion for one in judged if one.outcome == "outside"]:
        worst, reason = None, f"outside every class: {', '.join(outside)}"
    elif lacking := [one.criterion for one in judged if one.outcome == "not_judged"]:
        reason = f"not judged: {', '.join(lacking)}"
    elif worst is None:
        reason = "no criterion applies"
    return PointClass(tuple(judged), None if reason else worst, reason, worst)


def class_begins(
    table: ClassTable, points: Sequence[tuple[Decimal, PointClass]]
) -> list[LowerLimit]:
    """Return for each class the force from which up to the largest every point meets it.

    Points below `lowest_share_pct` of the largest force do not count, and a class that does not
    hold down to `must_reach_pct` of it holds nowhere.

    Parameters
    ----------
    table : ClassTable
        The table that judged the points.
    points : sequence of (Decimal, PointClass)
        Applied force and class of at least one point, in any order.

    Returns
    -------
    list of LowerLimit
        In the order of the classes and the unit of the forces.
    """
    ordered = sorted(points, reverse=True, key=lambda point: point[0])
    largest = ordered[0][0]
    lowest, reach = table.lowest_share_pct, table.must_reach_pct
    found = []
    for place, name in enumerate(table.classes):
        begins = None
        for force, point in ordered:
            too_small = lowest is not None and Fraction(force) * 100 < Fraction(largest) * Fraction(
                lowest
            )
            if too_small or point.meets is None or table.classes.index(point.meets) > place:
                break
            begins = force
        reason = None
        if begins is None:
            reason = f"the point at {largest:f} does not meet it"
        elif reach is not None and Fraction(begins) * 100 > Fraction(largest) * Fraction(reach):
            reason = f"it would begin at {begins:f}, above {reach:f} % of {largest:f}"
        found.append(LowerLimit(name, None if reason else begins, reason))
    return found


def lower_limits(
    limits: LowerLimits,
    scatter: Decimal | None,
    forces: tuple[Decimal, Decimal],
    series: int,
    readings: int,
    factor: Decimal | None = None,
    resolution: Decimal | None = None,
) -> tuple[Decimal | None, list[LowerLimit]]:
    """Return the lower limit factor (factor x scatter) and where each class begins.

    Where the table says so it is not below the resolution, and without a resolution no class
    begins.

    Parameters
    ----------
    limits : LowerLimits
        Those of a table.
    scatter : Decimal or None
        Residual standard deviation in the unit of force, None without a fit.
    forces : tuple of Decimal
        The smallest and the largest applied.
    series, readings : int
        How many there were.
    factor : Decimal, optional
        Takes the place of the table's.
    resolution : Decimal, optional
        Smallest step of the indication, in the unit of force.

    Returns
    -------
    tuple of (Decimal or None, list of LowerLimit)
        In the unit of force; None without a fit.
    """
    why = None
    if scatter is None:
        why = "there is no fitted curve"
    elif series < limits.minimum_series:
        why = f"{limits.minimum_series} series are needed, there are {series}"
    elif readings < limits.minimum_readings:
        why = f"{limits.minimum_readings} readings are needed, there are {readings}"
    elif limits.not_below_resolution and resolution is None:
        why = "no resolution was given, below which the limit may not be"
    if scatter is None:
        return None, [LowerLimit(name, None, why) for name, _ in limits.classes]
    used = limits.factor if factor is None else factor
    limit = ratio(Fraction(used) * Fraction(scatter), Decimal(1))
    if limits.not_below_resolution and resolution is not None:
        limit = max(limit, resolution)
    if why is not None:
        return limit, [LowerLimit(name, None, why) for name, _ in limits.classes]
    smallest, largest = forces
    found = []
    for name, multiple in limits.classes:
        begins = max(ratio(Fraction(multiple) * Fraction(limit), Decimal(1)), smallest)
        reason = None if begins <= largest else f"it would begin above {largest:f}"
        found.append(LowerLimit(name, None if reason else begins, reason))
    return limit, found


def _judged(table: ClassTable, limits: Limits, figure: Figure, places: list[int]) -> Judged:
    if figure.value is None:
        outcome = "not_judged" if figure.applicable else "not_applicable"
        return Judged(limits.criterion, outcome, None, figure.reason)
    place = limits.best(figure.value)
    if place is None:
        return Judged(limits.criterion, "outside", None, "beyond the limit of the widest class")
    places.append(place)
    return Judged(limits.criterion, "met", table.classes[place], None)


def _limits(place: str, one: Mapping[str, Any], classes: int) -> Limits:
    sides = [side for side in SIDES if side in one]
    if len(sides) != 1:
        raise FieldError(place, "needs either at_most or at_least")
    (side,) = sides
    values = tuple(Decimal(limit) for limit in one[side])
    if len(values) != classes:
        raise FieldError(f"{place}/{side}", f"needs one limit a class, {classes} in number")
    if list(values) != sorted(values, reverse=side == "at_least"):
        raise FieldError(f"{place}/{side}", "limits must widen from the best class on")
    return Limits(one["criterion"], side, values, one.get("minimum_rotations", 1))


def _lower_limits(content: Mapping[str, Any]) -> LowerLimits:
    return LowerLimits(
        Decimal(content["factor"]),
        tuple((one["name"], Decimal(one["multiple"])) for one in content["classes"]),
        content.get("minimum_series", 1),
        content.get("minimum_readings", 1),
        content.get("not_below_resolution", False),
    )
