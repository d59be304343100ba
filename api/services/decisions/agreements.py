"""What was agreed with a customer? Rule and specification, for what, since when, by whom.

Contract review (ISO/IEC 17025:2017, 7.1.3: the standard and the decision rule are defined, and the
rule is agreed with the customer). An agreement is for one item, one type of item, one order, or all
that is calibrated for the customer; of several the narrowest counts, in the order: order, item,
type, all. It is never edited: its next version holds from its own `from`, and one with `until` ends
it. A calibration goes by what holds when it is performed, by what was recorded at its issue. Names
of customers and types and numbers of orders are compared as `api.store.spelling` folds them, so
that another spelling leads to the same agreement.

Not checked: that the customer said so, or that the order exists.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, NotFound, UnknownReference
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.decisions.decision_rules import ensure_rule, resolve_rule
from api.services.decisions.specifications import resolve_specification
from api.store import versions
from api.store.agreements import Agreement
from api.store.graph_lock import lock_graph
from api.store.spelling import folded
from api.store.tables import Customer, DecisionRule, Item, Specification
from graph.moments import moment

# What an agreement is for, the narrowest first; none of them: all that the customer has calibrated.
SUBJECTS = ("order_number", "item_id", "type")
_SAME = ("customer_id", *SUBJECTS)
_KEPT = ("holds_from", "holds_until", "agreed_with", "person", "note")
_COMPARED = (*_SAME, "rule_id", "specification_id", *_KEPT)


@dataclass(frozen=True, slots=True)
class Wanted:
    """A calibration that an agreement is looked for; its customer by name, its item by key."""

    customer: str
    item_id: int
    type: str | None
    order: str | None
    at_us: int


@dataclass(slots=True)
class Book:
    """The agreements of customers, those of each read once, and which holds for a calibration."""

    session: Session
    # Most laboratories that import their history have agreed nothing yet: asked once for all.
    _some: bool | None = None
    _known: dict[str, dict[str, list[Agreement]]] = field(default_factory=dict)

    def empty(self) -> bool:
        """Whether nothing was ever agreed with anybody."""
        if self._some is None:
            self._some = self.session.scalar(select(Agreement.id).limit(1)) is not None
        return not self._some

    def of(self, wanted: Wanted) -> Agreement | None:
        """Return the version that holds for a calibration, None where nothing was agreed."""
        found = [
            row
            for rows in self._of_customer(folded(wanted.customer)).values()
            if (row := _holding(rows, wanted.at_us)) is not None and _is_for(row, wanted)
        ]
        return min(found, key=_breadth, default=None)

    def _of_customer(self, name: str) -> dict[str, list[Agreement]]:
        if name not in self._known:
            self._known[name] = _by_code(self.session.scalars(_of(name)))
        return self._known[name]


def _of(name: str) -> Select[Agreement]:
    """Agreements with customers of a folded name, however it is spelled; versions in order."""
    return (
        select(Agreement)
        .join(Customer, Customer.id == Agreement.customer_id)
        .where(Customer.folded == name)
        .order_by(Agreement.code, Agreement.agreement_version)
    )


def _by_code(rows: Iterable[Agreement]) -> dict[str, list[Agreement]]:
    found: dict[str, list[Agreement]] = {}
    for row in rows:
        found.setdefault(row.code, []).append(row)
    return found


def _holding(rows: Sequence[Agreement], at_us: int) -> Agreement | None:
    """Return the latest version that has begun, unless it has ended by then."""
    begun = [row for row in rows if row.from_us <= at_us]
    last = begun[-1] if begun else None
    ended = last is not None and last.until_us is not None and last.until_us <= at_us
    return None if ended else last


def _is_for(row: Agreement, wanted: Wanted) -> bool:
    return (
        _folds_to(row.order_number, wanted.order)
        and row.item_id in (None, wanted.item_id)
        and _folds_to(row.type, wanted.type)
    )


def _folds_to(agreed: str | None, wanted: str | None) -> bool:
    """Whether an agreement that names this, or nothing, is for that."""
    return agreed is None or (wanted is not None and folded(agreed) == folded(wanted))


def _breadth(row: Agreement) -> int:
    named = (place for place, name in enumerate(SUBJECTS) if getattr(row, name) is not None)
    return next(named, len(SUBJECTS))


def record(
    session: Session,
    sent: Mapping[str, Any],
    now_us: int,
    seen: Callable[[str, int], None],
) -> tuple[Record, bool]:
    """Record an agreement, as version 1 or the next one; return it and whether it is new.

    The same content as the latest version is not recorded again. `seen` is asked whether the caller
    knows the version that the next one takes the place of, and raises otherwise.

    Raises UnknownReference for a customer, item, rule or specification that is not recorded,
    InvalidRecord for times in the wrong order or a next version for something else, Conflict where
    another agreement holds for the same at the same time.
    """
    lock_graph(session)
    values = _values(session, sent)
    latest = versions.find(session, Agreement, sent["id"])
    if latest is not None and all(getattr(latest, name) == values[name] for name in _COMPARED):
        return answers(session, [latest])[0], False
    if latest is not None and any(getattr(latest, name) != values[name] for name in _SAME):
        detail = f'agreement "{sent["id"]}" is for something else'
        remedy = "keep its customer and its item, type or order, or record another agreement"
        raise InvalidRecord(detail, [Issue("/id", detail, remedy, sent["id"])])
    if latest is not None:
        seen(latest.code, latest.agreement_version)
    _refuse_second(session, sent["id"], values)
    version = 1 if latest is None else latest.agreement_version + 1
    row = values | {"agreement_version": version, "recorded_us": now_us}
    made = versions.insert(session, Agreement, row)
    if made is None:  # written between: the next look finds it
        return record(session, sent, now_us, seen)
    return answers(session, [session.get_one(Agreement, made)])[0], True


def get(session: Session, code: str, version: int | None = None) -> Record:
    """Return an agreement with all its versions; raise NotFound."""
    row = versions.find(session, Agreement, code, version)
    if row is None:
        named = f'agreement "{code}"' if version is None else f'agreement "{code}" v. {version}'
        raise NotFound(f"{named} is not recorded")
    return answers(session, [row])[0] | {"versions": versions.versions(session, Agreement, code)}


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], tuple[str] | None]:
    """Return the latest versions in the order of their ids, and the key to continue behind."""
    known = {row.code: row for row in versions.latest(session, Agreement)}
    if "customer" in filters:
        named = select(Customer.id).where(Customer.folded == folded(filters["customer"]))
        customers = set(session.scalars(named))
        known = {code: row for code, row in known.items() if row.customer_id in customers}
    found, key = versions.page_of(sorted(known), after, limit)
    return answers(session, [known[code] for code in found]), key


def with_agreement(session: Session, request: Mapping[str, Any]) -> Record:
    """Return a decision request with the rule of the agreement that it names, if any.

    One that gives no requirement takes the agreed specification too. Raises UnknownReference for an
    agreement that is not recorded, InvalidRecord where none of both gives a requirement.
    """
    found = dict(request)
    if "agreement" not in request:
        return found
    sent = request["agreement"]
    row = versions.find(session, Agreement, sent["id"], sent.get("version"))
    if row is None:
        detail = f'agreement "{sent["id"]}" is not recorded'
        if sent.get("version") is not None:
            detail = f'agreement "{sent["id"]}" has no version {sent["version"]}'
        remedy = "record it first (POST /v1/agreements), or mend the id or version"
        raise UnknownReference(detail, [Issue("/agreement", detail, remedy, sent["id"])])
    (agreed,) = answers(session, [row])
    found |= {"rule": agreed["rule"]}
    found |= {"agreement": reference(row) | {"customer": agreed["customer"]}}
    if "limits" in found or "tolerance" in found:
        return found
    if "specification" not in agreed:
        detail = f'agreement "{sent["id"]}" names no specification'
        remedy = "send limits, or nominal and tolerance"
        raise InvalidRecord(detail, [Issue("/agreement", detail, remedy, sent["id"])])
    given = agreed["specification"]
    return found | {"tolerance": {"specification": given["id"], "version": given["version"]}}


def answers(session: Session, rows: Sequence[Agreement]) -> list[Record]:
    """Return versions of agreements as the API shows them."""
    shown = []
    for row in rows:
        rule = session.get_one(DecisionRule, row.rule_id)
        one: Record = {
            "id": row.code,
            "version": row.agreement_version,
            "customer": session.get_one(Customer, row.customer_id).name,
            "item": None if row.item_id is None else session.get_one(Item, row.item_id).code,
            "type": row.type,
            "order": row.order_number,
            "rule": {"id": rule.code, "version": rule.rule_version},
        }
        if row.specification_id is not None:
            given = session.get_one(Specification, row.specification_id)
            one["specification"] = {"id": given.code, "version": given.spec_version}
        one |= {"from": row.holds_from, "until": row.holds_until, "agreed_with": row.agreed_with}
        one |= {"by": row.person, "note": row.note}
        shown.append({name: value for name, value in one.items() if value is not None})
    return shown


def reference(row: Agreement) -> Record:
    """Return what a certificate keeps of the agreement that it was issued under."""
    return {"id": row.code, "version": row.agreement_version}


def referred(session: Session, kept: Mapping[str, Any] | None) -> Agreement | None:
    """Return the version of an agreement that a certificate keeps, if it keeps one."""
    return None if kept is None else versions.find(session, Agreement, kept["id"], kept["version"])


def _values(session: Session, sent: Mapping[str, Any]) -> dict[str, Any]:
    zone = zone_of(session)
    until = sent.get("until")
    from_us = moment(sent["from"], zone).start_us
    until_us = None if until is None else moment(until, zone).start_us
    if until_us is not None and until_us < from_us:
        detail = "it would end before it begins"
        remedy = f"it holds from {sent['from']}; send that instant or a later one"
        raise InvalidRecord(detail, [Issue("/until", detail, remedy, until)])
    item = sent.get("item")
    return {
        "code": sent["id"],
        "customer_id": _key(session, Customer.id, Customer.name, sent["customer"], "customer"),
        "item_id": None if item is None else _key(session, Item.id, Item.code, item, "item"),
        "type": sent.get("type"),
        "order_number": sent.get("order"),
        "rule_id": _rule(session, sent["rule"]),
        "specification_id": _specification(session, sent.get("specification")),
        "holds_from": sent["from"],
        "holds_until": until,
        "from_us": from_us,
        "until_us": until_us,
        "agreed_with": sent.get("agreed_with"),
        "person": sent["by"],
        "note": sent.get("note"),
    }


def _key(session: Session, key: Any, name: Any, sent: str, kind: str) -> int:
    found: int | None = session.scalar(select(key).where(name == sent))
    if found is None:
        detail = f'{kind} "{sent}" is not recorded'
        remedy = f"record the {kind} first (POST /v1/{kind}s), or mend the name"
        raise UnknownReference(detail, [Issue(f"/{kind}", detail, remedy, sent)])
    return found


def _rule(session: Session, sent: Mapping[str, Any]) -> int:
    _, row_id = resolve_rule(session, sent["id"], sent.get("version"))
    return ensure_rule(session, sent["id"]) if row_id is None else row_id


def _specification(session: Session, sent: Mapping[str, Any] | None) -> int | None:
    if sent is None:
        return None
    try:
        return resolve_specification(session, sent["id"], sent.get("version"))[1]
    except UnknownReference as unknown:
        (issue,) = unknown.issues
        moved = Issue("/specification", issue.detail, issue.remedy, issue.value)
        raise UnknownReference(unknown.detail, [moved]) from None


def _subject(values: Mapping[str, Any]) -> list[Any]:
    """What an agreement is for beside its customer, as it is compared."""
    return [
        folded(one) if isinstance(one, str) else one for one in (values[name] for name in SUBJECTS)
    ]


def _refuse_second(session: Session, code: str, values: Mapping[str, Any]) -> None:
    """Refuse an agreement for what another one holds for at the same time."""
    customer = session.get_one(Customer, values["customer_id"])
    same = _subject(values)
    others = _by_code(
        row
        for row in session.scalars(_of(customer.folded).where(Agreement.code != code))
        if _subject({name: getattr(row, name) for name in SUBJECTS}) == same
    )
    for other, rows in others.items():
        starts = {values["from_us"], *(row.from_us for row in rows)}
        ends = values["until_us"]
        for at_us in sorted(starts):
            inside = values["from_us"] <= at_us and (ends is None or at_us < ends)
            held = _holding(rows, at_us) if inside else None
            if held is not None:
                detail = f'agreement "{other}" holds for the same from {held.holds_from}'
                remedy = f'end it by its next version with "until", or make this one "{other}"'
                raise Conflict(detail, [Issue("/from", detail, remedy, values["holds_from"])])
