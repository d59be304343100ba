"""Fields that keep what was sent: decimals with their digits, moments with their zone, clean text.

A message may be a ``Complaint``: the sentence plus a remedy, which the problem answer shows
beside it. Nothing here asks the database.
"""

from __future__ import annotations

import re
import time
import unicodedata
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from marshmallow import ValidationError, fields, validate

from api.schemas.vocabulary import MODES
from graph.moments import BadMoment, check_text, moment

MAX_DIGITS = 60
MAX_EXPONENT = 60
MAX_MOMENT = 40
DAY_US = 86_400_000_000
_UTC = ZoneInfo("UTC")
MAX_WHOLE = 2**53 - 1  # what every JSON reader can hold exactly (RFC 8259 section 6)

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,9})?")


class Complaint(str):
    """A message with the remedy that belongs to it."""

    __slots__ = ("remedy",)
    remedy: str

    def __new__(cls, detail: str, remedy: str = "") -> Complaint:
        """Make the message; ``remedy`` says what to send instead."""
        made = super().__new__(cls, detail)
        made.remedy = remedy
        return made


def refuse(detail: str, remedy: str = "") -> ValidationError:
    """Error to raise from a field or a schema, with its remedy."""
    return ValidationError(Complaint(detail, remedy))


class DecimalText(fields.Field[Decimal]):
    """A decimal number as text, or a JSON number read from its own digits; never a binary float.

    At most ``MAX_DIGITS`` significant digits and an exponent within ``MAX_EXPONENT``. Loads to a
    Decimal with the digits that were sent, dumps to plain notation.
    """

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Decimal:
        return decimal_of(value)

    def _serialize(
        self, value: Decimal | int | None, attr: str | None, obj: Any, **kwargs: Any
    ) -> str | None:
        number = None if value is None else Decimal(value)
        return None if number is None or not number.is_finite() else format(number, "f")


def decimal_of(value: object) -> Decimal:
    """Decimal of what was sent; raises ValidationError for anything that is not a plain number."""
    if isinstance(value, str):
        if not _NUMBER.fullmatch(value):
            raise refuse("not a decimal number", 'send digits with a point, such as "10.015"')
        number = Decimal(value)
        if len(value) <= MAX_DIGITS and "e" not in value and "E" not in value:
            return number  # few characters without an exponent hold few digits: the usual case
    elif isinstance(value, Decimal):
        number = value
    elif isinstance(value, int) and not isinstance(value, bool):
        number = Decimal(value)
    else:
        raise refuse("not a decimal number", 'send a number or text such as "10.015"')
    if not number.is_finite():
        raise refuse("not a finite number", "leave it out where there is no value")
    _, digits, exponent = number.as_tuple()
    if len(digits) > MAX_DIGITS:
        raise refuse(f"more than {MAX_DIGITS} significant digits", "send fewer digits")
    if abs(int(exponent)) > MAX_EXPONENT:
        raise refuse(f"exponent beyond {MAX_EXPONENT}", "check the number and its unit")
    return number


def at_least(low: int) -> Callable[[Decimal], None]:
    """Validator of a decimal that may not be smaller."""

    def check(value: Decimal) -> None:
        if value < low:
            raise refuse(f"{value} is smaller than {low}", f"send {low} or more")

    return check


def above(low: int) -> Callable[[Decimal], None]:
    """Validator of a decimal that must be larger."""

    def check(value: Decimal) -> None:
        if value <= low:
            raise refuse(f"{value} is not above {low}", f"send more than {low}")

    return check


