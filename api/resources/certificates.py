"""Certificates: what they state, what they rest on, and the few changes they may undergo."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.calibrations import CalibrationQuerySchema, CalibrationSchema
from api.schemas.certificates import (
    CertificateAnswerSchema,
    CertificateHeadSchema,
    CertificateQuerySchema,
    ChainSchema,
    IssueSchema,
    VoidSchema,
)
from api.services import certificates, chains
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import etag_of
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("certificates", __name__, url_prefix="/v1/certificates", description=__doc__)
CertificatePageSchema = paging.page_schema("CertificatePage", CertificateHeadSchema)


class CertificateListQuery(paging.PageQuery, CalibrationQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(CertificateListQuery, location="query")
@blp.response(200, CertificatePageSchema)
def list_certificates(query: dict[str, Any]) -> Any:
    """List certificates in the order they were recorded."""
    with reading() as session:
        found, key = certificates.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("/<path:number>")
@requires("read")
@blp.arguments(CertificateQuerySchema, location="query")
@blp.response(200, CertificateAnswerSchema)
def show_certificate(query: dict[str, Any], number: str) -> Any:
    """Show a certificate: the issued revision unless another is named."""
    with reading() as session:
        found = certificates.choose(session, number, query.get("issuer"), query.get("revision"))
        shown = certificates.answer(session, found)
    return shown, 200, {"ETag": etag_of(found.id, found.version)}


@blp.route("/<path:number>/chain")
@requires("read")
@blp.arguments(CertificateQuerySchema, location="query")
@blp.response(200, ChainSchema)
def show_chain(query: dict[str, Any], number: str) -> Any:
    """Show what a certificate rests on, up to external certificates, and every break."""
    with reading() as session:
        found = certificates.choose(session, number, query.get("issuer"), query.get("revision"))
        return chains.chain(session, found)


@blp.route("/<path:number>/void", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(CertificateQuerySchema, location="query")
@blp.arguments(VoidSchema)
@blp.response(200, CertificateAnswerSchema)
def void_certificate(query: dict[str, Any], change: dict[str, Any], number: str) -> Any:
    """Void a certificate; what was in force for later uses is resolved anew."""
    with writing() as session:
        found = certificates.choose(session, number, query.get("issuer"), query.get("revision"))
        certificates.void(session, found, change["reason"], now_us())
        return certificates.answer(session, found)


@blp.route("/<path:number>/issue", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(CertificateQuerySchema, location="query")
@blp.arguments(IssueSchema)
@blp.response(200, CertificateAnswerSchema)
def issue_certificate(query: dict[str, Any], change: dict[str, Any], number: str) -> Any:
    """Issue a draft."""
    with writing() as session:
        found = certificates.choose(session, number, query.get("issuer"), query.get("revision"))
        certificates.issue(session, found, change["issued_at"], now_us())
        return certificates.answer(session, found)


@blp.route("/<path:number>/revisions", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(CalibrationSchema)
@blp.response(201, CertificateAnswerSchema)
def replace_certificate(record: dict[str, Any], number: str) -> Any:
    """Record a new revision; an issued one takes the place of the one before."""
    with writing() as session:
        made = certificates.replace(session, number, record, now_us())
        shown = certificates.answer(session, made)
    location = f"/v1/certificates/{quote(number, safe='')}?revision={made.revision}"
    return shown, 201, {"Location": location, "ETag": etag_of(made.id, made.version)}
