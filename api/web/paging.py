"""Lists in pages: ``{"items": [...], "next": address or null}`` and a Link header (RFC 8288).

The cursor is opaque to callers: the last key, as JSON in base64url. ``api.store.paging`` turns it
into the next rows.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Sequence
from typing import Any, TypedDict
from urllib.parse import urlencode

from flask import request
from marshmallow import Schema, fields, validate

from api.schemas.base import StrictSchema
from api.web.json import MalformedJson, dumps, loads
from api.web.problems import Problem

DEFAULT_LIMIT = 100
MAX_LIMIT = 1000


class PageQuery(StrictSchema):
    """Query of a list; filters of one list stand in a subclass."""

    limit = fields.Integer(
        load_default=DEFAULT_LIMIT,
        validate=validate.Range(1, MAX_LIMIT),
        metadata={"description": "Entries a page"},
    )
    cursor = fields.String(metadata={"description": "Where to go on; taken from next"})


class Page(TypedDict):
    """Body of a page."""

    items: Sequence[Any]
    next: str | None


def after(query: dict[str, Any]) -> tuple[Any, ...] | None:
    """Return the key that the query's cursor stands for, None at the start of the list.

    Raises ``Problem`` (400) if the cursor was not made here.
    """
    given = query.get("cursor")
    if given is None:
        return None
    try:
        padded = given + "=" * (-len(given) % 4)
        key = loads(base64.b64decode(padded.encode("ascii"), altchars=b"-_", validate=True))
    except (UnicodeEncodeError, binascii.Error, MalformedJson):
        key = None
    if not isinstance(key, list):
        raise Problem("bad-request", "The cursor was not given out by this server.")
    return tuple(key)


def cursor(key: Sequence[Any]) -> str:
    """Return the cursor that stands for a key."""
    return base64.urlsafe_b64encode(dumps(list(key))).decode().rstrip("=")


def answer(items: Sequence[Any], key: Sequence[Any] | None) -> tuple[Page, int, dict[str, str]]:
    """Body, status and headers of a page whose list goes on behind ``key`` (None: it ends)."""
    if key is None:
        return {"items": items, "next": None}, 200, {}
    query = [(k, v) for k, v in request.args.items(multi=True) if k != "cursor"]
    address = f"{request.path}?{urlencode([*query, ('cursor', cursor(key))])}"
    return {"items": items, "next": address}, 200, {"Link": f'<{address}>; rel="next"'}


def page_schema(name: str, entry: type[Schema]) -> type[Schema]:
    """Schema of a page of such entries; ``name`` is its name in the OpenAPI document."""
    return StrictSchema.from_dict(
        {
            "items": fields.List(fields.Nested(entry), required=True),
            "next": fields.String(
                required=True,
                allow_none=True,
                metadata={"description": "Address of the next page; null at the end"},
            ),
        },
        name=name,
    )
