"""Agreements: the decision rule and specification agreed with a customer (contract review).

An agreement is for one order, one item, one type of item, or all that the customer has calibrated;
the narrowest counts. Results that name no rule are judged by the agreed one; one judged by another
is a finding (`rule_not_agreed`). The certificate keeps the version it was issued under.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.agreements import (
    AgreementAnswerSchema,
    AgreementQuerySchema,
    NewAgreementSchema,
)
from api.schemas.decision_rules import VersionQuerySchema
from api.services.decisions import agreements
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import check_if_match, etag_of, honours_if_match
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("agreements", __name__, url_prefix="/v1/agreements", description=__doc__)
AgreementPageSchema = paging.page_schema("AgreementPage", AgreementAnswerSchema)


class AgreementListQuery(paging.PageQuery, AgreementQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(AgreementListQuery, location="query")
@blp.response(200, AgreementPageSchema)
def list_agreements(query: dict[str, Any]) -> Any:
    """List the latest version of every agreement."""
    with reading() as session:
        found, key = agreements.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@honours_if_match
@blp.arguments(NewAgreementSchema)
@blp.response(201, AgreementAnswerSchema)
@blp.alt_response(200, schema=AgreementAnswerSchema, description="Recorded already, unchanged")
def record_agreement(new: dict[str, Any]) -> Any:
    """Record an agreement, or its next version; recorded versions never change.

    The next version holds from its own `from`; one with `until` ends the agreement. It needs
    If-Match with the ETag of the latest version, so that nobody's change is lost unseen.
    """
    with writing() as session:
        made, created = agreements.record(
            session, new, now_us(), lambda code, version: check_if_match(_etag(code, version))
        )
    location = f"/v1/agreements/{quote(made['id'], safe='')}?version={made['version']}"
    headers = {"Location": location, "ETag": _etag(made["id"], made["version"])}
    return made, 201 if created else 200, headers


@blp.route("/<path:agreement_id>")
@requires("read")
@blp.arguments(VersionQuerySchema, location="query")
@blp.response(200, AgreementAnswerSchema)
def show_agreement(query: dict[str, Any], agreement_id: str) -> Any:
    """Show one agreement, in its latest version or in the one asked for."""
    with reading() as session:
        shown = agreements.get(session, agreement_id, query.get("version"))
    return shown, 200, {"ETag": _etag(shown["id"], shown["version"])}


def _etag(code: str, version: int) -> str:
    return etag_of(f"agreement {code}", version)
