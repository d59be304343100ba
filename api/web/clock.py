"""The one clock of the web layer."""

from __future__ import annotations

import time


def now_us() -> int:
    """Whole microseconds since 1970-01-01T00:00:00Z."""
    return time.time_ns() // 1000
