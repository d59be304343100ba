"""Identity swaps: two items that were taken for each other, put right as one act."""

from __future__ import annotations

from typing import Any

from api.schemas.identity_swaps import IdentitySwapAnswerSchema, IdentitySwapSchema
from api.services.base.recording import begin
from api.services.certificates import identity_swaps
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import writing

blp = Blueprint("identity-swaps", __name__, url_prefix="/v1/identity-swaps", description=__doc__)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(IdentitySwapSchema)
@blp.response(201, IdentitySwapAnswerSchema)
def swap_identities(swap: dict[str, Any]) -> Any:
    """Exchange two items in what is recorded of some time; shown with both items afterwards.

    Calibrations, uses, holdings (cut at the bounds) and checks of the one are the other's then.
    The same exchange again takes it back.
    """
    with writing() as session:
        made = identity_swaps.swap(begin(session, now_us()), swap)
    return made, 201
