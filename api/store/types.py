"""Column types that give back exactly what went in.

Numbers are stored as decimal text: a NUMERIC column goes through binary floats on SQLite and
loses trailing zeros on both engines. Structured values are stored as JSON text with their key
order. Instants are stored twice by the tables: the text as received and, for comparing, whole
microseconds since 1970-01-01T00:00:00Z.
"""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

from sqlalchemy import Dialect, Text
from sqlalchemy.types import TypeDecorator


class DecimalText(TypeDecorator[Decimal]):
    """A Decimal kept as its own text, digits and trailing zeros included."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> str | None:
        """Text of the number; zeros at its end are part of it."""
        return None if value is None else format(value, "f")

    def process_result_value(self, value: str | None, dialect: Dialect) -> Decimal | None:
        """The number whose text was stored."""
        return None if value is None else Decimal(value)


class WrittenJson(str):
    """JSON text that was written already, by `json_text`; it is stored as it is."""

    __slots__ = ()


def json_text(value: Any) -> WrittenJson:
    """Compact JSON text of a value, as it is stored."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return WrittenJson(text)


class JsonText(TypeDecorator[Any]):
    """A JSON value kept as text; the order of keys is preserved."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        """Compact JSON text."""
        if value is None or isinstance(value, WrittenJson):
            return value
        return json_text(value)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        """The value whose text was stored."""
        return None if value is None else json.loads(value)
