"""The case of a stored recall: open, assessed, notified, closed; and who may let work resume.

The recall itself never changes; what people decide about it stands here, each step with person,
time and reason (ISO/IEC 17025:2017, 7.10.1: significance evaluated, decision on acceptability,
customer notified, resumption authorised by somebody responsible). A person is a name as given in
the request: whether that person holds the office is not checked.
"""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.errors import Conflict, Issue, NotFound
from api.services.base.record import Record
from api.services.casework.closing import TO_DECIDE, count, refuse_open_ends, undecided
from api.services.casework.outstanding import outstanding
from api.services.casework.told import latest_dispositions, progress
from api.services.feed import changes
from api.store.casework import CaseEvent, Disposition, Notice, NoticeRecord, RecallCase
from api.store.graph_lock import lock_graph
from api.store.journal import note as journal_note
from api.store.spelling import folded
from api.store.tables import Recall, RecallEntry
from graph.moments import text_of

STATES = ("open", "assessed", "notified", "closed")
STATE, RESUMPTION = "state", "resumption"
# Steps of corrective action, in the order in which each speaks of the one before.
CORRECTIVE = ("cause", "corrective_action", "effectiveness_review")


def opened(session: Session, recall_id: int, now_us: int) -> None:
    """Open the case of a recall that was just stored, and tell the feed what it lists."""
    session.add(RecallCase(recall_id=recall_id, state=STATES[0], version=1))
    changes.note(session, "case.changed", now_us, recall_id=recall_id, detail=STATES[0])
    changes.note_listed(session, recall_id, now_us)


def get(session: Session, recall_id: int) -> RecallCase:
    """Return the case of a recall; NotFound if the recall does not exist."""
    case = session.get(RecallCase, recall_id)
    if case is None:
        raise NotFound(f"recall {recall_id} does not exist")
    return case


def locked(session: Session, recall_id: int) -> RecallCase:
    """Return the case of a recall for a change; others wait until the transaction ends."""
    lock_graph(session)
    return get(session, recall_id)


def advance(
    session: Session, case: RecallCase, change: Record, standing: Record, now_us: int
) -> RecallCase:
    """Take the next step of a case; `standing` says whether its recall still holds.

    Raises
    ------
    Conflict
        If it is not the next step, or if something stands against it.
    """
    place = STATES.index(case.state)
    following = STATES[place + 1 : place + 2]
    if change["state"] not in following:
        remedy = f'the next state is "{following[0]}"' if following else "a closed case stays so"
        issue = Issue("/state", f"the case is {case.state}", remedy, change["state"])
        raise Conflict(f"a case that is {case.state} cannot become {change['state']}", [issue])
    refuse_open_ends(session, case.recall_id, change["state"], standing)
    record_event(session, case, STATE, change, now_us, state=change["state"])
    changes.note(session, "case.changed", now_us, recall_id=case.recall_id, detail=change["state"])
    return case


def resume(session: Session, case: RecallCase, change: Record, now_us: int) -> RecallCase:
    """Let work with the item resume, by the word of somebody who did not assess the case.

    Raises
    ------
    Conflict
        If nobody assessed it yet, if the same person did, or if it was authorised already.
    """
    assessed = _event(session, case.recall_id, state_after="assessed")
    if assessed is None:
        issue = Issue("", "nobody has assessed the case yet", "set its state to assessed first")
        raise Conflict("work cannot resume before the case is assessed", [issue])
    if same_person(assessed.person, change["by"]):
        issue = Issue(
            "/by", "this person assessed the case", "let another person authorise it", change["by"]
        )
        raise Conflict("who assessed a case cannot let work resume", [issue])
    if _event(session, case.recall_id, kind=RESUMPTION) is not None:
        raise Conflict("work was let to resume already")
    record_event(session, case, RESUMPTION, change, now_us)
    changes.note(session, "case.changed", now_us, recall_id=case.recall_id, detail="work resumed")
    return case


