"""Verification runs of a testing machine come in; errors, spread and class at each point go out.

Choice: indications are brought into the unit of the true forces, exactly. A class is what a class
table makes of the figures as they are, without adding uncertainty, and is given only where every
criterion could be judged; a table from memory says so in its report. Nothing is stored.

Not checked: that the proving instrument is of a class that suits the machine's.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, pointer
from api.rules import ENGINE_VERSION
from api.rules.exact import FieldError, plain, ratio, shortened, square_root
from api.rules.uncertainty.classes import PointClass, class_begins, classify
from api.rules.uncertainty.machines import (
    MachinePoint,
    MachineReading,
    MachineSeries,
    evaluate_machine,
)
from api.rules.units import convert
from api.services.base.record import Record
from api.services.uncertainty.class_tables import reference as named_table
from api.services.uncertainty.run_answers import NOTICE, Tables, begins, point_class
from api.services.uncertainty.run_evaluations import resolved_tables

NOTES = (
    "accuracy, repeatability, reversibility, zero and resolution are q, b, v, f0 and a, in percent",
    "U is of what was given; drift, temperature and interpolation of the proving instrument come "
    "on top where they matter",
)
_REMEDY = "mend the series; what is held is one number at a point in all of them"


def evaluate(session: Session, request: Mapping[str, Any]) -> Record:
    """Evaluate the verification of a testing machine, as loaded by its schema.

    Raises UnknownReference for a class table that is not recorded, InvalidRecord for series that do
    not belong together.
    """
    tables = resolved_tables(session, request)
    unit = request["unit"]
    own = request.get("indication_unit", unit)
    held_unit = own if request["held"] == "indicated" else unit
    scale = convert(Decimal(1), own, unit)
    try:
        series = [
            MachineSeries(
                _readings(request, i, "ascending", scale),
                _readings(request, i, "descending", scale),
                None if "zero_after" not in one else Fraction(one["zero_after"]) * scale,
            )
            for i, one in enumerate(request["series"])
        ]
        _check_falling(series)
        points = evaluate_machine(
            series,
            _scaled(request, "resolution", scale),
            _scaled(request, "range_maximum", convert(Decimal(1), held_unit, unit)),
            _reference(request),
        )
    except FieldError as error:
        detail, _, remedy = str(error).partition("; ")
        issue = Issue(error.field, detail, remedy or _REMEDY)
        raise InvalidRecord(detail, [issue]) from None
    classes = [
        [
            classify(table, point.figures, named.get("case"), len(series), "series")
            for table, named in tables
        ]
        for point in points
    ]
    back = convert(Decimal(1), unit, held_unit)
    return {
        "unit": unit,
        "indication_unit": own,
        "held": request["held"],
        "points": [
            _point(point, back, tables, some) for point, some in zip(points, classes, strict=True)
        ],
        "class_reports": [
            _table(tables, place, points, classes, back) for place in range(len(tables))
        ],
        "notes": list(NOTES),
        "engine_version": ENGINE_VERSION,
    }


def _readings(
    request: Mapping[str, Any], index: int, name: str, scale: Fraction
) -> dict[Fraction, MachineReading]:
    """Return the readings of a series in the unit of the true forces, by what is held."""
    found: dict[Fraction, MachineReading] = {}
    for i, one in enumerate(request["series"][index].get(name, ())):
        true, indicated = Fraction(one["applied"]), Fraction(one["indicated"]) * scale
        held = indicated if request["held"] == "indicated" else true
        place = pointer("series", index, name, i, request["held"])
        if held <= 0:
            raise FieldError(place, "a point is above 0; leave readings without force out")
        if held in found:
            raise FieldError(place, "it stands twice in the series; give one reading for each")
        found[held] = MachineReading(true, indicated)
    return found


def _check_falling(series: Sequence[MachineSeries]) -> None:
    for i, one in enumerate(series):
        if one.descending.keys() - one.ascending.keys():
            place = pointer("series", i, "descending")
            raise FieldError(place, "a point has no reading at rising force; leave it out")


def _scaled(request: Mapping[str, Any], name: str, scale: Fraction) -> Fraction | None:
    return Fraction(request[name]) * scale if name in request else None


def _reference(request: Mapping[str, Any]) -> Fraction | None:
    sent = request.get("reference")
    return None if sent is None else Fraction(sent["U_rel_pct"]) / Fraction(sent.get("k", 2))


def _point(
    point: MachinePoint, back: Fraction, tables: Tables, classes: Sequence[PointClass]
) -> Record:
    return {
        "held": plain(point.held * back),
        "errors": [plain(one) for one in point.errors],
        "figures": {
            name: None if one.value is None else plain(one.value)
            for name, one in point.figures.items()
        },
        "reasons": {
            name: one.reason for name, one in point.figures.items() if one.reason is not None
        },
        "U_rel_pct": plain(shortened(point.U_rel_pct)),
        "contributions": {
            name: plain(shortened(square_root(ratio(one, Fraction(1)))))
            for name, one in point.u_parts.items()
        },
        "classes": [
            point_class(table, judged)
            for (table, _), judged in zip(tables, classes, strict=True)
            if table.limits
        ],
    }


def _table(
    tables: Tables,
    place: int,
    points: Sequence[MachinePoint],
    classes: Sequence[Sequence[PointClass]],
    back: Fraction,
) -> Record:
    table, named = tables[place]
    judged = [
        (ratio(point.held * back, Fraction(1)), some[place])
        for point, some in zip(points, classes, strict=True)
    ]
    case = {"case": named["case"]} if "case" in named else {}
    return {
        "table": named_table(table),
        **case,
        "ranges": [begins(one) for one in class_begins(table, judged)] if table.limits else [],
        "notice": NOTICE if "from memory" in table.content.get("source", "") else None,
    }
