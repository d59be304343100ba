"""What must hold for a rule to decide: enough tolerance for the uncertainty.

Choice: one of two ratios, both of the tolerance interval [T_L, T_U] that has two limits:

- TUR = (T_U - T_L) / (2 U_95), at least a number (ILAC-G8:09/2019 and JCGM 106:2012, 7.6, know the
  ratio, from memory; TUR 4 is common practice, no source). U_95 = 2 U / k, or U itself where k is
  the 95 % factor for the degrees of freedom, else t U / k with that factor t, as for `tur` of every
  decision;
- U / T, at most a number, with U as it stands (expanded with its own k) and T = (T_U - T_L) / 2.

The ratios are compared as products, on unrounded numbers, and equality holds. So nothing is divided
by 0: where U = 0 every precondition holds, where T = 0 and U > 0 none does. One limit makes no
tolerance interval, and the precondition is refused there: neither branch was agreed for it.

Not checked: that the ratio that was chosen is the right one for the use of the results.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from api.rules.exact import plain
from api.rules.rule_parts import RuleError, number, only

# The two kinds, with what they are called and what they ask.
KINDS = {"least_tur": ("TUR", "at least"), "greatest_U_over_T": ("U/T", "at most")}
_QUOTIENT = re.compile(r"([0-9]{1,6})/([0-9]{1,6})")
# Beyond these a limit is a slip of the pen, and floats need not hold it.
_LEAST, _MOST = Fraction(1, 1_000_000), Fraction(1_000_000)


@dataclass(frozen=True, slots=True)
class Precondition:
    """A limit for one ratio of tolerance and uncertainty; equality holds.

    Parameters
    ----------
    kind : str
        `least_tur`, the least test uncertainty ratio, or `greatest_U_over_T`, the greatest ratio of
        U to half the tolerance interval.
    limit : Fraction
        A ratio from 0.000001 to 1000000.

    Raises
    ------
    RuleError
        If the kind is unknown or the limit out of range.

    Examples
    --------
    >>> Precondition("greatest_U_over_T", Fraction(1, 3)).words
    'U/T is at most 1/3'
    """

    kind: str
    limit: Fraction

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            known = " or ".join(KINDS)
            raise RuleError(f"/precondition/{self.kind}", f"unknown key; give {known}")
        if not _LEAST <= self.limit <= _MOST:
            shown = ratio_text(self.limit)
            raise RuleError(
                f"/precondition/{self.kind}",
                f"{shown} is no limit for {KINDS[self.kind][0]}; "
                "give a ratio above 0, from 0.000001 to 1000000",
            )

    @property
    def words(self) -> str:
        """What it asks, in words."""
        name, asked = KINDS[self.kind]
        return f"{name} is {asked} {ratio_text(self.limit)}"

    def weaker_than(self, other: "Precondition") -> bool:
        """Say whether it can hold where another one of its kind does not.

        Parameters
        ----------
        other : Precondition
            Of the same kind.

        Returns
        -------
        bool
        """
        if self.kind == "least_tur":
            return self.limit < other.limit
        return self.limit > other.limit

    def to_mapping(self) -> dict[str, object]:
        """Return the JSON form.

        Returns
        -------
        dict of str to object
            The kind with its limit as text.
        """
        return {self.kind: ratio_text(self.limit)}


def ratio_text(limit: Fraction) -> str:
    """Return a limit as text: a decimal where it has an end, else a quotient of whole numbers.

    >>> ratio_text(Fraction(5, 2)), ratio_text(Fraction(1, 3))
    ('2.5', '1/3')
    """
    rest = limit.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    return plain(limit) if rest == 1 else f"{limit.numerator}/{limit.denominator}"


def precondition_from_mapping(mapping: object) -> Precondition:
    """Read a precondition from its JSON form; raise RuleError with a pointer to what is wrong.

    >>> precondition_from_mapping({"least_tur": "4"})
    Precondition(kind='least_tur', limit=Fraction(4, 1))
    """
    if not isinstance(mapping, Mapping):
        raise RuleError("/precondition", f"not an object; give {{{' or '.join(KINDS)}: a ratio}}")
    only(mapping, {*KINDS}, "/precondition")
    given = {kind: value for kind, value in mapping.items() if value is not None}
    if len(given) != 1:
        found = "both are" if given else "neither is"
        raise RuleError("/precondition", f"{found} given; give one of {' and '.join(KINDS)}")
    ((kind, value),) = given.items()
    return Precondition(kind, _ratio(value, f"/precondition/{kind}"))


def _ratio(value: object, pointer: str) -> Fraction:
    """Read a decimal number, or a quotient of whole numbers such as 1/3."""
    quotient = _QUOTIENT.fullmatch(value) if isinstance(value, str) else None
    if quotient is None:
        try:
            return Fraction(number(value, pointer))
        except RuleError as error:
            remedy = 'give a decimal number or a quotient such as "1/3", best as text'
            raise RuleError(pointer, f"{str(error).partition(';')[0]}; {remedy}") from None
    if not int(quotient[2]):
        raise RuleError(pointer, f"{value} divides by 0; give a ratio above 0")
    return Fraction(int(quotient[1]), int(quotient[2]))