def answer(session: Session, case: RecallCase) -> Record:
    """Return a case with its history, and how far dispositions and notices have come."""
    events = list(
        session.scalars(
            select(CaseEvent).where(CaseEvent.recall_id == case.recall_id).order_by(CaseEvent.id)
        )
    )
    number = session.scalar(select(Recall.number).where(Recall.id == case.recall_id))
    resumed = next((one for one in events if one.kind == RESUMPTION), None)
    assessed = next((one for one in events if one.state_after == "assessed"), None)
    return {
        "recall": case.recall_id,
        "number": number,
        "state": case.state,
        "version": case.version,
        "assessed_by": assessed.person if assessed else None,
        "resumption": _shown(resumed) if resumed else None,
        "history": [
            {"from": one.state_before, "to": one.state_after} | _shown(one)
            for one in events
            if one.kind == STATE
        ],
        "corrective": _corrective(events),
        "customers": progress(session, case.recall_id),
        "dispositions": _progress(session, case.recall_id),
        "outstanding": outstanding(session, case.recall_id),
        "notices": _notices(session, case.recall_id),
    }


def record_event(
    session: Session,
    case: RecallCase,
    kind: str,
    change: Record,
    now_us: int,
    *,
    state: str | None = None,
    effective: bool | None = None,
) -> None:
    """Write down what was done in a case: who (`by`), why (`reason`), and the state after."""
    state = case.state if state is None else state
    session.add(
        CaseEvent(
            recall_id=case.recall_id,
            kind=kind,
            state_before=case.state,
            state_after=state,
            person=change["by"],
            reason=change["reason"],
            at_us=now_us,
            effective=effective,
        )
    )
    journal_note(
        session,
        f"case {kind}",
        by=change["by"],
        recall=case.recall_id,
        state=state,
        reason=change["reason"],
        **({} if effective is None else {"effective": effective}),
    )
    case.state = state
    case.version += 1
    session.flush()


def _event(session: Session, recall_id: int, **facts: str) -> CaseEvent | None:
    statement = select(CaseEvent).where(CaseEvent.recall_id == recall_id)
    return session.scalars(statement.filter_by(**facts).order_by(CaseEvent.id).limit(1)).first()


def latest_step(session: Session, recall_id: int, kind: str) -> CaseEvent | None:
    """Return the latest step of this kind, or None."""
    statement = select(CaseEvent).where(CaseEvent.recall_id == recall_id, CaseEvent.kind == kind)
    return session.scalars(statement.order_by(CaseEvent.id.desc()).limit(1)).first()


def _corrective(events: list[CaseEvent]) -> Record:
    """The latest step of each kind, None if it was not taken, and all of them in their order."""
    taken = [
        {"step": one.kind, "by": one.person, "at": text_of(one.at_us), "text": one.reason}
        | ({} if one.effective is None else {"effective": one.effective})
        for one in events
        if one.kind in CORRECTIVE
    ]
    latest = {one["step"]: one for one in taken}
    return {kind: latest.get(kind) for kind in CORRECTIVE} | {"history": taken}


def _shown(event: CaseEvent) -> Record:
    return {"by": event.person, "at": text_of(event.at_us), "reason": event.reason}


def same_person(one: str, other: str) -> bool:
    """Whether two names are written alike but for case, spaces and forms of letters."""
    return folded(one) == folded(other)


def _progress(session: Session, recall_id: int) -> Record:
    needed = session.scalar(
        select(func.count())
        .select_from(RecallEntry)
        .where(RecallEntry.recall_id == recall_id, RecallEntry.list_name.in_(TO_DECIDE))
    )
    latest = latest_dispositions(recall_id)
    by_action = session.execute(
        select(Disposition.action, func.count().label("made"))
        .where(Disposition.id.in_(latest))
        .group_by(Disposition.action)
        .order_by(Disposition.action)
    )
    return {
        "needed": needed,
        "missing": count(session, undecided(recall_id)),
        "by_action": {row.action: row.made for row in by_action},
    }


def _notices(session: Session, recall_id: int) -> Record:
    notices = select(Notice.id).where(Notice.recall_id == recall_id)

    def having(kind: str) -> int:
        of_kind = select(NoticeRecord.notice_id).where(
            NoticeRecord.kind == kind, NoticeRecord.notice_id.in_(notices)
        )
        return count(session, of_kind.distinct())

    return {
        "created": count(session, notices),
        "delivered": having("delivery"),
        "acknowledged": having("acknowledgement"),
    }
