"""Which uses of the faulty item are suspect, and why the others are cleared.

A use of an assembly counts when the assembly held the part at the instant of the use. The reasons
are tried in one order, so that two people get the same one: channel, part, record, window, range
(status, which comes before them all, is a matter of the certificate and is judged by the recall).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from graph.faults import Fault
from graph.model import Calibration, Holder, Use, Window

# Why a use is cleared, in the order in which it is tried.
CLEARED_REASONS = ("status", "channel", "part", "record", "window", "range")
Path = tuple[str, ...]


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
        if self.fault.certificate is not None:
            return any(use.source == self.fault.certificate for use in calibration.uses)
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
    """

    uses: tuple[Use, ...] = ()
    paths: tuple[Path, ...] = ()
    cleared: frozenset[str] = frozenset()


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
    paths: list[Path] = []
    cleared: set[str] = set()
    for use in calibration.uses:
        routes = _routes(use, suspect.fault, suspect.holders)
        if routes is None:
            continue
        reason = _clearance(use, calibration, suspect, routes)
        if reason is not None:
            cleared.add(reason)
            continue
        uses.append(use)
        paths.extend((*route, calibration.number) for route in routes)
    return Exposure(tuple(uses), tuple(paths), frozenset(cleared))


def _routes(use: Use, fault: Fault, holders: Sequence[Holder]) -> list[Path] | None:
    """Path prefixes from the fault to the use; empty if the part was not there, None if no link."""
    if fault.certificate is not None:
        return [(fault.item, use.item)] if use.source == fault.certificate else None
    if use.item == fault.item:
        if fault.channel is None:
            return [(fault.item,)]
        return [(f"{fault.item}:{fault.channel}", use.role)]
    chains = [holder for holder in holders if holder.assembly == use.item]
    if not chains:
        return None
    return [(fault.item, *holder.chain) for holder in chains if holder.held_at(use.at)]


def _clearance(
    use: Use, calibration: Calibration, suspect: SuspectWindow, routes: Sequence[Path]
) -> str | None:
    fault = suspect.fault
    on_other_channel = fault.channel is not None and use.channel not in (None, fault.channel)
    if use.item == fault.item and on_other_channel:
        return "channel"
    if not routes:
        return "part"
    convicted = fault.by_record(use)
    if convicted is False:
        return "record"
    if convicted is None and not suspect.window.holds(use.at):
        return "window"
    if fault.cleared_by_range(use, calibration):
        return "range"
    return None
