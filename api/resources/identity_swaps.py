"""Identity swaps: two items that were taken for each other, put right as one act."""

from __future__ import annotations

from functools import partial
from typing import Any

from sqlalchemy.orm import Session

from api.schemas.identity_swaps import IdentitySwapAnswerSchema, IdentitySwapSchema
from api.services.base.recording import begin
from api.services.certificates import identity_swaps
from api.services.records import items
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import etag_of, honour_if_match, honours_if_match
from api.web.idempotency import idempotent
from api.web.transactions import writing

blp = Blueprint("identity-swaps", __name__, url_prefix="/v1/identity-swaps", description=__doc__)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@honours_if_match
@blp.arguments(IdentitySwapSchema)
@blp.response(201, IdentitySwapAnswerSchema)
def swap_identities(swap: dict[str, Any]) -> Any:
    """Exchange two items in what is recorded of some time; shown with both items afterwards.

    Calibrations, uses, holdings (cut at the bounds) and checks of the one are the other's then.
    The same exchange again takes it back. If-Match, where it is sent, names the tags of both items.
    """
    with writing() as session:
        recording = begin(session, now_us())
        for code in swap["items"]:
            honour_if_match(partial(_etag, session, code))
        made = identity_swaps.swap(recording, swap)
    return made, 201


def _etag(session: Session, code: str) -> str:
    """Tag of an item as GET gives it; an exchange makes a new version of both."""
    item = items.get(session, code)
    return etag_of(item.code, item.version)
