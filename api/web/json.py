"""JSON in and out, such that numbers keep their digits.

In: a fraction becomes a Decimal from its own digits and never a binary float. Refused, because two
readers could understand them differently or because no answer could hold them: NaN and Infinity,
the same key twice in one object, half of a surrogate pair, a NUL. Refused, because they would cost
more than any honest request: nesting deeper than ``MAX_DEPTH``, an exponent beyond ``MAX_EXPONENT``
(in plain notation it would fill the memory), more digits than Python reads, more values than the
reader allows.
Out: Decimals are strings in plain notation, keys keep their order, and a number that is not finite
is null. Source: RFC 8259 (sections 4, 6, 8.2 and 9 leave these to the reader).

Not checked here: the meaning of anything (see ``api.schemas``).
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import orjson
from flask import Response
from flask.json.provider import JSONProvider

MAX_DEPTH = 64
MAX_EXPONENT = 999
_SUSPECT_ESCAPE = re.compile(r"\\u(?:0000|[dD][89a-fA-F])")
_UNSTORABLE = re.compile("[\x00\ud800-\udfff]")


class MalformedJson(ValueError):
    """The text is not JSON that has one meaning; the message says where or why."""


class ExcessiveJson(MalformedJson):
    """The text is JSON, but nests deeper or holds more than is read here."""


def loads(text: str | bytes, most_values: int | None = None) -> Any:
    """Value of a JSON text; numbers with a fraction or an exponent are Decimals.

    ``most_values`` are the members and elements that it may have in all. Raises ``MalformedJson``,
    where a limit is passed its kind ``ExcessiveJson``. A byte order mark at the start is skipped.
    """
    try:
        if isinstance(text, bytes | bytearray | memoryview):
            text = bytes(text).decode().removeprefix("\ufeff")
        value = _DECODER.decode(text)
    except MalformedJson:
        raise
    except UnicodeDecodeError as error:
        raise MalformedJson(f"not UTF-8 at byte {error.start}") from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise MalformedJson(f"{error.msg} ({where})") from None
    except RecursionError:
        raise ExcessiveJson(f"nested deeper than {MAX_DEPTH} levels") from None
    except (ArithmeticError, ValueError):
        raise ExcessiveJson("a number is too long or its exponent too large") from None
    _check_depth(text, value)
    if most_values is not None and text.count(",") >= most_values:
        _check_values(value, most_values)
    if _SUSPECT_ESCAPE.search(text) and any(map(_UNSTORABLE.search, _strings(value))):
        raise MalformedJson("a text holds a NUL or half of a surrogate pair")
    return value


def dumps(value: Any) -> bytes:
    """UTF-8 JSON of a value: Decimals as plain text, key order kept, NaN and infinity as null.

    A whole number beyond 64 bits goes out as text too.
    """
    try:
        return orjson.dumps(value, default=_plain, option=orjson.OPT_SERIALIZE_NUMPY)
    except orjson.JSONEncodeError:
        return orjson.dumps(_narrowed(value), default=_plain, option=orjson.OPT_SERIALIZE_NUMPY)


class DecimalJSONProvider(JSONProvider):
    """What Flask uses for ``jsonify`` and ``request.get_json``."""

    def dumps(self, obj: Any, **kwargs: Any) -> str:
        """JSON text; ``indent`` is honoured as two spaces, other options have no meaning here."""
        if kwargs.get("indent"):
            option = orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_INDENT_2
            return orjson.dumps(obj, default=_plain, option=option).decode()
        return dumps(obj).decode()

    def loads(self, s: str | bytes, **kwargs: Any) -> Any:
        """Value of a JSON text; raises ``MalformedJson``, which is a ValueError."""
        return loads(s)

    def response(self, *args: Any, **kwargs: Any) -> Response:
        """Answer whose body is the JSON of its arguments."""
        body = dumps(self._prepare_response_obj(args, kwargs))
        return Response(body, mimetype="application/json")


def _plain(value: Any) -> str | None:
    if isinstance(value, Decimal):
        return format(value, "f") if value.is_finite() else None
    raise TypeError(f"{type(value).__name__} has no JSON form")


def _narrowed(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _narrowed(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_narrowed(inner) for inner in value]
    if isinstance(value, int) and value.bit_length() > 63:
        return str(value)
    return value


def _number(text: str) -> Decimal:
    number = Decimal(text)
    if ("e" in text or "E" in text) and abs(number.adjusted()) > MAX_EXPONENT:
        raise ExcessiveJson(f"a number has an exponent beyond {MAX_EXPONENT}")
    return number


def _refuse_constant(name: str) -> Any:
    raise MalformedJson(f"{name} is not a JSON number")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise MalformedJson(f"the key {key[:100]!r} stands twice in one object")
            seen.add(key)
    return found


def _check_depth(text: str, value: Any) -> None:
    if text.count("[") + text.count("{") <= MAX_DEPTH:
        return
    level = [value] if isinstance(value, dict | list) else []
    for _ in range(MAX_DEPTH):
        level = [
            child
            for node in level
            for child in (node.values() if type(node) is dict else node)
            if type(child) is dict or type(child) is list
        ]
        if not level:
            return
    raise ExcessiveJson(f"nested deeper than {MAX_DEPTH} levels")


def _check_values(value: Any, most: int) -> None:
    count = 0
    waiting = [value]
    while waiting:
        node = waiting.pop()
        if not isinstance(node, dict | list):
            continue
        count += len(node)
        if count > most:
            raise ExcessiveJson(f"more than {most} values")
        waiting.extend(node.values() if isinstance(node, dict) else node)


def _strings(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield key
            yield from _strings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _strings(inner)


_DECODER = json.JSONDecoder(
    parse_float=_number, parse_constant=_refuse_constant, object_pairs_hook=_unique
)
