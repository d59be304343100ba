"""The figures of evaluated runs as the API shows them: text, with a reason for every null."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from api.rules.exact import plain, ratio
from api.rules.uncertainty.classes import (
    ClassTable,
    LowerLimit,
    PointClass,
    class_begins,
    classify,
    lower_limits,
)
from api.rules.uncertainty.run_components import (
    COVERAGE,
    Combined,
    Reference,
    Temperature,
    combine,
    reported,
)
from api.rules.uncertainty.runs import Deflection, Figure, PointFigures, RunFigures
from api.services.base.record import Record
from api.services.uncertainty.class_tables import reference as named_table

NOTES = (
    "U is 2 w, w the plain root of the sum of squares; send the components to an uncertainty "
    "budget for effective degrees of freedom, correlation and what comes at the place of use.",
    "Reversibility is no part of U; where decreasing forces are measured it must be added.",
)
NOTICE = (
    "The limits of this table are from memory: verify them against the document before any class "
    "is stated."
)

# Class tables, each with what a request says of it.
Tables = Sequence[tuple[ClassTable, Mapping[str, Any]]]


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked beside the runs; each table with its `case` and `factor`, if any.

    `resolution` is in the unit of indication, `rotations` counts those of the series.
    """

    force_unit: str
    indication_unit: str
    degree: int
    series: int
    rotations: int
    resolution: Decimal | None
    reference: Reference | None
    temperature: Temperature | None
    tables: Tables


def report(found: RunFigures, asked: Asked) -> Record:
    """Return the answer to evaluated runs."""
    judged = [
        [
            classify(table, _judgeable(point, asked), named.get("case"), asked.rotations)
            for table, named in asked.tables
        ]
        for point in found.points
    ]
    return {
        "force_unit": asked.force_unit,
        "indication_unit": asked.indication_unit,
        "fit": _fit(found, asked),
        "fit_reason": found.fit_reason,
        "points": [
            _point(point, asked, classes)
            for point, classes in zip(found.points, judged, strict=True)
        ],
        "class_reports": [
            _table(found, asked, place, [classes[place] for classes in judged])
            for place in range(len(asked.tables))
        ],
        "notes": list(NOTES),
    }


def _judgeable(point: PointFigures, asked: Asked) -> dict[str, Figure]:
    if asked.reference is None:
        uncertainty = Figure(None, "no uncertainty of the reference was given")
    else:
        standard = Fraction(asked.reference.U_rel_pct) / Fraction(asked.reference.k)
        uncertainty = Figure(2 * standard)
    return {**point.figures, "reference_uncertainty": uncertainty}


def _fit(found: RunFigures, asked: Asked) -> Record | None:
    if found.fit is None:
        return None
    scatter = _scatter(found)
    return {
        "degree": asked.degree,
        "constant_term": found.fit.constant,
        "coefficients": [plain(one) for one in found.fit.coefficients],
        "residual_sd": plain(found.fit.residual_sd),
        "residual_sd_force": None if scatter is None else plain(scatter),
        "dof": found.fit.dof,
        "readings": found.readings,
    }


def _scatter(found: RunFigures) -> Decimal | None:
    """Return the residual standard deviation as a force."""
    return None if found.fit is None else _as_force(found, found.fit.residual_sd)


def _as_force(found: RunFigures, indicated: Decimal | None) -> Decimal | None:
    """Return a difference of indications as a force, by the mean ratio of the readings."""
    if indicated is None or found.ratio is None:
        return None
    return ratio(Fraction(indicated) * Fraction(found.ratio), Decimal(1))


def _point(point: PointFigures, asked: Asked, classes: Sequence[PointClass]) -> Record:
    figures = point.figures
    return {
        "applied": plain(point.applied),
        "deflections": [_deflection(one) for one in point.deflections],
        "mean_deflection": plain(point.mean),
        "fitted_deflection": None if point.fitted is None else plain(point.fitted),
        "figures": {
            name: None if one.value is None else plain(one.value) for name, one in figures.items()
        },
        "reasons": {name: one.reason for name, one in figures.items() if one.reason is not None},
        "uncertainty": _uncertainty(point, asked),
        "classes": [
            point_class(table, judged)
            for (table, _), judged in zip(asked.tables, classes, strict=True)
            if table.limits
        ],
    }


def point_class(table: ClassTable, judged: PointClass) -> Record:
    """Return the class of one point by one table, with every criterion."""
    return {
        "table": table.id,
        "criteria": [
            {
                "criterion": one.criterion,
                "outcome": one.outcome,
                "meets": one.meets,
                "reason": one.reason,
            }
            for one in judged.criteria
        ],
        "meets": judged.meets,
        "worst_judged": judged.worst_judged,
        "reason": judged.reason,
    }


def _deflection(one: Deflection) -> Record:
    shown = {
        "rotation_deg": plain(one.rotation_deg),
        "repeated": one.repeated,
        "deflection": plain(one.value),
    }
    return shown if one.descending is None else {**shown, "descending": plain(one.descending)}


def _uncertainty(point: PointFigures, asked: Asked) -> Record:
    combined: Combined = combine(point, asked.reference, asked.temperature)
    U = combined.U_at(point.applied)
    return {
        "components": [dict(one.component) for one in combined.contributions],
        "contributions": [
            {"label": one.label, "name": one.name, "u_rel_pct": plain(one.u_rel_pct)}
            for one in combined.contributions
        ],
        "left_out": [
            {"label": one.label, "name": one.name, "reason": one.reason}
            for one in combined.left_out
        ],
        "u_rel_pct": None if combined.u_rel_pct is None else plain(combined.u_rel_pct),
        "k": plain(COVERAGE),
        "U_rel_pct": None if combined.U_rel_pct is None else plain(combined.U_rel_pct),
        "U": None if U is None else plain(U),
        "U_reported": None if U is None else reported(U),
        "reason": combined.reason,
    }


def _table(found: RunFigures, asked: Asked, place: int, classes: Sequence[PointClass]) -> Record:
    table, named = asked.tables[place]
    points = [(point.applied, one) for point, one in zip(found.points, classes, strict=True)]
    ranges = class_begins(table, points) if table.limits else []
    case = {"case": named["case"]} if "case" in named else {}
    return {
        "table": named_table(table),
        **case,
        "ranges": [begins(one) for one in ranges],
        "lower_limits": _lower(table, found, asked, named.get("factor")),
        "notice": NOTICE if "from memory" in table.content.get("source", "") else None,
    }


def _lower(
    table: ClassTable, found: RunFigures, asked: Asked, factor: Decimal | None
) -> Record | None:
    if table.lower_limits is None:
        return None
    forces = (found.points[0].applied, found.points[-1].applied)
    scatter, resolution = _scatter(found), _as_force(found, asked.resolution)
    limit, classes = lower_limits(
        table.lower_limits, scatter, forces, asked.series, found.readings, factor, resolution
    )
    used = table.lower_limits.factor if factor is None else factor
    return {
        "factor": plain(used),
        "lower_limit_factor": None if limit is None else plain(limit),
        "classes": [begins(one) for one in classes],
    }


def begins(one: LowerLimit) -> Record:
    """Return from which force upwards a class holds."""
    force = None if one.begins is None else plain(one.begins)
    return {"name": one.name, "begins": force, "reason": one.reason}
