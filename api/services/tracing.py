"""Rows of the store as records of the graph, read piece by piece.

Uses are read first and for all certificates at once: who rests on whom decides the order. Results,
which are most of the data, are read for a few thousand certificates at a time, in that order, and
only where a fault reaches.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, NamedTuple

from api.rules.judge import Judge
from api.rules.rule import rule_from_mapping
from api.rules.units import factor, is_force
from api.services.faults import METHOD_PREFIX
from api.store.chunks import chunks
from api.store.records import CertificateRow, ResultRow, UseRow
from api.store.sources import Source
from graph.exact import EXACT, Exact, ended
from graph.model import ONE, Calibration, Point, Use
from graph.moments import Moment

DEFAULT_K = Decimal(2)
AT_ONCE = 2_000


class Statement(NamedTuple):
    """What a result was judged by: its limits, rule, degrees of freedom and reported verdict."""

    lower: Decimal | None
    upper: Decimal | None
    judge: Judge | None
    dof: Decimal | None
    reported: str | None


@dataclass(slots=True)
class Traced:
    """Certificates read so far: their rows, their calibrations without points, and lookups."""

    source: Source
    methods: frozenset[str] = frozenset()  # recorded methods that count as something used
    rows: dict[int, CertificateRow] = field(default_factory=dict)
    calibrations: dict[int, Calibration] = field(default_factory=dict)
    items: dict[int, tuple[str, str | None]] = field(default_factory=dict)
    customers: dict[int, str] = field(default_factory=dict)
    judges: dict[int, Judge] = field(default_factory=dict)

    def read(self, keys: Collection[int]) -> None:
        """Read certificates and their uses; those read before stay as they are."""
        for some in chunks(sorted(set(keys) - self.rows.keys()), AT_ONCE):
            rows = list(self.source.certificates(some))
            uses = _grouped(self.source.uses(some))
            self._learn(rows, uses)
            for row in rows:
                self.rows[row.id] = row
                self.calibrations[row.id] = self._calibration(row, uses.get(row.id, ()))

    def customer(self, key: int) -> str | None:
        """Name of the customer of a certificate."""
        customer_id = self.rows[key].customer_id
        return None if customer_id is None else self.customers[customer_id]

    def with_points(
        self, order: Sequence[int], reached: Collection[int]
    ) -> Iterator[tuple[Calibration, Sequence[Statement]]]:
        """Calibrations in this order, with points and statements where they are reached."""
        for some in chunks(order, AT_ONCE):
            wanted = [key for key in some if key in reached]
            results = _grouped(self.source.results(wanted))
            self._learn_rules(results)
            for key in some:
                rows = results.get(key, ())
                calibration = self.calibrations[key]._replace(points=tuple(map(_point, rows)))
                yield calibration, [self._statement(row) for row in rows]

    def _learn(self, rows: Sequence[CertificateRow], uses: Mapping[int, list[UseRow]]) -> None:
        items = {row.item_id for row in rows}
        items.update(use.item_id for some in uses.values() for use in some)
        self.items |= self.source.item_words(items - self.items.keys())
        customers = {row.customer_id for row in rows if row.customer_id is not None}
        self.customers |= self.source.customer_names(customers - self.customers.keys())

    def _learn_rules(self, results: Mapping[int, list[ResultRow]]) -> None:
        used = {row.rule_id for rows in results.values() for row in rows}
        for key, code, version, definition in self.source.rules(
            [key for key in used if key is not None and key not in self.judges]
        ):
            mapping = {**json.loads(definition), "id": code, "version": version}
            self.judges[key] = Judge(rule_from_mapping(mapping))

    def _calibration(self, row: CertificateRow, uses: Sequence[UseRow]) -> Calibration:
        code, kind = self.items[row.item_id]
        return Calibration(
            row.id,
            row.number,
            row.revision,
            row.status,
            code,
            kind,
            Moment(row.performed_us, row.performed_end_us),
            bool(row.assigns_value),
            bool(row.external),
            self._uses(row, uses),
        )

    def _uses(self, row: CertificateRow, uses: Sequence[UseRow]) -> tuple[Use, ...]:
        found = tuple([self._use(use) for use in uses])
        if row.method is None or row.method not in self.methods:
            return found
        performed = Moment(row.performed_us, row.performed_end_us)
        return (*found, Use(METHOD_PREFIX + row.method, "method", performed))

    def _use(self, row: UseRow) -> Use:
        points = None if row.points is None else frozenset(map(str, json.loads(row.points)))
        return Use(
            self.items[row.item_id][0],
            row.role,
            Moment(row.used_us, row.used_end_us),
            ONE if row.weight is None else _weight(row.weight),
            row.channel,
            points,
            None if row.factor_applied is None else Fraction(row.factor_applied),
            row.source_id,
            row.evidence_id,
        )

    def _statement(self, row: ResultRow) -> Statement:
        return Statement(
            None if row.limit_lower is None else Decimal(row.limit_lower),
            None if row.limit_upper is None else Decimal(row.limit_upper),
            None if row.rule_id is None else self.judges[row.rule_id],
            None if row.dof is None else Decimal(row.dof),
            row.verdict_reported,
        )


def _grouped(rows: Iterator[Any]) -> dict[int, list[Any]]:
    """Rows by certificate, in the order of their record."""
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[row.certificate_id].append(row)
    for some in found.values():
        some.sort(key=_position)
    return found


def _position(row: UseRow | ResultRow) -> int:
    return row.position


@lru_cache(maxsize=4096)
def _weight(text: str) -> Fraction | Mapping[str, Fraction]:
    weight = json.loads(text)
    if isinstance(weight, dict):
        return {point: Fraction(share) for point, share in weight.items()}
    return Fraction(weight)


@lru_cache(maxsize=256)
def _newton(unit: str | None) -> Fraction | None:
    return factor(unit) if unit is not None and is_force(unit) else None


def _point(row: ResultRow) -> Point:
    relative = row.error_rel_pct is not None and row.error is None
    error, U = (row.error_rel_pct, row.U_rel_pct) if relative else (row.error, row.U)
    return Point(
        json.loads(row.point) if row.point.startswith('"') else int(row.point),
        row.stage,
        "%" if relative else row.unit,
        relative,
        None if row.applied is None else Decimal(row.applied),
        _newton(row.unit),
        _indicated_less_applied(row) if error is None else Decimal(error),
        _converted(row, relative) if U is None else Decimal(U),
        DEFAULT_K if row.k is None else Decimal(row.k),
    )


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
