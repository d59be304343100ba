"""Does what was found fit what is required? The answer, and by how much it is off.

Choice: everything is an exact rational in one unit, and a value on a limit agrees, as everywhere in
this product. The deviation is found less required, so that what is too small is negative. Words
(styles, threads) agree whatever their case and spacing.

Not checked: that both are in the same unit; the caller converts.
"""

from dataclasses import dataclass
from fractions import Fraction

ZERO = Fraction(0)


@dataclass(frozen=True, slots=True)
class Fit:
    """Whether a value agrees, and its deviation.

    Attributes
    ----------
    agrees : bool
        A value on a limit agrees.
    off_by : Fraction
        Found less required, in their unit.
    relative : Fraction or None
        The same as a share of the required value; None where that is zero.
    """

    agrees: bool
    off_by: Fraction
    relative: Fraction | None


def compare(
    required: Fraction, found: Fraction, plus: Fraction = ZERO, minus: Fraction = ZERO
) -> Fit:
    """Compare a found value with a required one and its tolerances, all in one unit.

    Parameters
    ----------
    required, found : Fraction
        The two values.
    plus, minus : Fraction
        Tolerances, both by their magnitude.

    Returns
    -------
    Fit

    Raises
    ------
    ValueError
        For a negative tolerance.

    Examples
    --------
    >>> compare(Fraction("50.8"), Fraction(50)).off_by
    Fraction(-4, 5)
    """
    if plus < 0 or minus < 0:
        raise ValueError("a tolerance is given by its size, which is not negative")
    off_by = found - required
    return Fit(-minus <= off_by <= plus, off_by, off_by / required if required else None)


def at_most(limit: Fraction, found: Fraction) -> Fit:
    """Compare a found value with a limit that it may reach and not pass.

    Parameters
    ----------
    limit, found : Fraction
        In one unit.

    Returns
    -------
    Fit
        Its deviation is found less limit.

    Examples
    --------
    >>> at_most(Fraction(10), Fraction(10)).agrees
    True
    """
    off_by = found - limit
    return Fit(off_by <= 0, off_by, off_by / limit if limit else None)


def same_word(required: str, found: object) -> bool:
    """Say whether two words are the same but for case and spacing.

    Parameters
    ----------
    required : str
        The word asked for.
    found : object
        What is recorded; anything but text is another word.

    Returns
    -------
    bool

    Examples
    --------
    >>> same_word("bow", " Bow ")
    True
    """
    return isinstance(found, str) and _word(required) == _word(found)


def _word(text: str) -> str:
    return " ".join(text.casefold().replace("_", " ").split())
