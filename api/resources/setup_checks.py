"""Set-up checks: a planned set-up compared with the records before the load is applied.

Compared are pins in mm or inches, exactly; style, bearings, threads, seats, the angle of the load
line, the weakest rated part, wear, load cycles, calibration and isolation. Each finding says by how
much it is off, what that may do to the reading and who says so, or which record is missing; `shelf`
ranks the parts that there are.
"""

from __future__ import annotations

from typing import Any

from api.schemas.setup_checks import (
    NewSetupCheckSchema,
    SetupCheckEntrySchema,
    SetupCheckQuerySchema,
    SetupCheckSchema,
    StoredSetupCheckSchema,
)
from api.services.base.cautions import CAUTION
from api.services.setups import setup_checks
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint(
    "setup_checks", __name__, url_prefix="/v1/setup-checks", description=f"{__doc__} {CAUTION}"
)
SetupCheckPageSchema = paging.page_schema("SetupCheckPage", SetupCheckEntrySchema)


class SetupCheckListQuery(paging.PageQuery, SetupCheckQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("", methods=["POST"])
@requires("decide")
@idempotent
@blp.arguments(NewSetupCheckSchema)
@blp.response(201, SetupCheckSchema)
@blp.alt_response(200, schema=SetupCheckSchema, description="Checked, not stored")
def check_setup(request: dict[str, Any]) -> Any:
    """Check a planned set-up, and store the answer unless `store` is false.

    Each finding says what was compared, what was required and found, by how much it is off and what
    that may do to the reading; or which record is missing. It judges no lifting; see the cautions.
    """
    if not request["store"]:
        with reading() as session:
            return setup_checks.check(session, request, now_us()), 200
    with writing() as session:
        answer = setup_checks.check_and_store(session, request, now_us())
    return answer, 201, {"Location": f"/v1/setup-checks/{answer['id']}"}


@blp.route("")
@requires("read")
@blp.arguments(SetupCheckListQuery, location="query")
@blp.response(200, SetupCheckPageSchema)
def list_setup_checks(query: dict[str, Any]) -> Any:
    """List stored set-up checks in short, the latest first."""
    with reading() as session:
        found, key = setup_checks.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("/<int:setup_check_id>")
@requires("read")
@blp.response(200, StoredSetupCheckSchema)
def show_setup_check(setup_check_id: int) -> Any:
    """Show a stored set-up check with the set-up that was asked about."""
    with reading() as session:
        return setup_checks.get(session, setup_check_id)
