"""The laboratory: name, address and contact on its notices, and what it asks for at issue."""

from __future__ import annotations

from typing import Any

from api.schemas.laboratory import LaboratoryChangeSchema, LaboratoryRecordSchema
from api.services.records import laboratory
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.etags import check_if_match, etag_of, needs_if_match
from api.web.json import dumps
from api.web.transactions import reading, writing

blp = Blueprint("laboratory", __name__, url_prefix="/v1/laboratory", description=__doc__)


@blp.route("")
@requires("read")
@blp.response(200, LaboratoryRecordSchema)
def show_laboratory() -> Any:
    """Show the laboratory."""
    with reading() as session:
        shown = laboratory.answer(session)
    return shown, 200, _headers(shown)


@blp.route("", methods=["PATCH"])
@requires("recall")
@needs_if_match
@blp.arguments(LaboratoryChangeSchema)
@blp.response(200, LaboratoryRecordSchema)
def change_laboratory(changes: dict[str, Any]) -> Any:
    """Change name, address, contact, or `asked_at_issue`; notices that exist keep what they say.

    `asked_at_issue` names the fields without which no certificate is issued from now on. Imports of
    history are not asked.
    """
    with writing() as session:
        check_if_match(_headers(laboratory.locked(session))["ETag"])
        shown = laboratory.change(session, changes)
    return shown, 200, _headers(shown)


def _headers(shown: dict[str, Any]) -> dict[str, str]:
    return {"ETag": etag_of(dumps(shown).decode(), 1)}
