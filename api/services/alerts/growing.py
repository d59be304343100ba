"""The alert of an overdue item grows with its uses: which of them are overdue now, and since when.

Every use is stored with the value that it rested on, so that one that is corrected or voided, or
rests on another value since, goes again. A new use opens an alert that was answered.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

from sqlalchemy import ColumnElement, Row, Select, delete, insert, select, true
from sqlalchemy.orm import Session

from api.services.alerts.failures import OVERDUE, Failure, Name, calibration
from api.services.alerts.overdue import OverdueUse, Scope, overdue_uses
from api.services.alerts.states import ENDED, OPEN, Told, keep
from api.services.recalls.soundness import Evidence, last_before, next_after
from api.store.alerts import Alert, AlertUse
from api.store.chunks import chunks
from api.store.tables import Certificate


@dataclass(frozen=True, slots=True)
class _Use:
    """What tells one use in an alert apart: its alert, the use, and the value it rested on."""

    name: Name
    certificate: int
    position: int
    value: int


def grow(told: Told, scope: Scope) -> set[Name]:
    """Store which uses of a scope are overdue; return the alerts of which one came or went."""
    session = told.session
    uses = {
        _Use(overdue_name(one), one.certificate, one.position, one.value_id): one
        for one in overdue_uses(session, scope)
    }
    stored = _stored_uses(session, scope)
    gone = {key: stored[key] for key in stored.keys() - uses.keys()}
    for key, row in gone.items():
        session.execute(
            delete(AlertUse).where(
                AlertUse.alert_id == row.alert_id,
                AlertUse.certificate_id == key.certificate,
                AlertUse.position == key.position,
            )
        )
    new: dict[Name, list[OverdueUse]] = defaultdict(list)
    for key in uses.keys() - stored.keys():
        new[key.name].append(uses[key])
    # The next revision of a certificate uses nothing anew.
    before = {(key.name, row.issuer, row.number, row.used_us) for key, row in gone.items()}
    alerts = {}
    for name, some in sorted(new.items()):
        alert = session.scalar(_named(name))
        if alert is None:
            alert = keep(told, None, name, overdue_failure(some, []))
        elif alert.state == ENDED or any(
            (name, one.made_issuer, one.made_number, one.used_us) not in before for one in some
        ):
            told.become(alert, OPEN, "it was used overdue again")
        alerts[name] = alert
    session.flush()
    rows = [_use_row(alerts[name].id, one) for name, some in sorted(new.items()) for one in some]
    for lot in chunks(rows):
        session.execute(insert(AlertUse), lot)
    return {key.name for key in gone} | new.keys()


def keep_overdue(told: Told, name: Name, history: Sequence[Evidence]) -> None:
    """Let the alert of an overdue item say what its uses are now; without any it ends."""
    session = told.session
    alert = session.execute(_named(name)).scalar_one()
    uses = session.scalars(select(AlertUse).where(AlertUse.alert_id == alert.id)).all()
    alert.uses = len(uses)
    if uses:
        for column, value in overdue_failure(uses, history)._asdict().items():
            setattr(alert, column, value)
    elif alert.state != ENDED:
        told.become(alert, ENDED, "what raised it is no more")


def overdue_name(use: OverdueUse) -> Name:
    """Return the name of the alert that a use belongs to: one for each item and value."""
    return Name(use.item, OVERDUE, calibration(use.issuer, use.number))


def overdue_failure(
    uses: Collection[OverdueUse] | Collection[AlertUse], history: Sequence[Evidence]
) -> Failure:
    """Return what uses of one overdue value are: from the first of them until the last."""
    first = min(uses, key=_when)
    last = max(uses, key=_when)
    return Failure(
        last.value_id,
        None,
        first.used_at,
        first.used_us,
        last.used_at,
        last.used_us,
        last_before(history, first.used_us),
        next_after(history, last.used_us, None),
    )


def _when(use: OverdueUse | AlertUse) -> tuple[int, str]:
    return use.used_us, use.used_at


def _named(name: Name) -> Select[Alert]:
    return select(Alert).where(
        Alert.item_id == name.item, Alert.kind == name.kind, Alert.cause == name.cause
    )


def _use_row(alert: int, use: OverdueUse) -> dict[str, Any]:
    return {
        "alert_id": alert,
        "certificate_id": use.certificate,
        "position": use.position,
        "value_id": use.value_id,
        "used_at": use.used_at,
        "used_us": use.used_us,
    }


def _stored_uses(session: Session, scope: Scope) -> dict[_Use, Row[Any]]:
    conditions: list[ColumnElement[bool]] = [true()]
    if scope.items is not None:
        conditions = [Alert.item_id.in_(some) for some in chunks(sorted(scope.items))]
        conditions += [AlertUse.certificate_id.between(*bounds) for bounds in scope.ranges]
    found = {}
    for row in chain.from_iterable(session.execute(_USES.where(one)) for one in conditions):
        name = Name(row.item_id, OVERDUE, row.cause)
        found[_Use(name, row.certificate_id, row.position, row.value_id)] = row
    return found


_USES: Select[Any] = (
    select(Alert.item_id, Alert.cause, Certificate.issuer, Certificate.number)
    .add_columns(AlertUse.alert_id, AlertUse.certificate_id, AlertUse.position)
    .add_columns(AlertUse.value_id, AlertUse.used_us)
    .join(AlertUse, AlertUse.alert_id == Alert.id)
    .join(Certificate, Certificate.id == AlertUse.certificate_id)
)
