"""Tolerance limits: between which values an item conforms.

Choice: a tolerance interval is a pair of limits, either of which may be absent, never both. A
tolerance is a symmetric number, a pair of signed offsets, or a list of terms added up or combined
as root-sum-square. Sums are exact; a root has 50 digits.

Not checked: that a reading and a full scale are in the unit of the limits.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation

from api.rules.exact import FieldError, Number, exact_arithmetic, finite, root_sum_square

TERM_KINDS = (
    "percent_of_reading",
    "percent_of_nominal",
    "percent_of_full_scale",
    "absolute",
    "digits_of_resolution",
)
COMBINATIONS = ("sum", "rss")

_PERCENT = Decimal("0.01")
# The quantity each kind of term is a share of, and how large a share one unit of it is.
_SCALES = {
    "percent_of_reading": ("reading", _PERCENT),
    "percent_of_nominal": ("nominal", _PERCENT),
    "percent_of_full_scale": ("full_scale", _PERCENT),
    "digits_of_resolution": ("resolution", Decimal(1)),
}


class LimitsError(FieldError):
    """Limits or a tolerance that cannot be used; `field` points at the part."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Tolerance limits T_L and T_U (JCGM 106:2012, 3.3.4): both, or one of them and None.

    Parameters
    ----------
    lower, upper : Decimal, Fraction or None
        The limits, in one unit; they belong to the interval.

    Raises
    ------
    LimitsError
        If both are None, one is not a finite exact number, or lower is above upper.

    Examples
    --------
    >>> Limits.from_nominal(Decimal(10), Decimal("0.5"))
    Limits(lower=Decimal('9.5'), upper=Decimal('10.5'))
    """

    lower: Number | None = None
    upper: Number | None = None

    def __post_init__(self) -> None:
        if self.lower is not None:
            object.__setattr__(self, "lower", _finite(self.lower, "/lower"))
        if self.upper is not None:
            object.__setattr__(self, "upper", _finite(self.upper, "/upper"))
        elif self.lower is None:
            raise LimitsError("", "at least one of lower and upper is needed")
        if self.lower is not None and self.upper is not None and self.lower > self.upper:
            raise LimitsError("/lower", "lower must not be above upper")

    @property
    def two_sided(self) -> bool:
        """Say whether both limits exist."""
        return self.lower is not None and self.upper is not None

    @classmethod
    def from_nominal(
        cls,
        nominal: Decimal,
        tolerance: Decimal | int | str | Mapping[str, object],
        *,
        reading: Decimal | None = None,
        full_scale: Decimal | None = None,
        resolution: Decimal | None = None,
    ) -> "Limits":
        """Return the limits around `nominal`; the unit is that of `nominal`.

        For an error of indication the nominal is 0.

        Parameters
        ----------
        nominal : Decimal
            The middle that offsets are counted from.
        tolerance : Decimal, int, str or mapping
            A number (symmetric), `{"lower", "upper"}` (signed offsets, either may be absent) or
            `{"terms": [{"kind", "value"}, ...], "combine": "sum" | "rss"}`.
        reading, full_scale, resolution : Decimal, optional
            What terms are taken of, in the unit of `nominal`.

        Returns
        -------
        Limits

        Raises
        ------
        LimitsError
            With the field that is wrong or missing.
        FieldError
            If the numbers are a thousand decimal places apart.
        """
        lower: Decimal | None
        upper: Decimal | None
        if isinstance(tolerance, Mapping) and "terms" in tolerance:
            scales = {"reading": reading, "nominal": nominal, "full_scale": full_scale}
            upper = half_width(tolerance, {**scales, "resolution": resolution})
            lower = -upper
        else:
            lower, upper = tolerance_offsets(tolerance)
        with exact_arithmetic():
            return cls(
                lower=None if lower is None else nominal + lower,
                upper=None if upper is None else nominal + upper,
            )


def tolerance_offsets(tolerance: object) -> tuple[Decimal | None, Decimal | None]:
    """Return the signed offsets (lower, upper) of a symmetric number or of `{"lower", "upper"}`.

    >>> tolerance_offsets("0.5"), tolerance_offsets({"lower": "-0.1"})
    ((Decimal('-0.5'), Decimal('0.5')), (Decimal('-0.1'), None))
    """
    if not isinstance(tolerance, Mapping):
        width = _number(tolerance, "/tolerance")
        if width < 0:
            raise LimitsError("/tolerance", "a symmetric tolerance must not be negative")
        return width.copy_negate() if width else width, width
    _only(tolerance, {"lower", "upper"}, "/tolerance")
    found = {
        name: _number(tolerance[name], f"/tolerance/{name}")
        for name in ("lower", "upper")
        if tolerance.get(name) is not None
    }
    if not found:
        raise LimitsError("/tolerance", "at least one of lower and upper is needed")
    return found.get("lower"), found.get("upper")


def half_width(
    specification: Mapping[str, object], scales: Mapping[str, Decimal | None]
) -> Decimal:
    """Return the half-width of a tolerance made of terms, in the unit of the scales.

    `scales` holds `reading`, `nominal`, `full_scale` and `resolution`; a term whose scale is None
    raises LimitsError. Percent of a negative reading is taken of its magnitude.

    >>> terms = [{"kind": "percent_of_reading", "value": "0.05"},
    ...          {"kind": "percent_of_full_scale", "value": "0.02"},
    ...          {"kind": "digits_of_resolution", "value": 2}]
    >>> scales = {"reading": Decimal(250), "full_scale": Decimal(1000),
    ...           "resolution": Decimal("0.1")}
    >>> half_width({"terms": terms}, scales)
    Decimal('0.5250')
    """
    _only(specification, {"terms", "combine"}, "/tolerance")
    combine = specification.get("combine", "sum")
    if combine not in COMBINATIONS:
        raise LimitsError("/tolerance/combine", "combine must be 'sum' or 'rss'")
    terms = specification["terms"]
    if not isinstance(terms, Sequence) or isinstance(terms, str) or not terms:
        raise LimitsError("/tolerance/terms", "terms must be a list with at least one term")
    widths = [_width(term, f"/tolerance/terms/{i}", scales) for i, term in enumerate(terms)]
    if combine == "rss":
        return root_sum_square(widths)
    with exact_arithmetic():
        return sum(widths[1:], widths[0])


def _width(term: object, field: str, scales: Mapping[str, Decimal | None]) -> Decimal:
    if not isinstance(term, Mapping):
        raise LimitsError(field, "a term has a kind and a value")
    _only(term, {"kind", "value"}, field)
    kind = term.get("kind")
    value = _number(term.get("value"), f"{field}/value")
    if value < 0:
        raise LimitsError(f"{field}/value", "a term of a tolerance must not be negative")
    if kind == "absolute":
        return value
    if not isinstance(kind, str) or kind not in _SCALES:
        raise LimitsError(f"{field}/kind", f"kind must be one of {', '.join(TERM_KINDS)}")
    name, share = _SCALES[kind]
    scale = scales.get(name)
    if scale is None:
        raise LimitsError(f"{field}/kind", f"{kind} needs the {name.replace('_', ' ')}")
    with exact_arithmetic():
        return value * share * abs(scale)


def _finite(value: object, field: str) -> Number:
    try:
        return finite(value, field.rpartition("/")[2])  # type: ignore[arg-type]
    except (TypeError, ValueError) as error:
        raise LimitsError(field, str(error)) from None


def _number(value: object, field: str) -> Decimal:
    try:
        number = Decimal(value) if isinstance(value, str) else value
    except InvalidOperation:
        raise LimitsError(field, f"{value!r} is not a number") from None
    exact = _finite(number, field)
    if not isinstance(exact, Decimal):
        raise LimitsError(field, "a decimal number is needed")
    return exact


def _only(mapping: Mapping[str, object], known: set[str], field: str) -> None:
    for key in mapping:
        if key not in known:
            raise LimitsError(f"{field}/{key}", f"unknown key {key!r}")
