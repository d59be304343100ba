"""What looks at a fault took from corrected revisions, for another look to give back.

A revision was corrected for a fault whose window is now thought to be shorter, or that was none, or
what it used was put right afterwards: a look at the same fault finds it wrong by what was taken
(`graph.corrected.owed`). Another recall, which does not say that it looks at the same fault again
(`previous`), says nothing of it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from decimal import Decimal

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue
from api.services.base.record import Record
from api.services.recalls.reach import NONE, Looks
from api.store import records
from api.store.reading import SessionReader
from api.store.tables import Recall, RecallEntry
from graph.lists import AFFECTED


def looks_back(session: Session, recall: Recall) -> Iterator[Recall]:
    """Yield a recall and the looks at its fault before it, each named by the one after."""
    yield recall
    while recall.previous_id is not None:
        recall = session.get_one(Recall, recall.previous_id)
        yield recall


def looks_before(session: Session, request: Record) -> Looks:
    """Return the looks at a fault before the one that is asked for; none without `previous`.

    They are all that follow the first of them, in whatever order one named another: what one of
    them gave back another must know of.

    Raises
    ------
    InvalidRecord
        If there is no such recall. If none is named, and a fault without effect says that there was
        none in what was corrected for it: that is another look, and must say at what.
    """
    previous = request.get("previous")
    if previous is None:
        return _of_a_first_look(session, request)
    if session.get(Recall, previous) is None:
        issue = Issue(
            "/previous", f"recall {previous} does not exist", "name its id", str(previous)
        )
        raise InvalidRecord("the recall named as the previous one does not exist", [issue])
    return _looks(session, _family(session, previous).values())


def _of_a_first_look(session: Session, request: Record) -> Looks:
    """Note for which recalls of the same thing revisions were corrected, or refuse a withdrawal."""
    faults = request["faults"] if "faults" in request else [request["fault"]]
    met = [
        (one["recall"], fault)
        for _, made in records.corrections(SessionReader(session))
        for one in made
        for taken in one["faults"]
        for fault in faults
        if _alike(fault, taken)
    ]
    numbers = sorted({number for number, _ in met})
    withdrawn = sorted({number for number, fault in met if _without_effect(fault)})
    if withdrawn:
        detail = f"missing: certificates were corrected for recall {withdrawn[0]}"
        remedy = "name the look that this one takes the place of"
        raise InvalidRecord(
            "a fault without effect withdraws an earlier one", [Issue("/previous", detail, remedy)]
        )
    if not numbers:
        return NONE
    subjects = " and ".join(sorted({_subject(fault)[0] for _, fault in met}))
    note = (
        f"certificates were corrected for {', '.join(numbers)}, of the same {subjects}: if this is "
        "another look at that fault, name it as previous; what was taken from those that this look "
        "does not reach is given back only then"
    )
    return Looks(notes=(note,))


def _subject(fault: Record) -> tuple[str, str]:
    """What a fault is of: the name of the item, certificate or method, and the issuer."""
    name = fault.get("item") or fault.get("certificate") or fault["method"]
    return name, fault.get("issuer", "")


def _alike(one: Record, other: Record) -> bool:
    """Whether two faults are of the same thing; without a channel the whole item is meant."""
    channels = {fault.get("channel") for fault in (one, other)}
    return _subject(one) == _subject(other) and (None in channels or len(channels) == 1)


def _without_effect(fault: Record) -> bool:
    """Whether a fault says that the force was right, and U too."""
    known = fault.get("delta_rel") is not None and "bound_rel" not in fault
    return known and not Decimal(fault["delta_rel"]) and not Decimal(fault.get("U_delta_rel", 0))


def looks_of(session: Session, recall: Recall, among: Collection[int] | None = None) -> Looks:
    """Return the looks at the fault of a stored recall up to it, itself among them.

    It is asked again as a look at what was corrected for it, too: the uses of a revision may have
    been put right since. Of the corrected revisions only those `among` some, if they are given.
    """
    return _looks(session, numbers_of(session, recall), among)


def numbers_of(session: Session, recall: Recall) -> frozenset[str]:
    """Return the numbers of the looks at the fault of a stored recall up to it."""
    return frozenset(_family(session, recall.id, recall.id).values())


def listed_before(session: Session, previous: int | None) -> set[int]:
    """Return the certificates that looks at a fault list as affected, for another to watch."""
    looks = {} if previous is None else _family(session, previous)
    listed = select(RecallEntry.certificate_id).where(
        RecallEntry.recall_id.in_([*looks]), RecallEntry.list_name == AFFECTED
    )
    return set(session.scalars(listed)) if looks else set()


def _family(session: Session, one: int, last: int | None = None) -> dict[int, str]:
    """Return the numbers of a recall and of all looks at the same fault, up to `last`, by key."""
    *_, first = looks_back(session, session.get_one(Recall, one))
    found, frontier = {first.id: first.number}, [first.id]
    while frontier:
        later = select(Recall.id, Recall.number).where(Recall.previous_id.in_(frontier))
        if last is not None:
            later = later.where(Recall.id <= last)
        rows = session.execute(later).all()
        frontier = [row.id for row in rows]
        found |= {row.id: row.number for row in rows}
    return found


def _looks(
    session: Session, numbers: Collection[str], among: Collection[int] | None = None
) -> Looks:
    corrected = frozenset(
        key
        for key, taken in records.corrections(SessionReader(session), among)
        if any(one["recall"] in numbers for one in taken)
    )
    return Looks(frozenset(numbers), corrected)
