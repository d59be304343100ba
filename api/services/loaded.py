"""A record as a schema loads it."""

from __future__ import annotations

from typing import Any

Record = dict[str, Any]
