"""What the parts of a used assembly pass on: cells of a build-up, a machine with a cell of its own.

An assembly without a value in force of its own passes on what its measuring parts pass on, each by
its share of the force. A value of its own takes their place, save where a part was calibrated
later. What a part passes on that measures nothing (a readout, a monitor) cannot be told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from graph.in_force import MODE_NOT_RECORDED, MODES, Candidate, Doubt, doubts, serving
from graph.model import BY_SHARE, ONE, SHIELDED, UNTOLD, Held, Holding
from graph.moments import Moment

# Kinds of item that measure force, so that their value is the assembly's.
MEASURING = frozenset(
    (
        "reference_standard",
        "working_standard",
        "force_machine",
        "deadweight_machine",
        "customer_instrument",
    )
)


class Part(NamedTuple):
    """A holding with what tells how its part counts."""

    holding: Holding
    kind: str
    share: Fraction | None = None


@dataclass(slots=True)
class Assemblies:
    """What items held and which certificates they had, as far as a question needs them.

    Parameters
    ----------
    parts
        Whatever each assembly ever held.
    candidates
        Certificates of each item that assign a value.
    confirming
        Certificates of each item that only confirmed its limits.
    """

    parts: Mapping[str, Sequence[Part]]
    candidates: Mapping[str, Sequence[Candidate]]
    confirming: Mapping[str, Sequence[Candidate]] = field(default_factory=dict)
    _known: dict[tuple[str, Moment, str | None], tuple[Candidate, ...]] = field(
        default_factory=dict
    )

    def ranked(self, item: str, at: Moment, mode: str | None) -> tuple[Candidate, ...]:
        """Return what served an item when it was used, the certificate in force first."""
        asked = item, at, mode
        found = self._known.get(asked)
        if found is None:
            found = tuple(serving(self.candidates.get(item, ()), at.end_us, mode))
            self._known[asked] = found
        return found

    def evidence(self, item: str, at: Moment, mode: str | None) -> int | None:
        """Return the key of an item's latest calibration if that only confirmed limits."""
        confirmed = serving(self.confirming.get(item, ()), at.end_us, mode)
        valued = self.ranked(item, at, mode)
        if not confirmed or (valued and valued[0].order > confirmed[0].order):
            return None
        return confirmed[0].key

    def doubts(self, item: str, at: Moment, mode: str | None) -> list[Doubt]:
        """Return the certificates whose value a use of an item may have taken for its own."""
        ranked = self.ranked(item, at, mode)
        in_force = ranked[0] if ranked else None
        found = doubts(self.candidates.get(item, ()), at.end_us, mode, in_force)
        for other in MODES if mode is None else ():
            first = next(iter(self.ranked(item, at, other)), None)
            if first is not None and first != in_force:
                found.append(Doubt(first.key, MODE_NOT_RECORDED))
        return found

    def held(
        self,
        assembly: str,
        at: Moment,
        mode: str | None,
        own_us: int | None,
        *,
        named: bool = False,
    ) -> tuple[Held, ...]:
        """Return every part that an assembly held when it was used, through others too.

        Parameters
        ----------
        assembly
            The item that the use names.
        at, mode
            When it was used, and the mode of the calibration that used it.
        own_us
            Instant of the calibration whose value the assembly itself carried; None without one.
        named
            Whether the use names that value, which then is the same in whatever mode.
        """
        if assembly not in self.parts:
            return ()
        found = {one.chain: one for one in self._of((assembly,), at, mode, own_us)}
        for other in MODES if mode is None and not named else ():
            # In the other mode the assembly may have had no value of its own, or another one.
            own = next(iter(self.ranked(assembly, at, other)), None)
            for one in self._of((assembly,), at, other, own and own.performed_us):
                now = found[one.chain]
                same = now.source == one.source and now.bearing != SHIELDED
                if one.source is not None and one.bearing != SHIELDED and not same:
                    doubt = Doubt(one.source, MODE_NOT_RECORDED)
                    found[one.chain] = now._replace(doubts=(*now.doubts, doubt))
        return tuple(found.values())

    def _of(
        self, chain: tuple[str, ...], at: Moment, mode: str | None, own_us: int | None
    ) -> Iterator[Held]:
        return self._below(Held(chain, ONE, ONE, BY_SHARE), at, mode, own_us)

    def _below(
        self, holder: Held, at: Moment, mode: str | None, own_us: int | None
    ) -> Iterator[Held]:
        """Every part of what holds it, seen from there; `own_us` as in `held`."""
        parts = self._parts_at(holder.part, at)
        shares = self._shares(parts, at, mode)
        for name in parts:
            if name in holder.chain:
                continue
            # What measures nothing sees the force of what holds it.
            measures = name in shares
            share = shares.get(name, ONE)
            of_fault = ONE if len(shares) == 1 else share
            ranked = self.ranked(name, at, mode)
            later = bool(ranked) and _after(ranked[0], own_us)
            bearing = holder.bearing if measures else UNTOLD
            if own_us is not None:
                bearing = UNTOLD if later else SHIELDED
            one = Held(
                (name, *holder.chain),
                _times(holder.share, share),
                _times(holder.fault_share, of_fault),
                bearing,
                (*ranked[:1], *(one for one in ranked[1:] if _after(one, own_us))),
                tuple(self._open_questions(name, at, mode, ranked, own_us)),
                holder.unshared or (own_us is None and share is None),
                # A value of the assembly's own settles what its parts were confirmed by.
                self.evidence(name, at, mode) if own_us is None else None,
            )
            yield one
            yield from self._below(one, at, mode, ranked[0].performed_us if later else own_us)

    def _open_questions(
        self,
        part: str,
        at: Moment,
        mode: str | None,
        ranked: Sequence[Candidate],
        own_us: int | None,
    ) -> list[Doubt]:
        """Doubts about the value of a part that the assembly's own value does not settle."""
        candidates = self.candidates.get(part, ())
        after = {one.key for one in candidates if _after(one, own_us)}
        found = doubts(candidates, at.end_us, mode, ranked[0] if ranked else None)
        return [doubt for doubt in found if doubt.key in after]

    def _parts_at(self, assembly: str, at: Moment) -> dict[str, tuple[str, Fraction | None]]:
        """Kind and share of the parts held at any microsecond of a moment."""
        found: dict[str, tuple[str, Fraction | None]] = {}
        for one in self.parts.get(assembly, ()):
            if one.holding.held_at(at):
                found[one.holding.part] = one.kind, one.share
        return found

    def _shares(
        self,
        parts: Mapping[str, tuple[str, Fraction | None]],
        at: Moment,
        mode: str | None,
    ) -> dict[str, Fraction | None]:
        """Share of each measuring part; None where what was recorded settles nothing."""
        given = {name: share for name, (kind, share) in parts.items() if kind in MEASURING}
        stated = [share for share in given.values() if share is not None]
        if not stated:
            alone = len(given) == 1
            equal = alone or all(self._has_value(name, at, mode) for name in given)
            return dict.fromkeys(given, Fraction(1, len(given)) if equal and given else None)
        whole = len(stated) == len(given) and sum(stated) == 1
        return given if whole else dict.fromkeys(given)

    def _has_value(self, item: str, at: Moment, mode: str | None) -> bool:
        """Whether an item carries a value, its own or that of the measuring parts that it holds."""
        if self.ranked(item, at, mode):
            return True
        parts = self._parts_at(item, at)
        inner = [name for name, (kind, _) in parts.items() if kind in MEASURING]
        return bool(inner) and all(self._has_value(name, at, mode) for name in inner)


def _after(one: Candidate, own_us: int | None) -> bool:
    return own_us is None or one.performed_us > own_us


def _times(one: Fraction | None, other: Fraction | None) -> Fraction | None:
    return None if one is None or other is None else one * other
