"""What becomes of alerts in one transaction: their states, and who hears of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.alerts.failures import OVERDUE, Failure, Name
from api.services.feed import changes
from api.store.alerts import Alert, AlertAnswer
from api.store.journal import note as journal_note
from api.store.journal import said_so_far
from api.store.record_changes import UNKNOWN_CAUSE

OPEN, ANSWERED, ENDED = "open", "answered", "ended"
MOST_NAMED = 50


@dataclass(slots=True)
class Told:
    """Alerts that changed in this transaction, for the feed and the journal.

    `cause` is what was written, as stored recalls are told of it.
    """

    session: Session
    now_us: int
    cause: str = UNKNOWN_CAUSE
    changed: list[tuple[Alert, str]] = field(default_factory=list)

    def become(self, alert: Alert, state: str, why: str | None = None) -> None:
        """Give an alert a state and tell it; `why` its last answer counts no longer, if it does."""
        if why is not None and alert.state == ANSWERED:
            last = select(AlertAnswer).where(AlertAnswer.alert_id == alert.id)
            answer = self.session.scalars(last.order_by(AlertAnswer.id.desc()).limit(1)).one()
            answer.lapsed, answer.lapsed_us = why, self.now_us
        alert.state, alert.changed_us = state, self.now_us
        alert.ended = {"cause": self.cause} | said_so_far(self.session) if state == ENDED else None
        self.changed.append((alert, state))

    def end(self) -> None:
        """Write what changed to the feed and the journal, once everything has its key."""
        self.session.flush()
        told: dict[str, list[int]] = {}
        for alert, state in self.changed:
            event = "alert.ended" if state == ENDED else "alert.raised"
            changes.note(self.session, event, self.now_us, alert_id=alert.id, detail=state)
            told.setdefault(event, []).append(alert.id)
        for event, keys in told.items():
            what = event.replace(".", " ")
            said = {"cause": self.cause} if event == "alert.ended" else {}
            journal_note(self.session, what, alerts=len(keys), first=keys[:MOST_NAMED], **said)
        self.session.flush()


def keep(told: Told, alert: Alert | None, name: Name, failure: Failure) -> Alert:
    """Let an alert say what a failure is now; a new one, or one that changed, is open."""
    if alert is None:
        known = {"item_id": name.item, "kind": name.kind, "cause": name.cause}
        alert = Alert(raised_us=told.now_us, uses=0, **known, **failure._asdict())
        told.session.add(alert)
        told.become(alert, OPEN)
        return alert
    moved = (alert.at_us, alert.until_us) != (failure.at_us, failure.until_us)
    for column, value in failure._asdict().items():
        setattr(alert, column, value)
    if alert.state == ENDED or (alert.state == ANSWERED and moved and name.kind != OVERDUE):
        told.become(alert, OPEN, "when it failed was corrected")
    return alert
