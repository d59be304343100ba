"""What one field of a record is, from the cells of a row, as the mapping says.

Choice: a cell becomes what JSON would hold in its place, and the schemas then judge it like any
record; digits stay text from the cell to the Decimal. A local time that a change of the clocks made
doubtful is refused rather than guessed. Only the forms that a mapping names are read.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal, localcontext
from typing import Any
from zoneinfo import ZoneInfo

Options = Mapping[str, Any]
ISO = "iso"
FULL_RANGE = "full range"
FLAGS = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,9})?")
_WHOLE = re.compile(r"-?[0-9]{1,16}")
_POINT = re.compile(r"0|[1-9][0-9]{0,14}")
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
_NO_ZONE = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?")
_TIME_OF_DAY = re.compile(r"%[HIMSpf]")
_EXACT_DIGITS = 200  # more than a number and a factor have when multiplied


class CellFault(Exception):
    """A cell that is not what the mapping says it is."""

    def __init__(self, reason: str, remedy: str) -> None:
        super().__init__(reason)
        self.reason = reason
        self.remedy = remedy


class Absent:
    """The value of a field whose cell is empty."""


ABSENT = Absent()


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads one field: `columns` are the places of its cells; none for a constant."""

    name: str
    kind: str
    columns: tuple[int, ...]
    options: Options

    def read(self, cells: Sequence[str]) -> Any:
        """Return the value of the field in a row, or ABSENT; raises CellFault."""
        text = self._text(cells)
        return self._value(text) if isinstance(text, str) else text

    def read_parts(self, cells: Sequence[str]) -> list[Any]:
        """Return the values of a cell that holds several, by the mapping's `split`."""
        text = self._text(cells)
        if not isinstance(text, str):
            return [] if text is ABSENT else [text]
        options = {name: one for name, one in self.options.items() if name != "split"}
        part = Reader(self.name, self.kind, self.columns, options)
        return [part._value(one) if one else ABSENT for one in self._split(text)]

    def _text(self, cells: Sequence[str]) -> Any:
        """Return the text of the cells, else what stands for an empty one."""
        if not self.columns:
            return self.options["value"]
        found = [cells[at] for at in self.columns if cells[at]]
        text = self.options.get("join", " ").join(found)
        if not text or text in self.options.get("empty", ()):
            return self.options.get("default", ABSENT)
        return text

    def _split(self, text: str) -> list[str]:
        return [part.strip() for part in text.split(self.options["split"])]

    def _value(self, text: str) -> Any:
        values = self.options.get("values")
        if values is not None:
            if text in values:
                return ABSENT if values[text] is None else values[text]
            if self.options.get("others") != "keep":
                raise CellFault(
                    "the mapping has no translation for it",
                    'add it to "values" of the mapping, or mend the cell',
                )
        return _READ[self.kind](text, self)

    def parts(self, text: str) -> list[str]:
        """Parts of a cell that holds a list; a single one without `split`."""
        return [part for part in self._split(text) if part] if "split" in self.options else [text]

    def number(self, text: str) -> str:
        """Return a number as the records take it, in the record's unit."""
        plain = _plain_number(text, self.options)
        scale: Decimal | None = self.options.get("scale")
        if scale is None or not _NUMBER.fullmatch(plain):
            return plain
        with localcontext(prec=_EXACT_DIGITS):
            return format(Decimal(plain) * scale, "f")


def _plain_number(text: str, options: Options) -> str:
    suffix = options.get("suffix")
    if suffix and text.endswith(suffix):
        text = text.removesuffix(suffix).rstrip()
    text = text.replace("\N{MINUS SIGN}", "-")
    mark, thousands = options.get("decimal", "."), options.get("thousands")
    if thousands and thousands in text:
        grouped = rf"[+-]?[0-9]{{1,3}}(?:{re.escape(thousands)}[0-9]{{3}})+(?:{re.escape(mark)}.*)?"
        if not re.fullmatch(grouped, text):
            reason = f"{thousands!r} does not part groups of three digits in it"
            raise CellFault(reason, "mend the cell")
        text = text.replace(thousands, "")
    other = "." if mark == "," else ","
    if other in text:
        raise CellFault(
            f"{other!r} stands in a number whose decimal mark is {mark!r}",
            'mend the cell, or "decimal" or "thousands" of the mapping',
        )
    return text.replace(",", ".")


