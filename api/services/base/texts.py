"""A request as it is kept: JSON whose numbers are the texts that were sent."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any


def texted(value: Any) -> Any:
    """Return a JSON value with every Decimal as plain text."""
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, Mapping):
        return {key: texted(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [texted(part) for part in value]
    return value