class MomentText(fields.Field[str]):
    """A bare date, or a date-time with its zone (RFC 3339), kept as the text that was sent."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        return moment_of(value)

    def _serialize(
        self, value: str | None, attr: str | None, obj: Any, **kwargs: Any
    ) -> str | None:
        return value


class DoneText(MomentText):
    """When something was done that is recorded afterwards: not in the future.

    A day ahead of this server's clock is let pass, so that neither a zone nor a clock that is a
    little wrong keeps a record out.
    """

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        text = super()._deserialize(value, attr, data, **kwargs)
        if moment(text, _UTC).start_us > time.time_ns() // 1000 + DAY_US:
            raise refuse(
                "in the future, more than a day ahead of this server's clock",
                "check the year and the day; what is planned is recorded once it was done",
            )
        return text


def moment_of(value: object) -> str:
    """Give the text back if it is a possible date or instant; raises ValidationError otherwise."""
    if not isinstance(value, str) or len(value) > MAX_MOMENT:
        raise refuse("not a date or date-time", "send 2025-03-10 or 2025-03-10T16:00:00Z")
    try:
        check_text(value)
    except BadMoment as bad:
        detail, _, remedy = str(bad).partition("; ")
        raise refuse(detail, remedy or "check the day and the time") from None
    return value


# Letters and signs that leave nothing on paper: fillers of Hangul, the blank of Braille.
_BLANKS = "\u115f\u1160\u2800\u3164\uffa0"


def _is_seen(character: str) -> bool:
    """Whether a character leaves anything on paper: no space, no mark alone, none without width."""
    return unicodedata.category(character)[0] not in "ZCM" and character not in _BLANKS


class Text(fields.Field[str]):
    """Text that is not empty, not longer than ``max_length`` and free of control characters.

    ``lines=True`` lets line breaks and tabs through, for remarks.
    """

    def __init__(self, *, max_length: int = 2000, lines: bool = False, **kwargs: Any) -> None:
        limits = {"minLength": 1, "maxLength": max_length}
        super().__init__(metadata={**limits, **kwargs.pop("metadata", {})}, **kwargs)
        self.max_length = max_length
        self.lines = lines

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> str:
        if not isinstance(value, str):
            raise refuse("not a text", "put it in quotation marks")
        if len(value) > self.max_length:
            raise refuse(f"longer than {self.max_length} characters", "shorten it")
        if not any(map(_is_seen, value)):
            raise refuse("empty text", "leave the field out, or fill it in")
        kept = value.translate(_LINE_CHARACTERS) if self.lines else value
        # isprintable is quick and true for most texts; only the rest is looked at more closely.
        if not kept.isprintable() and any(unicodedata.category(c) in ("Cc", "Cs") for c in kept):
            raise refuse("control characters in a text", "send printable characters only")
        return value

    def _serialize(
        self, value: str | None, attr: str | None, obj: Any, **kwargs: Any
    ) -> str | None:
        return value


class Mode(fields.String):
    """Tension or compression, in small or capital letters; absent where both are meant."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(validate=validate.OneOf(MODES), **kwargs)

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        text = super()._deserialize(value, attr, data, **kwargs)
        return text.strip().lower() if isinstance(text, str) else text


class WholeNumber(fields.Field[int]):
    """A whole number from ``minimum`` to ``maximum``; a fraction or a text is refused."""

    def __init__(self, *, minimum: int = 0, maximum: int = MAX_WHOLE, **kwargs: Any) -> None:
        super().__init__(metadata={"minimum": minimum, **kwargs.pop("metadata", {})}, **kwargs)
        self.minimum = minimum
        self.maximum = maximum

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> int:
        if not isinstance(value, int) or isinstance(value, bool):
            raise refuse("not a whole number", "send digits only, without quotation marks")
        if not self.minimum <= value <= self.maximum:
            raise refuse(f"not between {self.minimum} and {self.maximum}", "check the number")
        return value

    def _serialize(
        self, value: int | None, attr: str | None, obj: Any, **kwargs: Any
    ) -> int | None:
        return value


class Flag(fields.Boolean):
    """true or false as JSON has them; a number or a text that could mean either is refused."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> bool:
        if not isinstance(value, bool):
            raise refuse("neither true nor false", "send true or false, without quotation marks")
        return value


class FreeObject(fields.Field[dict[str, Any]]):
    """A JSON object of any content; its decimals are kept as text with their digits."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> dict[str, Any]:
        if not isinstance(value, dict):
            raise refuse("not a JSON object", "send {...} here")
        return {key: _kept(inner) for key, inner in value.items()}

    def _serialize(
        self, value: dict[str, Any] | None, attr: str | None, obj: Any, **kwargs: Any
    ) -> dict[str, Any] | None:
        return value


def _kept(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _kept(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_kept(inner) for inner in value]
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, int) and abs(value) > MAX_WHOLE:
        return str(value)
    return value


_LINE_CHARACTERS = str.maketrans("", "", "\n\r\t")
