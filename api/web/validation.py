"""Error trees of marshmallow and webargs, flattened to a list of faults with their place.

``{"json": {"uses": {0: {"weight": ["…"]}}}}`` becomes one fault at ``/uses/0/weight``. What was
sent there is shown where it is a single value. Remedies come from ``Complaint`` messages, or from
the table of marshmallow's own sentences below.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from api.errors import pointer

SHOWN_LENGTH = 100
_BODY_LOCATIONS = ("json", "form", "files", "json_or_form")
_ABSENT = object()
# How marshmallow's sentences about choices and lengths begin -> ours and the remedy, told the rest.
_CHOICES = "Must be one of: "
_LENGTHS = (
    (re.compile(r"Shorter than minimum length (\d+)\."), "fewer than {}", "send {} or more"),
    (re.compile(r"Longer than maximum length (\d+)\."), "more than {}", "send {} at most"),
    (re.compile(r"Length must be between (\d+ and \d+)\."), "not between {}", "send between {}"),
    (re.compile(r"Length must be (\d+)\."), "not {}", "send {}"),
)
# marshmallow's sentence -> ours and the remedy.
_SENTENCES = {
    "Missing data for required field.": ("required field is missing", "add it"),
    "Field may not be null.": ("null is not allowed here", "leave it out or give a value"),
    "Not a valid boolean.": ("not true or false", "send true or false without quotation marks"),
    "Not a valid list.": ("not a list", "send [...] here"),
    "Not a valid mapping type.": ("not a JSON object", "send {...} here"),
    "Invalid input type.": ("not a JSON object", "send {...} here"),
    "Not a valid string.": ("not a text", "put it in quotation marks"),
    "Not a valid integer.": ("not a whole number", "send digits only"),
}


def issues_of(messages: Mapping[str, Any], error: Any = None) -> list[dict[str, str]]:
    """Faults, one mapping each: ``pointer`` or ``parameter``, ``detail``, ``remedy?``, ``value?``.

    ``messages`` are keyed by location as webargs does; ``error`` is the ValidationError they came
    from, whose ``data`` says what was sent.
    """
    sent = getattr(error, "data", _ABSENT)
    found: list[dict[str, str]] = []
    for location, tree in messages.items():
        in_body = location in _BODY_LOCATIONS
        for parts, message, value in _leaves(tree, sent, ()):
            place = pointer(*parts) if in_body else ".".join(map(str, parts)) or location
            detail, remedy = _SENTENCES.get(message) or _by_beginning(message)
            issue = {"pointer" if in_body else "parameter": place, "detail": detail}
            remedy = getattr(message, "remedy", remedy)
            if remedy:
                issue["remedy"] = remedy
            shown = _shown(value)
            if shown is not None:
                issue["value"] = shown
            found.append(issue)
    return found


def _by_beginning(message: str) -> tuple[str, str]:
    for sentence, detail, remedy in _LENGTHS:
        if found := sentence.fullmatch(message):
            return detail.format(found[1]), remedy.format(found[1])
    return message.removesuffix("."), "send one of these" if message.startswith(_CHOICES) else ""


def _leaves(
    tree: Any, sent: Any, parts: tuple[str | int, ...]
) -> Iterator[tuple[tuple[str | int, ...], str, Any]]:
    if isinstance(tree, Mapping):
        for key, inner in tree.items():
            if key == "_schema" or _is_dict_field_level(key, inner, sent):
                yield from _leaves(inner, sent, parts)
            else:
                yield from _leaves(inner, _child(sent, key), (*parts, key))
    elif isinstance(tree, list | tuple):
        for inner in tree:
            yield from _leaves(inner, sent, parts)
    else:
        yield parts, str(tree) if not isinstance(tree, str) else tree, sent


def _is_dict_field_level(key: Any, inner: Any, sent: Any) -> bool:
    # marshmallow's Dict field puts "key" or "value" between a key and what is wrong with it.
    if key not in ("key", "value") or sent is _ABSENT:
        return False
    return not isinstance(sent, Mapping) or (isinstance(inner, Mapping) and key not in sent)


def _child(sent: Any, key: Any) -> Any:
    try:
        return sent[key]
    except (KeyError, IndexError, TypeError):
        return _ABSENT


def _shown(value: Any) -> str | None:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str | int | Decimal):
        text = str(value)
        return text if len(text) <= SHOWN_LENGTH else text[:SHOWN_LENGTH] + "…"
    return None
