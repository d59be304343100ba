"""The vocabulary of the graph: records as the engine reads them.

Numbers are exact rationals (`fractions.Fraction`): a recall adds, multiplies and divides recorded
decimals, and a result on a limit must stay on it. Forces by which effects are looked up are in
newton; errors, uncertainties and applied values stay in the unit of their own point.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from graph.moments import Moment

# Stages whose points carry the values an item is used with afterwards, best first.
VALUE_STAGES = ("as_left", "single", "as_found")


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


@dataclass(frozen=True, slots=True)
class Use:
    """One item used by a calibration.

    `weight` is the share of the applied force, one number or one per point; `points` limits the use
    to those it served. `source` is the key of the certificate whose value was in force, `evidence`
    of a later one that only confirmed limits.
    """

    item: str
    role: str
    at: Moment
    weight: Fraction | Mapping[str, Fraction] = Fraction(1)
    channel: str | None = None
    points: frozenset[str] | None = None
    factor_applied: Fraction | None = None
    source: int | None = None
    evidence: int | None = None

    def weight_at(self, point: str) -> Fraction:
        """Weight at a point; zero where the use did not serve it."""
        if self.points is not None and point not in self.points:
            return Fraction(0)
        return self.weight if isinstance(self.weight, Fraction) else self.weight[point]


@dataclass(frozen=True, slots=True)
class Point:
    """One result row. `name` is the point as recorded; `force_n` the recorded applied force in N.

    For relative results `applied` is 100 and error and U are percentage points.
    """

    name: str | int
    stage: str
    unit: str | None
    relative: bool
    force_n: Fraction | None
    applied: Fraction | None
    error: Fraction | None
    U: Fraction | None
    k: Fraction

    @property
    def key(self) -> str:
        """The name as a mapping of weights spells it."""
        return str(self.name)


@dataclass(frozen=True, slots=True)
class Calibration:
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
