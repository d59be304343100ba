"""Calibrations: one dated event with its certificate, uses and results."""

from __future__ import annotations

from typing import Any

from flask import Response

from api.resources.certificates import CertificateListQuery, CertificatePageSchema, headers_of
from api.schemas.calibrations import CalibrationSchema, RecordQuerySchema
from api.schemas.certificates import CertificateAnswerSchema, RecordedOrTriedSchema
from api.services.certificates import certificates
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.json import dumps
from api.web.transactions import reading, writing

blp = Blueprint("calibrations", __name__, url_prefix="/v1/calibrations", description=__doc__)


@blp.route("")
@requires("read")
@blp.arguments(CertificateListQuery, location="query")
@blp.response(200, CertificatePageSchema)
def list_calibrations(query: dict[str, Any]) -> Any:
    """List calibrations in the order they were recorded, each revision by itself."""
    with reading() as session:
        found, key = certificates.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(RecordQuerySchema, location="query")
@blp.arguments(CalibrationSchema)
@blp.response(201, CertificateAnswerSchema)
@blp.alt_response(
    200,
    schema=RecordedOrTriedSchema,
    description="Recorded already; or a dry run: `grounds` alone, and nothing was stored",
)
def record_calibration(query: dict[str, Any], record: dict[str, Any]) -> Any:
    """Record a calibration with its certificate in one call.

    What is issued is asked first whether something speaks against it: a `stop` refuses it with
    409 (/problems/doubtful-ground) unless `override` says who answers for it, and why. With
    `dry_run` all that was found is answered.
    """
    with writing() as session:
        if query["dry_run"]:
            found = {"grounds": certificates.tried(session, record, now_us())}
            # As it is: the schema of the answer is that of a certificate.
            return Response(dumps(found), mimetype="application/json")
        made, new = certificates.record_alone(session, record, now_us())
        shown = certificates.answer(session, made)
    return shown, 201 if new else 200, headers_of(shown)
