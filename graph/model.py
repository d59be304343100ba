"""The vocabulary of the graph: records as the engine reads them.

Recorded numbers are Decimals in the unit of their own point; weights, effects and forces in newton,
by which effects are looked up, are exact rationals. What comes by the hundred thousand is a named
tuple: it is made in a fraction of the time of a class with checks, and the store checked already.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from graph.exact import Exact
from graph.in_force import Candidate, Doubt
from graph.moments import Moment

# Stages whose points carry the values an item is used with afterwards, best first.
VALUE_STAGES = ("as_left", "single", "as_found")
ZERO = Fraction(0)
ONE = Fraction(1)
HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Holding:
    """Part in assembly from one instant until another.

    Parameters
    ----------
    assembly, part : str
        Item codes.
    start_us : int
        Microseconds since 1970-01-01T00:00:00Z, inclusive.
    end_us : int or None
        Exclusive; None is open.
    """

    assembly: str
    part: str
    start_us: int
    end_us: int | None

    def held_at(self, at: Moment) -> bool:
        """Say whether the part was there at any microsecond of the moment.

        Parameters
        ----------
        at : Moment
            An instant or a day.

        Returns
        -------
        bool
        """
        return self.start_us <= at.end_us and (self.end_us is None or self.end_us > at.start_us)


# How the value of a held part bears on a user of the assembly: it is passed on by share; it is not
# known what it does; it is not looked at, since the assembly's own value is later.
BY_SHARE, UNTOLD, SHIELDED = "by_share", "untold", "shielded"


class Held(NamedTuple):
    """One part that an assembly held when it was used.

    Parameters
    ----------
    chain
        From the part upwards to the assembly that the use names.
    share
        Its share of the force on the assembly, that of what holds it for a part that measures
        nothing; None where the shares that were recorded settle nothing.
    fault_share
        The same for a fault of the part itself, which counts whole where nothing else measures.
    bearing
        How its value bears on the user: BY_SHARE, UNTOLD or SHIELDED.
    ranked
        Certificates that served, the one in force first.
    doubts
        Certificates whose value it may have carried instead.
    unshared
        Whether its value waits for shares that the records do not settle; not for those below a
        value that an assembly has of its own.
    evidence
        Key of the part's latest calibration where that only confirmed limits; None also where the
        assembly, or what holds the part in it, has a value of its own.
    """

    chain: tuple[str, ...]
    share: Fraction | None
    fault_share: Fraction | None
    bearing: str
    ranked: tuple[Candidate, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    unshared: bool = False
    evidence: int | None = None

    @property
    def part(self) -> str:
        """The part itself."""
        return self.chain[0]

    @property
    def source(self) -> int | None:
        """Key of the certificate in force for the part."""
        return self.ranked[0].key if self.ranked else None


class Use(NamedTuple):
    """One item used by a calibration.

    Parameters
    ----------
    item, role : str
        Its code, and what it was used as.
    at : Moment
        When.
    weight : Fraction or mapping of str to Fraction
        Share of the applied force, one number or one by `Point.key`.
    channel : str, optional
        Which of its channels, if recorded.
    points : frozenset of str, optional
        The points (`Point.key`) that it served; all unless given.
    factor_applied : Fraction, optional
        The correction factor that was recorded with the use.
    source : int, optional
        Key of the certificate whose value was in force.
    evidence : int, optional
        Key of a later one that only confirmed limits.
    ranked : tuple of Candidate
        Certificates that served the item then, the one in force first; empty where they all hold
        the same range, so that no force decides between them.
    doubts : tuple of Doubt
        Certificates whose value it may have taken instead.
    held : tuple of Held
        What the item held, if it is an assembly.
    share : Fraction or None
        Where the fault lies in a measuring part of the item: the share of that part, None where
        the shares that were recorded settle nothing.
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
    ranked: tuple[Candidate, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    held: tuple[Held, ...] = ()
    share: Fraction | None = ONE

    @property
    def everywhere(self) -> Fraction | None:
        """The weight, if it is the same at every point of the calibration."""
        if self.points is None and isinstance(self.weight, Fraction):
            return self.weight
        return None

    def may_be_on(self, channel: str | None) -> bool:
        """Say whether the use was, as far as its record tells, one of a channel.

        Parameters
        ----------
        channel : str or None
            None where every channel is meant.

        Returns
        -------
        bool
        """
        return channel is None or self.channel in (None, channel)

    def shared(self, share: Fraction | None) -> Use:
        """Return the use as one of a part that carries a share of the force.

        Parameters
        ----------
        share : Fraction or None
            None where it is not known.

        Returns
        -------
        Use
        """
        return self._replace(share=share)

    def links(self, *, confirmed: bool = True) -> Iterator[int]:
        """Yield the keys of all certificates that the use rests on or may rest on.

        Parameters
        ----------
        confirmed : bool
            Whether those that only confirmed limits, and gave no value, are among them.

        Yields
        ------
        int
        """
        if self.source is not None:
            yield self.source
        if confirmed and self.evidence is not None:
            yield self.evidence
        for one in self.ranked:
            yield one.key
        for doubt in self.doubts:
            yield doubt.key
        for held in self.held:
            yield from (one.key for one in held.ranked)
            yield from (doubt.key for doubt in held.doubts)
            if confirmed and held.evidence is not None:
                yield held.evidence

    def weight_at(self, point: str) -> Fraction:
        """Return the weight at a point; zero where the use did not serve it.

        Parameters
        ----------
        point : str
            `Point.key`.

        Returns
        -------
        Fraction
        """
        if self.points is not None and point not in self.points:
            return ZERO
        return self.weight if isinstance(self.weight, Fraction) else self.weight[point]


class Point(NamedTuple):
    """One result row.

    Parameters
    ----------
    name : str or int
        What the certificate calls it.
    stage : str
        "as_found", "as_left" or "single".
    unit : str or None
        Of recorded, error and U.
    relative : bool
        For relative results error and U are percentage points.
    recorded : Decimal or None
        The applied force as recorded.
    newton : Fraction or None
        The size of its unit in newton.
    error : Decimal or None
        Error of indication.
    U : Decimal, Fraction or None
        Expanded uncertainty of the error.
    k : Decimal
        Its coverage factor.
    direction : str, optional
        "increasing" or "decreasing", if recorded.
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
    direction: str | None = None

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

    def carried(self, share: Fraction) -> Point:
        """Return the point as a part sees it that carries a share of the force.

        Parameters
        ----------
        share : Fraction
            Above 0 and at most 1.

        Returns
        -------
        Point
        """
        if share is ONE or self.newton is None:
            return self
        return self._replace(newton=self.newton * share)


class Taken(NamedTuple):
    """What a corrected revision took from its errors for one fault.

    Parameters
    ----------
    name : str
        Of what was faulty, as `Fault.item`: an item, a certificate, a method.
    channel : str or None
        Of the item; the whole of it unless given.
    window : Window
        When uses were suspect.
    deltas : tuple of Fraction
        delta_rel at each point, in the order of the points.
    variances : tuple of Fraction
        What U was widened by at each point, as a variance of delta; none unless given.
    kind : str
        Of the fault, as it was reported.
    look : str
        Number of the recall that found it.
    paths : tuple of tuple of str
        How the fault came to the revision before; none unless that was kept.
    generation : int
        The fewest certificates on one of them.
    """

    name: str
    channel: str | None
    window: Window
    deltas: tuple[Fraction, ...]
    variances: tuple[Fraction, ...] = ()
    kind: str = ""
    look: str = ""
    paths: tuple[tuple[str, ...], ...] = ()
    generation: int = 1


class Calibration(NamedTuple):
    """One revision of a certificate with the uses and results of its calibration.

    Parameters
    ----------
    key : int
        By which other calibrations name it.
    number : str
        Of the certificate.
    revision : int
        From 0.
    status : str
        "issued", or why it is traced and not recalled.
    item : str
        Code of the calibrated item.
    item_type : str or None
        Its type.
    performed : Moment
        When.
    assigns_value : bool
        Whether the item is used at these results afterwards.
    external : bool
        Whether another laboratory issued it.
    mode : str or None
        "tension" or "compression"; None where it is not recorded.
    uses : tuple of Use
        What was used.
    taken : tuple of Taken
        What was taken from its errors before.
    points : tuple of Point
        The results.
    """

    key: int
    number: str
    revision: int
    status: str
    item: str
    item_type: str | None
    performed: Moment
    assigns_value: bool = True
    external: bool = False
    mode: str | None = None
    uses: tuple[Use, ...] = ()
    taken: tuple[Taken, ...] = ()
    points: tuple[Point, ...] = ()

    def measured(self, points: tuple[Point, ...]) -> Calibration:
        """Return the same calibration with these points.

        Parameters
        ----------
        points : tuple of Point
            The results.

        Returns
        -------
        Calibration
        """
        return Calibration._make((*self[:-1], points))


@dataclass(frozen=True, slots=True)
class Check:
    """An intermediate check or inspection of an item.

    Parameters
    ----------
    code : str
        Its name.
    at : Moment
        When.
    passed : bool
        Its outcome.
    limit_rel, U_rel : Fraction, optional
        Acceptance limit and expanded uncertainty, as shares of force.
    independent : bool, optional
        What the record says and what its reference was found to rest on, together.
    covers_n : tuple of Fraction or str, optional
        Forces in N, or "full range".
    mode : str, optional
        "tension" or "compression", if recorded.
    """

    code: str
    at: Moment
    passed: bool
    limit_rel: Fraction | None = None
    U_rel: Fraction | None = None
    independent: bool | None = None
    covers_n: tuple[Fraction, ...] | str | None = None
    mode: str | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """When uses are suspect.

    Parameters
    ----------
    start_us, end_us : int or None
        Microseconds since 1970-01-01T00:00:00Z; None is open.
    start_inclusive, end_inclusive : bool
        Whether the bounds belong to it.
    """

    start_us: int | None
    end_us: int | None
    start_inclusive: bool = False
    end_inclusive: bool = True

    def holds(self, at: Moment) -> bool:
        """Say whether any microsecond of the moment lies inside.

        Parameters
        ----------
        at : Moment
            An instant or a day.

        Returns
        -------
        bool
        """
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
    """One way in which a part was inside an assembly.

    Parameters
    ----------
    chain : tuple of str
        Assemblies from just above the part upwards.
    holdings : tuple of Holding
        What made the chain, in its order.
    """

    chain: tuple[str, ...]
    holdings: tuple[Holding, ...]

    @property
    def assembly(self) -> str:
        """The outermost assembly, the one that a use names."""
        return self.chain[-1]

    def held_at(self, at: Moment) -> bool:
        """Say whether every holding of the chain held at one common microsecond of the moment.

        Parameters
        ----------
        at : Moment
            An instant or a day.

        Returns
        -------
        bool
        """
        start = max([at.start_us, *(holding.start_us for holding in self.holdings)])
        ends = [holding.end_us - 1 for holding in self.holdings if holding.end_us is not None]
        return start <= min([at.end_us, *ends])
