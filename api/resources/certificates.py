"""Certificates: what they state, what they rest on, and the few changes they may undergo."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote, urlencode

from marshmallow import fields

from api.errors import Forbidden
from api.resources.access import customer_of_key
from api.schemas.calibrations import CalibrationQuerySchema, CalibrationSchema
from api.schemas.certificates import (
    CertificateAnswerSchema,
    CertificateHeadSchema,
    CertificateQuerySchema,
    ChainSchema,
    GroundsSchema,
    IssueSchema,
    NewUseSchema,
    UseCorrectionMadeSchema,
    UseCorrectionSchema,
    VoidSchema,
)
from api.schemas.curves import CurveAnswerSchema, CurveQuerySchema
from api.services.base.recording import begin
from api.services.certificates import certificates, curves, customer_view, use_corrections
from api.services.grounds import chains, issues
from api.services.overview.stopped import MOST_LOOKED_AT
from api.services.overview.stopped import find as find_stopped
from api.services.records.revisions import choose
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import etag_of, honour_if_match, honours_if_match
from api.web.idempotency import idempotent
from api.web.json import dumps
from api.web.transactions import reading, writing

blp = Blueprint("certificates", __name__, url_prefix="/v1/certificates", description=__doc__)
CertificatePageSchema = paging.page_schema("CertificatePage", CertificateHeadSchema)


UseCorrectionPageSchema = paging.page_schema("UseCorrectionPage", UseCorrectionMadeSchema)


class UseCorrectionListQuery(paging.PageQuery, CertificateQuerySchema):
    """Which certificate, and where to go on."""


class CertificateListQuery(paging.PageQuery, CalibrationQuerySchema):
    """Filters of the list, and where to go on."""

    stopped = fields.Boolean(
        truthy={"true"},
        falsy={"false"},
        load_default=False,
        metadata={
            "description": "Only issued ones that would be stopped today, the latest first, with "
            f"their `stops`. A page looks at {MOST_LOOKED_AT} and may be empty while there is a "
            "next one"
        },
    )


@blp.route("")
@requires("read", customers=True)
@blp.arguments(CertificateListQuery, location="query")
@blp.response(200, CertificatePageSchema)
def list_certificates(query: dict[str, Any]) -> Any:
    """List certificates in the order they were recorded; to a customer, its own.

    With `stopped` those that would not be issued today without somebody who answers for it.
    """
    owner = customer_of_key()
    if query["stopped"]:
        if owner is not None:
            raise Forbidden("What speaks against certificates is for the laboratory alone.")
        with reading() as session:
            after, limit = paging.after(query), query["limit"]
            return paging.answer(*find_stopped(session, query, after, limit, now_us()))
    with reading() as session:
        found, key = certificates.find(session, query, paging.after(query), query["limit"], owner)
    return paging.answer(found if owner is None else list(map(customer_view.head, found)), key)


@blp.route("/<path:number>")
@requires("read", customers=True)
@blp.arguments(CertificateQuerySchema, location="query")
@blp.response(200, CertificateAnswerSchema)
def show_certificate(query: dict[str, Any], number: str) -> Any:
    """Show a certificate: the issued revision unless another is named.

    A customer sees its own, as they stand on paper: without uses, remarks and corrections.
    """
    owner = customer_of_key()
    answer = certificates.answer if owner is None else customer_view.answer
    with reading() as session:
        found = choose(session, number, query.get("issuer"), query.get("revision"), owner)
        shown = answer(session, found)
    return shown, 200, headers_of(shown)


@blp.route("/<path:number>/chain")
@requires("read")
@blp.arguments(CertificateQuerySchema, location="query")
@blp.response(200, ChainSchema)
def show_chain(query: dict[str, Any], number: str) -> Any:
    """Show what a certificate rests on, up to external certificates, and every break."""
    with reading() as session:
        found = choose(session, number, query.get("issuer"), query.get("revision"))
        return chains.chain(session, found)


@blp.route("/<path:number>/curve")
@requires("read", customers=True)
@blp.arguments(CurveQuerySchema, location="query")
@blp.response(200, CurveAnswerSchema)
def show_curve(query: dict[str, Any], number: str) -> Any:
    """Show the curve that a certificate assigns; the force at a deflection, or the way back.

    Outside its range nothing is given: there the fit says nothing. A customer sees its own.
    """
    owner = customer_of_key()
    with reading() as session:
        found = choose(session, number, query.get("issuer"), query.get("revision"), owner)
        return curves.answer(session, found, query)


@blp.route("/<path:number>/grounds")
@requires("read")
@blp.arguments(CertificateQuerySchema, location="query")
@blp.response(200, GroundsSchema)
def show_grounds(query: dict[str, Any], number: str) -> Any:
    """Show what spoke against a certificate when it was issued, and what does today."""
    with reading() as session:
        found = choose(session, number, query.get("issuer"), query.get("revision"))
        return issues.kept(session, found, now_us())


@blp.route("/<path:number>/void", methods=["POST"])
@requires("record")
@idempotent
@honours_if_match
@blp.arguments(CertificateQuerySchema, location="query")
@blp.arguments(VoidSchema)
@blp.response(200, CertificateAnswerSchema)
def void_certificate(query: dict[str, Any], change: dict[str, Any], number: str) -> Any:
    """Void a certificate; what was in force for later uses is resolved anew."""
    with writing() as session:
        recording = begin(session, now_us())
        found = choose(session, number, query.get("issuer"), query.get("revision"))
        honour_if_match(lambda: headers_of(certificates.answer(session, found))["ETag"])
        certificates.void(recording, found, change["reason"], change.get("voided_at"))
        shown = certificates.answer(session, found)
    return shown, 200, headers_of(shown)


@blp.route("/<path:number>/issue", methods=["POST"])
@requires("record")
@idempotent
@honours_if_match
@blp.arguments(CertificateQuerySchema, location="query")
@blp.arguments(IssueSchema)
@blp.response(200, CertificateAnswerSchema)
def issue_certificate(query: dict[str, Any], change: dict[str, Any], number: str) -> Any:
    """Issue a draft, and let it say what it did not say yet and the laboratory asks for."""
    with writing() as session:
        recording = begin(session, now_us())
        found = choose(session, number, query.get("issuer"), query.get("revision"))
        honour_if_match(lambda: headers_of(certificates.answer(session, found))["ETag"])
        certificates.issue(recording, found, change)
        shown = certificates.answer(session, found)
    return shown, 200, headers_of(shown)


@blp.route("/<path:number>/uses", methods=["POST"])
@requires("record")
@idempotent
@honours_if_match
@blp.arguments(CertificateQuerySchema, location="query")
@blp.arguments(NewUseSchema)
@blp.response(201, CertificateAnswerSchema)
def add_use(query: dict[str, Any], correction: dict[str, Any], number: str) -> Any:
    """Add a use that was forgotten; it comes after the others."""
    with writing() as session:
        recording = begin(session, now_us())
        found = choose(session, number, query.get("issuer"), query.get("revision"))
        honour_if_match(lambda: headers_of(certificates.answer(session, found))["ETag"])
        use_corrections.add(recording, found, correction)
        shown = certificates.answer(session, found)
    return shown, 201, headers_of(shown)


@blp.route("/<path:number>/use-corrections")
@requires("read")
@blp.arguments(UseCorrectionListQuery, location="query")
@blp.response(200, UseCorrectionPageSchema)
def list_use_corrections(query: dict[str, Any], number: str) -> Any:
    """List what was put right of a certificate's uses, oldest first; long histories by pages."""
    with reading() as session:
        found = choose(session, number, query.get("issuer"), query.get("revision"))
        listed, key = use_corrections.find(session, found.id, paging.after(query), query["limit"])
    return paging.answer(listed, key)


