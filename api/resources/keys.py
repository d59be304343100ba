"""API keys: list, create, rotate, revoke. Only a key with the scope admin may."""

from __future__ import annotations

import time
from typing import Any

from api.schemas.keys import (
    CreatedKeySchema,
    KeySchema,
    NewKeySchema,
    RotatedKeySchema,
    RotationSchema,
)
from api.services.access import keys
from api.web import paging
from api.web.auth import forget_keys, requires
from api.web.blueprints import Blueprint
from api.web.transactions import reading, writing

blp = Blueprint("keys", __name__, url_prefix="/v1/keys", description="API keys and their scopes")
KeyPageSchema = paging.page_schema("KeyPage", KeySchema)


@blp.route("")
@requires("admin")
@blp.arguments(paging.PageQuery, location="query")
@blp.response(200, KeyPageSchema)
def list_keys(query: dict[str, Any]) -> Any:
    """List API keys, revoked ones too."""
    with reading() as session:
        found, key = keys.list_keys(session, paging.after(query), query["limit"])
    return paging.answer([keys.shown(record) for record in found], key)


@blp.route("", methods=["POST"])
@requires("admin")
@blp.arguments(NewKeySchema)
@blp.response(201, CreatedKeySchema)
def create_key(new: dict[str, Any]) -> Any:
    """Create an API key; its token is in this answer and never shown again.

    Without Idempotency-Key on purpose: a kept answer would keep the token.
    """
    with writing() as session:
        record, token = keys.create_key(
            session,
            new["name"],
            new["scopes"],
            new.get("customer"),
            keys.expiry_of(new.get("expires")),
            person=new.get("person"),
            now=_now(),
        )
    return {**keys.shown(record), "token": token}, 201, {"Location": f"/v1/keys/{record.public_id}"}


@blp.route("/<key_id>")
@requires("admin")
@blp.response(200, KeySchema)
def show_key(key_id: str) -> Any:
    """Show one API key without its secret."""
    with reading() as session:
        return keys.shown(keys.get_key(session, key_id))


@blp.route("/<key_id>", methods=["DELETE"])
@requires("admin")
@blp.response(200, KeySchema)
def revoke_key(key_id: str) -> Any:
    """Revoke an API key for good; it stays listed."""
    with writing() as session:
        record = keys.revoke(session, key_id, _now())
    forget_keys()
    return keys.shown(record)


@blp.route("/<key_id>/rotation", methods=["POST"])
@requires("admin")
@blp.arguments(RotationSchema)
@blp.response(201, RotatedKeySchema)
def rotate_key(asked: dict[str, Any], key_id: str) -> Any:
    """Replace an API key by a new one with the same rights; the old one ends after a grace.

    The new token is in this answer and never shown again; without Idempotency-Key, see creation.
    If the answer is lost, rotate again and revoke the key that nobody has.
    """
    grace_us = asked["grace_hours"] * keys.HOUR_US
    with writing() as session:
        old, made, token = keys.rotate(
            session, key_id, grace_us, keys.expiry_of(asked.get("expires")), now=_now()
        )
    forget_keys()
    shown = {**keys.shown(made), "token": token, "replaces": keys.shown(old)}
    return shown, 201, {"Location": f"/v1/keys/{made.public_id}"}


def _now() -> int:
    return time.time_ns() // 1000
