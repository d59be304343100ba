"""The window of a fault in a sentence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def window_sentence(window: Mapping[str, Any]) -> str:
    """Say from when until when uses are suspect, and whether the ends are."""
    start = window["start"] or "the beginning"
    begin = "from" if window["start_inclusive"] else "after"
    until = "until" if window["end_inclusive"] else "before"
    end = window["end"] or "now"
    return f"Window of {window['item']}: {begin} {start}, {until} {end}"
