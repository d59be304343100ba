"""Which column of which CSV file is which field: the mapping of an import from a spreadsheet."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from marshmallow import ValidationError, fields, validate, validates_schema

from api.schemas.base import AnnotatedSchema, StrictSchema
from api.schemas.calibrations import (
    BudgetsNamed,
    CalibrationSchema,
    PointName,
    ResultSchema,
    RunsNamed,
    Tolerance,
    UseSchema,
    Weight,
)
from api.schemas.checks import CheckSchema, Covers
from api.schemas.compositions import CompositionSchema
from api.schemas.fields import DecimalText, FreeObject, MomentText, Text, WholeNumber, above, refuse
from api.schemas.items import ItemSchema
from api.schemas.requirements import NewRequirementSchema
from graph.moments import BadMoment, time_zone

ISO = "iso"
OWNER = ("calibration.certificate", "calibration.revision", "calibration.issuer")
_SCHEMAS = {
    "items": ItemSchema(),
    "composition": CompositionSchema(),
    "calibrations": CalibrationSchema(exclude=("uses", "results")),
    "uses": UseSchema(),
    "results": ResultSchema(),
    "checks": CheckSchema(),
    "requirements": NewRequirementSchema(),
}
_KINDS: Mapping[type[fields.Field[Any]], str] = {
    DecimalText: "decimal",
    WholeNumber: "whole",
    fields.Boolean: "flag",
    MomentText: "moment",
    BudgetsNamed: "text",
    RunsNamed: "whole",
    PointName: "point",
    Tolerance: "tolerance",
    Weight: "weight",
    Covers: "covers",
    FreeObject: "object",
    fields.Nested: "object",
}
_DIRECTIVES = frozenset("dmyYbBHIMSfpzj%")
_DIRECTIVE = re.compile(r"%(.?)", re.DOTALL)


def _kind(field: fields.Field[Any]) -> str:
    if isinstance(field, fields.List):
        return "points" if isinstance(field.inner, PointName) else "list"
    return next((kind for type_, kind in _KINDS.items() if isinstance(field, type_)), "text")


def _kinds() -> dict[str, dict[str, str]]:
    found = {
        name: {
            field.data_key or attribute: _kind(field)
            for attribute, field in schema.load_fields.items()
        }
        for name, schema in _SCHEMAS.items()
    }
    for name in ("uses", "results"):
        found[name] |= dict(zip(OWNER, ("text", "whole", "text"), strict=True))
    return found


# What each field of each collection holds, as the schemas of the records have it.
KINDS = _kinds()
# Objects of which a column may fill a part, and the parts; None: any.
PARTS: Mapping[str, tuple[str, ...] | None] = {
    "properties": None,
    "weight": None,
    "override": ("by", "reason"),
    "tolerance": ("lower", "upper"),
    "tolerance_rel_pct": ("lower", "upper"),
    "applies_to": ("item", "make", "model", "type", "capacity"),
    **dict.fromkeys(
        ("pin", "top_pin", "bottom_pin"), ("diameter", "tolerance_plus", "tolerance_minus")
    ),
    "shackle": ("style", "size"),
}


class DateForms(fields.Field[list[str]]):
    """One way to write a date, or several: as in ``%d.%m.%Y %H:%M``, or ``iso`` for RFC 3339."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> list[str]:
        forms = [value] if isinstance(value, str) else value
        if not isinstance(forms, list) or not 0 < len(forms) <= 10:
            raise refuse("not a form of a date", 'send "%d.%m.%Y", "iso", or a list of such')
        for form in forms:
            self._check(form)
        return forms

    def _check(self, form: Any) -> None:
        if form == ISO:
            return
        if not isinstance(form, str) or len(form) > 50:
            raise refuse("not a form of a date", 'send "%d.%m.%Y" or "iso"')
        found = _DIRECTIVE.findall(form)
        unknown = [one for one in found if one not in _DIRECTIVES]
        if unknown:
            known = " ".join(f"%{one}" for one in sorted(_DIRECTIVES))
            raise refuse(f"%{unknown[0]} is not known", f"known: {known}")
        if len(set(found)) < len(found):
            raise refuse("a part of the date stands twice in the form", "say each part once")
        day = "j" in found or ("d" in found and bool({"m", "b", "B"} & set(found)))
        if not (day and {"y", "Y"} & set(found)):
            raise refuse("the form lacks the day, month or year", "name all three")
        if "I" in found and "p" not in found:
            raise refuse("a clock of twelve hours without %p", "use %H, or add %p")


