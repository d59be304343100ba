"""How large is this part? Lengths as text with a unit, exactly.

Choice: 1 in is 25.4 mm exactly (NIST SP 811:2008, appendix B, from memory),
so that a pin of 2 in and one of 50 mm are compared without rounding. A length is written as a
decimal or, as on drawings in inches, with a vulgar fraction: "2 1/4 in". Marks such as 2" are
refused, because they are also used for seconds of arc and are lost in copying.

Not checked: that a length makes sense for its part.
"""

import re
from dataclasses import dataclass
from fractions import Fraction

_MM = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction("25.4"),
    "ft": 12 * Fraction("25.4"),
}
# Names of the units of length.
LENGTH_UNITS: tuple[str, ...] = tuple(_MM)

_LONGEST = 60
_TEXT = re.compile(
    r"(?:(?P<decimal>[0-9]+(?:\.[0-9]+)?)"
    r"|(?:(?P<whole>[0-9]+)[ -])?(?P<above>[0-9]+)/(?P<below>[0-9]+))"
    r"\s*(?P<unit>[^\s0-9./-]\S*)"
)
_REMEDIES = {
    '"': "write in for inches",
    "''": "write in for inches",
    "inch": "write in",
    "inches": "write in",
    "'": "write ft for feet",
    "feet": "write ft",
    "foot": "write ft",
    "millimetres": "write mm",
}


class UnreadableLength(ValueError):
    """A text that is no length; the message says what to write."""


@dataclass(frozen=True, slots=True)
class Length:
    """A length as it was written, and in millimetres.

    Attributes
    ----------
    text : str
        As written, without spaces around it.
    mm : Fraction
        In millimetres, exactly.
    """

    text: str
    mm: Fraction


def parse_length(text: object) -> Length:
    """Return the length that a text such as "50.8 mm", "2 in" or "2 1/4 in" stands for.

    Parameters
    ----------
    text : object
        A number with one of LENGTH_UNITS; 1 in is 25.4 mm (NIST SP 811:2008, appendix B, from
        memory).

    Returns
    -------
    Length

    Raises
    ------
    UnreadableLength
        For anything else, a number without unit and a negative one included.

    Examples
    --------
    >>> parse_length("2 in").mm
    Fraction(254, 5)
    >>> parse_length("2 1/4 in").mm - parse_length("2.25 in").mm
    Fraction(0, 1)
    """
    if not isinstance(text, str):
        shown = repr(text)[:_LONGEST]
        raise UnreadableLength(f'{shown} is not a length; write it as text, such as "50.8 mm"')
    stripped = text.strip()
    match = _TEXT.fullmatch(stripped) if len(stripped) <= _LONGEST else None
    if match is None:
        raise UnreadableLength(f'{text[:_LONGEST]!r} is not a length; write one such as "50.8 mm"')
    unit = match["unit"]
    if unit not in _MM:
        remedy = _REMEDIES.get(unit.lower(), f"use one of {', '.join(LENGTH_UNITS)}")
        raise UnreadableLength(f"{unit!r} is not a unit of length; {remedy}")
    return Length(stripped, _number(match) * _MM[unit])


def _number(match: re.Match[str]) -> Fraction:
    if match["decimal"]:
        return Fraction(match["decimal"])
    if not int(match["below"]):
        raise UnreadableLength(f"{match[0]!r} divides by zero; check the fraction")
    return int(match["whole"] or 0) + Fraction(int(match["above"]), int(match["below"]))
