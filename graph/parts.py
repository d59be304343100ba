"""Parts in assemblies over time: pins move between clevises, and clevises sit in larger set-ups.

A holder is one way in which an assembly held a part: the chain of assemblies from the part upwards
with the holdings that made it. A part within itself at one instant is refused.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from graph.circles import circle, tangled
from graph.model import Holder, Holding


class PartWithinItself(ValueError):
    """A part is inside itself at one instant; the message shows the circle."""


def holders(part: str, holdings: Iterable[Holding]) -> tuple[Holder, ...]:
    """Return every assembly that ever held the part, directly or through others.

    Holdings that never overlapped make no chain.

    Parameters
    ----------
    part : str
        Its code.
    holdings : iterable of Holding
        All that could matter, in any order.

    Returns
    -------
    tuple of Holder
        One for each way, by chain and time.

    Examples
    --------
    >>> holdings = [Holding("CLEVIS", "PIN", 0, None), Holding("SETUP", "CLEVIS", 5, 9)]
    >>> [one.chain for one in holders("PIN", holdings)]
    [('CLEVIS',), ('CLEVIS', 'SETUP')]
    """
    by_part: dict[str, list[Holding]] = {}
    for holding in holdings:
        by_part.setdefault(holding.part, []).append(holding)
    found: list[Holder] = []
    open_ends: list[tuple[Holding, ...]] = [(holding,) for holding in by_part.get(part, [])]
    while open_ends:
        chain = open_ends.pop()
        found.append(Holder(tuple(holding.assembly for holding in chain), chain))
        inside = {part, *(holding.assembly for holding in chain)}
        for above in by_part.get(chain[-1].assembly, []):
            longer = (*chain, above)
            if above.assembly not in inside and _overlap(longer):
                open_ends.append(longer)
    return tuple(sorted(found, key=lambda holder: (holder.chain, holder.holdings[0].start_us)))


def refuse_part_within_itself(holdings: Sequence[Holding]) -> None:
    """Refuse holdings by which a part is inside itself at any instant.

    Only the instants at which a holding begins need looking at: a circle begins with one of them.

    Parameters
    ----------
    holdings : sequence of Holding
        All that could matter, in any order.

    Raises
    ------
    PartWithinItself
        With the circle in its message.
    """
    ever = tangled((holding.assembly, holding.part) for holding in holdings)
    suspects = [holding for holding in holdings if holding.part in ever]
    for begins in {holding.start_us for holding in suspects}:
        found = circle(
            (holding.assembly, holding.part)
            for holding in suspects
            if holding.start_us <= begins and (holding.end_us is None or holding.end_us > begins)
        )
        if found is not None:
            names = " holds ".join([*found, found[0]])
            raise PartWithinItself(f"a part is within itself at one instant: {names}")


def _overlap(chain: Sequence[Holding]) -> bool:
    start = max(holding.start_us for holding in chain)
    ends = [holding.end_us for holding in chain if holding.end_us is not None]
    return not ends or start < min(ends)
