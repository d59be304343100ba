"""What does a recall look like? The fault at the left, then its certificates by generation.

Choice: the shape of a mark tells the list, and a cross in it that a statement of conformity
changes; lines lead from cause to effect and are heavy where they end at a change. No colour, so
that print and screen say the same. Where one certificate was chosen, everything that leads to it
stays black and its lines are the heaviest; the rest is grey. Everything is placed in points on one
sheet that grows with the recall; names too long for their column are cut off.

Not checked: anything; the picture shows what was found.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import FancyBboxPatch, PathPatch
from matplotlib.path import Path

from api.services.base import figures
from api.services.base.figures import GREY, INK, PALE, SIZE, SMALL, width_of
from api.services.evidence.layout import CHANGES, COULD_CHANGE, Column, Layout, Mark, layout
from graph.affected import Part, leading_to
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED, TRACED

_DASHES = Path([(x, 0) for x in (-4, -2, -1, 1, 2, 4)], [Path.MOVETO, Path.LINETO] * 3)
SHAPES = {AFFECTED: "o", INDETERMINATE: "D", NOT_EXCLUDED: _DASHES, EXPOSED: "^", TRACED: "s"}
WORDS = {
    AFFECTED: "affected",
    INDETERMINATE: "indeterminate",
    NOT_EXCLUDED: "cannot be excluded",
    EXPOSED: "exposed, no effect",
    TRACED: "traced, not recalled",
}
OUTCOME_WORDS = {CHANGES: "a verdict changes", COULD_CHANGE: "a verdict could change"}
_MARGIN, _LEAST_WIDTH, _HEADINGS = 16.0, 504.0, 34.0
_ROW, _STACK, _BOX = 13.5, 26.0, 30.0
_GAP, _BESIDE, _LEFT, _FAN = 58.0, 8.0, 6.0, 4.0
_MOST_NAME, _MOST_ITEM = 170.0, 120.0
_SIZES = {AFFECTED: 7.5, INDETERMINATE: 6.5, NOT_EXCLUDED: 10.0, EXPOSED: 8.5, TRACED: 7.0}


def recall_figure(part: Part, kind: str, name: str, chosen: str | None = None) -> bytes:
    """Return the picture of an affected part as an SVG or PNG file; `name` is what it is called.

    `chosen` is the node of the certificate whose paths stand out.
    """
    picture = _Picture(layout(part), name, _leading_to(part, chosen))
    return figures.drawn(kind, f"{picture.title}. {picture.summary()}", picture.draw)


def _leading_to(part: Part, chosen: str | None) -> set[str]:
    if chosen is None or chosen not in part:
        return set()
    return leading_to(part, chosen)


class _Picture:
    """One picture while it is drawn; `lit` are the nodes that stand out, if any."""

    def __init__(self, places: Layout, name: str, lit: set[str]) -> None:
        self.places = places
        self.lit = {places.marks[node] for node in lit if node in places.marks}
        origins = places.columns[0].marks if places.columns else []
        faulty = ", ".join(mark.label for mark in origins)
        self.title = f"{name}: {faulty}" if faulty else name
        self.at: dict[Mark, tuple[float, float]] = {}
        self.ends: dict[Mark, float] = {}

    def summary(self) -> str:
        """Return what was found in one line."""
        if not self.places.columns:
            return "Nothing rests on the fault."
        lists = self.places.lists
        told = [f"{lists[name]} {WORDS[name]}" for name in WORDS if lists[name]]
        changes = self.places.changes
        return f"{'; '.join(told)}. A verdict changes on {changes}."

    def draw(self) -> Figure:
        """Draw everything: headings, lines, marks, legend."""
        body = max((_height(column) for column in self.places.columns), default=_ROW)
        legend = list(self._legend())
        left, widths = _MARGIN, []
        for column in self.places.columns:
            widths.append(max(_column_width(column), *map(_heading_width, _heading(column))))
            left += widths[-1] + _GAP
        width = max(_LEAST_WIDTH, left - _GAP + _MARGIN)
        rows = _rows_of_legend(legend, width - 2 * _MARGIN)
        top = 2 * (SIZE + 7) + _HEADINGS
        below = len(rows) * _ROW + 10
        height = _MARGIN + top + body + below + 6
        figure = figures.blank(width, height)
        axes = figure.add_axes((0, 0, 1, 1))
        axes.set_xlim(0, width)
        axes.set_ylim(0, height)
        axes.set_axis_off()
        self._write_title(axes, width, height)
        x = _MARGIN
        for column, room in zip(self.places.columns, widths, strict=True):
            self._place(column, x, height - _MARGIN - top, body)
            self._write_heading(axes, column, x, height - _MARGIN - top + 10)
            x += room + _GAP
        self._draw_links(axes)
        for column in self.places.columns:
            for mark in column.marks:
                ink = GREY if self.lit and mark not in self.lit else INK
                (_draw_box if column.origin else _draw_mark)(axes, mark, *self.at[mark], ink)
        self._draw_legend(axes, rows, below - 8)
        return figure

    def _write_title(self, axes: Axes, width: float, height: float) -> None:
        room = width - 2 * _MARGIN
        y = height - _MARGIN - SIZE
        title = figures.cut(figures.drawable(self.title), room * 0.93, SIZE + 1)
        axes.text(_MARGIN, y, title, size=SIZE + 1, weight="bold", va="baseline")
        axes.text(_MARGIN, y - SIZE - 5, figures.cut(self.summary(), room), size=SMALL)

    def _write_heading(self, axes: Axes, column: Column, x: float, y: float) -> None:
        for line, text in enumerate(_heading(column)):
            weight = "normal" if line else "bold"
            axes.text(x, y + 10 - 11 * line, text, size=SMALL, weight=weight, va="baseline")

    def _place(self, column: Column, x: float, top: float, body: float) -> None:
        """Give every mark of a column its place, the column as a whole in the middle."""
        y = top - (body - _height(column)) / 2
        for mark in column.marks:
            room = _room(column, mark)
            y -= room / 2
            self.at[mark] = (x + (0 if column.origin else _LEFT), y)
            self.ends[mark] = x + _mark_width(column, mark) + 2
            y -= room / 2

    def _draw_links(self, axes: Axes) -> None:
        """Draw a curve for every link; those that end at a change on top, then the lit ones."""

        def place(pair: tuple[Mark, Mark]) -> tuple[bool, bool]:
            return self.lit.issuperset(pair), pair[1].outcome == CHANGES

        for cause, effect in sorted(self.places.links, key=place):
            lit = self.lit.issuperset((cause, effect))
            (_, y0), (x1, y1) = self.at[cause], self.at[effect]
            x0 = self.ends[cause]
            x1 -= _BESIDE if effect.list_name else 0
            backwards = x1 <= x0
            bend = 30.0 if backwards else (x1 - x0) / 2
            corners = [(x0, y0), (x0 + bend, y0), (x1 - bend, y1), (x1, y1)]
            heavy = lit if self.lit else effect.outcome == CHANGES
            width = 2.0 if self.lit and lit else 0.9 if heavy else 0.5
            axes.add_patch(
                PathPatch(
                    Path(corners, [Path.MOVETO, Path.CURVE4, Path.CURVE4, Path.CURVE4]),
                    facecolor="none",
                    edgecolor=INK if heavy else GREY,
                    linewidth=width,
                    linestyle=(0, (3, 2)) if backwards else "-",
                    zorder=1,
                )
            )

    def _legend(self) -> Iterator[Mark]:
        """Return a mark for everything that needs an explanation."""
        marks = [mark for column in self.places.columns for mark in column.marks]
        for name, words in WORDS.items():
            if self.places.lists[name]:
                yield Mark(f"legend/{name}", words, "", name)
        for outcome, words in OUTCOME_WORDS.items():
            found = [mark.list_name for mark in marks if mark.outcome == outcome]
            if found:
                shape = AFFECTED if AFFECTED in found else found[0]
                yield Mark(f"legend/{outcome}", words, "", shape, outcome)
        if any(mark.stacked for mark in marks):
            yield Mark("legend/stack", "several, counted", "", AFFECTED, stacked=True)

    def _draw_legend(self, axes: Axes, rows: list[list[Mark]], y: float) -> None:
        for row in rows:
            x = _MARGIN + _LEFT
            for mark in row:
                _draw_shape(axes, mark, x, y)
                axes.text(
                    x + _BESIDE + (_FAN if mark.stacked else 1),
                    y,
                    mark.label,
                    size=SMALL,
                    va="center_baseline",
                )
                x += _legend_width(mark)
            y -= _ROW


def _heading(column: Column) -> list[str]:
    if column.origin:
        return [column.heading]
    counted = f"{column.certificates} certificate{'s' if column.certificates > 1 else ''}"
    return [column.heading, counted + (f", {column.changes} change" if column.changes else "")]


def _room(column: Column, mark: Mark) -> float:
    return _BOX if column.origin else _STACK if mark.stacked else _ROW


def _height(column: Column) -> float:
    return sum(_room(column, mark) for mark in column.marks)


def _name(mark: Mark) -> str:
    if mark.stacked:
        outcome = OUTCOME_WORDS.get(mark.outcome)
        return f"{mark.count} {WORDS[mark.list_name]}" + (f", {outcome}" if outcome else "")
    return figures.cut(figures.drawable(mark.label), _MOST_NAME)


def _item(mark: Mark) -> str:
    return figures.cut(figures.drawable(mark.item), _MOST_ITEM)


def _is_bold(mark: Mark) -> bool:
    return mark.stacked or mark.outcome == CHANGES


def _mark_width(column: Column, mark: Mark) -> float:
    if column.origin:
        return width_of(_name(mark), SMALL, bold=True) + 14
    item = width_of(_item(mark)) + 6 if mark.item else 0.0
    stack = _FAN if mark.stacked else 0.0
    return _LEFT + _BESIDE + stack + width_of(_name(mark), SMALL, bold=_is_bold(mark)) + item + 4


def _column_width(column: Column) -> float:
    return max(_mark_width(column, mark) for mark in column.marks)


_heading_width = partial(width_of, size=SMALL, bold=True)


def _legend_width(mark: Mark) -> float:
    return _LEFT + _BESIDE + width_of(mark.label) + 16


def _rows_of_legend(marks: list[Mark], room: float) -> list[list[Mark]]:
    rows: list[list[Mark]] = []
    used = 0.0
    for mark in marks:
        wide = _legend_width(mark)
        if not rows or used + wide > room:
            rows.append([])
            used = 0.0
        rows[-1].append(mark)
        used += wide
    return rows


def _draw_box(axes: Axes, mark: Mark, x: float, y: float, ink: str) -> None:
    """Draw what is faulty, or what held it."""
    faulty = "/holding/" not in mark.name and "/as/" not in mark.name
    width = width_of(_name(mark), SMALL, bold=True) + 10
    box = FancyBboxPatch(
        (x + 2, y - 8),
        width,
        16,
        boxstyle="round,pad=0,rounding_size=2",
        facecolor=PALE if faulty else "white",
        edgecolor=INK,
        linewidth=1.8 if faulty else 0.8,
        zorder=3,
    )
    box.set_gid(mark.name)
    axes.add_patch(box)
    axes.text(
        x + 2 + width / 2,
        y,
        _name(mark),
        size=SMALL,
        weight="bold" if faulty else "normal",
        color=ink,
        ha="center",
        va="center_baseline",
        zorder=4,
    )


def _draw_mark(axes: Axes, mark: Mark, x: float, y: float, ink: str) -> None:
    """Draw a certificate with its number and item, or a stack with its count."""
    _draw_shape(axes, mark, x, y)
    x += _BESIDE + (_FAN if mark.stacked else 0)
    weight = "bold" if _is_bold(mark) else "normal"
    halo = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
    common = {"size": SMALL, "va": "center_baseline", "zorder": 4, "bbox": halo}
    axes.text(x, y, _name(mark), weight=weight, color=ink, **common)  # type: ignore[arg-type]
    if mark.item:
        x += width_of(_name(mark), SMALL, bold=_is_bold(mark)) + 6
        axes.text(x, y, _item(mark), color=GREY, **common)  # type: ignore[arg-type]


def _draw_shape(axes: Axes, mark: Mark, x: float, y: float) -> None:
    """Draw the shape of a list; crossed out where a verdict changes."""
    shape, size = SHAPES[mark.list_name], _SIZES[mark.list_name]
    changes = mark.outcome == CHANGES
    face = INK if changes else "white"
    style = {"markersize": size, "markeredgecolor": INK, "zorder": 5, "linestyle": ""}
    for step in (4.4, 2.2) if mark.stacked else ():
        axes.plot([x + step], [y + step], marker=shape, markerfacecolor=PALE, **style)  # type: ignore[arg-type]
    (drawn,) = axes.plot([x], [y], marker=shape, markerfacecolor=face, **style)  # type: ignore[arg-type]
    drawn.set_gid(mark.name)
    if changes:
        cross = {"markersize": 3.8, "markeredgewidth": 1.2, "color": "white", "zorder": 6}
        middle = y - 1.2 if shape == "^" else y
        axes.plot([x], [middle], "x", **cross)  # type: ignore[arg-type]
    elif mark.outcome == COULD_CHANGE:
        stroke = {"markersize": 9, "markeredgewidth": 1.3, "color": INK, "zorder": 6}
        axes.plot([x], [y], marker=(2, 2, -45), **stroke)  # type: ignore[arg-type]
