"""What does an instrument ask of its set-up? Recorded once, in numbered versions, with a source.

Choice: a requirement is the laboratory's own record, because what a model takes stands in its
papers and not in its capacity: a larger model may take a slightly smaller pin. For an instrument
the record of the item itself counts, then one of its type and rated capacity (compared exactly),
then one of its type for any capacity; of several the one recorded last.

Not checked: that the figures are those of the source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import exists, func, or_, select
from sqlalchemy.orm import Session, aliased

from api.errors import Issue, NotFound, UnknownReference
from api.services.base.record import Record
from api.services.base.texts import texted
from api.services.records.items import newtons
from api.store import versions
from api.store.fitting import Requirement
from api.store.reading import SessionReader
from api.store.records import item_codes
from api.store.tables import Item

_COLUMNS = ("source", "edition")
_APART = ("id", "applies_to", *_COLUMNS)
Newer = aliased(Requirement)


class Subject(NamedTuple):
    """What a requirement is looked for: item by key, type, rated capacity; any may be None."""

    item_id: int | None
    type: str | None
    capacity: str | None


def record(session: Session, sent: Mapping[str, Any], now_us: int) -> tuple[Record, bool]:
    """Record a requirement, as version 1 or the next one; return it and whether it is new.

    The same content as the latest version is not recorded again. Raises UnknownReference for an
    item nobody recorded.
    """
    values = _values(session, texted(sent), now_us)
    while True:
        row = versions.find(session, Requirement, sent["id"])
        if row is not None and all(getattr(row, name) == values[name] for name in _compared()):
            return _answers(session, [row])[0], False
        version = 1 if row is None else row.requirement_version + 1
        made = versions.insert(session, Requirement, values | {"requirement_version": version})
        if made is not None:
            return _answers(session, [session.get_one(Requirement, made)])[0], True


def resolve(session: Session, code: str, version: int | None, place: str) -> Record:
    """Return a requirement by id, the latest version by default; raise UnknownReference."""
    row = versions.find(session, Requirement, code, version)
    if row is not None:
        return _answers(session, [row])[0]
    known = versions.versions(session, Requirement, code)
    if known:
        detail = f'requirement "{code}" has no version {version}'
        remedy = f"known versions: {', '.join(map(str, known))}"
    else:
        detail = f'requirement "{code}" is not recorded'
        remedy = "record it at POST /v1/requirements, or leave it out"
    raise UnknownReference(detail, [Issue(place, detail, remedy, code)])


def get(session: Session, code: str, version: int | None = None) -> Record:
    """Return a requirement with all its versions; raise NotFound."""
    try:
        found = resolve(session, code, version, "")
    except UnknownReference as unknown:
        raise NotFound(f"{unknown.detail}; {unknown.issues[0].remedy}") from None
    return found | {"versions": versions.versions(session, Requirement, code)}


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], tuple[str] | None]:
    """Return the latest versions in the order of their ids, and the key to continue behind."""
    known = {row.code: row for row in versions.latest(session, Requirement)}
    for name, column in (("item", "item_id"), ("type", "type")):
        if name in filters:
            wanted = filters[name]
            if name == "item":
                wanted = session.scalar(select(Item.id).where(Item.code == wanted)) or 0
            known = {code: row for code, row in known.items() if getattr(row, column) == wanted}
    if "best_for" in filters:
        known = {row.code: row for row in _best_for(session, filters["best_for"])}
    found, key = versions.page_of(sorted(known), after, limit)
    return _answers(session, [known[code] for code in found]), key


def best_match(session: Session, subject: Subject) -> Record | None:
    """Return the requirement that counts for an instrument, None if none is recorded."""
    row = _best(session, subject)
    return None if row is None else _answers(session, [row])[0]


def any_recorded(session: Session) -> bool:
    """Whether a requirement is recorded for anything."""
    return session.scalar(select(Requirement.id).limit(1)) is not None


def since_us(session: Session, subject: Subject) -> int | None:
    """Return when the requirement that counts for an instrument was first recorded, if one is."""
    row = _best(session, subject)
    if row is None:
        return None
    first = select(func.min(Requirement.recorded_us)).where(Requirement.code == row.code)
    return session.scalar(first)


def _best_for(session: Session, code: str) -> list[Requirement]:
    item = session.scalar(select(Item).where(Item.code == code))
    if item is None:
        return []
    row = _best(session, Subject(item.id, item.type, item.capacity))
    return [] if row is None else [row]


def _best(session: Session, subject: Subject) -> Requirement | None:
    newer = exists().where(
        Newer.code == Requirement.code, Newer.requirement_version > Requirement.requirement_version
    )
    named = [Requirement.item_id == subject.item_id] if subject.item_id is not None else []
    if subject.type is not None:
        named.append(Requirement.type == subject.type)
    if not named:
        return None
    rows = session.scalars(select(Requirement).where(or_(*named), ~newer))
    ranked = [(_rank(row, subject), row.id, row) for row in rows]
    fitting = [one for one in ranked if one[0] is not None]
    return max(fitting, key=lambda one: one[:2])[2] if fitting else None


def _rank(row: Requirement, subject: Subject) -> int | None:
    if row.item_id is not None:
        return 3
    if row.capacity is None:
        return 1
    own = newtons(subject.capacity)
    return 2 if own is not None and own == newtons(row.capacity) else None


def _compared() -> tuple[str, ...]:
    return ("item_id", "type", "capacity", *_COLUMNS, "definition")


def _values(session: Session, sent: Record, now_us: int) -> Record:
    applies_to = sent["applies_to"]
    item_id = None
    if "item" in applies_to:
        item_id = session.scalar(select(Item.id).where(Item.code == applies_to["item"]))
        if item_id is None:
            detail = f'item "{applies_to["item"]}" is not recorded'
            remedy = "record the item first, or mend the id"
            issue = Issue("/applies_to/item", detail, remedy, applies_to["item"])
            raise UnknownReference(detail, [issue])
    return {
        "code": sent["id"],
        "item_id": item_id,
        "type": applies_to.get("type"),
        "capacity": applies_to.get("capacity"),
        **{name: sent.get(name) for name in _COLUMNS},
        "definition": {name: part for name, part in sent.items() if name not in _APART},
        "recorded_us": now_us,
    }


def _answers(session: Session, rows: Sequence[Requirement]) -> list[Record]:
    codes = item_codes(
        SessionReader(session), {row.item_id for row in rows if row.item_id is not None}
    )
    found = []
    for row in rows:
        item = None if row.item_id is None else codes[row.item_id]
        applies_to = {"item": item, "type": row.type, "capacity": row.capacity}
        columns = {name: getattr(row, name) for name in _COLUMNS}
        found.append(
            {
                "id": row.code,
                "version": row.requirement_version,
                "applies_to": _present(applies_to),
                **row.definition,
                **_present(columns),
            }
        )
    return found


def _present(values: Record) -> Record:
    return {name: value for name, value in values.items() if value is not None}
