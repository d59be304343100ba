"""Webhooks: addresses that are told of changes, signed and in order, at least once.

`tracehold webhooks deliver` sends what is due. Registering takes no Idempotency-Key: its answer is
kept for a day, and the secret would be kept with it. A delivery carries `Tracehold-Signature:
t=<seconds>,v1=<hex>`, HMAC-SHA256 with the secret over the seconds, a full stop and the body.
"""

from __future__ import annotations

from typing import Any

from flask import current_app

from api.schemas.webhooks import (
    WebhookAnswerSchema,
    WebhookChangeSchema,
    WebhookDeliverySchema,
    WebhookSchema,
)
from api.services.feed import webhooks
from api.web import paging
from api.web.auth import requires
from api.web.blueprints import Blueprint
from api.web.clock import now_us
from api.web.etags import check_if_match, etag_of, needs_if_match
from api.web.transactions import reading, writing

blp = Blueprint("webhooks", __name__, url_prefix="/v1/webhooks", description=__doc__)
WebhookPageSchema = paging.page_schema("WebhookPage", WebhookAnswerSchema)
WebhookDeliveryPageSchema = paging.page_schema("WebhookDeliveryPage", WebhookDeliverySchema)


@blp.route("", methods=["POST"])
@requires("admin")
@blp.arguments(WebhookSchema)
@blp.response(201, WebhookAnswerSchema)
def register_webhook(sent: dict[str, Any]) -> Any:
    """Register an address; its secret is in this answer and cannot be shown again."""
    with writing() as session:
        to_private = current_app.config["WEBHOOKS_TO_PRIVATE"]
        webhook, secret = webhooks.create(session, sent, now_us(), to_private)
        shown = webhooks.answer(webhook)
    return shown | {"secret": secret}, 201, _headers(shown)


@blp.route("")
@requires("admin")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, WebhookPageSchema)
def list_webhooks(query: dict[str, Any]) -> Any:
    """List webhooks without their secrets."""
    with reading() as session:
        found, key = webhooks.find(session, paging.after(query), query["limit"])
    return paging.answer(found, key)


@blp.route("/<int:webhook_id>")
@requires("admin")
@blp.response(200, WebhookAnswerSchema)
def show_webhook(webhook_id: int) -> Any:
    """Show one webhook without its secret."""
    with reading() as session:
        shown = webhooks.answer(webhooks.get(session, webhook_id))
    return shown, 200, _headers(shown)


@blp.route("/<int:webhook_id>", methods=["PATCH"])
@requires("admin")
@needs_if_match
@blp.arguments(WebhookChangeSchema)
@blp.response(200, WebhookAnswerSchema)
def change_webhook(changes: dict[str, Any], webhook_id: int) -> Any:
    """Pause a webhook, set a paused or suspended one going again, or change its events."""
    with writing() as session:
        webhook = webhooks.get(session, webhook_id)
        check_if_match(etag_of(f"webhook {webhook.id}", webhook.version))
        shown = webhooks.answer(webhooks.change(session, webhook, changes))
    return shown, 200, _headers(shown)


@blp.route("/<int:webhook_id>/deliveries")
@requires("admin")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, WebhookDeliveryPageSchema)
def list_deliveries(query: dict[str, Any], webhook_id: int) -> Any:
    """List the deliveries of a webhook, newest first, with what came of every attempt."""
    with reading() as session:
        found, key = webhooks.deliveries(
            session, webhooks.get(session, webhook_id), paging.after(query), query["limit"]
        )
    return paging.answer(found, key)


def _headers(shown: dict[str, Any]) -> dict[str, str]:
    return {
        "ETag": etag_of(f"webhook {shown['id']}", shown["version"]),
        "Location": f"/v1/webhooks/{shown['id']}",
        "Cache-Control": "no-store",
    }
