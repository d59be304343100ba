"""How a set-up fits the instrument: lengths, angles, parts on the shelf, and load cycles.

>>> from api.rules.fitting import compare, parse_length
>>> compare(required=parse_length("2 in").mm, found=parse_length("50 mm").mm).off_by
Fraction(-4, 5)
"""

from typing import TYPE_CHECKING

from api.rules.lazy import give

if TYPE_CHECKING:
    from api.rules.fitting.alignment import cosine_error, part_of, side_share
    from api.rules.fitting.choice import CHOICES, Candidate, Choice, Wanted, ranked
    from api.rules.fitting.effects import Effect, Practice, likely_effect, practice
    from api.rules.fitting.fit import Fit, at_most, compare, same_word
    from api.rules.fitting.lengths import LENGTH_UNITS, Length, UnreadableLength, parse_length
    from api.rules.fitting.life import STATES, counted, retirement_us, state, weighted

__all__ = [
    "CHOICES",
    "LENGTH_UNITS",
    "STATES",
    "Candidate",
    "Choice",
    "Effect",
    "Fit",
    "Length",
    "Practice",
    "UnreadableLength",
    "Wanted",
    "at_most",
    "compare",
    "cosine_error",
    "counted",
    "likely_effect",
    "parse_length",
    "part_of",
    "practice",
    "ranked",
    "retirement_us",
    "same_word",
    "side_share",
    "state",
    "weighted",
]

give(
    __name__,
    {
        "lengths": "LENGTH_UNITS Length UnreadableLength parse_length",
        "fit": "Fit at_most compare same_word",
        "alignment": "cosine_error part_of side_share",
        "choice": "CHOICES Candidate Choice Wanted ranked",
        "effects": "Effect Practice likely_effect practice",
        "life": "STATES counted retirement_us state weighted",
    },
)
