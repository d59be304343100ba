"""The one place where a written holding, check, item or identity is told to stored recalls.

Calibrations, certificates and uses say it themselves, by the certificates that they touch; here it
is said by items, since a part, a check or a type is of an item.
"""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.recalls.staleness import flag_stale
from api.store import link_checks
from api.store.chunks import chunks
from api.store.tables import Composition


def touched(session: Session, items: Collection[int], now_us: int, cause: str) -> None:
    """Flag the stored recalls that would find something else since these items' past is another."""
    if items:
        session.flush()
        concerned = link_checks.touched_by_items(session, _with_assemblies(session, items))
        flag_stale(session, concerned, now_us, cause)


def _with_assemblies(session: Session, items: Collection[int]) -> set[int]:
    """These items and what ever held them; withdrawn holdings too, since they did so until now."""
    seen, frontier = set[int](), set(items)
    while frontier:
        seen |= frontier
        above: set[int] = set()
        for some in chunks(sorted(frontier)):
            above.update(
                session.scalars(
                    select(Composition.assembly_id).where(Composition.part_id.in_(some))
                )
            )
        frontier = above - seen
    return seen
