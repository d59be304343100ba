"""An answer by a recall holds as long as another look at its fault still covers the failure."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.services.alerts.coverage import why_not
from api.services.alerts.states import ANSWERED, OPEN, Told
from api.services.recalls.giving_back import looks_back
from api.store.alerts import Alert, AlertAnswer
from api.store.tables import Recall


def look_again(told: Told, after: int) -> None:
    """Open what was answered by a recall whose second look no longer covers it."""
    session = told.session
    later = select(Recall).where(Recall.id > after, Recall.previous_id.is_not(None))
    for recall in session.scalars(later.order_by(Recall.id)).all():
        _, *before = looks_back(session, recall)
        for alert in _answered_by(session, [look.id for look in before]):
            why = why_not(session, recall, alert)
            if why is not None:
                told.become(alert, OPEN, why)


def _answered_by(session: Session, recalls: Collection[int]) -> list[Alert]:
    """Return the answered alerts whose last answer is one of these recalls."""
    last = select(func.max(AlertAnswer.id)).group_by(AlertAnswer.alert_id)
    statement = (
        select(Alert)
        .join(AlertAnswer, AlertAnswer.alert_id == Alert.id)
        .where(
            Alert.state == ANSWERED,
            AlertAnswer.id.in_(last),
            AlertAnswer.recall_id.in_(recalls),
        )
    )
    return list(session.scalars(statement.order_by(Alert.id)))
