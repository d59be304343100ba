"""What speaks against issuing a certificate: one finding, its weight and its remedy."""

from __future__ import annotations

from typing import NamedTuple

# A stop refuses the issue unless a named person answers for it; what is minded is shown.
STOP = "stop"
MIND = "mind"


class Finding(NamedTuple):
    """One thing that speaks against a certificate.

    Attributes
    ----------
    code : str
        What it is, such as ``verdict_differs``.
    weight : str
        STOP or MIND.
    detail : str
        What was found.
    remedy : str
        What mends it.
    item : str or None
        The item that it concerns.
    point : str or None
        The point that it concerns.
    """

    code: str
    weight: str
    detail: str
    remedy: str
    item: str | None = None
    point: str | None = None
