"""Many results in one request: rows of cells, named like the fields of a single decision."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from marshmallow import INCLUDE, Schema, ValidationError, fields, validate, validates_schema

from api.schemas.base import StrictSchema
from api.schemas.decision_rules import RuleField
from api.schemas.fields import Complaint, DecimalText, above, at_least, refuse

_NEEDED: dict[str, Any] = {"required": Complaint("a number is needed", "fill the cell in")}


class BatchRowSchema(Schema):
    """One row of a batch: its cells as text, without those that are empty."""

    class Meta:
        """Other columns are the sender's own."""

        unknown = INCLUDE

    value = DecimalText(required=True, error_messages=_NEEDED)
    U = DecimalText(required=True, error_messages=_NEEDED, validate=at_least(0))
    k = DecimalText(validate=above(0))
    dof = DecimalText(validate=at_least(1))
    lower = DecimalText()
    upper = DecimalText()
    nominal = DecimalText()
    tolerance = DecimalText(validate=at_least(0))
    prior_mean = DecimalText()
    prior_sd = DecimalText(validate=at_least(0))
    reading = DecimalText()
    full_scale = DecimalText()
    resolution = DecimalText()
    terms = fields.String()
    specification = fields.String()

    @validates_schema
    def _limits(self, row: Mapping[str, Decimal], **kwargs: Any) -> None:
        given = [row[side] for side in ("lower", "upper") if side in row]
        around = [name for name in ("tolerance", "terms") if name in row]
        if around:
            if given:
                raise _at(around[0], "limits and a tolerance are given", "send one of them")
            if len(around) > 1:
                raise _at("terms", "a tolerance is given too", "send one of them")
            if "nominal" not in row:
                raise _at("nominal", "a tolerance needs a nominal value", "0 for an error")
        elif not given and "specification" not in row:
            raise _at("lower", "no limit is given", "send lower, upper or a tolerance")
        elif given and given[0] > given[-1]:
            raise _at("lower", "lower is above upper", "send the smaller limit as lower")

    @validates_schema
    def _prior(self, row: Mapping[str, Decimal], **kwargs: Any) -> None:
        missing = [name for name in ("prior_mean", "prior_sd") if name not in row]
        if len(missing) == 1:
            raise _at(missing[0], "half a prior", "send both prior_mean and prior_sd")


class RelativeRowSchema(BatchRowSchema):
    """One row of a batch whose uncertainty is given in percent of its value."""

    U = fields.String()  # type: ignore[assignment]  # whatever it is, it is one too many
    U_rel_pct = DecimalText(required=True, validate=at_least(0))

    @validates_schema
    def _one_uncertainty(self, row: Mapping[str, Any], **kwargs: Any) -> None:
        if "U" in row:
            raise _at("U_rel_pct", "a second uncertainty", "send U or U_rel_pct, not both")


# Made once: a schema costs more to make than to use.
_ROW, _RELATIVE = BatchRowSchema(), RelativeRowSchema()


def row_fault(cells: Mapping[str, str]) -> tuple[str, str] | None:
    """Return the first column that the row schema refuses and its message, None if all is well.

    >>> row_fault({"value": "1,5", "U": "0.1", "upper": "2"})
    ('value', 'not a decimal number')
    """
    schema = _RELATIVE if "U_rel_pct" in cells else _ROW
    errors = schema.validate(cells)
    name = next((name for name in schema.fields if name in errors), None)
    return None if name is None else (name, str(errors[name][0]))


def _at(field: str, detail: str, remedy: str) -> ValidationError:
    return ValidationError(refuse(detail, remedy).messages, field)


class RowsField(fields.List[Any]):
    """A list of JSON objects, judged later one by one, so that a bad row harms no other."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(fields.Dict(), **kwargs)

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> list[Any]:
        if not isinstance(value, list):
            raise self.make_error("invalid")
        return value


class NewBatchSchema(StrictSchema):
    """Results to be decided, and the rule of rows that name none."""

    rows = RowsField(
        required=True,
        metadata={
            "description": (
                "value, U, k, dof, unit, lower, upper, or nominal and tolerance, rule, prior_mean, "
                "prior_sd; id and any other field come back as they are"
            )
        },
    )
    rule = RuleField(metadata={"description": "Rule of rows that name none"})


class BatchQuerySchema(StrictSchema):
    """Options of a batch."""

    rule = RuleField(metadata={"description": "Id of the rule of rows that name none"})
    raw = fields.Boolean(
        load_default=False,
        metadata={"description": "CSV out without the apostrophe before =, +, - and @"},
    )
    summary = fields.String(
        validate=validate.OneOf(["line"]),
        metadata={"description": "line: CSV ends with a line #summary {...}"},
    )


class SummarySchema(Schema):
    """How many rows there were, and what became of them."""

    rows = fields.Integer(required=True)
    decided = fields.Integer(required=True)
    refused = fields.Integer(required=True)
    by_verdict = fields.Dict(keys=fields.String(), values=fields.Integer(), required=True)


class BatchSchema(Schema):
    """The rows that came in, in their order, each with its answer."""

    rows = fields.List(
        fields.Dict(),
        required=True,
        metadata={
            "description": (
                "The row, then verdict, acceptance_lower, acceptance_upper, "
                "conformance_probability, specific_risk, where a rule that may serve has a "
                "precondition rule_branch and rule_branch_reason, error_line, error_field, error; "
                "null where empty"
            )
        },
    )
    summary = fields.Nested(SummarySchema, required=True)
