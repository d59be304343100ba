"""Pictures that print well and come out the same, byte for byte.

Choice: black, greys, hatches and line styles, no colour; text in SVG stays text, set in a font that
matplotlib brings along; no date and no random ids in the files. Matplotlib is slow to import, so
that its users are imported when a picture is asked for. It is used without pyplot, but its settings
and font caches are shared by all threads: one picture is drawn at a time.

Not checked: that a reader of SVG has the font; another one of similar width takes its place.
"""

from __future__ import annotations

import threading
import unicodedata
from collections.abc import Callable
from decimal import Context, Decimal
from fractions import Fraction
from io import BytesIO
from typing import Any

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.textpath import TextToPath

from api.rules.exact import Number, plain, ratio

FONT = "DejaVu Sans"
SIZE, SMALL = 9.0, 8.0
INK, GREY, PALE = "#000000", "#767676", "#e4e4e4"
POINTS_PER_INCH = 72.0
PNG_DPI = 200
_LONGEST = 12

_DRAWING = threading.Lock()
_SETTINGS: Any = {
    "svg.hashsalt": "tracehold",
    "svg.fonttype": "none",
    "font.family": FONT,
    "font.size": SIZE,
    "hatch.linewidth": 0.6,
    "axes.linewidth": 0.8,
    "text.parse_math": False,
}
_NOTHING_VARIABLE = {"Date": None, "Creator": None}


def drawn(kind: str, title: str, draw: Callable[[], Figure]) -> bytes:
    """Return what `draw` makes as an SVG or PNG file; `title` is its name for screen readers.

    `kind` is `svg` or `png`.
    """
    with _DRAWING, mpl.rc_context(_SETTINGS):
        figure = draw()
        file = BytesIO()
        if kind == "svg":
            figure.savefig(file, format="svg", metadata={**_NOTHING_VARIABLE, "Title": title})
        else:
            made = {"Software": None, "Title": title}
            figure.savefig(file, format="png", dpi=PNG_DPI, metadata=made)
    return file.getvalue()


def blank(width: float, height: float) -> Figure:
    """Return an empty figure of so many points."""
    figure = Figure(figsize=(width / POINTS_PER_INCH, height / POINTS_PER_INCH))
    FigureCanvasAgg(figure)
    return figure


def width_of(text: str, size: float = SMALL, bold: bool = False) -> float:
    """Return the width of a text in points."""
    font = FontProperties(family=FONT, size=size, weight="bold" if bold else "normal")
    width, _, _ = TextToPath().get_text_width_height_descent(text, font, ismath=False)
    return float(width)


def drawable(text: str) -> str:
    """Return a text with a question mark for each character that the font lacks."""
    known = get_font(findfont(FONT)).get_charmap()
    return "".join(c if ord(c) in known else "?" for c in unicodedata.normalize("NFC", text))


def lines_of(text: str, width: float, size: float = SMALL, most: int = 2) -> list[str]:
    """Break a text between words into lines of so many points; what is left over is cut off."""
    lines: list[str] = []
    for word in drawable(text).split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_of(longer, size) <= width:
            lines[-1] = longer
        elif len(lines) < most:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} …"
            break
    return [cut(line, width, size) for line in lines]


def cut(text: str, width: float, size: float = SMALL) -> str:
    """Return the text, or as much of its beginning as fits with an ellipsis."""
    if width_of(text, size) <= width:
        return text
    while text and width_of(f"{text}…", size) > width:
        text = text[:-1]
    return f"{text}…"


def ticks(low: Fraction, high: Fraction, most: int) -> list[Decimal]:
    """Return round numbers that divide the interval evenly, about `most` (3 or more) of them."""
    least = (high - low) / most
    exponent = ratio(least, Decimal(1)).adjusted()
    steps = (Decimal(digit).scaleb(exponent) for digit in (1, 2, 5, 10))
    step = next(step for step in steps if Fraction(step) >= least)
    first, last = -(-low // Fraction(step)), high // Fraction(step)
    return [step * number for number in range(int(first), int(last) + 1)]


def short(number: Number, span: Fraction) -> str:
    """Return a number for a picture: in full if that is short, else as finely as can be seen.

    What is rounded, to a ten-thousandth of the `span` of the axis, is marked as such.
    """
    text = plain(number)
    if len(text) <= _LONGEST:
        return text
    place = ratio(span, Decimal(1)).adjusted() - 4
    wide = Context(prec=200)
    exact = number if isinstance(number, Decimal) else ratio(number, Decimal(1))
    rounded = plain(exact.quantize(Decimal(1).scaleb(min(place, 0)), context=wide))
    return f"≈ {rounded}" if len(rounded) + 2 < len(text) else text
