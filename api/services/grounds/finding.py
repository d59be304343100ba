"""One thing that speaks against issuing a certificate, or that should be borne in mind."""

from __future__ import annotations

from typing import NamedTuple

STOP, MIND = "stop", "mind"


class Finding(NamedTuple):
    """What was found: its code, its weight (STOP or MIND), what is so, and what can be done."""

    code: str
    weight: str
    detail: str
    remedy: str
    item: str | None = None
    point: str | None = None
