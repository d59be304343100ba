"""The vocabulary of the graph: records as the engine reads them.

Recorded numbers are Decimals in the unit of their own point; weights, effects and forces in newton,
by which effects are looked up, are exact rationals. What comes by the hundred thousand is a named
tuple: it is made in a fraction of the time of a class with checks, and the store checked already.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from graph.exact import Exact
from graph.moments import Moment

# Stages whose points carry the values an item is used with afterwards, best first.
VALUE_STAGES = ("as_left", "single", "as_found")
ZERO = Fraction(0)
ONE = Fraction(1)
HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Holding:
    """Part in assembly from `start_us` (inclusive) until `end_us` (exclusive; None: open)."""

    assembly: str
    part: str
    start_us: int
    end_us: int | None

    def held_at(self, at: Moment) -> bool:
        """Whether the part was there at any microsecond of the moment."""
        return self.start_us <= at.end_us and (self.end_us is None or self.end_us > at.start_us)


class Use(NamedTuple):
    """One item used by a calibration.

    `weight` is the share of the applied force, one number or one per point; `points` limits the use
    to those it served. `source` is the key of the certificate whose value was in force, `evidence`
    of a later one that only confirmed limits.
    """

    item: str
    role: str
    at: Moment
    weight: Fraction | Mapping[str, Fraction] = ONE
    channel: str | None = None
    points: frozenset[str] | None = None
    factor_applied: Fraction | None = None
    source: int | None = None
    evidence: int | None = None

    @property
    def everywhere(self) -> Fraction | None:
        """The weight, if it is the same at every point of the calibration."""
        if self.points is None and isinstance(self.weight, Fraction):
            return self.weight
        return None

    def weight_at(self, point: str) -> Fraction:
        """Weight at a point; zero where the use did not serve it."""
        if self.points is not None and point not in self.points:
            return ZERO
        return self.weight if isinstance(self.weight, Fraction) else self.weight[point]


class Point(NamedTuple):
    """One result row. `recorded` is the applied force as recorded, `newton` the size of its unit.

    For relative results error and U are percentage points.
    """

    name: str | int
    stage: str
    unit: str | None
    relative: bool
    recorded: Decimal | None
    newton: Fraction | None
    error: Decimal | None
    U: Exact | None
    k: Decimal

    @property
    def key(self) -> str:
        """The name as a mapping of weights spells it."""
        return str(self.name)

    @property
    def force_n(self) -> Fraction | None:
        """The recorded applied force in newton, if it was recorded."""
        if self.recorded is None or self.newton is None:
            return None
        return Fraction(self.recorded) * self.newton

    @property
    def at_zero(self) -> bool:
        """Whether no force was applied, so that no relative effect can move the result."""
        return self.recorded is not None and not self.recorded

    @property
    def applied(self) -> Decimal | None:
        """What a relative effect is taken of: the applied force, or 100 for relative results."""
        return HUNDRED if self.relative else self.recorded


class Calibration(NamedTuple):
    """One revision of a certificate with the uses and results of its calibration."""

    key: int
    number: str
    revision: int
    status: str
    item: str
    item_type: str | None
    performed: Moment
    assigns_value: bool = True
    external: bool = False
    uses: tuple[Use, ...] = ()
    points: tuple[Point, ...] = ()

    def measured(self, points: tuple[Point, ...]) -> Calibration:
        """The same calibration with these points."""
        return Calibration(*self[:-1], points)


@dataclass(frozen=True, slots=True)
class Check:
    """An intermediate check or inspection of an item; `covers_n` are forces in N or "full range".

    `independent` is what the record says and what its reference was found to rest on, together.
    """

    code: str
    at: Moment
    passed: bool
    limit_rel: Fraction | None = None
    U_rel: Fraction | None = None
    independent: bool | None = None
    covers_n: tuple[Fraction, ...] | str | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """When uses are suspect; either bound may be open (None)."""

    start_us: int | None
    end_us: int | None
    start_inclusive: bool = False
    end_inclusive: bool = True

    def holds(self, at: Moment) -> bool:
        """Whether any microsecond of the moment lies inside."""
        if self.start_us is not None:
            first = self.start_us if self.start_inclusive else self.start_us + 1
            if at.end_us < first:
                return False
        if self.end_us is not None:
            last = self.end_us if self.end_inclusive else self.end_us - 1
            if at.start_us > last:
                return False
        return True


@dataclass(frozen=True, slots=True)
class Holder:
    """One way in which a part was inside an assembly: `chain` from just above the part upwards."""

    chain: tuple[str, ...]
    holdings: tuple[Holding, ...]

    @property
    def assembly(self) -> str:
        """The outermost assembly, the one that a use names."""
        return self.chain[-1]

    def held_at(self, at: Moment) -> bool:
        """Whether every holding of the chain held at one common microsecond of the moment."""
        start = max([at.start_us, *(holding.start_us for holding in self.holdings)])
        ends = [holding.end_us - 1 for holding in self.holdings if holding.end_us is not None]
        return start <= min([at.end_us, *ends])
