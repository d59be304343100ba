"""Rows of the store as records of the graph."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from sqlalchemy import Row
from sqlalchemy.orm import Session

from api.rules.limits import Limits
from api.rules.rule import Rule, rule_from_mapping
from api.rules.units import is_force, to_newton
from api.services.results import stored_limits
from api.store import records
from graph.model import Calibration, Point, Use
from graph.moments import Moment

HUNDRED = Fraction(100)
ONE = Fraction(1)
DEFAULT_K = Fraction(2)


@dataclass(frozen=True, slots=True)
class Statement:
    """What a result was judged by: its limits, rule, degrees of freedom and reported verdict."""

    limits: Limits | None
    rule: Rule | None
    dof: Decimal | None
    reported: str | None


@dataclass(frozen=True, slots=True)
class Traced:
    """Calibrations by key, the statement at each of their points, and their certificate rows."""

    calibrations: dict[int, Calibration]
    statements: dict[int, tuple[Statement, ...]]
    rows: dict[int, Row[Any]]


def load(session: Session, keys: Iterable[int]) -> Traced:
    """Read calibrations with everything that a recall asks of them."""
    wanted = set(keys)
    uses: dict[int, list[Use]] = defaultdict(list)
    for row in records.uses(session, wanted):
        uses[row.certificate_id].append(_use(row))
    points: dict[int, list[Point]] = defaultdict(list)
    kept: dict[int, list[Row[Any]]] = defaultdict(list)
    for row in records.results(session, wanted):
        points[row.certificate_id].append(_point(row))
        kept[row.certificate_id].append(row)
    rules = _rules(session, {row.rule_id for rows in kept.values() for row in rows})
    certificates = {row.id: row for row in records.certificates(session, wanted)}
    return Traced(
        {key: _calibration(row, uses[key], points[key]) for key, row in certificates.items()},
        {key: tuple(_statement(row, rules) for row in rows) for key, rows in kept.items()},
        certificates,
    )


def _calibration(row: Row[Any], uses: list[Use], points: list[Point]) -> Calibration:
    return Calibration(
        key=row.id,
        number=row.number,
        revision=row.revision,
        status=row.status,
        item=row.item,
        item_type=row.item_type,
        performed=Moment(row.performed_us, row.performed_end_us),
        assigns_value=row.assigns_value,
        external=row.external,
        uses=tuple(uses),
        points=tuple(points),
    )


def _use(row: Row[Any]) -> Use:
    return Use(
        item=row.item,
        role=row.role,
        at=Moment(row.used_us, row.used_end_us),
        weight=_weight(row.weight),
        channel=row.channel,
        points=None if row.points is None else frozenset(str(point) for point in row.points),
        factor_applied=None if row.factor_applied is None else Fraction(row.factor_applied),
        source=row.source_id,
        evidence=row.evidence_id,
    )


def _weight(weight: Any) -> Fraction | Mapping[str, Fraction]:
    if weight is None:
        return ONE
    if isinstance(weight, dict):
        return {point: Fraction(share) for point, share in weight.items()}
    return Fraction(weight)


def _point(row: Row[Any]) -> Point:
    relative = row.error_rel_pct is not None and row.error is None
    force = None
    if row.applied is not None and is_force(row.unit):
        force = to_newton(row.applied, row.unit)
    return Point(
        name=row.point,
        stage=row.stage,
        unit="%" if relative else row.unit,
        relative=relative,
        force_n=force,
        applied=HUNDRED if relative else _fraction(row.applied),
        error=_fraction(row.error_rel_pct) if relative else _error(row),
        U=_fraction(row.U_rel_pct if relative else row.U),
        k=DEFAULT_K if row.k is None else Fraction(row.k),
    )


def _error(row: Row[Any]) -> Fraction | None:
    if row.error is not None:
        return Fraction(row.error)
    if row.indicated is None or row.applied is None:
        return None
    return Fraction(row.indicated) - Fraction(row.applied)


def _fraction(value: Decimal | None) -> Fraction | None:
    return None if value is None else Fraction(value)


def _rules(session: Session, keys: set[int | None]) -> dict[int, Rule]:
    return {
        row.id: rule_from_mapping({**row.definition, "id": row.code, "version": row.rule_version})
        for row in records.rules(session, {key for key in keys if key is not None})
    }


def _statement(row: Row[Any], rules: Mapping[int, Rule]) -> Statement:
    limits = stored_limits(row.limit_lower, row.limit_upper)
    exact = None
    if limits is not None:
        exact = Limits(_fraction(row.limit_lower), _fraction(row.limit_upper))
    return Statement(
        exact, None if row.rule_id is None else rules[row.rule_id], row.dof, row.verdict_reported
    )
