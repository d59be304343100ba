"""No calibration rests on itself by way of what an assembly held.

An assembly without a value of its own passes on what its parts carry, so that a holding is a link
like a use. A circle has a link that does not point back in time: somebody used an assembly no later
than one of its parts was calibrated. Few did, and these are looked at with all that they rest on,
as a recall would.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator

from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue
from api.services.recalls.reading import Traced
from api.store.assemblies import family
from api.store.keyed import rows_of
from api.store.link_checks import numbers_of
from api.store.reading import SessionReader
from api.store.sources import Recorded
from graph.circles import way_round
from graph.traceability import CyclicTrace, in_order_of_dependence, reached

REMEDY = (
    "correct the instants, take the part out of the assembly for that time (POST "
    "/v1/compositions/{id}/corrections), or name the certificate whose value was used"
)


def refuse_through_parts(session: Session, items: Iterable[int], place: str = "") -> None:
    """Refuse what was written about items if a calibration now rests on itself through parts.

    Raises InvalidRecord, which names the certificates on the way round.
    """
    session.flush()
    found = circle_through_parts(session, set(items))
    if found is not None:
        said = f"a calibration rests on itself through the parts of an assembly: {found}"
        raise InvalidRecord(said, [Issue(place, said, REMEDY)])


def circle_through_parts(session: Session, items: Collection[int]) -> str | None:
    """Return the numbers on the way round if there is such a circle among these items."""
    starts = {
        user
        for assembly, parts in family(SessionReader(session), items).items()
        for user in _at_once(session, assembly, parts)
    }
    if not starts:
        return None
    traced = Traced(Recorded(SessionReader(session)))
    frontier = starts
    while frontier:
        traced.read(frontier)
        uses = (use for key in frontier for use in traced.calibrations[key].uses)
        frontier = {link for use in uses for link in use.links()} - traced.calibrations.keys()
    by_time = sorted(traced.calibrations.values(), key=lambda one: (one.performed, one.key))
    try:
        in_order_of_dependence(reached(by_time))
    except CyclicTrace as knot:
        return way_round(knot.circle, numbers_of(session, knot.circle))
    return None


def _at_once(session: Session, assembly: int, parts: Collection[int]) -> Iterator[int]:
    """Who used an assembly no later than one of its parts was calibrated, by an instant or day."""
    also = (
        "JOIN usage ON usage.item_id = ? AND usage.used_end_us >= certificate.performed_us "
        "JOIN certificate AS own ON own.id = usage.certificate_id "
        "AND own.performed_us <= certificate.performed_us"
    )
    columns, table = "DISTINCT usage.certificate_id", "certificate"
    rows = rows_of(SessionReader(session), columns, table, "item_id", list(parts), also, [assembly])
    for (key,) in rows:
        yield key
