"""A record as a schema loads it, and the digest by which two of them are the same."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

Record = dict[str, Any]


def digest(record: Mapping[str, Any]) -> str:
    """SHA-256 over the canonical text of a record; absent and null are the same."""
    text = json.dumps(_canonical(record), sort_keys=True, ensure_ascii=False, default=_text)
    return hashlib.sha256(text.encode()).hexdigest()


def _canonical(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _canonical(part) for key, part in value.items() if part is not None}
    if isinstance(value, list | tuple):
        return [_canonical(part) for part in value]
    return value


def _text(value: object) -> str:
    if isinstance(value, Decimal):
        return format(value, "f")
    raise TypeError(f"{type(value).__name__} does not belong in a record")
