"""What does a decision look like? The result with its interval among the limits and the zones.

Choice: one axis, the value. A strip on top shows the zones; below it stands the result with plus
and minus U, over the guard bands (hatched); tolerance limits are heavy lines, acceptance limits
dashed, each labelled with its number and unit. Places are worked out exactly and only then become
floats, so that a tolerance of a millionth of the value is drawn like any other. A result far
outside is shown by an arrow at the edge, instead of shrinking the limits to a point.

Not checked: anything; the picture shows a decision that was made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from api.rules.decide import VERDICTS, Decision
from api.rules.exact import Number, plain
from api.rules.rule import NO_STATEMENT
from api.rules.wording import describe_rule
from api.services.base import figures
from api.services.base.figure_labels import marks_of, placed
from api.services.base.figures import GREY, INK, PALE, SIZE, SMALL, width_of
from api.services.decisions.axis import guard_bands, view, zones_between

_WIDTH, _MARGIN = 504.0, 16.0
_AXIS = _WIDTH - 2 * _MARGIN
_SPARE = _MARGIN - 4
_BODY, _STRIP, _ROW, _GAP = 118.0, 34.0, 13.0, 4.0
_BELOW, _LEGEND_ROW = 30.0, 15.0
_HATCHES = {"pass": "", "conditional_pass": "..", "conditional_fail": "///", "fail": "xxx"}
_HATCHES[NO_STATEMENT] = "--"
_FILLS = {"pass": "#ffffff", "conditional_pass": "#f2f2f2", "conditional_fail": PALE, "fail": PALE}
_FILLS[NO_STATEMENT] = "#ffffff"
_GUARD = "\\\\\\\\"


def decision_figure(decision: Decision, unit: str, kind: str, name: str) -> bytes:
    """Return the picture of a decision as an SVG or PNG file; `name` is what it is called."""
    picture = _Picture(decision, unit)
    title = f"{name}: {_heading(decision, picture.result())}"
    return figures.drawn(kind, title, picture.draw)


class _Picture:
    """One picture while it is drawn."""

    def __init__(self, decision: Decision, unit: str) -> None:
        self.decision, self.unit = decision, unit
        self.low, self.high = view(decision)
        marks = marks_of(decision, lambda number: f"{self.short(number)} {unit}")
        lines = [(mark, self.place(mark.number) * _AXIS) for mark in marks]
        self.labels = placed(lines, -_SPARE, _AXIS + _SPARE)

    def place(self, number: Number) -> float:
        """Return where a number lies on the axis, which runs from 0 to 1."""
        return float((Fraction(number) - self.low) / (self.high - self.low))

    def short(self, number: Number) -> str:
        """Return a number as the picture writes it."""
        return figures.short(number, self.high - self.low)

    def result(self) -> str:
        """Return value and U in words; unrounded, as they were decided."""
        value, U = self.short(self.decision.value), self.short(self.decision.U)
        return f"{value} {self.unit}, U = {U} {self.unit}"

    def draw(self) -> Figure:
        """Draw everything, from the heading down."""
        heading = list(self._heading())
        top = sum(size + 5 for _, size, _ in heading) + 12
        rows = max(label.row for label in self.labels) + 1
        handles = self._legend()
        names = [str(handle.get_label()) for handle in handles]
        columns = _columns(names)
        legend = -(-len(handles) // columns) * _LEGEND_ROW + 8
        height = top + rows * _ROW + 8 + _BODY + _BELOW + legend
        figure = figures.blank(_WIDTH, height)
        y = height - 8
        for text, size, weight in heading:
            y -= size + 5
            figure.text(_MARGIN / _WIDTH, y / height, text, size=size, weight=weight)
        bottom = legend + _BELOW
        axes = figure.add_axes((_MARGIN / _WIDTH, bottom / height, _AXIS / _WIDTH, _BODY / height))
        axes.set_xlim(0, 1)
        axes.set_ylim(0, _BODY)
        self._zones(axes)
        self._guard_bands(axes)
        self._limits(axes)
        self._result(axes)
        self._axis(axes)
        figure.legend(
            handles=handles,
            loc="lower left",
            bbox_to_anchor=(_MARGIN / _WIDTH, 2 / height),
            ncols=columns,
            frameon=False,
            fontsize=SMALL,
            borderaxespad=0,
            borderpad=0.2,
            handlelength=2.6,
            handleheight=1.1,
            columnspacing=1.6,
        )
        return figure

    def _heading(self) -> Iterator[tuple[str, float, str]]:
        decision = self.decision
        yield figures.cut(_heading(decision, self.result()), _AXIS, SIZE + 2), SIZE + 1, "bold"
        rule = decision.rule
        named = "Decision rule" if rule.id == "inline" else f"Decision rule {rule.id}"
        words = f"{named}, version {rule.version}: {describe_rule(rule)}"
        if decision.branch.checks:
            words += f". Branch {decision.branch.number}: {decision.branch.reason}"
        for line in figures.lines_of(words, _AXIS):
            yield line, SMALL, "normal"
        if decision.acceptance.reason and decision.verdict != NO_STATEMENT:
            for line in figures.lines_of(f"Note: {decision.acceptance.reason}.", _AXIS, most=3):
                yield line, SMALL, "normal"

    def _zones(self, axes: Axes) -> None:
        """Draw the strip of zones, each named where its name fits, upright if need be."""
        for number, (low, high, zone) in enumerate(
            zones_between(self.decision, self.low, self.high)
        ):
            left, right = self.place(low), self.place(high)
            strip = Rectangle(
                (left, _BODY - _STRIP),
                right - left,
                _STRIP,
                facecolor=_FILLS[zone],
                edgecolor=INK,
                hatch=_HATCHES[zone],
                linewidth=0.6,
            )
            strip.set_gid(f"zone-{number}-{zone}")
            axes.add_patch(strip)
            words, room = zone.replace("_", " "), (right - left) * _AXIS
            if width_of(words) + 8 > room:
                continue  # the hatch and the legend tell
            axes.text(
                (left + right) / 2,
                _BODY - _STRIP / 2,
                words,
                size=SMALL,
                ha="center",
                va="center",
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2},
            )

    def _guard_bands(self, axes: Axes) -> None:
        for side, (low, high) in guard_bands(self.decision).items():
            left, right = (min(max(self.place(end), 0.0), 1.0) for end in (low, high))
            if left == right:
                continue
            band = Rectangle(
                (left, 0),
                right - left,
                _BODY - _STRIP,
                facecolor="none",
                edgecolor=GREY,
                hatch=_GUARD,
                linewidth=0,
            )
            band.set_gid(f"guard-{side}")
            axes.add_patch(band)

    def _limits(self, axes: Axes) -> None:
        for label in self.labels:
            mark, x = label.mark, label.line / _AXIS
            (line,) = axes.plot(
                [x, x],
                [0, _BODY],
                color=INK,
                linewidth=2.0 if mark.tolerance else 1.2,
                linestyle="-" if mark.tolerance else (0, (4, 2)),
                solid_capstyle="butt",
                clip_on=False,
            )
            line.set_gid(mark.gid)
            y = _BODY + 5 + label.row * _ROW
            axes.plot([x, x], [_BODY, y + 9], color=INK, linewidth=0.5, clip_on=False)
            axes.text(label.left / _AXIS, y, mark.words, size=SMALL, ha="left", va="bottom")

    def _result(self, axes: Axes) -> None:
        """Draw value and interval; what lies outside the picture ends in an arrow at its edge."""
        decision, y = self.decision, (_BODY - _STRIP) * 0.42
        value, U = Fraction(decision.value), Fraction(decision.U)
        x, left, right = (self.place(end) for end in (value, value - U, value + U))
        shown = [min(max(end, 0.0), 1.0) for end in (left, right)]
        halo = {"color": "white", "solid_capstyle": "butt", "zorder": 3}
        axes.plot(shown, [y, y], linewidth=6, **halo)  # type: ignore[arg-type]
        (bar,) = axes.plot(shown, [y, y], color=INK, linewidth=1.8, zorder=4, clip_on=False)
        bar.set_gid("interval")
        for end in (left, right):
            outside = "" if 0 <= end <= 1 else "<" if end < 0 else ">"
            axes.plot(
                [min(max(end, 0.0), 1.0)],
                [y],
                marker=outside or "|",
                markersize=8 if outside else 11,
                markeredgewidth=1.8,
                color=INK,
                zorder=5,
                clip_on=False,
            )
        words = self.result()
        if 0 <= x <= 1:
            (point,) = axes.plot([x], [y], "o", color=INK, markersize=6, zorder=6)
            point.set_gid("result")
        else:
            words += ", outside the picture"
        width = width_of(words, SMALL, bold=True) + 6
        middle = min(max(min(max(x, 0.0), 1.0) * _AXIS, width / 2), _AXIS - width / 2)
        axes.text(
            middle / _AXIS,
            y + 10,
            words,
            size=SMALL,
            weight="bold",
            ha="center",
            va="bottom",
            zorder=7,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
        )

    def _axis(self, axes: Axes) -> None:
        longest = max(width_of(plain(t)) for t in figures.ticks(self.low, self.high, 8))
        most = int(max(2, min(8, _AXIS / (longest + 24))))
        numbers = figures.ticks(self.low, self.high, most)
        axes.set_xticks(
            [self.place(number) for number in numbers],
            [plain(number) for number in numbers],
            fontsize=SMALL,
        )
        axes.set_xlabel(f"Value in {self.unit}", fontsize=SMALL, labelpad=2)
        axes.set_yticks([])
        for side in ("left", "right", "top"):
            axes.spines[side].set_visible(False)

    def _legend(self) -> list[Patch | Line2D]:
        zones = {zone for _, _, zone in zones_between(self.decision, self.low, self.high)}
        handles: list[Patch | Line2D] = [
            Patch(
                facecolor=_FILLS[zone],
                edgecolor=INK,
                hatch=_HATCHES[zone],
                linewidth=0.6,
                label=zone.replace("_", " "),
            )
            for zone in VERDICTS
            if zone in zones
        ]
        words = _guard_words(self.decision, lambda w: f"{self.short(w)} {self.unit}")
        if words:
            handles.append(
                Patch(facecolor="none", edgecolor=GREY, hatch=_GUARD, linewidth=0, label=words)
            )
        covered = f"result ± U (k = {plain(self.decision.k)})"
        handles.append(
            Line2D([], [], color=INK, marker="o", markersize=5, linewidth=1.8, label=covered)
        )
        return handles


def _columns(names: Sequence[str]) -> int:
    """Return in how many columns a legend fits; it sets all columns one beside another."""
    widths = [width_of(name) + 5.2 * SMALL for name in names]
    if sum(widths) <= _AXIS:
        return len(names)
    return int(max(1, _AXIS // max(widths)))


def _heading(decision: Decision, result: str) -> str:
    outcome = decision.verdict.replace("_", " ")
    return f"{outcome[0].upper()}{outcome[1:]}: {result}"


def _guard_words(decision: Decision, write: Callable[[Number], str]) -> str:
    bands = (decision.acceptance.guard_lower, decision.acceptance.guard_upper)
    known = [band for band in bands if band is not None]
    if not any(known):
        return ""
    if len(set(known)) == 1:
        name = "guard band" if known[0] > 0 else "relaxed beyond the tolerance"
        words = f"{name}, w = {write(known[0])}"
    else:
        words = f"guard bands, w = {write(known[0])} below, {write(known[1])} above"
    return words.replace("= ≈", "≈")
