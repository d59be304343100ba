"""A result row as the point that the graph moves, and as what it was judged by.

Forces, limits, uncertainties and rules repeat from certificate to certificate: a number is parsed
once for each text, and a statement is made once for each combination. That lasts for one portion of
rows, so that a recall of any size needs no more memory for it: results are read for some hundred
certificates at a time, in the order of dependence, and only where a fault reaches.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from operator import attrgetter
from typing import Any, NamedTuple

from api.rules.judge import Judge, Ruling
from api.rules.rule import rule_from_mapping
from api.rules.units import factor, is_force
from api.services.recalls.reading import AT_ONCE, Traced, grouped
from api.store.chunks import chunks
from api.store.records import ResultRow
from api.store.sources import Source
from graph.exact import EXACT, Exact, ended
from graph.model import Calibration, Point

DEFAULT_K = "2"
HALF = Decimal("0.5")
_RULE = attrgetter("rule_id")


class Statement(NamedTuple):
    """What a result was judged by, its half tolerance, and the verdict that was reported.

    `ruling` is None where no rule was agreed or the rule says nothing. `half_width` is half of a
    two-sided tolerance or the size of the one limit.
    """

    ruling: Ruling | None
    half_width: Decimal | None
    reported: str | None

    def decided(self, point: Point) -> str | None:
        """Return the verdict that rule, limits and U give the recorded error, None if none."""
        if self.ruling is None or point.error is None:
            return None
        return self.ruling.verdict(point.error)

    def contradicted(self, point: Point) -> str | None:
        """Return the verdict of the rule where another one was reported, else None."""
        decided = None if self.reported is None else self.decided(point)
        return None if decided == self.reported else decided


def branches(before: Ruling, after: Ruling | None) -> dict[str, dict[str, Any]]:
    """Say which branch of a rule decides before and after, where it is known, and why."""
    return {
        name: {"number": ruling.branch.number, "reason": ruling.branch.reason}
        for name, ruling in (("branch_before", before), ("branch_after", after))
        if ruling is not None and ruling.branch is not None
    }


Judged = tuple[Point, Statement]


@dataclass(slots=True)
class Measured:
    """Certificates that were traced, with their results and the rules that these are judged by."""

    traced: Traced
    judges: dict[int, Judge] = field(default_factory=dict)

    def in_order(
        self, order: Sequence[int], reached: Collection[int]
    ) -> Iterator[tuple[Calibration, Sequence[Statement]]]:
        """Calibrations in this order, with points and statements where they are reached."""
        for some in chunks(order, AT_ONCE):
            wanted = [key for key in some if key in reached]
            rows = grouped(self.traced.source.results(wanted))
            learn(self.traced.source, rows, self.judges)
            results = Results(self.judges)
            for key in some:
                read = [results.read(row) for row in rows.get(key, ())]
                points, statements = zip(*read, strict=True) if read else ((), ())
                yield self.traced.calibrations[key].measured(points), statements


def learn(
    source: Source, results: Mapping[int, Sequence[ResultRow]], judges: dict[int, Judge]
) -> None:
    """Add the judges of the rules that results name to those known, by the key of the rule."""
    used = {key for rows in results.values() for key in set(map(_RULE, rows))}
    unknown = [key for key in used if key is not None and key not in judges]
    for key, code, version, definition in source.rules(unknown):
        mapping = {**json.loads(definition), "id": code, "version": version}
        judges[key] = Judge(rule_from_mapping(mapping))


def judged(source: Source, certificates: Collection[int]) -> dict[int, list[Judged]]:
    """Return the results of certificates, by key, each with what it is judged by, in order."""
    rows = grouped(source.results(certificates))
    judges: dict[int, Judge] = {}
    learn(source, rows, judges)
    read = Results(judges).read
    return {key: [read(row) for row in some] for key, some in rows.items()}


class Numbers(dict[str, Decimal]):
    """Decimals by their text, each parsed at the first asking."""

    def __missing__(self, text: str) -> Decimal:
        number = self[text] = Decimal(text)
        return number


class Results:
    """Reads the result rows of one portion."""

    def __init__(self, judges: Mapping[int, Judge]) -> None:
        self._judges = judges
        self._numbers = Numbers()
        self._statements: dict[tuple[Any, ...], Statement] = {}

    def read(self, row: ResultRow) -> Judged:
        """Return a row as point and statement."""
        numbers, unit, applied, error, U = self._numbers, row.unit, row.applied, row.error, row.U
        relative = error is None and row.error_rel_pct is not None
        if relative:
            error, U = row.error_rel_pct, row.U_rel_pct
        point = Point._make(  # in half the time of a call with so many fields
            (
                _name(row.point),
                row.stage,
                "%" if relative else unit,
                relative,
                None if applied is None else numbers[applied],
                _newton(unit),
                _indicated_less_applied(row) if error is None else numbers[error],
                _converted(row, relative) if U is None else numbers[U],
                numbers[row.k or DEFAULT_K],
                row.direction,
            )
        )
        judged_by = (
            point.U,
            row.k,
            row.dof,
            row.limit_lower,
            row.limit_upper,
            row.rule_id,
            row.verdict_reported,
        )
        statement = self._statements.get(judged_by)
        if statement is None:
            statement = self._statements[judged_by] = self._statement(row, point)
        return point, statement

    def _statement(self, row: ResultRow, point: Point) -> Statement:
        numbers = self._numbers
        lower = None if row.limit_lower is None else numbers[row.limit_lower]
        upper = None if row.limit_upper is None else numbers[row.limit_upper]
        ruling = None
        if row.rule_id is not None:
            dof = None if row.dof is None else numbers[row.dof]
            ruling = self._judges[row.rule_id].ruling(point.U, lower, upper, point.k, dof)
        return Statement(ruling, _half_width(lower, upper), row.verdict_reported)


def _half_width(lower: Decimal | None, upper: Decimal | None) -> Decimal | None:
    if lower is None or upper is None:
        limit = upper if lower is None else lower
        return None if limit is None else limit.copy_abs()
    return EXACT.multiply(EXACT.subtract(upper, lower), HALF)


@lru_cache(maxsize=4096)
def _name(text: str) -> str | int:
    name: str | int = json.loads(text)
    return name


@lru_cache(maxsize=256)
def _newton(unit: str | None) -> Fraction | None:
    return factor(unit) if unit is not None and is_force(unit) else None


def _converted(row: ResultRow, relative: bool) -> Exact | None:
    """U where it is given only in the other terms, percent or unit, than the error."""
    other = row.U if relative else row.U_rel_pct
    if other is None or row.applied is None or not Decimal(row.applied):
        return None
    percent_of = abs(Fraction(row.applied)) / 100
    return ended(Fraction(other) / percent_of if relative else Fraction(other) * percent_of)


def _indicated_less_applied(row: ResultRow) -> Decimal | None:
    if row.indicated is None or row.applied is None:
        return None
    return EXACT.subtract(Decimal(row.indicated), Decimal(row.applied))
