"""How the parts of a rule are read from JSON, and the error for one that cannot be used.

Choice: a number is text, int or Decimal; a float is refused, its digits are not those that were
sent. Every refusal points at its part (JSON Pointer, RFC 6901).

Not checked: what a part means; the rule knows that.
"""

from collections.abc import Mapping
from decimal import Decimal, InvalidOperation

from api.rules.exact import FieldError, finite


class RuleError(FieldError):
    """A rule that cannot be used; `field` is a JSON pointer into the rule."""


def number(value: object, pointer: str) -> Decimal:
    """Return a finite number; raise RuleError."""
    if isinstance(value, bool) or not isinstance(value, str | int | Decimal):
        raise RuleError(pointer, "a decimal number, best as text, is needed")
    try:
        found = Decimal(value)
    except InvalidOperation:
        raise RuleError(pointer, f"{value!r} is not a number") from None
    try:
        finite(found, "")
    except FieldError as error:
        raise RuleError(pointer, str(error)) from None
    return found


def whole(value: object, pointer: str) -> int:
    """Return a whole number, which is never text; raise RuleError."""
    found = number(value, pointer)
    if isinstance(value, str) or found != found.to_integral_value():
        raise RuleError(pointer, "a whole number is needed")
    return int(found)


def text(value: object, pointer: str) -> str | None:
    """Return text or None; raise RuleError for anything else."""
    if value is not None and not isinstance(value, str):
        raise RuleError(pointer, "text is needed")
    return value


def only(mapping: Mapping[str, object], known: set[str], pointer: str) -> None:
    """Refuse keys that are not known."""
    for key in mapping:
        if key not in known:
            raise RuleError(f"{pointer}/{key}", f"unknown key {key!r}")
