"""Which uses of the faulty item are suspect, and why the others are cleared.

A use of an assembly counts when the assembly held the part at the instant of the use. The reasons
are tried in one order, so that two people get the same one: channel, part, record, window, range
(status, which comes before them all, is a matter of the certificate and is judged by the recall).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from graph.faults import Fault
from graph.links import Path
from graph.model import BY_SHARE, ONE, SHIELDED, Calibration, Holder, Use, Window

# Why a certificate is cleared whose errors were corrected for the very fault.
CORRECTED = "corrected"
# Why a use is cleared, in the order in which it is tried.
CLEARED_REASONS = (
    "status",
    CORRECTED,
    "channel",
    "part",
    "mode",
    "role",
    "record",
    "window",
    "range",
    "direction",
)


@dataclass(frozen=True)  # without slots: a cached property needs a dictionary
class SuspectWindow:
    """One fault with the window found for it and the assemblies that ever held the item.

    Parameters
    ----------
    fault : Fault
        The fault.
    window : Window
        When uses are suspect.
    holders : tuple of Holder
        Ways in which the item was inside an assembly.
    """

    fault: Fault
    window: Window
    holders: tuple[Holder, ...] = ()

    @cached_property
    def names(self) -> frozenset[str]:
        """Items by which a calibration can meet the fault directly."""
        return frozenset((self.fault.item, *(holder.assembly for holder in self.holders)))

    def met_by(self, calibration: Calibration) -> bool:
        """Say whether a calibration used anything by which the fault is met directly, at any time.

        Parameters
        ----------
        calibration : Calibration
            The calibration.

        Returns
        -------
        bool
        """
        wrong = self.fault.certificates
        if wrong:
            return any(
                use.source in wrong or any(one.source in wrong for one in use.held)
                for use in calibration.uses
            )
        return not self.names.isdisjoint([use.item for use in calibration.uses])


@dataclass(frozen=True, slots=True)
class Exposure:
    """How one calibration met one fault directly.

    Attributes
    ----------
    uses : tuple of Use
        The suspect uses.
    paths : tuple of tuple of str
        Reason paths from the fault to the certificate, one for each way.
    cleared : frozenset of str
        Reasons for which other uses are cleared.
    spoken : tuple of (Use, tuple of tuple of str)
        The suspect uses as they were recorded, each with the parts through which it is one: for
        every way what is faulty and what held it, below the item used.
    unshared : bool
        Whether it takes a share that the records do not settle to say what the fault does.
    ways : tuple of (int, tuple of str)
        For each path which of the calibration's uses it was, and what stands before its number.
    """

    uses: tuple[Use, ...] = ()
    paths: tuple[Path, ...] = ()
    cleared: frozenset[str] = frozenset()
    spoken: tuple[tuple[Use, tuple[Path, ...]], ...] = ()
    unshared: bool = False
    ways: tuple[tuple[int, Path], ...] = ()

    def speaks_for(self, use: Use, chain: Sequence[str] = ()) -> bool:
        """Say whether the fault itself speaks for a use, so that its item's value adds nothing.

        Parameters
        ----------
        use : Use
            One of the calibration's.
        chain : sequence of str
            A part that it held, up to the assembly; empty for the item itself.

        Returns
        -------
        bool
            Of an assembly that held what is faulty: for the faulty part, what holds it and what it
            holds; not for the assembly's own value, nor for its other parts.
        """
        for met, ways in self.spoken:
            if met is use or met == use:
                return not any(ways) or any(
                    chain[0] in parts or parts[0] in chain[:-1] for parts in ways if chain and parts
                )
        return False


NOT_EXPOSED = Exposure()


def expose(calibration: Calibration, suspect: SuspectWindow) -> Exposure:
    """Sort the uses of a calibration into suspect ones and cleared ones.

    Parameters
    ----------
    calibration : Calibration
        With its uses; results only where a fault is limited to a range.
    suspect : SuspectWindow
        The fault and when its uses are suspect.

    Returns
    -------
    Exposure
    """
    uses: list[Use] = []
    ways: list[tuple[int, Path]] = []
    cleared: set[str] = set()
    spoken: list[tuple[Use, tuple[Path, ...]]] = []
    unshared = False
    for place, use in enumerate(calibration.uses):
        routes = _routes(use, suspect.fault, suspect.holders)
        if routes is None:
            continue
        reason = _clearance(use, calibration, suspect, routes)
        if reason is not None:
            cleared.add(reason)
            continue
        shares = [route.share if route.told else None for route in routes]
        unshared |= any(route.unshared for route in routes)
        # A part that measures nothing counts once, in however many ways it was there.
        uses.extend([use] if shares.count(ONE) == len(shares) else map(use.shared, shares))
        ways.extend((place, route.path) for route in routes)
        spoken.append((use, tuple(route.parts for route in routes)))
    paths = tuple((*names, calibration.number) for _, names in ways)
    return Exposure(tuple(uses), paths, frozenset(cleared), tuple(spoken), unshared, tuple(ways))


class _Route(NamedTuple):
    """One way from the fault to a use: how its path begins, the parts on it, and their share.

    `told` says whether the share settles what the fault does to the use, `unshared` whether it
    takes one that the records do not settle.
    """

    path: Path
    parts: Path = ()
    share: Fraction | None = ONE
    told: bool = True
    unshared: bool = False


def _routes(use: Use, fault: Fault, holders: Sequence[Holder]) -> list[_Route] | None:
    """Ways from the fault to the use; empty if the part was not there, None if there is no link."""
    if fault.certificates:
        if use.source in fault.certificates:
            return [_Route((fault.item, use.item))]
        found = [
            _Route(
                (fault.item, *one.chain),
                one.chain[:-1],
                one.share,
                one.bearing == BY_SHARE,
                one.unshared,
            )
            for one in use.held
            if one.source in fault.certificates and one.bearing != SHIELDED
        ]
        return found or None
    if use.item == fault.item:
        if fault.channel is None:
            return [_Route((fault.item,))]
        return [_Route((fault.name, use.role))]
    chains = [holder for holder in holders if holder.assembly == use.item]
    if not chains:
        return None
    shares = {one.chain: one.fault_share for one in use.held if one.part == fault.item}
    # A bare date may touch several stays of one part in one place, which are one way for all that.
    held = dict.fromkeys((fault.item, *one.chain) for one in chains if one.held_at(use.at))
    return [
        _Route(path, path[:-1], share, unshared=share is None)
        for path in held
        for share in [shares.get(path, ONE)]
    ]


def concerned(use: Use, calibration: Calibration, suspect: SuspectWindow) -> bool:
    """Say whether a use would be suspect, had it taken its value from a faulty certificate.

    Parameters
    ----------
    use : Use
        A use that did not, as far as the records say.
    calibration : Calibration
        The one that it served, with its results where the fault is limited to a range.
    suspect : SuspectWindow
        The fault and when its uses are suspect.

    Returns
    -------
    bool
    """
    return _clearance(use, calibration, suspect, [_Route(())]) is None


def _clearance(
    use: Use, calibration: Calibration, suspect: SuspectWindow, routes: Sequence[_Route]
) -> str | None:
    fault = suspect.fault
    if use.item == fault.item and not use.may_be_on(fault.channel):
        return "channel"
    if not routes:
        return "part"
    only = fault.only
    if only is not None:
        if only.mode is not None and calibration.mode not in (None, only.mode):
            return "mode"
        if only.roles is not None and use.role not in only.roles:
            return "role"
    convicted = fault.by_record(use)
    if convicted is False:
        return "record"
    if convicted is None and not suspect.window.holds(use.at):
        return "window"
    if all(_out_of_range(use.shared(route.share), calibration, fault) for route in routes):
        return "range"
    if only is not None and only.directions is not None:
        served = [p for p in calibration.points if use.points is None or p.key in use.points]
        # A point at zero force decides only where there is no other.
        ways = [point.direction for point in served if not point.at_zero]
        ways = ways or [point.direction for point in served]
        if ways and all(way and way not in only.directions for way in ways):
            return "direction"
    return None


def _out_of_range(use: Use, calibration: Calibration, fault: Fault) -> bool:
    """Whether no force that the faulty item carried lies where it was faulty."""
    if use.share is None:  # of no force every share is none
        served = [p for p in calibration.points if use.points is None or p.key in use.points]
        return all(p.at_zero for p in served) and fault.cleared_by_range(use, calibration)
    seen = tuple(point.carried(use.share) for point in calibration.points)
    return fault.cleared_by_range(use, calibration.measured(seen))
