"""Which components vary together? Coefficients that can be true at once.

Choice: coefficients are given for pairs; what is not given is 0. They must make a correlation
matrix: symmetric, 1 on its diagonal, and positive semi-definite (JCGM 100:2008, 5.2.2 and C.3.6;
the last follows from a variance never being negative). An eigenvalue down to -1e-9 counts as 0.

Not checked: that components without a coefficient are independent. The same standard used twice is
one component, or two with r = 1.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from api.rules.exact import FieldError

Pair = tuple[str, str]
_SMALLEST_EIGENVALUE = -1e-9


@dataclass(frozen=True, slots=True)
class Correlations:
    """Coefficients of pairs by the positions of their components; `correlations` checks them.

    Parameters
    ----------
    count : int
        How many components there are.
    pairs : mapping of (int, int) to Fraction
        Coefficients, lower position first; what is not given is 0.
    """

    count: int
    pairs: Mapping[tuple[int, int], Fraction]

    def r(self, one: int, other: int) -> Fraction:
        """Return the coefficient of two components.

        Parameters
        ----------
        one, other : int
            Their positions, in any order.

        Returns
        -------
        Fraction
        """
        if one == other:
            return Fraction(1)
        return self.pairs.get((min(one, other), max(one, other)), Fraction(0))

    def groups(self) -> list[list[int]]:
        """Return positions in groups: two are in one if coefficients lead from one to the other.

        Returns
        -------
        list of list of int
        """
        group_of = list(range(self.count))
        for (one, other), r in self.pairs.items():
            if r and group_of[one] != group_of[other]:
                old, new = group_of[other], group_of[one]
                group_of = [new if group == old else group for group in group_of]
        return [[i for i in range(self.count) if group_of[i] == g] for g in sorted(set(group_of))]


def correlations(
    names: Sequence[str], given: Sequence[tuple[Pair, Decimal]], place: str = "/correlations"
) -> Correlations:
    """Return checked correlations between named components (JCGM 100:2008, 5.2.2).

    Parameters
    ----------
    names : sequence of str
        Of the components, in their order.
    given : sequence of ((str, str), Decimal)
        Pairs of names with their coefficients, each pair once or with the same one.
    place : str
        JSON pointer that those of errors begin with.

    Returns
    -------
    Correlations

    Raises
    ------
    FieldError
        For a name that is not a component's, a coefficient beyond 1, two different ones for a pair,
        another than 1 of a component with itself, and for a matrix that no quantities can have.

    Examples
    --------
    >>> correlations(["a", "b"], [(("a", "b"), Decimal("0.5"))]).r(1, 0)
    Fraction(1, 2)
    """
    position = {name: i for i, name in enumerate(names)}
    pairs: dict[tuple[int, int], Fraction] = {}
    for row, ((one, other), r) in enumerate(given):
        for name in (one, other):
            if name not in position:
                known = ", ".join(names)
                detail = f"no component is named {name}; known here: {known}"
                raise FieldError(f"{place}/{row}/between", detail)
        if abs(r) > 1:
            raise FieldError(f"{place}/{row}/r", f"{r} is not between -1 and 1; check it")
        if one == other:
            if r != 1:
                detail = f"{one} with itself has the coefficient 1; leave the pair out"
                raise FieldError(f"{place}/{row}/r", detail)
            continue
        first, second = sorted((position[one], position[other]))
        known_r = pairs.setdefault((first, second), Fraction(r))
        if known_r != Fraction(r):
            detail = f"{one} and {other} have two different coefficients; give one of them"
            raise FieldError(f"{place}/{row}/r", detail)
    found = Correlations(len(names), pairs)
    _check_semi_definite(found, names, place)
    return found


def _check_semi_definite(found: Correlations, names: Sequence[str], place: str) -> None:
    for group in found.groups():
        matrix = np.array([[float(found.r(i, j)) for j in group] for i in group])
        least = float(np.linalg.eigvalsh(matrix).min())
        if least < _SMALLEST_EIGENVALUE:
            named = ", ".join(names[i] for i in group)
            raise FieldError(
                place,
                f"no quantities have these coefficients at once: the matrix of {named} is not "
                f"positive semi-definite (smallest eigenvalue {least:.3g}); "
                "check signs and values, more digits may be needed",
            )
