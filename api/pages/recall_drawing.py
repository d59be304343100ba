"""The picture of a recall on its page: the fault at the left, then a column for each generation.

What cannot be excluded has no generation and stands in a last column of its own.

Choice: within a column the certificates stand by the middle of what leads to them, which keeps
lines short; what is only counted stands below them, one mark a group. A line leads from cause to
effect; where the cause is only counted it comes from the mark of its group, and no line is drawn
to a group, whose paths were not read. Places are floats, in pixels.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from api.pages.words import LISTS, counted
from api.services.evidence.page_part import Generation, Group, Part
from graph.affected import REACHED

LEFT, TOP, FOOT, ROW, GAP = 8.0, 44.0, 10.0, 20.0, 62.0
LETTER, MOST_LETTERS, BESIDE = 7.3, 26, 16.0
LEAST_WIDTH = 360.0


@dataclass(eq=False, slots=True)
class Mark:
    """A certificate, a counted group of them, or (without a shape) what the fault concerns."""

    label: str
    shape: str = ""
    changes: bool = False
    many: int = 1
    lit: bool = False
    says: str = ""
    x: float = 0.0
    y: float = 0.0
    end: float = 0.0


@dataclass(slots=True)
class Column:
    """One column with its two lines of heading and its marks from the top down."""

    heading: str
    under: str
    marks: list[Mark] = field(default_factory=list)
    x: float = 0.0


@dataclass(slots=True)
class Link:
    """A line from cause to effect, as the path of an SVG."""

    d: str
    lit: bool
    changes: bool


@dataclass(slots=True)
class Picture:
    """Everything that the template draws, and how many certificates are counted only."""

    width: float
    height: float
    columns: list[Column]
    links: list[Link]
    total: int
    not_drawn: int
    lists: list[str]
    lit: bool


def picture(part: Part) -> Picture | None:
    """Return the picture of a part; None where nothing rests on the fault."""
    if not part.generations:
        return None
    origins = _origin_marks(part)
    columns = _origin_columns(origins)
    named: dict[int, Mark] = {}
    groups: dict[tuple[int | None, Group], Mark] = {}
    for generation in part.generations:
        columns.append(_column(generation, part.lit, named, groups))
    pairs = _pairs(part, origins, named, groups)
    _light_back(pairs)
    height = _place(columns, pairs)
    last = columns[-1]
    drawn = {one.group[0] for found in part.generations for one in found.named}
    counted_only = {group[0] for _, group in groups}
    return Picture(
        round(max(LEAST_WIDTH, last.x + _width(last) + LEFT), 1),
        height,
        columns,
        sorted((_link(*pair) for pair in pairs), key=lambda one: (one.lit, one.changes)),
        sum(one.total for one in part.generations),
        part.not_drawn,
        [name for name in REACHED if name in drawn | counted_only],
        bool(part.lit),
    )


def _origin_marks(part: Part) -> dict[tuple[str, ...], Mark]:
    """A mark for what is faulty and for everything between it and its direct users."""
    names = {name for found in part.origins.values() for name in found}
    steps = sorted({name[:place] for name in names for place in range(1, len(name) + 1)})
    return {name: Mark(_short(name[-1]), says=name[-1]) for name in steps}


def _origin_columns(origins: Mapping[tuple[str, ...], Mark]) -> list[Column]:
    columns: list[Column] = []
    for name, mark in origins.items():
        while len(columns) < len(name):
            columns.append(Column("by way of" if columns else "faulty", ""))
        columns[len(name) - 1].marks.append(mark)
    return columns


def _column(
    generation: Generation,
    lit: Iterable[int],
    named: dict[int, Mark],
    groups: dict[tuple[int | None, Group], Mark],
) -> Column:
    """The marks of one generation; they are noted in `named` and `groups`, too."""
    under = counted(generation.total, "certificate")
    number = generation.number
    column = Column("cannot be excluded" if number is None else f"generation {number}", under)
    for one in generation.named:
        name, changes = one.group
        says = f"{one.label}, {one.item}: {LISTS[name].word}{', a verdict changes' * changes}"
        shape = LISTS[name].shape
        mark = Mark(_short(one.label), shape, changes, 1, one.key in lit, says)
        named[one.key] = mark
        column.marks.append(mark)
    for group in sorted(generation.rest, key=lambda one: (REACHED.index(one[0]), not one[1])):
        name, changes = group
        many = generation.rest[group]
        label = f"{many:,} more{', changed' if changes else ''}"
        mark = Mark(label, LISTS[name].shape, changes, many, False, f"{many:,} {LISTS[name].word}")
        groups[generation.number, group] = mark
        column.marks.append(mark)
    return column


def _pairs(
    part: Part,
    origins: Mapping[tuple[str, ...], Mark],
    named: Mapping[int, Mark],
    groups: Mapping[tuple[int | None, Group], Mark],
) -> dict[tuple[Mark, Mark], None]:
    """Cause and effect of every line, each pair once."""
    pairs = {(origins[name[:-1]], origins[name]): None for name in origins if len(name) > 1}
    for key, mark in named.items():
        for name in part.origins[key]:
            pairs[origins[name], mark] = None
        for cause in part.causes[key]:
            known = part.known[cause]
            place = known.generation, known.group
            pairs[named[cause] if cause in named else groups[place], mark] = None
    return pairs


def _light_back(pairs: Iterable[tuple[Mark, Mark]]) -> None:
    """Light what lies between the fault and a lit certificate."""
    lit = True
    while lit:
        lit = False
        for cause, effect in pairs:
            if effect.lit and not cause.lit and not cause.shape:
                cause.lit = lit = True


def _place(columns: Sequence[Column], pairs: Iterable[tuple[Mark, Mark]]) -> float:
    """Give every mark its place; return the height of the sheet."""
    tallest = max(len(column.marks) for column in columns)
    causes: dict[Mark, list[Mark]] = {}
    for cause, effect in pairs:
        causes.setdefault(effect, []).append(cause)
    x = LEFT
    for column in columns:
        column.x = x
        # Groups stand below the rest, in the order in which they were made.
        column.marks.sort(key=lambda mark: (mark.many > 1, _middle(causes.get(mark, ()))))
        first = TOP + (tallest - len(column.marks)) * ROW / 2
        for place, mark in enumerate(column.marks):
            mark.x, mark.y = x + (6 if mark.shape else 0), first + ROW * (place + 0.5)
            mark.end = round(x + BESIDE + LETTER * len(mark.label), 1)
        x = round(x + _width(column) + GAP, 1)
    return TOP + ROW * tallest + FOOT


def _middle(causes: Sequence[Mark]) -> float:
    """Mean height of what leads here from columns that have their places."""
    known = [cause.y for cause in causes if cause.y]
    return sum(known) / len(known) if known else 0.0


def _width(column: Column) -> float:
    widest = max(len(mark.label) for mark in column.marks)
    return LETTER * max(widest, len(column.heading), len(column.under)) + BESIDE


def _link(cause: Mark, effect: Mark) -> Link:
    begin, end = cause.end + 2, effect.x - (8 if effect.shape else 3)
    bend = max(24.0, (end - begin) / 2)
    d = (
        f"M{begin:.1f} {cause.y:.1f}C{begin + bend:.1f} {cause.y:.1f} "
        f"{end - bend:.1f} {effect.y:.1f} {end:.1f} {effect.y:.1f}"
    )
    return Link(d, cause.lit and effect.lit, effect.changes)


def _short(text: str) -> str:
    return text if len(text) <= MOST_LETTERS else f"{text[: MOST_LETTERS - 1]}…"
