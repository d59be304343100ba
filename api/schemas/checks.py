"""An intermediate check or inspection of an item (ISO/IEC 17025:2017, 6.4.10)."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import fields, validate

from api.rules.units import UnknownUnit, parse_quantity
from api.schemas.base import AnnotatedSchema, CorrectionSchema, StrictSchema
from api.schemas.fields import DecimalText, DoneText, Mode, Text, at_least, decimal_of, refuse
from api.schemas.vocabulary import CHECK_RESULTS

FULL_RANGE = "full range"


class Covers(fields.Field[Any]):
    """Either "full range", or the forces checked: texts such as "50 kN", or numbers in kN.

    {"points": [...], "unit": "kN"} says the unit once. Kept as the list of texts with unit.
    """

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str | list[str]:
        if value == FULL_RANGE:
            return FULL_RANGE
        unit = "kN"
        if isinstance(value, Mapping) and set(value) == {"points", "unit"}:
            unit, value = str(value["unit"]), value["points"]
        if not isinstance(value, list) or not value:
            raise refuse("not a range", 'send "full range" or a list of forces such as "50 kN"')
        return [self._force(force, unit) for force in value]

    def _force(self, force: Any, unit: str) -> str:
        has_unit = isinstance(force, str) and " " in force
        written = str(force) if has_unit else f"{decimal_of(force):f} {unit}"
        try:
            parse_quantity(written)
        except (UnknownUnit, ValueError) as error:
            raise refuse(str(error), 'write a force as "50 kN"') from error
        return written


class CheckSchema(AnnotatedSchema):
    """One check, as recorded."""

    id = Text(required=True, max_length=200)
    item = Text(required=True, max_length=200)
    at = DoneText(required=True)
    kind = Text()
    result = fields.String(required=True, validate=validate.OneOf(CHECK_RESULTS))
    acceptance_limit_rel = DecimalText(validate=at_least(0))
    U_rel = DecimalText(validate=at_least(0))
    independent = fields.Boolean(truthy={True}, falsy={False})
    against = Text(max_length=200)
    covers = Covers()
    mode = Mode(metadata={"description": "Mode in which it was checked; absent: both"})
    wear_pct = DecimalText()
    limit_pct = DecimalText()


class CheckCorrectionSchema(CorrectionSchema):
    """What a check should have said; what is not named stays. Null takes a value away."""

    item = Text(max_length=200)
    at = DoneText()
    kind = Text(allow_none=True)
    result = fields.String(validate=validate.OneOf(CHECK_RESULTS))
    acceptance_limit_rel = DecimalText(allow_none=True, validate=at_least(0))
    U_rel = DecimalText(allow_none=True, validate=at_least(0))
    independent = fields.Boolean(allow_none=True, truthy={True}, falsy={False})
    against = Text(allow_none=True, max_length=200)
    covers = Covers(allow_none=True)
    mode = Mode(allow_none=True)
    wear_pct = DecimalText(allow_none=True)
    limit_pct = DecimalText(allow_none=True)
    note = Text(lines=True, allow_none=True)
    title = Text(lines=True, allow_none=True)
    meaning = Text(lines=True, allow_none=True)
    amendment = Text(lines=True, allow_none=True)
    withdrawn = fields.Boolean(
        truthy={True},
        falsy={False},
        metadata={"description": "It is no evidence; false takes it back"},
    )


class CheckAnswerSchema(CheckSchema):
    """One check as it is answered, with what was corrected of it."""

    withdrawn = fields.Boolean()
    corrections = fields.List(fields.Dict())
    all_corrections = fields.Dict(
        metadata={"description": "Where only the latest are given: how many, and where all are"}
    )


class CheckQuerySchema(StrictSchema):
    """Filters of a list of checks."""

    item = Text()
