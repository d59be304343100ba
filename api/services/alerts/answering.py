"""An alert is answered by a fault, or by a person with a reason; several at once if they are one.

By a fault: a stored recall of the item whose window holds the failure and every use of the item
until good evidence follows (`coverage`). Every answer stays; the latest one counts until it lapses.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, UnknownReference
from api.services.alerts.alerts import passing, together
from api.services.alerts.coverage import why_not
from api.services.alerts.lapsing import known_uses
from api.services.alerts.states import ANSWERED, ENDED, MOST_NAMED, OPEN
from api.services.base.confirmed import refuse_other_count
from api.services.base.record import Record
from api.services.feed import changes
from api.store.alerts import Alert, AlertAnswer
from api.store.graph_lock import lock_graph
from api.store.journal import note as journal_note
from api.store.tables import Recall

MOST_ISSUES = 20


def one(session: Session, alert: Alert, command: Record, now_us: int) -> list[Alert]:
    """Answer an alert, and with `together` every open one of the same failure; return them.

    Raises
    ------
    Conflict
        If what raised it is withdrawn or corrected, or if it is answered so already.
    InvalidRecord
        If the recall does not cover one of them.
    UnknownReference
        If the recall does not exist.
    """
    lock_graph(session)
    session.refresh(alert)
    if alert.state == ENDED:
        raise Conflict(f"alert {alert.id} ended with what raised it; nothing is to be answered")
    meant = [alert]
    if command.get("together"):
        others = (other for other in together(session, alert) if other.id != alert.id)
        meant += [other for other in others if other.state == OPEN]
    meant = [one for one in meant if not _is_answered_so(session, one, command)]
    if not meant:
        issue = Issue("", "it is answered so already", "nothing more need be done")
        raise Conflict(f"alert {alert.id} has this very answer already", [issue])
    return _answer(session, meant, command, now_us)


def filtered(session: Session, command: Record, now_us: int) -> list[Alert]:
    """Answer all open alerts that pass a filter, if they are as many as was said; return them.

    Raises
    ------
    Conflict
        If another `count` of alerts is meant than was said.
    """
    lock_graph(session)
    statement: Any = passing(select(Alert), command["filter"] | {"state": OPEN})
    meant = list(session.scalars(statement.order_by(Alert.id)))
    refuse_other_count(len(meant), command["count"], "alert")
    return _answer(session, meant, command, now_us) if meant else []


def recall_of(session: Session, number: str) -> int:
    """Return the id of the recall of a number; raise UnknownReference."""
    key = session.scalar(select(Recall.id).where(Recall.number == number))
    if key is None:
        detail = f'recall "{number}" does not exist'
        raise UnknownReference(detail, [Issue("/recall", detail, "mend the number", number)])
    return key


def _is_answered_so(session: Session, alert: Alert, command: Record) -> bool:
    """Whether the answer that counts says the same, by the same person."""
    if alert.state != ANSWERED:
        return False
    last = select(AlertAnswer).where(AlertAnswer.alert_id == alert.id)
    made = session.scalars(last.order_by(AlertAnswer.id.desc()).limit(1)).one()
    said = (made.recall_id, made.reason, made.person)
    return said == (command.get("recall"), command.get("reason"), command["by"])


def _answer(session: Session, meant: Sequence[Alert], command: Record, now_us: int) -> list[Alert]:
    recall = _recall(session, command.get("recall"))
    if recall is not None:
        _refuse_uncovered(session, recall, meant)
    reason, person = command.get("reason"), command["by"]
    known = {} if recall is not None else known_uses(session, meant)
    for alert in meant:
        answer = AlertAnswer(
            alert_id=alert.id,
            recall_id=None if recall is None else recall.id,
            reason=reason,
            person=person,
            at_us=now_us,
            known_uses=known.get(alert.id),
        )
        session.add(answer)
        alert.state, alert.changed_us = ANSWERED, now_us
        about = {"alert_id": alert.id, "recall_id": answer.recall_id}
        changes.note(session, "alert.answered", now_us, detail=ANSWERED, **about)
    facts: Record = {"alerts": len(meant), "first": [one.id for one in meant[:MOST_NAMED]]}
    facts |= {} if recall is None else {"recall": recall.id}
    facts |= {} if reason is None else {"reason": reason}
    journal_note(session, "alert answered", by=person, **facts)
    session.flush()
    return list(meant)


def _recall(session: Session, key: int | None) -> Recall | None:
    if key is None:
        return None
    recall = session.get(Recall, key)
    if recall is None:
        detail = f"recall {key} does not exist"
        issue = Issue("/recall", detail, "report the fault first, or mend the id", str(key))
        raise UnknownReference(detail, [issue])
    return recall


def _refuse_uncovered(session: Session, recall: Recall, meant: Sequence[Alert]) -> None:
    remedy = (
        "report a fault whose window holds it and every use until good evidence follows, or answer "
        "with a reason"
    )
    issues = [
        Issue("/recall", f"alert {alert.id}: {detail}", remedy, str(recall.id))
        for alert in meant
        if (detail := why_not(session, recall, alert)) is not None
    ]
    if issues:
        says = f"recall {recall.number} does not answer {len(issues)} alert(s); nothing stored"
        raise InvalidRecord(says, issues[:MOST_ISSUES])
