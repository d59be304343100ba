"""What does an instrument ask of its set-up? Recorded once, in numbered versions, with a source.

Choice: a requirement is the laboratory's own record, because what a model takes stands in its
papers and not in its capacity: neighbouring models of one capacity take different pins, and a
larger model may take a slightly smaller one. Which one counts is `requirement_choice`.

Not checked: that the figures are those of the source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import Issue, NotFound, UnknownReference
from api.services.base.record import Record
from api.services.base.recording import Collection, Outcome, Recording, repeated
from api.services.base.texts import texted
from api.services.records.requirement_choice import Subject, choose, subject_of
from api.store import versions
from api.store.fitting import Requirement
from api.store.reading import SessionReader
from api.store.records import item_codes
from api.store.tables import Item

_COLUMNS = ("source", "edition")
_APART = ("id", "applies_to", *_COLUMNS)


class Taken(NamedTuple):
    """The requirement that counts for an instrument: by what (`BASES`), and what else to know."""

    requirement: Record | None
    basis: str | None
    notes: tuple[str, ...] = ()


def record(session: Session, sent: Mapping[str, Any], now_us: int) -> tuple[Record, bool]:
    """Record a requirement, as version 1 or the next one; return it and whether it is new.

    The same content as the latest version is not recorded again. Raises UnknownReference for an
    item nobody recorded.
    """
    row, new = _stored(session, _values(texted(sent), _item_key(session, sent), now_us))
    return _answers(session, [row])[0], new


def record_many(recording: Recording, records: Sequence[Record]) -> Outcome:
    """Record requirements of a laboratory file; other content is the next version of its id."""
    codes = [one["id"] for one in records]
    repeated(recording, "requirements", codes, [f'requirement "{code}"' for code in codes])
    named = [one["applies_to"].get("item") for one in records]
    recording.know_items({code for code in named if code is not None})
    created = 0
    for index, (one, code) in enumerate(zip(records, named, strict=True)):
        key = None
        if code is not None:
            item = recording.item(
                code, recording.place("requirements", index, "applies_to", "item")
            )
            key = None if item is None else item.key
        if not recording.issues and not recording.conflicts:
            created += _stored(recording.session, _values(texted(one), key, recording.now_us))[1]
    return Outcome(created, len(records) - created)


COLLECTION = Collection("requirements", record_many)


def _stored(session: Session, values: Record) -> tuple[Requirement, bool]:
    """Return the latest version of a record if it says the same, else the next one, newly made."""
    while True:
        row = versions.find(session, Requirement, values["code"])
        if row is not None and all(getattr(row, name) == values[name] for name in _compared()):
            return row, False
        version = 1 if row is None else row.requirement_version + 1
        made = versions.insert(session, Requirement, values | {"requirement_version": version})
        if made is not None:
            return session.get_one(Requirement, made), True


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
    for name, column in (
        ("item", "item_id"),
        ("type", "type"),
        ("make", "make"),
        ("model", "model"),
    ):
        if name in filters:
            wanted = filters[name]
            if name == "item":
                wanted = session.scalar(select(Item.id).where(Item.code == wanted)) or 0
            known = {code: row for code, row in known.items() if getattr(row, column) == wanted}
    if "best_for" in filters:
        known = {row.code: row for row in _best_for(session, filters["best_for"])}
    found, key = versions.page_of(sorted(known), after, limit)
    return _answers(session, [known[code] for code in found]), key


def taken(session: Session, subject: Subject, place: str = "") -> Taken:
    """Return the requirement that counts for an instrument; raises as `choose` does."""
    row, basis, notes = choose(session, subject, place)
    return Taken(None if row is None else _answers(session, [row])[0], basis, notes)


def any_recorded(session: Session) -> bool:
    """Whether a requirement is recorded for anything."""
    return session.scalar(select(Requirement.id).limit(1)) is not None


def _best_for(session: Session, code: str) -> list[Requirement]:
    item = session.scalar(select(Item).where(Item.code == code))
    row = None if item is None else choose(session, subject_of(item)).row
    return [] if row is None else [row]


def _compared() -> tuple[str, ...]:
    return ("item_id", "type", "capacity", "make", "model", *_COLUMNS, "definition")


def _item_key(session: Session, sent: Mapping[str, Any]) -> int | None:
    code = sent["applies_to"].get("item")
    if code is None:
        return None
    key = session.scalar(select(Item.id).where(Item.code == code))
    if key is None:
        detail = f'item "{code}" is not recorded'
        issue = Issue("/applies_to/item", detail, "record the item first, or mend the id", code)
        raise UnknownReference(detail, [issue])
    return key


def _values(sent: Record, item_id: int | None, now_us: int) -> Record:
    applies_to = sent["applies_to"]
    return {
        "code": sent["id"],
        "item_id": item_id,
        **{name: applies_to.get(name) for name in ("type", "capacity", "make", "model")},
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
        applies_to = {"item": item, "type": row.type, "make": row.make, "model": row.model}
        applies_to["capacity"] = row.capacity
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
