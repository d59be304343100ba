"""Many results in one request: rows of cells, named like the fields of a single decision."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema, fields

from api.schemas.base import StrictSchema
from api.schemas.decision_rules import RuleField


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

    rule = RuleField(metadata={"description": "CSV: id of the rule of rows that name none"})
    raw = fields.Boolean(
        load_default=False,
        metadata={"description": "CSV out without the apostrophe before =, +, - and @"},
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
                "conformance_probability, specific_risk, error_field, error; null where empty"
            )
        },
    )
    summary = fields.Nested(SummarySchema, required=True)
