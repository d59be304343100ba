"""Items: anything that can influence a result."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from api.schemas.base import SwapMadeSchema
from api.schemas.items import ItemAnswerSchema, ItemChangeSchema, ItemQuerySchema, ItemSchema
from api.services.base.recording import begin, record_one
from api.services.records import items, record_corrections
from api.services.records.record_corrections import IDENTITY
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import check_if_match, etag_of, needs_if_match
from api.web.idempotency import idempotent
from api.web.transactions import reading, writing

blp = Blueprint("items", __name__, url_prefix="/v1/items", description=__doc__)
ItemPageSchema = paging.page_schema("ItemPage", ItemAnswerSchema)
IdentitySwapOfItemPageSchema = paging.page_schema("IdentitySwapOfItemPage", SwapMadeSchema)


class ItemListQuery(paging.PageQuery, ItemQuerySchema):
    """Filters of the list, and where to go on."""


@blp.route("")
@requires("read")
@blp.arguments(ItemListQuery, location="query")
@blp.response(200, ItemPageSchema)
def list_items(query: dict[str, Any]) -> Any:
    """List items by id."""
    with reading() as session:
        found, key = items.find(session, query, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("", methods=["POST"])
@requires("record")
@idempotent
@blp.arguments(ItemSchema)
@blp.response(201, ItemAnswerSchema)
@blp.alt_response(200, schema=ItemAnswerSchema, description="The same item was recorded already")
def record_item(item: dict[str, Any]) -> Any:
    """Record an item; the same again is answered with 200 and changes nothing."""
    with writing() as session:
        outcome = record_one(session, items.COLLECTION, item, now_us())
        shown = items.shown(session, items.get(session, item["id"]))
    return shown, 201 if outcome.created else 200, _headers(shown)


@blp.route("/<path:item_id>/identity-swaps")
@requires("read")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, IdentitySwapOfItemPageSchema)
def list_item_swaps(query: dict[str, Any], item_id: str) -> Any:
    """List the exchanges in which the item was taken for another, oldest first, by pages."""
    with reading() as session:
        key = items.get(session, item_id).id
        found, behind = record_corrections.find(
            session, IDENTITY, key, paging.after(query), query["limit"]
        )
    return paging.answer(found, behind)


@blp.route("/<path:item_id>")
@requires("read")
@blp.response(200, ItemAnswerSchema)
def show_item(item_id: str) -> Any:
    """Show one item."""
    with reading() as session:
        shown = items.shown(session, items.get(session, item_id))
    return shown, 200, _headers(shown)


@blp.route("/<path:item_id>", methods=["PATCH"])
@requires("record")
@needs_if_match
@blp.arguments(ItemChangeSchema)
@blp.response(200, ItemAnswerSchema)
def change_item(changes: dict[str, Any], item_id: str) -> Any:
    """Change what is known of an item; its id and kind stay."""
    with writing() as session:
        recording = begin(session, now_us())
        item = items.get(session, item_id)
        check_if_match(etag_of(item.code, item.version))
        items.change(recording, item, changes)
        shown = items.shown(session, item)
    return shown, 200, _headers(shown)


def _headers(shown: dict[str, Any]) -> dict[str, str]:
    return {
        "ETag": etag_of(shown["id"], shown["version"]),
        "Location": f"/v1/items/{quote(shown['id'], safe='')}",
    }
