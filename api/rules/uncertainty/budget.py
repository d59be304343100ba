"""What do the components of a linear model come to? Combined u, degrees of freedom, shares.

Choice: u^2 = sum of (c u)^2 plus twice the sum of r c u c' u' over correlated pairs (JCGM 100:2008,
equations 13 and 16), exact but for the roots under the correlated terms. A share is what a
component adds to u^2, its half of each correlated term included: shares sum to 1 and may be
negative.
Effective degrees of freedom by the Welch-Satterthwaite formula (JCGM 100:2008, G.4.1), cut down to
a whole number for the look-up of k. The formula holds for uncorrelated inputs only: components that
are correlated enter it as one input with their joint variance and the smallest finite number of
degrees of freedom among them, which is right for quantities observed together n times (JCGM
100:2008, H.2) and this project's cautious choice otherwise.

Not checked: that the model is linear enough; JCGM 101 says how to find out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from math import floor

from api.rules.exact import Number
from api.rules.uncertainty.correlation import Correlations
from api.rules.uncertainty.distributions import Standard
from api.rules.uncertainty.rounding import rational_root, root

# So many degrees of freedom cannot be told from infinitely many by their k.
MOST_DOF = 10**9
# A quotient of rounded roots this near below a whole number is that number.
_NOISE = Fraction(1, 10**20)


@dataclass(frozen=True, slots=True)
class Component:
    """A named figure with its standard uncertainty and how it acts on the result.

    Parameters
    ----------
    name : str
        What a budget and its correlations call it.
    standard : Standard
        The figure's standard uncertainty, in its own unit.
    scale : Fraction
        Turns the figure's unit into that of the input (percent of a value, lbf into kN).
    sensitivity : Fraction
        The partial derivative of the result by the input.
    """

    name: str
    standard: Standard
    scale: Fraction = Fraction(1)
    sensitivity: Fraction = Fraction(1)

    @property
    def input_variance(self) -> Fraction:
        """Variance of the input, in the square of its unit."""
        return self.standard.variance * self.scale**2

    @property
    def variance(self) -> Fraction:
        """Variance that it alone gives to the result."""
        return self.input_variance * self.sensitivity**2

    @property
    def factor(self) -> Fraction:
        """What one unit of the figure is in the result."""
        return self.scale * self.sensitivity


@dataclass(frozen=True, slots=True)
class Combined:
    """The combined standard uncertainty of a result, in its unit.

    Attributes
    ----------
    variance : Fraction
        u^2, exact but for the roots under correlated terms.
    u : Decimal
        Its root, 50 digits.
    shares : tuple of Fraction or None
        What each component adds to u^2, of u^2, in the order of the components; None where u is 0.
    dof : Fraction or None
        Effective degrees of freedom; None where they are infinite (or u is 0).
    dof_for_k : int or None
        `dof` cut down to a whole number.
    groups : tuple of tuple of str
        Names of components that are correlated with each other.
    """

    variance: Fraction
    u: Decimal
    shares: tuple[Fraction, ...] | None
    dof: Fraction | None
    dof_for_k: int | None
    groups: tuple[tuple[str, ...], ...]


def combine(components: Sequence[Component], correlations: Correlations) -> Combined:
    """Return the combined standard uncertainty of the sum of all components.

    JCGM 100:2008, equations 13, 16 and G.2b.

    Parameters
    ----------
    components : sequence of Component
        In any order; of each, what it is in the result is added.
    correlations : Correlations
        Of these components, by their positions.

    Returns
    -------
    Combined

    Examples
    --------
    >>> from api.rules.uncertainty.distributions import standard
    >>> parts = [Component(name, standard("normal", {"u": Decimal(u)})) for name, u in
    ...          (("reference", "3"), ("drift", "4"))]
    >>> found = combine(parts, Correlations(2, {}))
    >>> found.u, found.shares
    (Decimal('5'), (Fraction(9, 25), Fraction(16, 25)))
    """
    parts = _parts(components, correlations)
    variance = max(sum(parts, Fraction(0)), Fraction(0))
    groups = correlations.groups()
    dof = _effective(variance, groups, parts, components)
    named = tuple(tuple(components[i].name for i in group) for group in groups if len(group) > 1)
    shares = tuple(part / variance for part in parts) if variance else None
    cut = None if dof is None else floor(dof + _NOISE)
    return Combined(variance, root(variance), shares, dof, cut, named)


def effective_dof(terms: Sequence[tuple[Fraction, Fraction | None]]) -> Fraction | None:
    """Return u^4 / sum(u_i^4 / nu_i) of independent variances (JCGM 100:2008, equation G.2b).

    Parameters
    ----------
    terms : sequence of (Fraction, Fraction or None)
        Variance and degrees of freedom of each; None stands for infinitely many.

    Returns
    -------
    Fraction or None
        None for infinitely many; more than `MOST_DOF` count as that.

    Examples
    --------
    >>> effective_dof([(Fraction(1), Fraction(4)), (Fraction(1), None)])
    Fraction(16, 1)
    """
    total = sum((variance for variance, _ in terms), Fraction(0))
    weighed = sum((variance**2 / dof for variance, dof in terms if dof is not None), Fraction(0))
    return total**2 / weighed if weighed * MOST_DOF >= total**2 and weighed else None


def _parts(components: Sequence[Component], correlations: Correlations) -> list[Fraction]:
    """Return what each component adds to the variance, with its half of each correlated term."""
    parts = [one.variance for one in components]
    for (i, j), r in correlations.pairs.items():
        sign = 1 if components[i].factor * components[j].factor > 0 else -1
        term = sign * r * rational_root(components[i].variance * components[j].variance)
        parts[i] += term
        parts[j] += term
    return parts


def _effective(
    variance: Fraction,
    groups: Sequence[Sequence[int]],
    parts: Sequence[Fraction],
    components: Sequence[Component],
) -> Fraction | None:
    if not variance:
        return None
    terms = []
    for group in groups:
        known = [dof for i in group if (dof := components[i].standard.dof) is not None]
        joint = max(sum((parts[i] for i in group), Fraction(0)), Fraction(0))
        terms.append((joint, min(known) if known else None))
    return effective_dof(terms)


def relative(u: Number, value: Number) -> Fraction | None:
    """Return u in percent of the magnitude of a value.

    Parameters
    ----------
    u, value : Decimal or Fraction
        An uncertainty and a value, in one unit.

    Returns
    -------
    Fraction or None
        None where the value is 0.
    """
    return Fraction(u) * 100 / abs(Fraction(value)) if value else None
