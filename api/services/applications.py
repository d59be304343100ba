"""How often was an item loaded, and when? Its calibrations, uses, and those of what held it.

Choice: the load applications of a calibration count once, whatever revisions its certificate has
(the issued one, else the highest) and whatever became of it: the load was applied.
"""

from __future__ import annotations

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from api.store.chunks import chunks
from api.store.tables import Certificate, Composition, Usage

_EVER, _NEVER = -(2**62), 2**62
Span = tuple[int, int]
Applied = tuple[int, int]


def applications_of(session: Session, item: int) -> list[Applied]:
    """Return (microsecond, load applications) of everything that loaded an item, by time."""
    events: dict[tuple[str, str], tuple[bool, int, int, int]] = {}
    for carrier, spans in _carriers(session, item).items():
        statement = (
            select(
                Certificate.issuer,
                Certificate.number,
                Certificate.revision,
                Certificate.status,
                Certificate.performed_us,
                Certificate.load_applications,
                Usage.used_us,
                Usage.used_end_us,
                Certificate.performed_end_us,
                Certificate.item_id,
            )
            .outerjoin(Usage, (Usage.certificate_id == Certificate.id) & (Usage.item_id == carrier))
            .where(
                or_(Certificate.item_id == carrier, Usage.item_id == carrier),
                Certificate.load_applications > 0,
            )
        )
        for row in session.execute(statement):
            own = row.item_id == carrier
            start = row.performed_us if own else row.used_us
            end = row.performed_end_us if own else row.used_end_us
            if not any(first <= end and start < last for first, last in spans):
                continue
            rank = (row.status == "issued", row.revision, start, row.load_applications)
            key = (row.issuer, row.number)
            events[key] = max(events.get(key, rank), rank)
    return sorted((at, count) for _, _, at, count in events.values())


def _carriers(session: Session, item: int) -> dict[int, list[Span]]:
    """What an item was loaded with, and when: itself always, assemblies while they held it."""
    found: dict[int, list[Span]] = {item: [(_EVER, _NEVER)]}
    frontier = [(item, _EVER, _NEVER)]
    while frontier:
        parts = sorted({part for part, _, _ in frontier})
        holdings = [
            row
            for some in chunks(parts)
            for row in session.execute(
                select(
                    Composition.part_id,
                    Composition.assembly_id,
                    Composition.from_us,
                    Composition.until_us,
                ).where(Composition.part_id.in_(some))
            )
        ]
        above = []
        for part, first, last in frontier:
            for held in holdings:
                start = max(first, held.from_us)
                end = min(last, _NEVER if held.until_us is None else held.until_us)
                # No part is within itself at one instant, so that every walk ends.
                if held.part_id == part and start < end:
                    above.append((held.assembly_id, start, end))
                    found.setdefault(held.assembly_id, []).append((start, end))
        frontier = above
    return found
