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
    stage : str or None
        Its stage, where there are several: as_found or as_left.
    """

    code: str
    weight: str
    detail: str
    remedy: str
    item: str | None = None
    point: str | None = None
    stage: str | None = None


def told_apart(stage: str) -> str | None:
    """Return the stage of a result as a finding names it: only where a point has more than one."""
    return None if stage == "single" else stage
