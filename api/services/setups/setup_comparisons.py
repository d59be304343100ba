"""Two set-ups compared on one instrument: worked out, kept with its readings, and found again.

Choice: request and answer are stored as they were, with the engine's version; a later recording of
the same comparison is another comparison. The type of the instrument is settled when it is
recorded, because effects are used by type.

Not checked: that the parts named were in the set-up at that time.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, NotFound, UnknownReference, pointer
from api.rules import ENGINE_VERSION
from api.rules.exact import FieldError
from api.rules.uncertainty.comparison import Readings, compare
from api.rules.uncertainty.setup_effect import setup_effect
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.base.texts import texted
from api.services.setups.comparison_answers import comparison_answer, numbered
from api.store.comparisons import ComparedItem, StoredComparison
from api.store.paging import KeyValues, page
from api.store.tables import Item
from api.store.versions import note_row
from graph.moments import moment, text_of

_SETUPS = ("usual", "other")
_U = ("usual_U", "other_U", "common_U")


@dataclass(frozen=True, slots=True)
class MeasuredEffect:
    """The latest significant effect of a set-up on a type of instrument, as a share of force.

    `effect_rel` and `U_delta_rel` (at `U_delta_k`; None where nothing tells it) are decimal text.
    """

    comparison: int
    instrument_type: str
    effect_rel: str
    U_delta_rel: str | None
    U_delta_k: str
    performed_at: str


def compare_unstored(session: Session, request: Record) -> Record:
    """Compare two set-ups, as loaded by the schema; `id` is None. Raises as `record` does."""
    instrument, _ = _named(session, request)
    return {"id": None, **_answer(request, instrument)}


def record(session: Session, request: Record, now_us: int) -> Record:
    """Compare two set-ups and store the comparison.

    Raises
    ------
    UnknownReference
        If an item that is named is not recorded.
    InvalidRecord
        If the type of the instrument is missing or contradicted, or a point cannot be compared.
    """
    instrument, roles = _named(session, request)
    answer = _answer(request, instrument)
    row = StoredComparison(
        recorded_us=now_us,
        engine_version=ENGINE_VERSION,
        instrument_type=instrument["type"],
        performed_us=moment(request["performed_at"], zone_of(session)).start_us,
        significant=answer["overall"]["significant"],
        request=texted({name: part for name, part in request.items() if name != "store"}),
        answer=answer,
    )
    session.add(row)
    session.flush()
    note_row(session, row, request["person"])
    links = [{"comparison_id": row.id, "item_id": key, "role": role} for key, role in roles]
    if links:
        session.execute(insert(ComparedItem), links)
    return {"id": row.id, **answer}


def get(session: Session, key: int) -> Record:
    """Return a stored comparison with its request; raise NotFound."""
    row = stored(session, key)
    return {
        "id": row.id,
        "recorded_at": text_of(row.recorded_us),
        **row.answer,
        "request": row.request,
    }


def stored(session: Session, key: int) -> StoredComparison:
    """Return the row of a comparison; raise NotFound."""
    row = session.get(StoredComparison, key)
    if row is None:
        raise NotFound(f"set-up comparison {key} is not recorded")
    return row


def find(
    session: Session, filters: Mapping[str, Any], after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of comparisons in short, the latest recorded first."""
    statement = select(StoredComparison)
    if "type" in filters:
        statement = statement.where(StoredComparison.instrument_type == filters["type"])
    if "item" in filters:
        named = select(ComparedItem.comparison_id).join(Item, Item.id == ComparedItem.item_id)
        named = named.where(Item.code == filters["item"])
        statement = statement.where(StoredComparison.id.in_(named))
    rows, key = page(session, statement, [StoredComparison.id], after, limit, descending=True)
    return [_entry(row[0]) for row in rows], key


def measured_effects(session: Session, instrument_type: str) -> dict[str, MeasuredEffect]:
    """Return what was measured on a type of instrument, by the one thing the set-ups differ in.

    The latest significant comparison of each counts; it outranks any table of likely effects. Where
    two set-ups differ in several things the effect cannot be laid to one of them.
    """
    statement = (
        select(StoredComparison.id, StoredComparison.answer)
        .where(StoredComparison.instrument_type == instrument_type)
        .where(StoredComparison.significant.is_(True))
        .order_by(StoredComparison.performed_us, StoredComparison.id)
    )
    found = {}
    for key, answer in session.execute(statement):
        if len(answer["differ_in"]) == 1:
            effect = answer["effect"]
            found[answer["differ_in"][0]] = MeasuredEffect(
                key,
                instrument_type,
                effect["effect_rel"],
                effect["U_delta_rel"],
                effect["U_delta_k"],
                answer["performed_at"],
            )
    return found


def _entry(row: StoredComparison) -> Record:
    answer = row.answer
    shown = {name: answer[name] for name in ("instrument", "differ_in", "performed_at", "sentence")}
    return {
        "id": row.id,
        "recorded_at": text_of(row.recorded_us),
        **shown,
        "effect_rel": answer["effect"]["effect_rel"],
        "U_delta_rel": answer["effect"]["U_delta_rel"],
        "significant": row.significant,
    }


def _answer(request: Record, instrument: Record) -> Record:
    points = [
        Readings(
            point["applied"],
            numbered(point["usual"]),
            numbered(point["other"]),
            k=request["k"],
            **{name: point[name] for name in _U if name in point},
        )
        for point in request["points"]
    ]
    resolution = request.get("resolution")
    try:
        found = compare(
            points,
            request["confidence"],
            pairing=request["pairing"],
            weighting=request["weighting"],
            resolution=resolution,
        )
        effect = setup_effect(points, found, resolution)
    except FieldError as wrong:
        issue = Issue(wrong.field, str(wrong), "mend the point, or leave it out")
        raise InvalidRecord("the set-ups cannot be compared", [issue]) from wrong
    return comparison_answer(request, instrument, found, effect)


def _named(session: Session, request: Record) -> tuple[Record, list[tuple[int, str]]]:
    """Return the instrument with its type, and the keys of all items named with their role."""
    asked = request["instrument"]
    places = [(asked["item"], "instrument", "/instrument/item")] if "item" in asked else []
    for setup in _SETUPS:
        for index, code in enumerate(request["setups"][setup].get("parts", ())):
            places.append((code, setup, pointer("setups", setup, "parts", index)))
    codes = {code for code, _, _ in places}
    items = {one.code: one for one in session.scalars(select(Item).where(Item.code.in_(codes)))}
    remedy = "record the item first, or mend the id"
    unknown = [
        Issue(place, f'item "{code}" is not recorded', remedy, code)
        for code, _, place in places
        if code not in items
    ]
    if unknown:
        raise UnknownReference("a comparison with items that are not recorded", unknown)
    roles = sorted({(items[code].id, role) for code, role, _ in places})
    return _instrument(asked, items.get(asked.get("item", ""))), roles


def _instrument(asked: Record, item: Item | None) -> Record:
    if item is None:
        return dict(asked)
    if item.type is None and "type" not in asked:
        remedy = "send the type beside the item, or record it with the item"
        issue = Issue("/instrument/type", "the item is recorded without a type", remedy, item.code)
        raise InvalidRecord("effects are used by type of instrument", [issue])
    if item.type is not None and asked.get("type", item.type) != item.type:
        detail = f'"{item.code}" is recorded as {item.type}'
        issue = Issue("/instrument/type", detail, "leave the type out, or mend it", asked["type"])
        raise InvalidRecord("the type contradicts the record", [issue])
    capacity = {} if item.capacity is None else {"capacity": item.capacity}
    return {**capacity, **asked, "type": asked.get("type", item.type)}
