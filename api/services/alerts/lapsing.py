"""An answer holds as long as what it was given on: its recall covers the failure, nothing was used.

An answer by a recall lapses when a use is recorded that its window leaves out. One with a reason
alone lapses when the item, or what held it, was used between the good evidence before and behind
the failure otherwise than was known when it was given. The next revision of a certificate uses
nothing anew. An overdue item's uses are kept by `growing`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.services.alerts.coverage import why_not
from api.services.alerts.failures import OVERDUE
from api.services.alerts.states import ANSWERED, OPEN, Told
from api.services.recalls.later_uses import Used, span_of, uses_within
from api.services.recalls.soundness import Evidence, histories
from api.store.alerts import Alert, AlertAnswer
from api.store.chunks import chunks
from api.store.tables import Recall
from graph.moments import text_of

KnownUse = list[str | int]


def known_uses(session: Session, alerts: Sequence[Alert]) -> dict[int, list[KnownUse]]:
    """Return, by alert, the uses that stand on its failure today, as an answer keeps them."""
    looked_at = [one for one in alerts if one.kind != OVERDUE]
    known = histories(session, {one.item_id for one in looked_at})
    return {
        alert.id: [
            [use.issuer, use.number, use.used_us] for use in _standing_on(session, alert, known)
        ]
        for alert in looked_at
    }


def lapse(told: Told, items: set[int]) -> None:
    """Open the answered alerts of these items whose answers hold no longer."""
    told.session.flush()
    keys = [
        key
        for some in chunks(sorted(items))
        for key in told.session.scalars(
            select(Alert.id).where(Alert.state == ANSWERED, Alert.item_id.in_(some))
        )
    ]
    for alert, why in lapsed(told.session, keys):
        told.become(alert, OPEN, why)


def lapsed(session: Session, keys: Sequence[int] | None = None) -> Iterator[tuple[Alert, str]]:
    """Yield the answered alerts (of these keys) whose last answer holds no longer, and why."""
    found = list(_answered(session, keys))
    read = {one.item_id for one, answer in found if _looks_at_uses(one, answer)}
    known = histories(session, read)
    for alert, answer in found:
        why = _why(session, alert, answer, known)
        if why is not None:
            yield alert, why


def _why(
    session: Session,
    alert: Alert,
    answer: AlertAnswer,
    known: Mapping[int, Sequence[Evidence]],
) -> str | None:
    if answer.recall_id is not None:
        return why_not(session, session.get_one(Recall, answer.recall_id), alert)
    if not _looks_at_uses(alert, answer):
        return None
    before = {tuple(one) for one in answer.known_uses or ()}
    new = [
        one
        for one in _standing_on(session, alert, known)
        if (one.issuer, one.number, one.used_us) not in before
    ]
    if not new:
        return None
    first = new[0]
    return (
        f"used at {text_of(first.used_us)} in {first.number}, which was not recorded when it was "
        f"answered; {len(new)} such use(s)"
    )


def _looks_at_uses(alert: Alert, answer: AlertAnswer) -> bool:
    by_reason = answer.recall_id is None and answer.known_uses is not None
    return by_reason and alert.kind != OVERDUE


def _standing_on(
    session: Session, alert: Alert, known: Mapping[int, Sequence[Evidence]]
) -> list[Used]:
    history = known.get(alert.item_id, ())
    return uses_within(session, alert.item_id, span_of(history, alert.at_us))


def _answered(session: Session, keys: Sequence[int] | None) -> Iterator[tuple[Alert, AlertAnswer]]:
    last = select(func.max(AlertAnswer.id)).group_by(AlertAnswer.alert_id)
    statement = (
        select(Alert, AlertAnswer)
        .join(AlertAnswer, AlertAnswer.alert_id == Alert.id)
        .where(Alert.state == ANSWERED, AlertAnswer.id.in_(last))
        .order_by(Alert.id)
    )
    parts = [statement]
    if keys is not None:
        parts = [statement.where(Alert.id.in_(some)) for some in chunks(keys)]
    for part in parts:
        yield from ((alert, answer) for alert, answer in session.execute(part))
