"""Pictures as answers: SVG and PNG."""

from __future__ import annotations

from typing import Any

from flask import Response

MEDIA_TYPES = {"svg": "image/svg+xml", "png": "image/png"}
# An SVG opened by itself may style itself, and no more.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"


def documented(kind: str) -> dict[str, Any]:
    """Arguments of ``Blueprint.response`` for a picture of a kind, `svg` or `png`."""
    return {
        "status_code": 200,
        "schema": {"type": "string", "contentMediaType": MEDIA_TYPES[kind]},
        "content_type": MEDIA_TYPES[kind],
    }


def picture(content: bytes, kind: str) -> Response:
    """Answer a picture of a kind, `svg` or `png`."""
    response = Response(content, mimetype=MEDIA_TYPES[kind])
    response.headers["Content-Security-Policy"] = _POLICY
    return response
