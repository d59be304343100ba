"""Which part on the shelf comes first? An order for a required size and style.

Choice: the customer's own part, because an instrument should be calibrated on what it is used with;
then parts of the same size and style; then the nearest size, with its deviation as a warning. What
may not be used (isolated, past its life, too weak) comes last, each with its reasons, so that
nobody looks for it in vain. Equal ones stand in the order of their ids.

Not checked: whether a part is free; it may be in another set-up.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from api.rules.fitting.fit import Fit, compare, same_word

# Where a part stands in the order, the best choice first.
OWN, SAME, NEAREST, BARRED = "own", "same", "nearest", "barred"
CHOICES = (OWN, SAME, NEAREST, BARRED)


@dataclass(frozen=True, slots=True)
class Wanted:
    """A required part.

    Parameters
    ----------
    size : Fraction or None
        In mm; None where nothing is required of it.
    style : str, optional
        None where nothing is required of it.
    plus, minus : Fraction
        Tolerances of the size in mm, both by their magnitude.
    owner : str, optional
        Whose instrument it is for.
    """

    size: Fraction | None
    style: str | None = None
    plus: Fraction = Fraction(0)
    minus: Fraction = Fraction(0)
    owner: str | None = None


@dataclass(frozen=True, slots=True)
class Candidate:
    """A part on the shelf.

    Parameters
    ----------
    item : str
        Its id.
    size : Fraction or None
        In mm; None where it is not known.
    style, owner : str, optional
        As recorded.
    barred : tuple of str
        Reasons why it may not be used.
    """

    item: str
    size: Fraction | None
    style: str | None = None
    owner: str | None = None
    barred: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """A part with its place in the order.

    Attributes
    ----------
    candidate : Candidate
        The part.
    choice : str
        One of CHOICES: the customer's own, the same, the nearest, or barred.
    fit : Fit or None
        Of its size; None where that is not known or not required.
    style_agrees : bool
        Whether its style is the one required, if any is.
    """

    candidate: Candidate
    choice: str
    fit: Fit | None
    style_agrees: bool


def ranked(wanted: Wanted, candidates: Iterable[Candidate]) -> list[Choice]:
    """Return the parts, the best choice first.

    Parameters
    ----------
    wanted : Wanted
        What is required.
    candidates : iterable of Candidate
        The parts on the shelf.

    Returns
    -------
    list of Choice
        Equal ones in the order of their ids.

    Raises
    ------
    ValueError
        For a negative tolerance.

    Examples
    --------
    >>> two, fifty = Candidate("A", Fraction(50)), Candidate("B", Fraction("50.8"))
    >>> [one.candidate.item for one in ranked(Wanted(Fraction("50.8")), [two, fifty])]
    ['B', 'A']
    """
    return sorted((_choice(wanted, one) for one in candidates), key=_order)


def _choice(wanted: Wanted, candidate: Candidate) -> Choice:
    fit = None
    if wanted.size is not None and candidate.size is not None:
        fit = compare(wanted.size, candidate.size, wanted.plus, wanted.minus)
    style = wanted.style is None or same_word(wanted.style, candidate.style)
    if candidate.barred:
        kind = BARRED
    elif wanted.owner is not None and candidate.owner == wanted.owner:
        kind = OWN
    elif style and (wanted.size is None or (fit is not None and fit.agrees)):
        kind = SAME
    else:
        kind = NEAREST
    return Choice(candidate, kind, fit, style)


def _order(one: Choice) -> tuple[int, bool, bool, Fraction, str]:
    # A part of unknown size cannot be near to anything.
    off = Fraction(0) if one.fit is None else abs(one.fit.off_by)
    return (
        CHOICES.index(one.choice),
        one.fit is None,
        not one.style_agrees,
        off,
        one.candidate.item,
    )
