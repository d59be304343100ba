"""What can be wrong with an item, and what each fault does to a calibration that used it.

delta = (true force - recorded force) / recorded force. Every kind answers the same questions: when
is a use suspect, what is delta of one use at one point (None: unknown), and how do the uses of one
calibration add up. Effects on the indication (adapters, readouts) stand in the place of delta.
First order: the deltas of several uses are added, not multiplied.

The sign conventions and kinds are those of the recall semantics of this project; ISO/IEC 17025:2017
7.10.1 asks for the impact on previous results and leaves the method to the laboratory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from graph.model import ONE, ZERO, Calibration, Point, Use, Window
from graph.polynomials import AssignedCurve, rounded

READOUT_ROLES = ("readout_reference", "readout_dut")
# W of a readout: what it read too high on the instrument it read too low on the reference.
SIGNS = {"readout_reference": -ONE, "readout_dut": ONE}


@dataclass(frozen=True, slots=True)
class Effect:
    """What one or several uses do at one point.

    Parameters
    ----------
    delta : Fraction or None
        (true force - recorded force) / recorded force; None is unknown.
    weight : Fraction
        The summed weight of the paths that caused it.
    """

    delta: Fraction | None
    weight: Fraction = ZERO

    def __hash__(self) -> int:
        # Effects are looked up by the hundred thousand, and the hash of a fraction is slow.
        return hash(None if self.delta is None else self.delta.numerator)


# A delta that takes a root has no last digit: it is cut far beyond any recorded one.
DIGITS_OF_CURVES = 15
# What does nothing, and what nobody can say.
NO_EFFECT = Effect(ZERO, ZERO)
UNKNOWN = Effect(None, ZERO)


@dataclass(frozen=True, slots=True)
class Only:
    """What limits a fault; each is None where it limits nothing.

    Parameters
    ----------
    mode : str or None
        "tension" or "compression".
    directions : frozenset of str or None
        Of "increasing" and "decreasing".
    roles : frozenset of str or None
        Roles of uses.
    """

    mode: str | None = None
    directions: frozenset[str] | None = None
    roles: frozenset[str] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """What every fault has: what is faulty, the suspect period and the uncertainty of its effect.

    Parameters
    ----------
    item : str
        The name that paths begin with: an item, or, where `certificates` holds keys, a certificate
        whose values were wrong; every use that took its value from it is then suspect.
    certificates : frozenset of int
        Keys of the revisions of that certificate that were wrong.
    start_us : int or None
        The last good evidence, in microseconds since 1970-01-01T00:00:00Z; None is open.
    end_us : int or None
        The isolation of the item; None is open.
    channel : str, optional
        The faulty channel; the whole item unless given.
    U_delta_rel : Fraction, optional
        Expanded uncertainty of delta.
    U_delta_k : Fraction
        Its coverage factor.
    only : Only, optional
        To what it is limited.
    only_channel : bool
        Whether the faulty channel is the only one of the item, so that a use without channel is
        one of it.
    kind : str
        As it was reported.

    Attributes
    ----------
    by_force : bool
        Whether a force is wrong and not a ratio, so that it is the force that is carried on.
    uncertainty_only : bool
        Whether no value moves and only its uncertainty was understated.
    bounded : bool
        Whether delta is only known to lie within plus and minus its value.
    uniform : bool
        Whether delta is the same at every point but those at zero force.
    sized_by_use : bool
        Whether its smallest magnitude depends on the forces at which the item was used.
    """

    item: str
    certificates: frozenset[int] = frozenset()
    start_us: int | None
    end_us: int | None
    channel: str | None = None
    U_delta_rel: Fraction | None = None
    U_delta_k: Fraction = Fraction(2)
    only: Only | None = None
    only_channel: bool = False
    kind: str = ""

    by_force = False  # whether a force is wrong, and not a ratio
    bounded = False  # whether delta is only known to lie within plus and minus its value
    uniform = True  # whether delta is the same at every point but those at zero force
    sized_by_use = False  # whether its smallest magnitude depends on where the item was used

    @property
    def by_points(self) -> bool:
        """Whether it takes the points of a calibration to tell whether it is concerned."""
        return not self.uniform or (self.only is not None and self.only.directions is not None)

    def window(self) -> Window:
        """Return the suspect period before any check narrows it: (start, end].

        Returns
        -------
        Window
        """
        return Window(self.start_us, self.end_us)

    @property
    def name(self) -> str:
        """What is faulty as a path begins with it: the item, or ITEM:CHANNEL."""
        return self.item if self.channel is None else f"{self.item}:{self.channel}"

    @property
    def variance(self) -> Fraction | None:
        """Variance of delta for a path of weight 1; None where no uncertainty is stated."""
        if self.U_delta_rel is None:
            return None
        return (self.U_delta_rel / self.U_delta_k) ** 2

    @property
    def uncertainty_only(self) -> bool:
        """Whether no value moves and only its uncertainty was understated."""
        return False

    def smallest(self, used: Sequence[Fraction] | None = None) -> Fraction | None:
        """Return the smallest non-zero magnitude, which a check must be able to see.

        Parameters
        ----------
        used : sequence of Fraction, optional
            Forces (N) at which the item was ever used, zero left out; rising.

        Returns
        -------
        Fraction or None
            None: never narrowed.
        """
        return None

    def faulty_segments(self) -> Sequence[Segment] | None:
        """Return ranges that a check must cover.

        Returns
        -------
        sequence of Segment or None
            None: the whole range in which the item was used.
        """
        return None

    def concerns(self, use: Use) -> bool:
        """Say whether the fault can have an effect through a use at all.

        Parameters
        ----------
        use : Use
            A use of the faulty item.

        Returns
        -------
        bool
        """
        return True

    def by_record(self, use: Use) -> bool | None:
        """Say whether the record of the use alone convicts (True) or clears it.

        Parameters
        ----------
        use : Use
            A use of the faulty item.

        Returns
        -------
        bool or None
            None: there is no record.
        """
        return None

    def cleared_by_range(self, use: Use, calibration: Calibration) -> bool:
        """Say whether every point that the use served lies where the item was not faulty.

        Parameters
        ----------
        use : Use
            A use of the faulty item.
        calibration : Calibration
            The one that it served.

        Returns
        -------
        bool
        """
        return False

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """Return delta of one suspect use at one point.

        Parameters
        ----------
        use : Use
            A use of the faulty item.
        calibration : Calibration
            The one that it served.
        point : Point
            One of its points.

        Returns
        -------
        Fraction or None
            None where it is unknown.

        Raises
        ------
        NotImplementedError
            Unless the kind of the fault says what it is.
        """
        raise NotImplementedError

    def effect(self, uses: Sequence[Use], calibration: Calibration, point: Point) -> Effect:
        """Return what all suspect uses of one calibration do together at one point.

        Parameters
        ----------
        uses : sequence of Use
            Its suspect uses.
        calibration : Calibration
            The calibration.
        point : Point
            One of its points.

        Returns
        -------
        Effect
        """
        if point.at_zero:
            return NO_EFFECT
        total, weights = ZERO, ZERO
        read: set[tuple[str, str, str]] = set()
        for use in uses:
            weight = use.weight_at(point.key)
            if not weight:
                continue
            if use.channel is not None:
                if (use.item, use.channel, use.role) in read:
                    continue  # a channel that is listed twice in one role read once
                read.add((use.item, use.channel, use.role))
            if use.share is None:
                return UNKNOWN
            seen = point.carried(use.share)
            delta = self._delta_on_channel(use, calibration, seen)
            if delta is None:
                return UNKNOWN
            if delta or self.uncertainty_only:
                total += weight * use.share * delta
                if self.uncertainty_only:
                    weight = SIGNS.get(use.role, weight)
                weights += weight * use.share * self._bearing(seen)
        return Effect(total, weights)

    def _bearing(self, point: Point) -> Fraction:
        """What the uncertainty of the fault is multiplied by at a point of weight 1."""
        return ONE

    def _delta_on_channel(
        self, use: Use, calibration: Calibration, point: Point
    ) -> Fraction | None:
        unclear = self.channel is not None and not self.only_channel
        if unclear and use.item == self.item and use.channel is None:
            return None  # one channel is faulty and nobody recorded which one was used
        return self.delta(use, calibration, point)


@dataclass(frozen=True, slots=True)
class Segment:
    """A range of recorded applied force and the error there.

    Parameters
    ----------
    above_n : Fraction or None
        In newton, exclusive; None is open.
    up_to_n : Fraction or None
        In newton, inclusive; None is open.
    delta_rel : Fraction
        Relative error of the true force.
    """

    above_n: Fraction | None
    up_to_n: Fraction | None
    delta_rel: Fraction

    def holds(self, force_n: Fraction) -> bool:
        """Say whether the force lies in the segment.

        Parameters
        ----------
        force_n : Fraction
            In newton.

        Returns
        -------
        bool
        """
        return (self.above_n is None or force_n > self.above_n) and (
            self.up_to_n is None or force_n <= self.up_to_n
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ForceError(Fault):
    """`true_force_relative_error`, constant.

    Parameters
    ----------
    delta_rel : Fraction
        (true force - recorded force) / recorded force.
    """

    delta_rel: Fraction

    @property
    def uncertainty_only(self) -> bool:
        """Whether delta is 0 and uncertain."""
        return not self.delta_rel and bool(self.U_delta_rel)

    def smallest(self, used: Sequence[Fraction] | None = None) -> Fraction | None:
        """Its magnitude."""
        return abs(self.delta_rel) or None

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """The same at every force."""
        return self.delta_rel


@dataclass(frozen=True, slots=True, kw_only=True)
class SegmentedForceError(Fault):
    """`true_force_relative_error` by range of recorded force; outside all ranges it is unknown.

    Parameters
    ----------
    segments : tuple of Segment
        The ranges, of which the first that holds a force counts.
    """

    segments: tuple[Segment, ...]
    uniform = False

    def smallest(self, used: Sequence[Fraction] | None = None) -> Fraction | None:
        """Smallest magnitude of a faulty segment."""
        return min((abs(s.delta_rel) for s in self.segments if s.delta_rel != 0), default=None)

    def faulty_segments(self) -> Sequence[Segment] | None:
        """Segments whose delta is not zero."""
        return [segment for segment in self.segments if segment.delta_rel != 0]

    def cleared_by_range(self, use: Use, calibration: Calibration) -> bool:
        """Whether no point that the use served lies in a faulty segment or outside all of them."""
        served = [p for p in calibration.points if use.points is None or p.key in use.points]
        return bool(served) and all(
            point.at_zero or self.delta(use, calibration, point) == 0 for point in served
        )

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """Delta of the segment that holds the recorded force."""
        force_n = point.force_n
        if force_n is None:
            return None
        for segment in self.segments:
            if segment.holds(force_n):
                return segment.delta_rel
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class IndicatesHigh(Fault):
    """`indicates_high`: reading = (1 + e) x true, so delta = 1/(1 + e) - 1, exactly.

    Parameters
    ----------
    indication_rel : Fraction
        e, not -1.
    """

    indication_rel: Fraction

    def smallest(self, used: Sequence[Fraction] | None = None) -> Fraction | None:
        """Magnitude of delta."""
        return abs(self._delta()) or None

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """The same at every force."""
        return self._delta()

    def _delta(self) -> Fraction:
        return 1 / (1 + self.indication_rel) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongCorrectionFactor(Fault):
    """`wrong_correction_factor`: data, not hardware; the window is [entered, fixed).

    A use that recorded its factor is judged by that record alone, whatever the window.

    Parameters
    ----------
    factor_applied : Fraction
        The wrong factor, not 0.
    factor_right : Fraction
        The right one.
    """

    factor_applied: Fraction
    factor_right: Fraction

    def window(self) -> Window:
        """From the entry of the wrong factor (inclusive) until it was put right (exclusive)."""
        return Window(self.start_us, self.end_us, start_inclusive=True, end_inclusive=False)

    def by_record(self, use: Use) -> bool | None:
        """Whether the recorded factor differs from the right one."""
        return None if use.factor_applied is None else use.factor_applied != self.factor_right

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """Right factor over the one applied, less one."""
        applied = self.factor_applied if use.factor_applied is None else use.factor_applied
        return self.factor_right / applied - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectByType(Fault):
    """`indication_effect_by_type`: an adapter acts on the indication by type of instrument.

    Parameters
    ----------
    effect_rel : mapping of str to Fraction
        Relative effect by type of the calibrated item.
    other_types : Fraction, optional
        That on all other types; unknown unless given.
    """

    effect_rel: Mapping[str, Fraction]
    other_types: Fraction | None = None

    def smallest(self, used: Sequence[Fraction] | None = None) -> Fraction | None:
        """Smallest non-zero effect."""
        effects = [*self.effect_rel.values(), self.other_types or ZERO]
        return min((abs(effect) for effect in effects if effect != 0), default=None)

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """Effect on the type of the calibrated item, else that on all other types, if known."""
        return self.effect_rel.get(calibration.item_type or "", self.other_types)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadoutGain(Fault):
    """`readout_gain`: one gain read the reference, the instrument, or both, when it cancels.

    Parameters
    ----------
    gain : Fraction
        Reading over true, not 0.
    """

    gain: Fraction

    def concerns(self, use: Use) -> bool:
        """Say whether the use read something; see `Fault.concerns`."""
        return use.role in READOUT_ROLES

    def smallest(self, used: Sequence[Fraction] | None = None) -> Fraction | None:
        """How far the gain is from one."""
        return abs(self.gain - 1) or None

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """Effect of one use on its own: g on the instrument, 1/g on the reference."""
        if use.role == "readout_dut":
            return self.gain - 1
        return 1 / self.gain - 1 if use.role == "readout_reference" else ZERO

    def effect(self, uses: Sequence[Use], calibration: Calibration, point: Point) -> Effect:
        """g_dut / g_ref - 1 over the uses that read something at this point."""
        if point.at_zero:
            return NO_EFFECT
        reading = [u for u in uses if u.role in READOUT_ROLES and u.weight_at(point.key) != 0]
        unclear = self.channel is not None and not self.only_channel
        if any(use.share is None or (unclear and use.channel is None) for use in reading):
            return UNKNOWN
        # A channel that is listed twice in one role read once.
        sign = sum((SIGNS[role] for role in {use.role for use in reading}), ZERO)
        ratio = self.gain ** int(sign)
        if ratio == 1:
            return NO_EFFECT
        # What was read was the whole reading, whatever part of the force its holder carried.
        return Effect(ratio - 1, sign)


@dataclass(frozen=True, slots=True, kw_only=True)
class WithinInterval(Fault):
    """`interval`: |delta| is at most the bound; nothing narrows it.

    Parameters
    ----------
    bound_rel : Fraction
        The bound, 0 or more.
    """

    bound_rel: Fraction
    bounded = True

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """The bound; the sum over uses is taken as one unknown common to all of them."""
        return self.bound_rel


@dataclass(frozen=True, slots=True, kw_only=True)
class UnknownEffect(Fault):
    """`unknown`: nobody can say how large the effect is."""

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """Unknown everywhere."""
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearDrift(Fault):
    """`linear_drift`: zero at the last good evidence, `delta_rel` when measured, and onwards.

    Parameters
    ----------
    delta_rel : Fraction
        (true force - recorded force) / recorded force when it was measured.
    good_us, measured_us : int
        The two instants, in microseconds since 1970-01-01T00:00:00Z; they differ.
    """

    delta_rel: Fraction
    good_us: int
    measured_us: int

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """In proportion to the time since the last good evidence; a bare date counts at noon."""
        elapsed = max(0, use.at.noon_us - self.good_us)
        return self.delta_rel * Fraction(elapsed, self.measured_us - self.good_us)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderstatedUncertainty(Fault):
    """`understated_uncertainty`: no value moves, the uncertainty of each was stated too small.

    Parameters
    ----------
    added : Fraction
        Variance by which the right uncertainty exceeds the one recorded, (U/k)^2 of both, relative.
    """

    added: Fraction

    @property
    def variance(self) -> Fraction | None:
        """Variance that was missing."""
        return self.added

    @property
    def uncertainty_only(self) -> bool:
        """Always."""
        return True

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """Return 0; see `Fault.delta`."""
        return ZERO


@dataclass(frozen=True, slots=True, kw_only=True)
class ForceOffset(Fault):
    """`true_force_offset`: the force is wrong by a constant, as by the mass of a hanger.

    Parameters
    ----------
    delta_n : Fraction
        True less recorded force, in newton.
    U_delta_n : Fraction, optional
        Expanded uncertainty of that, in newton, with `U_delta_k`.
    """

    delta_n: Fraction
    U_delta_n: Fraction | None = None
    by_force = True
    uniform = False
    sized_by_use = True

    @property
    def variance(self) -> Fraction | None:
        """Variance of the force, in square newton."""
        return None if self.U_delta_n is None else (self.U_delta_n / self.U_delta_k) ** 2

    def smallest(self, used: Sequence[Fraction] | None = None) -> Fraction | None:
        """Return its share of the largest force used; see `Fault.smallest`."""
        if not used:
            return None
        largest = max(abs(used[0]), abs(used[-1]))
        return abs(self.delta_n) / largest or None

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """Return its share of the recorded force; see `Fault.delta`."""
        force_n = point.force_n
        return self.delta_n / force_n if force_n else None

    def _bearing(self, point: Point) -> Fraction:
        return 1 / (point.force_n or ONE)


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongCurve(Fault):
    """`wrong_curve`: the force was had from a deflection by the wrong coefficients.

    The deflection at a recorded force is that of the curve that was used; the true force is the one
    of the right curve at that deflection. Outside the range of the curve that was used it is
    unknown, and so where the right curve has that deflection at no force of the same sense.

    Parameters
    ----------
    recorded : AssignedCurve
        The curve that was used.
    right : AssignedCurve
        The right one, of the same form, unit and range.
    unit_n : Fraction
        One unit of the curves' force, in newton.
    known : dict of Fraction to (Fraction or None)
        Delta by force in newton, as far as it was worked out already.
    """

    recorded: AssignedCurve
    right: AssignedCurve
    unit_n: Fraction
    uniform = False
    sized_by_use = True
    # A root takes a millisecond, and the same few forces come back in every calibration.
    known: dict[Fraction, Fraction | None] = field(default_factory=dict, compare=False, repr=False)

    def smallest(self, used: Sequence[Fraction] | None = None) -> Fraction | None:
        """Return that at the forces used; None where it is unknown at one; see `Fault.smallest`."""
        found = [self._at(force_n) for force_n in used or ()]
        sizes = [abs(delta) for delta in found if delta is not None]
        return min(filter(None, sizes), default=None) if len(sizes) == len(found) else None

    def delta(self, use: Use, calibration: Calibration, point: Point) -> Fraction | None:
        """Return what the two curves give at the recorded force; see `Fault.delta`."""
        return None if point.force_n is None else self._at(point.force_n)

    def _at(self, force_n: Fraction) -> Fraction | None:
        if force_n not in self.known:
            force = force_n / self.unit_n
            held = bool(force) and self.recorded.holds(force)
            self.known[force_n] = self._share(force) if held else None
        return self.known[force_n]

    def _share(self, force: Fraction) -> Fraction | None:
        deflection = self.recorded.deflection_at(force)
        true = self.right.meant_by(deflection)
        if true is None or true / force <= 0:
            return None  # no force of that sense
        delta = true / force - 1
        met = self.recorded.meets(deflection, force) and self.right.meets(deflection, true)
        return delta if met else rounded(delta, DIGITS_OF_CURVES)
