"""Options of an import of CSV files, and the report of what became of their rows."""

from __future__ import annotations

from marshmallow import fields, validate

from api.schemas.base import StrictSchema


class CsvImportQuerySchema(StrictSchema):
    """Options of an import of CSV files."""

    dry_run = fields.Boolean(load_default=False)
    refused = fields.String(
        load_default="stop",
        validate=validate.OneOf(("stop", "skip")),
        metadata={"description": "stop: a refused row stores nothing; skip: the rest goes in"},
    )
    raw = fields.Boolean(
        load_default=False,
        metadata={"description": "Report as CSV: leave texts that look like formulas as they are"},
    )


class CsvFileSchema(StrictSchema):
    """What became of the rows of one file; dragged ones belong to a record refused elsewhere."""

    file = fields.String()
    rows = fields.Integer()
    refused = fields.Integer()
    dragged = fields.Integer()
    unused_columns = fields.List(fields.String())


class RefusedRowSchema(StrictSchema):
    """One reason why a row did not go in; without a row it concerns the whole import."""

    file = fields.String()
    row = fields.Integer(metadata={"description": "Number of the row; the first of the file is 1"})
    line = fields.Integer(metadata={"description": "Line on which the row begins"})
    column = fields.String()
    field = fields.String()
    value = fields.String(metadata={"description": "What stands there, shortened"})
    reason = fields.String()
    remedy = fields.String()
    dragged = fields.Boolean(metadata={"description": "The row itself has no fault"})


class MissingSchema(StrictSchema):
    """Something that records name and that neither the files nor the database have."""

    id = fields.String()
    named_by = fields.Integer(metadata={"description": "How often records name it"})


class CsvImportAnswerSchema(StrictSchema):
    """Counts of the records without a fault, every refused row, and what is missing."""

    stored = fields.Boolean()
    dry_run = fields.Boolean()
    created = fields.Dict(keys=fields.String(), values=fields.Integer())
    unchanged = fields.Dict(keys=fields.String(), values=fields.Integer())
    notes = fields.List(
        fields.Dict(), metadata={"description": "What the shares of parts leave open"}
    )
    alerts = fields.Integer(
        metadata={"description": "How many alerts were raised or opened again, if any were"}
    )
    files = fields.List(fields.Nested(CsvFileSchema))
    refused = fields.List(fields.Nested(RefusedRowSchema))
    missing = fields.Dict(keys=fields.String(), values=fields.List(fields.Nested(MissingSchema)))
