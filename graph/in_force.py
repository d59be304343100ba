"""Which certificate's value an item carried at an instant, and which other one it may have been.

What serves is settled by what was known at the time of use: a certificate serves from its own
instant (a later revision: from its issue) until it is voided or revised. Of those that serve, the
latest calibration counts, of the mode of the user where modes are recorded.

Doubt is named where the records leave open what the value was: a void without date, a mode that
nobody wrote down, a force outside the calibrated range.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

UNDATED_VOID = "undated_void"
MODE_NOT_RECORDED = "mode_not_recorded"
OTHER_MODE_ONLY = "other_mode_only"
OUTSIDE_RANGE = "outside_range"
MAY_BE_OUTSIDE = "may_be_outside_range"
MODES = ("tension", "compression")

Range = tuple[Fraction, Fraction]


class Candidate(NamedTuple):
    """One revision of a certificate that assigns a value, as far as it may serve uses.

    Parameters
    ----------
    key
        Key of the certificate.
    order
        What makes one later than another: instant of the calibration, revision, number.
    mode
        Mode of the calibration; None serves every mode.
    from_us, until_us
        When it serves, in microseconds since 1970: from (inclusive; None: never), until (exclusive;
        None: to this day).
    undated_void
        Whether it was voided and nobody knows when, so that it serves nobody and may have, since
        `from_us`.
    span
        Smallest and largest non-zero force calibrated, in newton; None where none is recorded.
    """

    key: int
    order: tuple[int, int, str]
    mode: str | None = None
    from_us: int | None = None
    until_us: int | None = None
    undated_void: bool = False
    span: Range | None = None

    @property
    def performed_us(self) -> int:
        """Instant of the calibration."""
        return self.order[0]

    def suits(self, mode: str | None) -> bool:
        """Whether it serves users of a mode; an absent mode, on either side, excludes nothing."""
        return self.mode is None or mode is None or self.mode == mode

    def serves(self, at_us: int) -> bool:
        """Whether it served at an instant; at that of a void or an issue the new state holds."""
        return (
            not self.undated_void
            and self.from_us is not None
            and max(self.from_us, self.performed_us) <= at_us
            and (self.until_us is None or at_us < self.until_us)
        )


class Doubt(NamedTuple):
    """Another certificate whose value it may have been, and why that cannot be told."""

    key: int
    reason: str


# In the order in which they are told; the first and the last are the recall's own.
DOUBTS = (
    "no_use_in_role",
    UNDATED_VOID,
    MODE_NOT_RECORDED,
    OTHER_MODE_ONLY,
    OUTSIDE_RANGE,
    MAY_BE_OUTSIDE,
    "rests_on_doubt",
)


def serving(candidates: Iterable[Candidate], at_us: int, mode: str | None) -> list[Candidate]:
    """Return those that served users of a mode at an instant, the one in force first."""
    found = [one for one in candidates if one.suits(mode) and one.serves(at_us)]
    found.sort(key=lambda one: one.order, reverse=True)
    return found


def doubts(
    candidates: Sequence[Candidate],
    at_us: int,
    mode: str | None,
    in_force: Candidate | None,
) -> list[Doubt]:
    """Return the certificates whose value a use may have taken instead of the one in force.

    Ranges are left out, since they differ from point to point (`beyond_range`), and so is what a
    user without mode would rest on in the one or the other (`graph.compound`).

    Parameters
    ----------
    candidates
        Certificates of the item.
    at_us, mode
        The use: its instant (of a bare date the last one) and the mode of its calibration.
    in_force
        What is taken to have been in force.
    """
    found = []
    for one in candidates:
        from_us = one.performed_us if one.from_us is None else max(one.performed_us, one.from_us)
        voided = one.undated_void and one.suits(mode) and from_us <= at_us
        if voided and (in_force is None or one.order > in_force.order):
            found.append(Doubt(one.key, UNDATED_VOID))
    if mode is not None and in_force is None:
        first = next(iter(serving(candidates, at_us, None)), None)
        if first is not None:
            found.append(Doubt(first.key, OTHER_MODE_ONLY))
    return found


def beyond_range(ranked: Sequence[Candidate], forces: Iterable[Fraction]) -> list[Doubt]:
    """Return earlier certificates whose range held a force that the one in force does not hold.

    Parameters
    ----------
    ranked
        What served, the certificate in force first (`serving`).
    forces
        Forces at which the item was used, in newton; zero is in every range.
    """
    if not ranked or ranked[0].span is None:
        return []
    found: dict[int, Doubt] = {}
    for force in forces:
        if not force or _holds(ranked[0].span, force):
            continue
        for one in ranked[1:]:
            if one.span is not None and _holds(one.span, force):
                found[one.key] = Doubt(one.key, OUTSIDE_RANGE)
                break
    return list(found.values())


def beyond_unknown_share(ranked: Sequence[Candidate], forces: Iterable[Fraction]) -> list[Doubt]:
    """Return earlier certificates that may have held a force of which only a bound is known.

    A part whose share nobody recorded carried anything up to the whole force on its assembly. An
    earlier certificate counts if some such force lies in its range and in none of a later one.

    Parameters
    ----------
    ranked
        What served, the certificate in force first (`serving`).
    forces
        Forces on the assembly, in newton.
    """
    if not ranked or ranked[0].span is None:
        return []
    found: dict[int, Doubt] = {}
    for force in forces:
        # Open at the lower end and, save at the force itself, at the upper one.
        left = [(min(force, _NONE), max(force, _NONE))] if force else []
        whole: Fraction | None = force
        for place, one in enumerate(ranked):
            if one.span is None:
                continue
            if place and any(_meets(piece, one.span, whole) for piece in left):
                found[one.key] = Doubt(one.key, MAY_BE_OUTSIDE)
            left = [rest for piece in left for rest in _less(piece, one.span)]
            if _holds(one.span, force):
                whole = None
    return list(found.values())


_NONE = Fraction(0)


def _meets(piece: Range, span: Range, whole: Fraction | None) -> bool:
    """Whether a range holds a force of an open piece, or its end where that is the whole force.

    The whole force is None once a later range has held it.
    """
    low, high = max(piece[0], span[0]), min(piece[1], span[1])
    return low < high or (low == high and (low == whole or piece[0] < low < piece[1]))


def _less(piece: Range, span: Range) -> list[Range]:
    """Return what is left of a piece outside a range."""
    below, above = (piece[0], min(piece[1], span[0])), (max(piece[0], span[1]), piece[1])
    return [one for one in (below, above) if one[0] < one[1]]


def _holds(span: Range, force: Fraction) -> bool:
    return span[0] <= force <= span[1]
