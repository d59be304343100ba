"""What force does a stack of masses make here? With its uncertainty.

F = sum of m g (1 - rho_a / rho_m), with m the true mass. A conventional mass (that of a body of
8000 kg/m3 which balances in air of 1.2 kg/m3 at 20 degC; OIML R 111-1) is turned into a true one by
its own definition, exactly. Uncertainty by the first derivatives (JCGM 100:2008, 5.1.2).

Choice: the pieces of one stack were as a rule calibrated against the same standards and are of one
material, so that their masses and their densities count as fully correlated unless told otherwise;
that gives the larger uncertainty. Gravity and air are one quantity each for the whole stack. Sums
are exact; only quotients and roots are rounded, to 50 digits.

Not covered: magnetic and aerodynamic effects, swinging, and a force that is not vertical.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from api.rules.exact import ratio, square_root

BASES = ("true", "conventional")
# Units of mass in kg; the pound is the international one.
MASS_UNITS = {
    "kg": Fraction(1),
    "g": Fraction(1, 1000),
    "lb": Fraction("0.45359237"),
}
_CONVENTIONAL_DENSITY, _CONVENTIONAL_AIR = Fraction(8000), Fraction("1.2")


@dataclass(frozen=True, slots=True)
class Measured:
    """A value with its standard uncertainty, both in one unit.

    Parameters
    ----------
    value, u : Fraction
        The unit is that of the place where it stands.
    """

    value: Fraction
    u: Fraction


@dataclass(frozen=True, slots=True)
class Piece:
    """One mass of a stack.

    Parameters
    ----------
    mass : Measured
        In kg.
    density : Measured
        Of its material, in kg/m3.
    basis : str
        "true" or "conventional" (OIML R 111-1).
    """

    mass: Measured
    density: Measured
    basis: str = "true"


@dataclass(frozen=True, slots=True)
class PieceForce:
    """What one piece adds to the force.

    Attributes
    ----------
    true_mass : Fraction
        In kg.
    force : Fraction
        In N.
    per_mass, per_density, per_gravity, per_air : Fraction
        Change of the force with the mass as given, its density, gravity and air density: N for one
        kg, kg/m3, m/s2 and kg/m3.
    """

    true_mass: Fraction
    force: Fraction
    per_mass: Fraction
    per_density: Fraction
    per_gravity: Fraction
    per_air: Fraction


@dataclass(frozen=True, slots=True)
class Part:
    """One contribution to u of the force.

    Attributes
    ----------
    quantity : str
        "mass", "density", "gravity" or "air_density".
    u : Decimal
        In N.
    """

    quantity: str
    u: Decimal


@dataclass(frozen=True, slots=True)
class Deadweight:
    """The force of a stack of masses.

    Attributes
    ----------
    force : Fraction
        In N.
    u : Decimal
        Its standard uncertainty in N.
    parts : tuple of Part
        What makes it up, in squares.
    pieces : tuple of PieceForce
        Each piece by itself.
    per_gravity, per_air : Fraction
        Change of the force with gravity and air density: N for one m/s2 and one kg/m3.
    """

    force: Fraction
    u: Decimal
    parts: tuple[Part, ...]
    pieces: tuple[PieceForce, ...]
    per_gravity: Fraction
    per_air: Fraction


def deadweight_force(
    pieces: Sequence[Piece], gravity: Measured, air: Measured, *, correlated: bool = True
) -> Deadweight:
    """Return the force of a stack, F = sum of m g (1 - rho_a / rho_m).

    Parameters
    ----------
    pieces : sequence of Piece
        At least one; densities above that of air, and above 1.2 kg/m3 for a conventional mass.
    gravity : Measured
        In m/s2.
    air : Measured
        Density of air, in kg/m3.
    correlated : bool
        Whether the masses are fully correlated with each other, and the densities; the cautious
        choice.

    Returns
    -------
    Deadweight

    Examples
    --------
    >>> nothing = Fraction(0)
    >>> steel = Piece(Measured(Fraction(500), nothing), Measured(Fraction(7840), nothing))
    >>> local, air = Measured(Fraction("9.80101"), nothing), Measured(Fraction("1.2"), nothing)
    >>> format(float(deadweight_force([steel], local, air).force), ".6f")
    '4899.754923'
    """
    found = tuple(_piece(piece, gravity.value, air.value) for piece in pieces)
    per_gravity = sum((one.per_gravity for one in found), Fraction(0))
    per_air = sum((one.per_air for one in found), Fraction(0))
    by_mass = [abs(f.per_mass) * p.mass.u for f, p in zip(found, pieces, strict=True)]
    by_density = [f.per_density * p.density.u for f, p in zip(found, pieces, strict=True)]
    squares = {
        "mass": _square(by_mass, correlated),
        "density": _square(by_density, correlated),
        "gravity": (per_gravity * gravity.u) ** 2,
        "air_density": (per_air * air.u) ** 2,
    }
    return Deadweight(
        sum((one.force for one in found), Fraction(0)),
        _root(sum(squares.values(), Fraction(0))),
        tuple(Part(name, _root(square)) for name, square in squares.items()),
        found,
        per_gravity,
        per_air,
    )


def _piece(piece: Piece, gravity: Fraction, air: Fraction) -> PieceForce:
    mass, density = piece.mass.value, piece.density.value
    if piece.basis == "true":
        true, lift = Fraction(1), 1 - air / density
        per_air = -1 / density
        per_density = air / density**2
    else:
        # m = m_c (1 - 1.2/8000) / (1 - 1.2/rho), so m (1 - air/rho) has rho - air over rho - 1.2.
        share = 1 - _CONVENTIONAL_AIR / _CONVENTIONAL_DENSITY
        true = share / (1 - _CONVENTIONAL_AIR / density)
        lift = share * (density - air) / (density - _CONVENTIONAL_AIR)
        per_air = -share / (density - _CONVENTIONAL_AIR)
        per_density = share * (air - _CONVENTIONAL_AIR) / (density - _CONVENTIONAL_AIR) ** 2
    return PieceForce(
        true_mass=mass * true,
        force=mass * gravity * lift,
        per_mass=gravity * lift,
        per_density=mass * gravity * per_density,
        per_gravity=mass * lift,
        per_air=mass * gravity * per_air,
    )


def _square(parts: Sequence[Fraction], correlated: bool) -> Fraction:
    """Return the square of the joint contribution: of the sum with sign, or the sum of squares."""
    if correlated:
        return sum(parts, Fraction(0)) ** 2
    return sum((part**2 for part in parts), Fraction(0))


def _root(square: Fraction) -> Decimal:
    return square_root(ratio(square, Decimal(1)))
