"""The body of every error: problem details (RFC 9457) with JSON Pointers to what is wrong."""

from __future__ import annotations

from marshmallow import Schema, fields


class ProblemIssueSchema(Schema):
    """One fault in what was sent."""

    pointer = fields.String(
        metadata={"description": "JSON Pointer (RFC 6901) into the request body; empty is its root"}
    )
    parameter = fields.String(
        metadata={"description": "Query, path or header parameter, where it is not the body"}
    )
    line = fields.Integer(metadata={"description": "Line of the body, where it has lines"})
    file = fields.String(metadata={"description": "File of the body, where it has several"})
    row = fields.Integer(metadata={"description": "Row of that file; the first one is 1"})
    column = fields.String(metadata={"description": "Column of that file, as its heading says"})
    detail = fields.String(required=True, metadata={"description": "What is wrong"})
    remedy = fields.String(metadata={"description": "How to mend it"})
    value = fields.String(metadata={"description": "What was sent, shortened"})
    code = fields.String(metadata={"description": "Kind of fault, where there are kinds"})


class ProblemSchema(Schema):
    """Problem details; clients switch on ``type``, never on ``title`` or ``detail``."""

    type = fields.String(
        required=True,
        metadata={
            "description": "Stable address of the kind of problem",
            "format": "uri-reference",
        },
    )
    title = fields.String(required=True, metadata={"description": "The kind of problem in words"})
    status = fields.Integer(required=True, metadata={"description": "HTTP status"})
    detail = fields.String(required=True, metadata={"description": "This occurrence in words"})
    instance = fields.String(
        required=True, metadata={"description": "Request id, as in X-Request-Id and the log"}
    )
    errors = fields.List(
        fields.Nested(ProblemIssueSchema),
        metadata={"description": "Single faults; at most 100 are listed"},
    )
    report = fields.Dict(
        metadata={"description": "An import of CSV files: every refused row, and what is missing"}
    )
    errors_total = fields.Integer(metadata={"description": "Number of faults when more than 100"})
