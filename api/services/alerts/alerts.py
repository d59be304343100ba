"""Alerts as they are shown: what raised each, the good evidence around it, how it was answered."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.orm import Session

from api.errors import NotFound
from api.services.alerts.coverage import covering
from api.services.alerts.failures import CHECK, FOUND, OVERDUE
from api.services.alerts.states import ENDED, OPEN
from api.services.base.record import Record
from api.store.alerts import Alert, AlertAnswer, AlertUse
from api.store.chunks import chunks
from api.store.paging import KeyValues, page
from api.store.tables import Certificate, Check, Item, Recall
from graph.moments import instant_us, text_of

# Of the uses of an overdue item, shown with one alert; its count is complete.
MOST_USES = 100


def get(session: Session, key: int) -> Alert:
    """Return the alert with this id."""
    alert = session.get(Alert, key)
    if alert is None:
        raise NotFound(f"alert {key} does not exist")
    return alert


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of alerts, in the order raised."""
    rows, key = page(session, passing(select(Alert), filters), [Alert.id], after, limit)
    return answers(session, [row[0] for row in rows]), key


def filters_of(sent: Record, zone: ZoneInfo) -> Record:
    """Return the filters of a request as `passing` takes them; bare dates are of a zone."""
    found: Record = {name: sent[name] for name in ("state", "item", "kind") if name in sent}
    for name in ("since", "failed_before"):
        if name in sent:
            found[f"{name}_us"] = instant_us(sent[name], zone)
    if "good_evidence_followed" in sent:
        found["followed"] = sent["good_evidence_followed"]
    return found


def passing(statement: Select[Any], filters: Record) -> Select[Any]:
    """Return a statement on alerts, narrowed to those that pass the filters.

    `filters` may hold `state`, `item`, `kind`, `since_us` (raised then or later),
    `failed_before_us` and `followed` (whether good evidence followed).
    """
    return statement.where(*_conditions(filters))


def _conditions(filters: Record) -> Iterable[ColumnElement[bool]]:
    for name in ("state", "kind"):
        if name in filters:
            yield getattr(Alert, name) == filters[name]
    if "item" in filters:
        yield Alert.item_id == _item(filters["item"])
    if "since_us" in filters:
        yield Alert.raised_us >= filters["since_us"]
    if "failed_before_us" in filters:
        yield Alert.until_us < filters["failed_before_us"]
    if "followed" in filters:
        yield Alert.followed.is_not(None) if filters["followed"] else Alert.followed.is_(None)


def _item(code: str) -> Any:
    return func.coalesce(select(Item.id).where(Item.code == code).scalar_subquery(), 0)


def answer(session: Session, alert: Alert) -> Record:
    """Return one alert with its uses and what it belongs together with."""
    (shown,) = answers(session, [alert])
    if alert.kind == OVERDUE:
        shown["used_by"] = _used_by(session, alert.id)
    shown["together"] = [one.id for one in together(session, alert) if one.id != alert.id]
    shown["covered_by"] = [
        {"recall": recall.id, "recall_number": recall.number} for recall in covering(session, alert)
    ]
    return shown


def answers(session: Session, alerts: Sequence[Alert]) -> list[Record]:
    """Return alerts as the API shows them in a list."""
    items = _by_key(session, Item, {one.item_id for one in alerts})
    certificates = _by_key(session, Certificate, {one.certificate_id for one in alerts})
    checks = _by_key(session, Check, {one.check_id for one in alerts})
    answered = _answered(session, [one.id for one in alerts])
    shown = []
    for one in alerts:
        certificate = certificates.get(one.certificate_id or 0)
        check = checks.get(one.check_id or 0)
        raised_by = _raised_by(one, certificate, check)
        known: Record = {
            "id": one.id,
            "kind": one.kind,
            "state": one.state,
            "item": items[one.item_id].code,
            "says": _says(one, items[one.item_id].code, raised_by),
            "at": one.at,
            "until": one.until if one.kind == OVERDUE else None,
            "uses": one.uses if one.kind == OVERDUE else None,
            "raised_by": raised_by,
            "good_before": one.good_before,
            "good_evidence_followed": one.followed is not None,
            "followed_by": one.followed,
            "raised_at": text_of(one.raised_us),
            "changed_at": text_of(one.changed_us),
            "ended": None if one.state != ENDED else _ended(one),
            "answers": answered.get(one.id, []),
            "links": _links(one.id),
        }
        kept = ("good_before", "followed_by")
        shown.append({n: value for n, value in known.items() if value is not None or n in kept})
    return shown


