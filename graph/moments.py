"""When something happened: an instant, or a bare date that stands for its whole day.

Instants are whole microseconds since 1970-01-01T00:00:00Z, so that comparing them never depends on
how they were written. A bare date, the norm on older certificates, is the whole day in the
laboratory's time zone. A date-time without a zone is refused: it could be off by half a day.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_HALF_DAY_US = 12 * 3600 * 1_000_000
_BARE_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_DATE_TIME = re.compile(
    r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?(?P<zone>Z|[+-]\d{2}:\d{2})?"
)


class BadMoment(ValueError):
    """The text is not a date or a date-time with a zone; the message says how to mend it."""


class Moment(NamedTuple):
    """First and last microsecond of what a text says; equal for an instant.

    Parameters
    ----------
    start_us, end_us : int
        Microseconds since 1970-01-01T00:00:00Z.
    """

    start_us: int
    end_us: int

    @property
    def date_only(self) -> bool:
        """Whether only the day is known."""
        return self.end_us != self.start_us

    @property
    def noon_us(self) -> int:
        """The instant, or noon of the day, counted from its end: clocks change before noon."""
        return self.end_us + 1 - _HALF_DAY_US if self.date_only else self.start_us


def check_text(text: str) -> None:
    """Raise `BadMoment` unless the text is a bare date or a date-time with a zone.

    >>> check_text("2025-03-10T16:00:00+01:00")
    >>> check_text("2025-03-10T16:00:00")
    Traceback (most recent call last):
    graph.moments.BadMoment: "2025-03-10T16:00:00" has no time zone; add Z or an offset like +01:00
    """
    _parse(text)


def moment(text: str, zone: ZoneInfo) -> Moment:
    """Resolve a text; a bare date is the whole day in `zone`.

    Parameters
    ----------
    text : str
        A date, or a date-time with Z or an offset (ISO 8601).
    zone : ZoneInfo
        The laboratory's time zone.

    Returns
    -------
    Moment

    Raises
    ------
    BadMoment
        If it is neither, or has no zone, or its year is beyond 2 to 9998.

    Examples
    --------
    >>> moment("1970-01-01T00:00:01Z", ZoneInfo("UTC"))
    Moment(start_us=1000000, end_us=1000000)
    >>> moment("1970-01-02", ZoneInfo("UTC"))
    Moment(start_us=86400000000, end_us=172799999999)
    """
    parsed = _parse(text)
    if isinstance(parsed, datetime):
        at = microseconds(parsed)
        return Moment(at, at)
    midnight = datetime(parsed.year, parsed.month, parsed.day, tzinfo=zone)
    after = parsed + timedelta(days=1)
    next_midnight = datetime(after.year, after.month, after.day, tzinfo=zone)
    return Moment(microseconds(midnight), microseconds(next_midnight) - 1)


def instant_us(text: str, zone: ZoneInfo, *, end: bool = False) -> int:
    """Return one microsecond of a text: its first, or with `end` its last.

    Parameters
    ----------
    text : str
        A date, or a date-time with Z or an offset (ISO 8601).
    zone : ZoneInfo
        The laboratory's time zone.
    end : bool
        Whether the last is meant.

    Returns
    -------
    int
        Microseconds since 1970-01-01T00:00:00Z.

    Raises
    ------
    BadMoment
        As `moment`.

    Examples
    --------
    >>> instant_us("1970-01-02", ZoneInfo("UTC"), end=True)
    172799999999
    """
    resolved = moment(text, zone)
    return resolved.end_us if end else resolved.start_us


def microseconds(at: datetime) -> int:
    """Whole microseconds since the epoch of an aware date-time."""
    return (at - _EPOCH) // _MICROSECOND


def text_of(at_us: int) -> str:
    """Return ISO 8601 text in UTC of a microsecond count.

    Parameters
    ----------
    at_us : int
        Microseconds since 1970-01-01T00:00:00Z.

    Returns
    -------
    str

    Examples
    --------
    >>> text_of(1000000)
    '1970-01-01T00:00:01Z'
    """
    return (_EPOCH + at_us * _MICROSECOND).isoformat().replace("+00:00", "Z")


def time_zone(name: str) -> ZoneInfo:
    """Return the IANA zone of this name.

    Parameters
    ----------
    name : str
        For example "Europe/Vienna".

    Returns
    -------
    ZoneInfo

    Raises
    ------
    BadMoment
        If there is none.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as unknown:
        message = f'"{name}" is not an IANA time zone; write for example "Europe/Vienna" or "UTC"'
        raise BadMoment(message) from unknown


def _parse(text: str) -> date | datetime:
    try:
        if _BARE_DATE.fullmatch(text):
            day = date.fromisoformat(text)
            if not 1 < day.year < 9999:
                raise BadMoment(f'"{text}" is out of range; years 2 to 9998 can be recorded')
            return day
        match = _DATE_TIME.fullmatch(text)
        if match is None:
            raise BadMoment(
                f'"{text}" is not a date (2025-03-10) or a date-time with a zone '
                "(2025-03-10T16:00:00Z)"
            )
        if match["zone"] is None:
            raise BadMoment(f'"{text}" has no time zone; add Z or an offset like +01:00')
        at = datetime.fromisoformat(text)
        if not 1 < at.year < 9999:
            raise BadMoment(f'"{text}" is out of range; years 2 to 9998 can be recorded')
        return at
    except BadMoment:
        raise
    except ValueError as impossible:
        raise BadMoment(f'"{text}" is not possible: {impossible}') from impossible
