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
from dataclasses import dataclass
from fractions import Fraction

from graph.model import ZERO, Calibration, Point, Use, Window

READOUT_ROLES = ("readout_reference", "readout_dut")


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
        return hash(self.delta and self.delta.numerator)


# What does nothing, and what nobody can say.
NO_EFFECT = Effect(ZERO, ZERO)
UNKNOWN = Effect(None, ZERO)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """What every fault has: what is faulty, the suspect period and the uncertainty of its effect.

    Parameters
    ----------
    item : str
        The name that paths begin with: an item, or, where `certificate` holds its key, a
        certificate whose values were wrong; every use that took its value from it is then suspect.
    certificate : int, optional
        Key of that certificate.
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

    Attributes
    ----------
    bounded : bool
        Whether delta is only known to lie within plus and minus its value.
    uniform : bool
        Whether delta is the same at every point but those at zero force.
    """

    item: str
    certificate: int | None = None
    start_us: int | None
    end_us: int | None
    channel: str | None = None
    U_delta_rel: Fraction | None = None
    U_delta_k: Fraction = Fraction(2)

    bounded = False  # whether delta is only known to lie within plus and minus its value
    uniform = True  # whether delta is the same at every point but those at zero force

    def window(self) -> Window:
        """Return the suspect period before any check narrows it: (start, end].

        Returns
        -------
        Window
        """
        return Window(self.start_us, self.end_us)

    def smallest(self) -> Fraction | None:
        """Return the smallest non-zero magnitude, which a check must be able to see.

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
        for use in uses:
            weight = use.weight_at(point.key)
            if not weight:
                continue
            delta = self._delta_on_channel(use, calibration, point)
            if delta is None:
                return UNKNOWN
            if delta:
                total += weight * delta
                weights += weight
        return Effect(total, weights)

    def _delta_on_channel(
        self, use: Use, calibration: Calibration, point: Point
    ) -> Fraction | None:
        if self.channel is not None and use.item == self.item and use.channel is None:
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

    def smallest(self) -> Fraction | None:
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

    def smallest(self) -> Fraction | None:
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

    def smallest(self) -> Fraction | None:
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

    def smallest(self) -> Fraction | None:
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

    def smallest(self) -> Fraction | None:
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
        if any(self.channel is not None and use.channel is None for use in reading):
            return UNKNOWN
        ratio = Fraction(1)
        for role in {use.role for use in reading}:
            ratio = ratio * self.gain if role == "readout_dut" else ratio / self.gain
        if ratio == 1:
            return NO_EFFECT
        return Effect(ratio - 1, sum((use.weight_at(point.key) for use in reading), ZERO))


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
