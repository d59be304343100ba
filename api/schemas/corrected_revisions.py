"""Corrected revisions of recalled certificates."""

from __future__ import annotations

from marshmallow import fields, validate

from api.schemas.base import StrictSchema
from api.schemas.calibrations import MAX_REVISION
from api.schemas.certificates import CertificateAnswerSchema
from api.schemas.dispositions import CertificateNameSchema, named
from api.schemas.fields import Text


class CorrectedRevisionSchema(StrictSchema):
    """Who drafts it, and what the amendment says instead of the usual text."""

    by = Text(required=True, max_length=200, metadata={"description": "Name of the person"})
    amendment = Text(lines=True, metadata={"description": "Default: what was corrected, and why"})


class CorrectedRevisionQuerySchema(StrictSchema):
    """Which certificate is meant, where the number alone is not one."""

    revision = fields.Integer(validate=validate.Range(0, MAX_REVISION))
    issuer = Text(max_length=200)


class CorrectedRevisionsSchema(CorrectedRevisionSchema):
    """Who drafts them, and of which certificates."""

    certificates = fields.List(
        fields.Nested(CertificateNameSchema, pre_load=named),
        validate=validate.Length(1, 1_000),
        metadata={"description": "Default: every affected one that is to be reissued and is not"},
    )


class CorrectedRevisionsMadeSchema(StrictSchema):
    """The drafts that were recorded."""

    items = fields.List(fields.Nested(CertificateAnswerSchema))