def _text(text: str, reader: Reader) -> str:
    return text


def _decimal(text: str, reader: Reader) -> str:
    return reader.number(text)


def _whole(text: str, reader: Reader) -> int:
    plain = _plain_number(text, reader.options)
    if not _WHOLE.fullmatch(plain):
        raise CellFault("not a whole number", "write digits only")
    return int(plain)


def _flag(text: str, reader: Reader) -> bool:
    found = FLAGS.get(text.lower())
    if found is None:
        raise CellFault("neither yes nor no", 'write yes or no, or give "values" in the mapping')
    return found


def _point(text: str, reader: Reader) -> int | str:
    """Return the name of a point: a number if it is written as one."""
    return int(text) if _POINT.fullmatch(text) else text


def _tolerance(text: str, reader: Reader) -> str:
    """Return a number, or the id of a specification as it is."""
    try:
        number = reader.number(text)
    except CellFault:
        if text[:1].isdigit():
            raise
        return text
    return number if _NUMBER.fullmatch(number) else text


def _weight(text: str, reader: Reader) -> Any:
    """Return one share, or shares by point where the cell says 1=0.4; 2=0.6."""
    if "=" not in text:
        return reader.number(text)
    shares = {}
    for part in reader.parts(text):
        point, mark, share = part.partition("=")
        if not mark:
            raise CellFault(f'no "=" in {part!r}', "write point=share for every point")
        shares[point.strip()] = reader.number(share.strip())
    return shares


def _list(text: str, reader: Reader) -> list[str]:
    return reader.parts(text)


def _points(text: str, reader: Reader) -> list[int | str]:
    return [_point(part, reader) for part in reader.parts(text)]


def _covers(text: str, reader: Reader) -> Any:
    return FULL_RANGE if text == FULL_RANGE else reader.parts(text)


def _moment(text: str, reader: Reader) -> str:
    formats: Sequence[str] = reader.options.get("format", (ISO,))
    zone: ZoneInfo | None = reader.options.get("zone")
    for form in formats:
        if form == ISO:
            if _ISO.match(text):
                local = zone is not None and _NO_ZONE.fullmatch(text)
                return _zoned(datetime.fromisoformat(text), zone) if local else text
            continue
        try:
            read = datetime.strptime(text, form)  # noqa: DTZ007  # its zone comes below
        except ValueError:
            continue
        if not _TIME_OF_DAY.search(form):
            return read.date().isoformat()
        return read.isoformat() if read.tzinfo else _zoned(read, zone)
    forms = " or ".join(f'"{form}"' for form in formats)
    raise CellFault(
        f"not a date of the form {forms}",
        'mend the cell, or add its form to "format" of the mapping',
    )


def _zoned(local: datetime, zone: ZoneInfo | None) -> str:
    if zone is None:
        raise CellFault("a time without its zone", 'say "zone" in the mapping')
    at = local.replace(tzinfo=zone)
    if at.utcoffset() != at.replace(fold=1).utcoffset():
        again = at.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
        happened = "came twice" if again == local else "was left out"
        raise CellFault(
            f"that hour {happened} when the clocks changed in {zone.key}",
            "write the instant with its offset, such as 2025-10-26T02:30:00+01:00",
        )
    return at.isoformat()


_READ: Mapping[str, Callable[[str, Reader], Any]] = {
    "text": _text,
    "decimal": _decimal,
    "whole": _whole,
    "flag": _flag,
    "moment": _moment,
    "point": _point,
    "tolerance": _tolerance,
    "weight": _weight,
    "list": _list,
    "points": _points,
    "covers": _covers,
}
KINDS = tuple(_READ)