class Zone(fields.Field[str]):
    """An IANA time zone by name."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        try:
            return time_zone(value).key if isinstance(value, str) else self._refuse(value)
        except BadMoment:
            return self._refuse(value)

    def _refuse(self, value: Any) -> str:
        raise refuse("not a time zone", 'send an IANA name such as "Europe/Vienna"')


class CellsSchema(StrictSchema):
    """How cells are read; for a field, or once for a table or the mapping."""

    decimal = fields.String(
        validate=validate.OneOf((".", ",")), metadata={"description": "Decimal mark; default ."}
    )
    thousands = fields.String(
        validate=validate.OneOf((",", ".", " ", "'", "\u00a0", "\u202f")),
        metadata={"description": "Mark between groups of three digits; default none"},
    )
    format = DateForms(metadata={"description": "How dates are written; default iso"})
    zone = Zone(metadata={"description": "Time zone of times without one"})
    empty = fields.List(
        fields.String(validate=validate.Length(1, 200)),
        metadata={"description": "Texts that mean an empty cell, such as n/a"},
    )

    @validates_schema
    def _two_marks(self, data: dict[str, Any], **kwargs: Any) -> None:
        if data.get("thousands", "") == data.get("decimal", "."):
            error = refuse("the same mark for decimals and thousands", "give them two marks")
            raise ValidationError(error.messages, "thousands")


class SourceSchema(CellsSchema):
    """Where one field comes from: one column, several joined, or a constant."""

    column = fields.String(validate=validate.Length(1, 1000))
    columns = fields.List(
        fields.String(validate=validate.Length(1, 1000)), validate=validate.Length(2, 10)
    )
    join = fields.String(
        validate=validate.Length(max=20), metadata={"description": "Between columns; default space"}
    )
    value = fields.Raw(metadata={"description": "The same for every row"})
    default = fields.Raw(metadata={"description": "Value of an empty cell; without it, none"})
    values = fields.Dict(
        keys=fields.String(),
        values=fields.Raw(allow_none=True),
        validate=validate.Length(1, 1000),
        metadata={"description": 'What each text means, such as {"Pass": "pass"}; null: nothing'},
    )
    others = fields.String(
        validate=validate.OneOf(("refuse", "keep")),
        metadata={"description": "What becomes of texts that values does not name"},
    )
    split = fields.String(
        validate=validate.Length(1, 5), metadata={"description": "Mark between parts of a list"}
    )
    suffix = fields.String(
        validate=validate.Length(1, 50), metadata={"description": "Text behind a number: kN, %"}
    )
    scale = DecimalText(
        validate=above(0), metadata={"description": "Exact factor to the unit of the record"}
    )

    @validates_schema
    def _one_origin(self, data: dict[str, Any], **kwargs: Any) -> None:
        if len(data.keys() & {"column", "columns", "value"}) != 1:
            raise refuse("none or several of column, columns and value", "give one of them")


class FieldSource(fields.Field[dict[str, Any]]):
    """The name of a column, or an object that says more."""

    schema = SourceSchema()

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> dict[str, Any]:
        found: dict[str, Any] = self.schema.load(
            {"column": value} if isinstance(value, str) else value
        )
        return found


class TableSchema(CellsSchema):
    """What the rows of one file are."""

    file = Text(required=True, max_length=200)
    collection = fields.String(required=True, validate=validate.OneOf(tuple(KINDS)))
    separator = fields.String(validate=validate.OneOf((",", ";", "\t", "|")))
    heading_row = WholeNumber(minimum=1, maximum=1000, load_default=1)
    group = fields.Boolean(
        load_default=False,
        truthy={True},
        falsy={False},
        metadata={"description": "Several rows may make one record, and then say the same of it"},
    )
    sources = fields.Dict(
        keys=fields.String(),
        values=FieldSource(),
        data_key="fields",
        attribute="fields",
        validate=validate.Length(1, 200),
        metadata={"description": "Field to its column; without it columns are named as fields"},
    )

    @validates_schema
    def _known_fields(self, data: dict[str, Any], **kwargs: Any) -> None:
        kinds = KINDS[data["collection"]]
        unknown = [name for name in data.get("fields", ()) if not is_field(name, kinds)]
        if unknown:
            known = ", ".join(sorted(kinds))
            complaint = refuse("unknown field", f"known here: {known}").messages
            raise ValidationError({"fields": dict.fromkeys(unknown, complaint)})


def is_field(name: str, kinds: Mapping[str, str]) -> bool:
    """Whether a column may fill this field, or this part of one."""
    if name in kinds:
        return kinds[name] != "object"
    whole, dot, part = name.partition(".")
    if not dot or not part or whole not in kinds or whole not in PARTS:
        return False
    parts = PARTS[whole]
    return parts is None or part in parts


class ImportMappingSchema(AnnotatedSchema, CellsSchema):
    """The whole mapping; title, note and time zone are those of a laboratory file."""

    time_zone = Text(metadata={"description": "IANA zone of bare dates; default UTC"})
    separator = fields.String(
        load_default=",",
        validate=validate.OneOf((",", ";", "\t", "|")),
        metadata={"description": "Between the cells of every file"},
    )
    tables = fields.List(fields.Nested(TableSchema), required=True, validate=validate.Length(1, 50))