def together(session: Session, alert: Alert) -> list[Alert]:
    """Return the alerts of one failure of an item: nothing good is recorded between them."""
    same = (
        Alert.good_before.is_(None)
        if alert.good_before is None
        else Alert.good_before == alert.good_before
    )
    statement = select(Alert).where(Alert.item_id == alert.item_id, Alert.state != ENDED, same)
    return list(session.scalars(statement.order_by(Alert.id)))


def most_pressing(session: Session, limit: int) -> list[Record]:
    """Return open alerts after which nothing good followed, then the others; the newest first."""
    statement = passing(select(Alert), {"state": OPEN}).order_by(
        Alert.followed.is_not(None), Alert.until_us.desc(), Alert.id.desc()
    )
    return answers(session, list(session.scalars(statement.limit(limit))))


def count(session: Session, filters: Record) -> int:
    """Return how many alerts pass the filters."""
    return session.scalar(passing(select(func.count(Alert.id)), filters)) or 0


def _raised_by(alert: Alert, certificate: Certificate | None, check: Check | None) -> Record:
    if check is not None:
        kind = {} if check.kind is None else {"kind": check.kind}
        return {"check": check.code} | kind
    if certificate is None:
        return {}
    named: Record = {"certificate": certificate.number, "revision": certificate.revision}
    if certificate.issuer:
        named["issuer"] = certificate.issuer
    due = {} if alert.kind == FOUND else {"due_at": certificate.due_at}
    return named | {name: value for name, value in due.items() if value is not None}


def _says(alert: Alert, item: str, by: Record) -> str:
    if alert.kind == CHECK:
        kind = f" ({by['kind']})" if "kind" in by else ""
        return f"{item} failed check {by['check']}{kind}"
    if alert.kind == FOUND:
        return f"{item} failed as found in certificate {by['certificate']}"
    since = f" ({by['due_at']})" if "due_at" in by else ""
    if not alert.uses:  # ended
        return f"no use of {item} after certificate {by['certificate']} was due{since} stands now"
    many = "once" if alert.uses == 1 else f"{alert.uses} times"
    return f"{item} was used {many} after certificate {by['certificate']} was due{since}"


def _ended(alert: Alert) -> Record:
    return {"at": text_of(alert.changed_us)} | (alert.ended or {})


def _links(key: int) -> Record:
    at = f"/v1/alerts/{key}"
    return {
        "self": at,
        "fault_draft": f"{at}/fault-draft",
        "reach": f"{at}/reach",
        "answers": f"{at}/answers",
    }


def _answered(session: Session, keys: Sequence[int]) -> dict[int, list[Record]]:
    found: dict[int, list[Record]] = {}
    for some in chunks(keys):
        statement = (
            select(AlertAnswer, Recall.number)
            .outerjoin(Recall, Recall.id == AlertAnswer.recall_id)
            .where(AlertAnswer.alert_id.in_(some))
        )
        for made, number in session.execute(statement.order_by(AlertAnswer.id)):
            said = {
                "recall": made.recall_id,
                "recall_number": number,
                "reason": made.reason,
                "by": made.person,
                "at": text_of(made.at_us),
                "lapsed": made.lapsed,
                "lapsed_at": None if made.lapsed_us is None else text_of(made.lapsed_us),
            }
            kept = {name: value for name, value in said.items() if value is not None}
            found.setdefault(made.alert_id, []).append(kept)
    return found


def _used_by(session: Session, key: int) -> list[Record]:
    rows = session.execute(
        select(Certificate.number, Certificate.revision, Certificate.issuer, AlertUse.used_at)
        .join(AlertUse, AlertUse.certificate_id == Certificate.id)
        .where(AlertUse.alert_id == key)
        .order_by(AlertUse.used_us, Certificate.number)
        .limit(MOST_USES)
    )
    return [
        {"certificate": row.number, "revision": row.revision}
        | ({"issuer": row.issuer} if row.issuer else {})
        | {"at": row.used_at}
        for row in rows
    ]


def _by_key(session: Session, table: Any, keys: Iterable[int | None]) -> Mapping[int, Any]:
    wanted = sorted({key for key in keys if key is not None})
    return {
        one.id: one
        for some in chunks(wanted)
        for one in session.scalars(select(table).where(table.id.in_(some)))
    }
