"""What standard uncertainty does one figure stand for? Its distribution says by which divisor.

Choice: a figure keeps its exact variance as a rational. Divisors: U/k for a certificate, s/sqrt(n)
with n - 1 degrees of freedom for the mean of readings (JCGM 100:2008, 4.2.3), a/sqrt 3 for a
rectangle of half-width a, a/sqrt 6 for a triangle, a/sqrt 2 for the U-shaped (arcsine) density,
a sqrt((1 + beta^2)/6) for a symmetric trapezoid whose top is beta times its base (JCGM 100:2008,
4.3.7 to 4.3.9; the arcsine in JCGM 101:2008, 6.4.6), d/sqrt 12 for the digit of a display (JCGM
100:2008, F.2.2.1). All from memory; the tests derive them from the densities.

Not checked: that the figure has the distribution that is said of it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from api.rules.exact import FieldError, Number
from api.rules.uncertainty.rounding import root

Figures = Mapping[str, Any]

# The figures that each distribution takes, in one form or another; the first is the usual one.
FORMS: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "normal": (("U", "k"), ("u",)),
    "student": (("s", "n"), ("u",), ("U", "k")),
    "rectangular": (("half_width",),),
    "triangular": (("half_width",),),
    "u_shaped": (("half_width",),),
    "trapezoidal": (("half_width", "beta"),),
    "resolution": (("digit",),),
    "readings": (("readings",),),
}
# Names of the distributions.
DISTRIBUTIONS = tuple(FORMS)
FIGURES = ("U", "k", "u", "s", "n", "half_width", "beta", "digit", "readings")
MOST_READINGS = 10_000


@dataclass(frozen=True, slots=True)
class Standard:
    """What a figure comes to, in its own unit.

    Attributes
    ----------
    variance : Fraction
        Square of the standard uncertainty.
    figure : Decimal or Fraction
        What was divided; of readings their standard deviation s.
    divisor : str
        By what, in words.
    dof : Fraction or None
        Degrees of freedom; None where they are infinite.
    half_width, beta : Fraction or None
        Of a trapezoid: half its base, and top over base (1: rectangle, 0: triangle).
    mean : Fraction or None
        Of readings.
    """

    variance: Fraction
    figure: Number
    divisor: str
    dof: Fraction | None = None
    half_width: Fraction | None = None
    beta: Fraction | None = None
    mean: Fraction | None = None


def standard(distribution: str, figures: Figures) -> Standard:
    """Return the standard uncertainty of a figure (JCGM 100:2008, 4.2.3 and 4.3).

    Parameters
    ----------
    distribution : str
        One of DISTRIBUTIONS.
    figures : mapping
        The names of one form in `FORMS` as Decimals (`readings` as a list of them, `n` a whole
        number), and `dof` where it is finite; a student figure needs it, unless n says it.

    Returns
    -------
    Standard

    Raises
    ------
    FieldError
        With the figure that is wrong or missing.

    Examples
    --------
    >>> found = standard("rectangular", {"half_width": Decimal("0.3")})
    >>> found.variance, found.divisor
    (Fraction(3, 100), 'sqrt 3')
    """
    if distribution not in FORMS:
        known = ", ".join(DISTRIBUTIONS)
        raise FieldError("/distribution", f"{distribution} is not known; use one of {known}")
    given = {name: figures[name] for name in FIGURES if figures.get(name) is not None}
    _check_form(distribution, given)
    for name, figure in given.items():
        _check_figure(name, figure)
    dof = figures.get("dof")
    if dof is not None and dof < 1:
        raise FieldError("/dof", "fewer than 1 degree of freedom; leave it out if it is infinite")
    found = _STANDARDS[distribution](given, None if dof is None else Fraction(dof))
    if distribution == "student" and found.dof is None:
        raise FieldError("/dof", "a student figure has degrees of freedom; give dof")
    return found


def _check_form(distribution: str, given: Figures) -> None:
    forms = FORMS[distribution]
    if any(given.keys() == set(form) for form in forms):
        return
    takes = " or ".join(" and ".join(form) for form in forms)
    known = {name for form in forms for name in form}
    foreign = [name for name in given if name not in known]
    if foreign:
        raise FieldError(
            f"/{foreign[0]}", f"a {distribution} component takes {takes}; leave it out"
        )
    nearest = max(forms, key=lambda form: len(given.keys() & set(form)))
    missing = [name for name in nearest if name not in given]
    if missing:
        raise FieldError(
            f"/{missing[0]}", f"it is missing; a {distribution} component takes {takes}"
        )
    extra = next(name for name in given if name not in nearest)
    raise FieldError(f"/{extra}", f"a second figure; a {distribution} component takes {takes}")


def _check_figure(name: str, figure: Any) -> None:
    place = f"/{name}"
    if name == "readings":
        if not 2 <= len(figure) <= MOST_READINGS:
            raise FieldError(place, f"{len(figure)} reading(s); give 2 to {MOST_READINGS}")
    elif name == "k":
        if figure <= 0:
            raise FieldError(place, "a coverage factor is greater than 0; check it")
    elif name == "n":
        if figure < 1:
            raise FieldError(place, "a mean has at least 1 reading; check it")
    elif figure < 0:
        raise FieldError(place, "an uncertainty is not negative; send its magnitude")
    elif name == "beta" and figure > 1:
        raise FieldError(place, "beta is the top over the base of the trapezoid, 0 to 1; check it")


def _certificate(figures: Figures, dof: Fraction | None) -> Standard:
    if "u" in figures:
        u = Fraction(figures["u"])
        return Standard(u * u, u, "1", dof)
    U, k = Fraction(figures["U"]), Fraction(figures["k"])
    return Standard((U / k) ** 2, U, f"k = {format(figures['k'], 'f')}", dof)


def _student(figures: Figures, dof: Fraction | None) -> Standard:
    if "s" not in figures:
        return _certificate(figures, dof)
    s, n = Fraction(figures["s"]), int(figures["n"])
    if dof is None:
        if n < 2:
            raise FieldError("/dof", "one reading has no scatter of its own; give dof of s")
        dof = Fraction(n - 1)
    return Standard(s * s / n, s, f"sqrt {n}", dof)


def _readings(figures: Figures, dof: Fraction | None) -> Standard:
    readings: Sequence[Decimal] = figures["readings"]
    if dof is not None:
        raise FieldError("/dof", "readings count their own degrees of freedom; leave it out")
    count = len(readings)
    numbers = [Fraction(reading) for reading in readings]
    mean = sum(numbers, Fraction(0)) / count
    squares = sum(((number - mean) ** 2 for number in numbers), Fraction(0))
    variance = squares / (count * (count - 1))
    s = root(squares / (count - 1))
    return Standard(variance, s, f"sqrt {count}", Fraction(count - 1), mean=mean)


def _bounded(
    divisor: str, square: int, beta: int | None = None
) -> Callable[[Figures, Fraction | None], Standard]:
    def made(figures: Figures, dof: Fraction | None) -> Standard:
        a = Fraction(figures["half_width"])
        shape = None if beta is None else Fraction(beta)
        width = None if beta is None else a
        return Standard(a * a / square, a, divisor, dof, width, shape)

    return made


def _trapezoidal(figures: Figures, dof: Fraction | None) -> Standard:
    a, beta = Fraction(figures["half_width"]), Fraction(figures["beta"])
    variance = a * a * (1 + beta * beta) / 6
    return Standard(variance, a, "sqrt(6 / (1 + beta^2))", dof, a, beta)


def _resolution(figures: Figures, dof: Fraction | None) -> Standard:
    digit = Fraction(figures["digit"])
    return Standard(digit * digit / 12, digit, "sqrt 12", dof, digit / 2, Fraction(1))


_STANDARDS: Mapping[str, Callable[[Figures, Fraction | None], Standard]] = {
    "normal": _certificate,
    "student": _student,
    "rectangular": _bounded("sqrt 3", 3, 1),
    "triangular": _bounded("sqrt 6", 6, 0),
    "u_shaped": _bounded("sqrt 2", 2),
    "trapezoidal": _trapezoidal,
    "resolution": _resolution,
    "readings": _readings,
}
