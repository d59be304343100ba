"""Is this a request for a decision of the usual form? Then it is loaded without marshmallow.

Choice: the one form that instruments and scripts send by the thousand is read field by field, with
the same checks as `decisions.NewDecisionSchema` and the same result; whatever is not surely of that
form is left to the schema, which alone words what is wrong. A test holds the two together.

Not checked: anything that the schema would refuse; it is given to the schema.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from marshmallow import ValidationError

from api.schemas.decision_rules import read_rule
from api.schemas.fields import decimal_of

_LONGEST_TEXT, _LONGEST_UNIT = 2000, 20


def usual_request(data: Any) -> dict[str, Any] | None:
    """Return the loaded request, its fields in the order of the schema; None if not sure."""
    if type(data) is not dict or not data.keys() <= _READERS.keys():
        return None
    try:
        found = {name: read(data[name]) for name, read in _READERS.items() if name in data}
    except (_Unusual, ValidationError):
        return None
    if not found.keys() >= _NEEDED or ("limits" in found) == ("tolerance" in found):
        return None
    if ("nominal" in found) != ("tolerance" in found):
        return None
    found.setdefault("store", True)
    return found


class _Unusual(Exception):
    """Something that the schema has to look at."""


def _bounded(holds: Callable[[Decimal], bool]) -> Callable[[Any], Decimal]:
    def read(value: Any) -> Decimal:
        number = decimal_of(value)
        if not holds(number):
            raise _Unusual
        return number

    return read


def _text(longest: int) -> Callable[[Any], str]:
    def read(value: Any) -> str:
        if type(value) is not str or len(value) > longest:
            raise _Unusual
        if not value.isprintable() or not value.strip():
            raise _Unusual
        return value

    return read


def _limits(value: Any) -> dict[str, Any]:
    if type(value) is not dict or not value.keys() <= {"lower", "upper"}:
        raise _Unusual
    sides = ((side, value[side]) for side in ("lower", "upper") if side in value)
    found = {side: None if limit is None else {"value": decimal_of(limit)} for side, limit in sides}
    if not any(found.values()):
        raise _Unusual
    return found


def _prior(value: Any) -> dict[str, Any]:
    if type(value) is not dict or value.keys() != {"mean", "sd"}:
        raise _Unusual
    return {"mean": decimal_of(value["mean"]), "sd": _not_negative(value["sd"])}


def _flag(value: Any) -> bool:
    if value is not True and value is not False:
        raise _Unusual
    return value


_not_negative = _bounded(lambda number: number >= 0)
_short = _text(_LONGEST_UNIT)
_words = _text(_LONGEST_TEXT)
_NEEDED = {"value", "U", "unit", "rule"}
# In the order of the schema, which is the order of a stored request.
_READERS: Mapping[str, Callable[[Any], Any]] = {
    "value": decimal_of,
    "U": _not_negative,
    "k": _bounded(lambda number: number > 0),
    "dof": _bounded(lambda number: number >= 1),
    "unit": _short,
    "limits": _limits,
    "nominal": decimal_of,
    "tolerance": _not_negative,
    "rule": read_rule,
    "prior": _prior,
    "results": _words,
    "specification": _words,
    "store": _flag,
}
