"""How large is one fault at a point that it meets at first hand?

DESIGN sections 5, 9 and 10, "Faults". Effects are counted as `oracle_values` says.
"""

from __future__ import annotations

from fractions import Fraction

import oracle_curves
from oracle_laboratory import Laboratory
from oracle_numbers import NEWTONS, Moment, microseconds, moment, number
from oracle_records import Certificate, Json, Row, Use
from oracle_values import NOTHING, UNKNOWN, ZERO, Value
from oracle_window import all_segments, in_segment

READOUT_ROLES = {"readout_dut": Fraction(1), "readout_reference": Fraction(-1)}
ONE = Fraction(1)


class Effects:
    """The fault's own fields, read; `first_hand` gives its effect at a point."""

    def __init__(self, lab: Laboratory, fault: Json) -> None:
        self.lab, self.fault, self.kind = lab, fault, fault["kind"]
        self.channel = None if fault.get("channel") is None else str(fault["channel"])
        only = fault.get("only") or {}
        self.mode: str | None = only.get("mode")
        self.directions: list[str] | None = only.get("directions")
        self.roles: list[str] | None = only.get("roles")
        self.by_force = self.kind == "true_force_offset"
        zero = self.kind == "true_force_relative_error" and not fault.get("segments")
        zero = zero and number(fault["delta_rel"]) == 0 and fault.get("U_delta_rel") is not None
        # A fault of uncertainty alone is carried as if its delta were 1, and shown as 0.
        self.silent = self.kind == "understated_uncertainty" or zero
        self.variance = self._variance()
        if self.kind == "understated_uncertainty" and (self.variance or 0) <= 0:
            raise ValueError("the right uncertainty is not above the recorded one")

    def _variance(self) -> Fraction | None:
        """Square of the fault's standard uncertainty, relative or in newtons; None if unstated."""
        fault = self.fault
        if self.kind == "understated_uncertainty":
            right = number(fault["U_rel_right"]) / number(fault.get("k_right") or 2)
            recorded = number(fault["U_rel_recorded"]) / number(fault.get("k_recorded") or 2)
            return right**2 - recorded**2
        k = number(fault.get("U_delta_k") or 2)
        if self.by_force:
            if fault.get("U_delta_force") is None:
                return None
            return (number(fault["U_delta_force"]) * NEWTONS[fault["unit"]] / k) ** 2
        if fault.get("U_delta_rel") is None:
            return None
        return (number(fault["U_delta_rel"]) / k) ** 2

    def first_hand(
        self, certificate: Certificate, use: Use, row: Row, force: Fraction | None
    ) -> Value:
        """Effect of a faulty use before its weight; `force` is the share that the item bears."""
        if self.kind == "readout_gain":
            return NOTHING
        if self.spares_way(row):
            return NOTHING
        if self.channel is not None and use.channel is None:
            return UNKNOWN
        if self.directions is not None and row.direction is None:
            return UNKNOWN
        if self.mode is not None and certificate.mode is None:
            return UNKNOWN
        if self.kind == "interval":
            return Value(ZERO, ONE, ONE)
        delta = ONE if self.silent else self.delta(certificate, use, force)
        return UNKNOWN if delta is None else Value(delta, ZERO, ONE)

    def spares_way(self, row: Row) -> bool:
        """True if the point was approached in a direction that the fault leaves alone."""
        return self.directions is not None and row.direction not in (None, *self.directions)

    def sign(self, use: Use) -> Fraction | None:
        """Sign of a faulty readout's weight by its role; None where the weight keeps its own."""
        return READOUT_ROLES.get(use.role or "") if self.silent else None

    def gain(self, certificate: Certificate, direct: list[Use], row: Row) -> Value:
        """g_dut/g_ref - 1 of the readout uses that served the point.

        A weight scales its own factor; its sign only names the role, which is known already.
        """
        gain = number(self.fault["gain"])
        reference, dut, weight, unknown = ONE, ONE, ZERO, False
        for use in direct:
            share = abs(use.weight_at(row))
            if share == 0 or use.role not in READOUT_ROLES:
                continue
            if self.spares_way(row):
                continue
            unknown = unknown or (self.directions is not None and row.direction is None)
            unknown = unknown or (self.channel is not None and use.channel is None)
            unknown = unknown or (self.mode is not None and certificate.mode is None)
            weight += READOUT_ROLES[use.role] * share
            if use.role == "readout_reference":
                reference += share * (1 / gain - 1)
            else:
                dut += share * (gain - 1)
        if unknown:
            return UNKNOWN
        delta = reference * dut - 1
        return Value(delta, ZERO, weight if delta != 0 else ZERO)

    def delta(self, certificate: Certificate, use: Use, force: Fraction | None) -> Fraction | None:
        """Delta of a faulty use, relative or in newtons; None where it cannot be told."""
        fault = self.fault
        if self.kind == "true_force_relative_error":
            if fault.get("segments"):
                return self.segment_delta(force)
            return number(fault["delta_rel"])
        if self.by_force:
            return number(fault["delta_force"]) * NEWTONS[fault["unit"]]
        if self.kind == "indicates_high":
            return 1 / (1 + number(fault["indication_rel"])) - 1
        if self.kind == "wrong_correction_factor":
            used = use.factor if use.factor is not None else number(fault["factor_applied"])
            return number(fault["factor_right"]) / used - 1
        if self.kind == "indication_effect_by_type":
            kind = self.lab.types.get(certificate.item)
            if kind is not None and kind in fault["effect_rel"]:
                return number(fault["effect_rel"][kind])
            other = fault.get("other_types")
            return None if other in (None, "indeterminate") else number(other)
        if self.kind == "wrong_curve":
            return oracle_curves.delta(fault, force)
        if self.kind == "linear_drift":
            return self.drift(use.when)
        if self.kind == "unknown":
            return None
        raise ValueError(f"the oracle does not know the fault kind {self.kind}")

    def segment_delta(self, force: Fraction | None) -> Fraction | None:
        """Delta of the segment that holds the force, None outside all or without a force."""
        if force is None:
            return None
        for segment in all_segments(self.fault):
            if in_segment(force, segment):
                return segment[2]
        return None

    def drift(self, when: Moment) -> Fraction:
        """Linear from zero at the last good instant; never before it."""
        good = moment(self.fault["last_good_at"], self.lab.zone).noon
        measured = moment(self.fault["measured_at"], self.lab.zone).noon
        part = Fraction(microseconds(when.noon - good), microseconds(measured - good))
        return number(self.fault["delta_rel"]) * max(part, ZERO)

    def spares_all(
        self, certificate: Certificate, served: list[Row], scales: list[Fraction | None]
    ) -> bool:
        """True if the fault has segments and every point served lies where the item was right."""
        if not self.fault.get("segments") or not certificate.rows:
            return False
        return all(self.spares(row, scales) for row in served)

    def spares(self, row: Row, scales: list[Fraction | None]) -> bool:
        """True if the point is known to lie where the item was right, at every share of it."""
        if row.force == 0:
            return True
        if row.force is None or None in scales:
            return False
        for scale in scales:
            force = row.force * (scale or ZERO)
            homes = [s for s in all_segments(self.fault) if in_segment(force, s)]
            if not homes or any(s[2] != 0 for s in homes):
                return False
        return True

    def shown(self, value: Value, force: Fraction | None) -> Value:
        """A value whose `delta` is relative, whatever it was counted in; zero if silent."""
        if value.unknown or not value.felt:
            return value
        if self.silent:
            return Value(ZERO, ZERO, value.weight)
        if not self.by_force:
            return value
        if not force:
            return UNKNOWN
        return Value(value.delta / force, ZERO, value.weight)
