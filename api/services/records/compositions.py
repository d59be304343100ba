"""Recording and reading which part is in which assembly, and when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, NotFound
from api.services.base.record import Record, digest
from api.services.base.recording import Collection, Outcome, Recording, remarks, repeated
from api.services.records import record_corrections
from api.services.records.record_corrections import COMPOSITION
from api.store.assemblies import holdings
from api.store.chunks import chunks
from api.store.journal import note as journal_note
from api.store.paging import KeyValues, page
from api.store.reading import SessionReader
from api.store.record_changes import touched
from api.store.records import item_codes
from api.store.tables import Composition, Item, RecordCorrection
from graph.model import Holding
from graph.parts import PartWithinItself, refuse_part_within_itself

ENDS = ("assembly_id", "part_id")
_CORRECTED = select(RecordCorrection.record_id).where(RecordCorrection.collection == COMPOSITION)


def record(recording: Recording, records: Sequence[Record]) -> Outcome:
    """Record holdings that are new; the others must be the same again. Then comes `finish`."""
    recording.know_items({r[end] for r in records for end in ("assembly", "part")})
    starts = [recording.moment(r["from_"]).start_us for r in records]
    identities = [(r["assembly"], r["part"], at) for r, at in zip(records, starts, strict=True)]
    names = [f'part "{r["part"]}" in "{r["assembly"]}" from {r["from_"]}' for r in records]
    repeated(recording, "composition", identities, names)
    rows = [row_of(recording, index, one, starts[index]) for index, one in enumerate(records)]
    if recording.issues:
        return Outcome()
    recording.assemblies.update(one["assembly"] for one in records)
    stored = _stored(recording.session, {row["part_id"] for row in rows})
    corrected = _corrected(recording.session, [row["content_hash"] for row in rows])
    created = []
    for index, row in enumerate(rows):
        known = stored.get((row["assembly_id"], row["part_id"], row["from_us"]))
        if row["content_hash"] in corrected:
            continue
        if known is None:
            created.append(row)
        elif row["content_hash"] not in (
            known.content_hash,
            digest(as_sent(recording.session, known)),
        ):
            recording.conflict(
                recording.place("composition", index),
                f"{names[index]} is recorded with other content",
                "end it with PATCH /v1/compositions/{id}, correct it with POST "
                "/v1/compositions/{id}/corrections, or send what was recorded",
            )
    if created and not recording.conflicts:
        recording.session.execute(insert(Composition), created)
        recording.concerned.update(row[end] for row in created for end in ENDS)
    return Outcome(len(created), len(records) - len(created))


def finish(recording: Recording, outcome: Outcome) -> None:
    """After the last lot, refuse a part that would be within itself."""
    if outcome.created and not recording.issues and not recording.conflicts:
        refuse_circle_of_parts(recording)
        cause = f"{outcome.created} holding(s) were recorded"
        touched(recording.session, cause, recording.now_us, items=recording.concerned)
        recording.concerned.clear()


COLLECTION = Collection("composition", record, finish)


def get(session: Session, key: int) -> Composition:
    """Return the holding with this key."""
    composition = session.get(Composition, key)
    if composition is None:
        raise NotFound(f"composition {key} is not recorded")
    return composition


def end(recording: Recording, composition: Composition, until: str) -> Composition:
    """Note when the part was taken out (exclusive); an end once set stays."""
    if composition.withdrawn:
        issue = Issue("", "withdrawn", "take that back with .../corrections, or record another one")
        raise Conflict("the holding was withdrawn", [issue])
    if composition.held_until is not None:
        raise Conflict(
            f"the holding ended already at {composition.held_until}",
            [Issue("/until", "already set", "correct it with .../corrections", until)],
        )
    until_us = exclusive_end(recording, until)
    if until_us <= composition.from_us:
        issue = Issue("/until", "not after the start", f"it began {composition.held_from}", until)
        raise InvalidRecord("a holding ends after it began", [issue])
    composition.held_until, composition.until_us = until, until_us
    journal_note(recording.session, "holding ended", id=composition.id, until=until)
    items = [composition.part_id, composition.assembly_id]
    touched(recording.session, "a holding ended", recording.now_us, items=items)
    return composition


def answers(session: Session, compositions: Sequence[Composition]) -> list[Record]:
    """Return holdings as the API shows them, each with what was corrected of it."""
    keys = {key for one in compositions for key in (one.assembly_id, one.part_id)}
    codes = item_codes(SessionReader(session), keys)
    corrections = record_corrections.latest(
        session,
        COMPOSITION,
        [one.id for one in compositions],
        "corrections",
        "/v1/compositions/{}/corrections".format,
    )
    return [
        {
            "id": one.id,
            **record_of(one, codes),
            "until": one.held_until,
            **({"withdrawn": True} if one.withdrawn else {}),
            **corrections.get(one.id, {}),
            "version": one.version,
        }
        for one in compositions
    ]


def as_sent(session: Session, holding: Composition) -> Record:
    """Return a holding as it would be sent to be recorded as it stands."""
    codes = item_codes(SessionReader(session), {holding.assembly_id, holding.part_id})
    return record_of(holding, codes)


def record_of(one: Composition, codes: Mapping[int, str]) -> Record:
    """Return a holding as it would be sent; `codes` are the ids of its items by key."""
    values = {
        "assembly": codes[one.assembly_id],
        "part": codes[one.part_id],
        "from_": one.held_from,
        "until": one.held_until,
        "share": one.share,
        "note": one.note,
        **(one.remarks or {}),
    }
    return {name: value for name, value in values.items() if value is not None}


def row_of(recording: Recording, index: int, holding: Record, from_us: int) -> dict[str, Any]:
    """Return the row of a holding that begins at this microsecond; faults are noted."""

    def place(name: str) -> str:
        return recording.place("composition", index, name)

    assembly = recording.item(holding["assembly"], place("assembly"))
    part = recording.item(holding["part"], place("part"))
    until = holding.get("until")
    until_us = exclusive_end(recording, until) if until else None
    if until_us is not None and until_us <= from_us:
        remedy = "until is exclusive and comes after from"
        recording.refuse(place("until"), "the holding ends before it begins", remedy, until)
    return {
        "assembly_id": assembly.key if assembly else None,
        "part_id": part.key if part else None,
        "held_from": holding["from_"],
        "held_until": until,
        "from_us": from_us,
        "until_us": until_us,
        "share": holding.get("share"),
        "withdrawn": False,
        "note": holding.get("note"),
        "remarks": remarks(holding),
        "content_hash": digest(holding),
        "recorded_us": recording.now_us,
        "version": 1,
    }


def exclusive_end(recording: Recording, until: str) -> int:
    """First microsecond at which the part was gone; on a bare date it may be there all day."""
    gone = recording.moment(until)
    return gone.end_us + 1 if gone.date_only else gone.start_us


def _stored(session: Session, parts: set[int]) -> dict[tuple[int, int, int], Composition]:
    return {
        (one.assembly_id, one.part_id, one.from_us): one
        for some in chunks(sorted(parts))
        for one in session.scalars(select(Composition).where(Composition.part_id.in_(some)))
    }


def _corrected(session: Session, hashes: Sequence[str]) -> set[str]:
    """Those of the digests that are of holdings which were corrected since."""
    of_them = Composition.id.in_(_CORRECTED)
    return {
        found
        for some in chunks(hashes)
        for found in session.scalars(
            select(Composition.content_hash).where(of_them, Composition.content_hash.in_(some))
        )
    }


def refuse_circle_of_parts(recording: Recording) -> None:
    """Refuse a part that would be within itself at one instant."""
    rows = holdings(SessionReader(recording.session))
    try:
        refuse_part_within_itself([Holding(*row[1:5]) for row in rows])
    except PartWithinItself as circle:
        place = "" if recording.single else "/composition"
        recording.refuse(place, str(circle), "mend the holdings, or end one before the other")


def find(
    session: Session, filters: Record, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of holdings, in the order they were recorded."""
    statement = select(Composition)
    for name, column in (("assembly", Composition.assembly_id), ("part", Composition.part_id)):
        if name in filters:
            code = select(Item.id).where(Item.code == filters[name]).scalar_subquery()
            statement = statement.where(column == code)
    rows, key = page(session, statement, [Composition.id], after, limit)
    return answers(session, [row[0] for row in rows]), key


def shown_as(session: Session, holding: Record) -> Record:
    """Return the recorded holding that was sent as this record."""
    part = select(Item.id).where(Item.code == holding["part"]).scalar_subquery()
    sent = Composition.content_hash == digest(holding)
    found = (
        session.scalars(select(Composition).where(Composition.part_id == part, sent)).first()
        or session.scalars(select(Composition).where(Composition.id.in_(_CORRECTED), sent)).first()
        # What was corrected to what was sent now.
        or session.scalars(
            select(Composition)
            .join(Item, Item.id == Composition.assembly_id)
            .where(
                Composition.part_id == part,
                Item.code == holding["assembly"],
                Composition.held_from == holding["from_"],
            )
        ).one()
    )
    return answers(session, [found])[0]