@blp.route("/<path:number>/uses/<int:position>/corrections", methods=["POST"])
@requires("record")
@idempotent
@honours_if_match
@blp.arguments(CertificateQuerySchema, location="query")
@blp.arguments(UseCorrectionSchema)
@blp.response(201, CertificateAnswerSchema)
def correct_use(
    query: dict[str, Any], correction: dict[str, Any], number: str, position: int
) -> Any:
    """Correct a wrongly recorded use, counted from 0, or take it out; it stays readable."""
    with writing() as session:
        recording = begin(session, now_us())
        found = choose(session, number, query.get("issuer"), query.get("revision"))
        honour_if_match(lambda: headers_of(certificates.answer(session, found))["ETag"])
        use_corrections.correct(recording, found, position, correction)
        shown = certificates.answer(session, found)
    return shown, 201, headers_of(shown)


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
    return shown, 201, headers_of(shown)


def headers_of(shown: dict[str, Any]) -> dict[str, str]:
    """Address and ETag of a certificate as it is shown.

    The tag is of the whole answer: recalls, other revisions and what was in force change without
    the certificate itself.
    """
    query = {"revision": shown["revision"]}
    if "issuer" in shown:
        query["issuer"] = shown["issuer"]
    return {
        "Location": f"/v1/certificates/{quote(shown['certificate'], safe='')}?{urlencode(query)}",
        "ETag": etag_of(dumps(shown).decode(), shown["version"]),
    }
