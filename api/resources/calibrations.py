"""Calibrations: one dated event with its certificate, uses and results."""

from __future__ import annotations

from typing import Any

from api.resources.certificates import CertificateListQuery, CertificatePageSchema, headers_of
from api.schemas.calibrations import CalibrationSchema
from api.schemas.certificates import CertificateAnswerSchema
from api.services.base.recording import record_one
from api.services.certificates import calibrations, certificates
from api.services.records.revisions import choose
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
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
@blp.arguments(CalibrationSchema)
@blp.response(201, CertificateAnswerSchema)
@blp.alt_response(200, schema=CertificateAnswerSchema, description="Recorded already")
def record_calibration(record: dict[str, Any]) -> Any:
    """Record a calibration with its certificate in one call."""
    with writing() as session:
        outcome = record_one(session, calibrations.COLLECTION, record, now_us())
        made = choose(session, record["certificate"], record.get("issuer", ""), record["revision"])
        shown = certificates.answer(session, made)
    return shown, 201 if outcome.created else 200, headers_of(shown)
