"""Which capability holds for a force? The laboratory's smallest U there, its CMC.

Choice: a calibration and measurement capability (CMC) is the smallest U that the laboratory may
state for a force, mode and range, at a coverage of about 95 % (ILAC-P14:09/2020, 5.4, from memory).
Its U is a percentage of the force, an absolute term, or both as sum or root-sum-square. Of several
that hold, one for the type of instrument goes before one for any type, then one for the mode before
one for any; among those that are left the smallest U counts, since it is the laboratory's best.
Without a stated mode every mode holds. The range includes its ends; compression forces count by
their magnitude.

A capability has a coverage factor of its own, 2 unless it says otherwise: a U that is raised to it
is the capability's, and so are its k and its degrees of freedom, which are infinitely many.

Not checked: that U was stated for the same coverage probability; the numbers are compared as they
stand, and so is a U whose k is not about 2.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import FieldError
from api.rules.limits import half_width
from api.rules.uncertainty.rounding import decimal, shortest
from api.rules.units import convert, is_force

__all__ = ["ANY", "MODES", "Capability", "Cmc", "allowed", "capability", "check", "holds"]

# The modes of loading that a capability may be for.
MODES = ("tension", "compression", "any")
ANY = "any"


@dataclass(frozen=True, slots=True)
class Cmc:
    """One version of a capability: where it holds and what it allows.

    Parameters
    ----------
    id : str
        Its name.
    version : int
        From 1.
    mode : str
        One of MODES.
    lower, upper : Decimal
        The range, ends included, in `unit`; magnitudes.
    unit : str
        A unit of force.
    U_rel_pct : Decimal, optional
        Smallest U in percent of the force.
    U_abs : Decimal, optional
        Smallest U in `unit`.
    combine : str
        "sum" or "rss": how the two add up.
    instrument_type : str, optional
        The type that it is for; any unless given.
    k : Decimal
        Coverage factor of its U, above 0; 2 for about 95 % (ILAC-P14:09/2020, from memory).
    """

    id: str
    version: int
    mode: str
    lower: Decimal
    upper: Decimal
    unit: str
    U_rel_pct: Decimal | None = None
    U_abs: Decimal | None = None
    combine: str = "sum"
    instrument_type: str | None = None
    k: Decimal = Decimal(2)


@dataclass(frozen=True, slots=True)
class Capability:
    """The capability that holds for a force.

    Attributes
    ----------
    cmc : Cmc
        Which one.
    U : Decimal
        Its U in the unit of the force, at a coverage of about 95 %.
    """

    cmc: Cmc
    U: Decimal


def check(cmc: Cmc) -> None:
    """Refuse a capability that holds nowhere or allows nothing.

    Parameters
    ----------
    cmc : Cmc
        The capability.

    Raises
    ------
    FieldError
        With the field and the remedy.
    """
    if not is_force(cmc.unit):
        raise FieldError("/range/unit", f"{cmc.unit} is not a unit of force; use one such as kN")
    if not 0 <= cmc.lower <= cmc.upper:
        raise FieldError("/range", "lower is from 0 to upper; put the magnitudes in order")
    if cmc.U_rel_pct is None and cmc.U_abs is None:
        raise FieldError("/U_rel_pct", "no uncertainty; give U_rel_pct, U_abs or both")
    if not (cmc.U_rel_pct or cmc.U_abs):
        raise FieldError("/U_rel_pct", "an uncertainty of 0 is no capability; check it")


def holds(cmc: Cmc, force: Decimal, unit: str, mode: str | None, instrument: str | None) -> bool:
    """Say whether a capability is for this force, mode and type of instrument.

    Parameters
    ----------
    cmc : Cmc
        The capability.
    force : Decimal
        The force in `unit`; a compression counts by its magnitude.
    unit : str
        A unit of force.
    mode : str or None
        "tension" or "compression" in any case of letters; None holds for every mode.
    instrument : str or None
        The type of the instrument.

    Returns
    -------
    bool

    Raises
    ------
    UnknownUnit
        If the unit is not one of force.
    """
    if mode is not None and cmc.mode not in (mode.strip().lower(), ANY):
        return False
    if cmc.instrument_type not in (None, instrument):
        return False
    magnitude = abs(convert(force, unit, cmc.unit))
    return Fraction(cmc.lower) <= magnitude <= Fraction(cmc.upper)


def allowed(cmc: Cmc, force: Decimal, unit: str) -> Decimal:
    """Return the smallest U of a capability at a force, in the unit of that force.

    Parameters
    ----------
    cmc : Cmc
        The capability.
    force : Decimal
        The force in `unit`.
    unit : str
        A unit of force.

    Returns
    -------
    Decimal
        Exact for a sum in one unit; a root or another unit has 50 digits.

    Raises
    ------
    UnknownUnit
        If the unit is not one of force.

    Examples
    --------
    >>> cmc = Cmc("C", 1, "any", Decimal(1), Decimal(100), "kN", Decimal("0.02"), Decimal("0.001"))
    >>> allowed(cmc, Decimal(50), "kN"), allowed(cmc, Decimal(50000), "N")
    (Decimal('0.011'), Decimal('11'))
    """
    terms = []
    if cmc.U_rel_pct is not None:
        terms.append({"kind": "percent_of_reading", "value": cmc.U_rel_pct})
    if cmc.U_abs is not None:
        in_unit = cmc.U_abs if unit == cmc.unit else decimal(convert(cmc.U_abs, cmc.unit, unit))
        terms.append({"kind": "absolute", "value": in_unit})
    return shortest(half_width({"terms": terms, "combine": cmc.combine}, {"reading": force}))


def capability(
    cmcs: Sequence[Cmc], force: Decimal, unit: str, mode: str | None, instrument: str | None
) -> Capability | None:
    """Return the capability that counts for a force, or None where none holds.

    One for the type of instrument goes before one for any, then one for the mode, then the smallest
    U.

    Parameters
    ----------
    cmcs : sequence of Cmc
        The laboratory's capabilities.
    force : Decimal
        The force in `unit`.
    unit : str
        A unit of force.
    mode, instrument : str or None
        As in `holds`.

    Returns
    -------
    Capability or None

    Raises
    ------
    UnknownUnit
        If the unit is not one of force.
    """
    found = [
        Capability(cmc, allowed(cmc, force, unit))
        for cmc in cmcs
        if holds(cmc, force, unit, mode, instrument)
    ]
    if not found:
        return None
    return min(found, key=lambda one: (_generality(one.cmc, mode), one.U, one.cmc.id))


def _generality(cmc: Cmc, mode: str | None) -> tuple[bool, bool]:
    return cmc.instrument_type is None, mode is not None and cmc.mode == ANY
