"""Which components does a force calibration have? Each with its distribution and divisor.

Choice: a ready component is a suggestion with its reason: the distribution taken when a component
names its `kind` and no distribution, and the formula behind it. The figures of the standards are
from memory ("from memory, verify"); practice without a document says so. Formulas w1 to w8 are
those of ISO 376:2011, Annex C, and EURAMET cg-4 v2.0, whose contents list was read and no more.

Not checked: that a budget holds every component that matters.
"""

from collections.abc import Mapping
from dataclasses import dataclass

MEMORY = "from memory, verify"
PRACTICE = "common practice, no source"
_ISO_376 = f"ISO 376:2011, Annex C, and EURAMET cg-4 v2.0: {MEMORY}"
_GUM = "JCGM 100:2008"


@dataclass(frozen=True, slots=True)
class Ready:
    """A ready component of a budget, in words.

    Attributes
    ----------
    kind : str
        Its name.
    meaning : str
        What it is.
    distribution : str
        The one taken when a component names its kind and no distribution.
    figure : str
        Which figure it takes.
    divisor : str
        What the figure is divided by.
    formula : str
        How it becomes u.
    source : str
        Who says so.
    """

    kind: str
    meaning: str
    distribution: str
    figure: str
    divisor: str
    formula: str
    source: str


_ALL = (
    Ready(
        "reference",
        "The value of the reference standard, from its certificate.",
        "normal",
        "U and k of the certificate (w1: of the calibration force)",
        "k",
        "u = U / k",
        f"{_GUM}, 4.3.3: {MEMORY}",
    ),
    Ready(
        "drift",
        "What the reference standard may have changed by since its calibration.",
        "rectangular",
        "half_width: the largest change between two of its calibrations",
        "sqrt 3",
        "u = a / sqrt 3",
        f"EURAMET cg-4 v2.0: {MEMORY}; taking the largest change is {PRACTICE}",
    ),
    Ready(
        "resolution",
        "Rounding by the display, for one reading.",
        "resolution",
        "digit: the smallest step r of the reading, in force",
        "sqrt 12",
        "u = r / sqrt 12; for a reading less its zero, both rounded: triangular with half_width r, "
        "w4 = r / (F sqrt 6)",
        f"{_GUM}, F.2.2.1; w4 {_ISO_376}",
    ),
    Ready(
        "zero",
        "Drift of the zero: reading without force after a series less that before it.",
        "normal",
        "u: f_0, relative to the largest force",
        "1",
        "w6 = f_0",
        _ISO_376,
    ),
    Ready(
        "repeatability",
        "Two series in the same position of the instrument.",
        "rectangular",
        "half_width: b', the difference of the two readings over their mean",
        "sqrt 3",
        "w3 = b' / sqrt 3",
        _ISO_376,
    ),
    Ready(
        "reproducibility",
        "Series with the instrument rotated about the load axis.",
        "readings",
        "readings: one for each position (three: 0, 120 and 240 degrees)",
        "s / sqrt n",
        "w2 = sqrt(sum (X_i - mean)^2 / 6) / mean for three positions; n - 1 degrees of freedom",
        _ISO_376,
    ),
    Ready(
        "reversibility",
        "Readings at falling force less those at rising force.",
        "rectangular",
        "half_width: v, where values for rising force serve falling force too; v / 2 about the "
        "mean of both",
        "sqrt 3",
        "u = v / sqrt 3",
        f"EURAMET cg-4 v2.0 names it: {MEMORY}; the half-width is {PRACTICE}",
    ),
    Ready(
        "temperature",
        "Sensitivity to temperature, within the range of temperatures.",
        "rectangular",
        "half_width: K dT / 2, K the coefficient and dT the width of the range",
        "sqrt 3",
        "w7 = K dT / (2 sqrt 3)",
        _ISO_376,
    ),
    Ready(
        "adapter",
        "Other permitted pins, clevises or shackles than the one of the calibration.",
        "rectangular",
        "half_width: half the range of the readings with the permitted set",
        "sqrt 3",
        "u = a / sqrt 3; one value for all points, not divided by sqrt n. A wrong adapter is an "
        "error to be corrected, no uncertainty",
        PRACTICE,
    ),
    Ready(
        "misalignment",
        "Force off the load axis by an angle of up to t.",
        "rectangular",
        "half_width: 1 - cos t of the axial force, and the sensitivity to side load times sin t",
        "sqrt 3",
        "axial F cos t, side F sin t; u = a / sqrt 3",
        f"geometry; bounds by the cosine {_GUM}, F.2.4.4: {MEMORY}",
    ),
    Ready(
        "machine",
        "The force machine: sharing, side forces, interaction with the instrument.",
        "normal",
        "U and k of the machine's own budget or comparison",
        "k",
        "u = U / k",
        f"EURAMET cg-4 v2.0: {MEMORY}",
    ),
    Ready(
        "creep",
        "Change of the reading under constant force, 30 s to 300 s.",
        "rectangular",
        "half_width: c, relative to the reading at the largest force",
        "sqrt 3",
        "w5 = c / sqrt 3",
        _ISO_376,
    ),
    Ready(
        "interpolation",
        "Distance of the readings from the fitted curve.",
        "normal",
        "u: f_c, the largest distance or the residual at the point",
        "1",
        "w8 = f_c",
        _ISO_376,
    ),
)
# The ready components, by kind.
READY: Mapping[str, Ready] = {one.kind: one for one in _ALL}
