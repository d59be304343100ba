"""Raw runs come in; spread, fit, uncertainty and class at each force go out, stored by default.

Choice: the request is stored as it was understood, with the version of each class table, so that
the evaluation can be made again. Class tables judge and nothing more: no class is stated where a
criterion could not be judged, and a table from memory says so in its report.

Runs may name the check of the set-up that they were made in; their item is then that of the check,
and U of their reference that of the references in it.

Not checked: that the item is what was on the machine, or who performed the runs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, NotFound, UnknownReference, pointer
from api.rules import ENGINE_VERSION
from api.rules.exact import FieldError
from api.rules.uncertainty.classes import ClassTable
from api.rules.uncertainty.run_components import Reference, Temperature
from api.rules.uncertainty.runs import Runs, Series, evaluate_runs
from api.services.base.record import Record
from api.services.base.texts import texted
from api.services.uncertainty import class_tables
from api.services.uncertainty.run_answers import Asked, report
from api.services.uncertainty.run_references import with_reference
from api.services.uncertainty.set_up_links import of_its_set_up
from api.store.evaluations import RunEvaluation
from api.store.paging import KeyValues, page
from api.store.reading import SessionReader
from api.store.records import item_codes
from api.store.tables import Item
from api.store.versions import note_row
from graph.moments import text_of

_REMEDY = "mend the series; one for each rotation, its repetitions under repeated"
_SAID = ("item", "set_up_check", "mode", "performed_at")


def evaluate_unstored(session: Session, request: Mapping[str, Any]) -> Record:
    """Evaluate runs, as loaded by their schema; the answer's `id` is None.

    Raises UnknownReference for an item, set-up check or class table that is not recorded,
    InvalidRecord for series that contradict each other, or the check of another item's set-up.
    """
    request = with_reference(session, of_its_set_up(session, request))
    _item(session, request)
    return {"id": None, **_answer(session, request)}


def evaluate_stored(session: Session, request: Mapping[str, Any], now_us: int) -> Record:
    """Evaluate runs and store them, in a write transaction; raises as `evaluate_unstored` does."""
    request = with_reference(session, of_its_set_up(session, request))
    item = _item(session, request)
    answer = _answer(session, request)
    kept = texted({name: part for name, part in request.items() if name != "store"})
    for named, found in zip(kept.get("class_tables", ()), answer["class_reports"], strict=True):
        named["version"] = found["table"]["version"]
    row = RunEvaluation(
        item_id=item,
        engine_version=ENGINE_VERSION,
        request=kept,
        answer=answer,
        recorded_us=now_us,
    )
    session.add(row)
    session.flush()
    note_row(session, row)
    return {"id": row.id, **answer}


def get_evaluation(session: Session, key: int) -> Record:
    """Return a stored evaluation with its request; raise NotFound."""
    row = session.get(RunEvaluation, key)
    if row is None:
        raise NotFound(f"run evaluation {key} is not recorded")
    return {
        "id": row.id,
        **row.answer,
        "recorded_at": text_of(row.recorded_us),
        "engine_version": row.engine_version,
        "request": row.request,
    }


def list_evaluations(
    session: Session, item: str | None, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return stored evaluations in short, the latest first, and the key to continue behind."""
    statement = select(RunEvaluation)
    if item is not None:
        wanted = select(Item.id).where(Item.code == item).scalar_subquery()
        statement = statement.where(RunEvaluation.item_id == wanted)
    rows, key = page(session, statement, [RunEvaluation.id], after, limit, descending=True)
    found = [row[0] for row in rows]
    codes = item_codes(
        SessionReader(session), {one.item_id for one in found if one.item_id is not None}
    )
    entries = [
        {
            "id": one.id,
            "recorded_at": text_of(one.recorded_us),
            **({} if one.item_id is None else {"item": codes[one.item_id]}),
            "force_unit": one.answer["force_unit"],
            "points": len(one.answer["points"]),
        }
        for one in found
    ]
    return entries, key


def _answer(session: Session, request: Mapping[str, Any]) -> Record:
    tables = resolved_tables(session, request)
    try:
        figures = evaluate_runs(_runs(request))
        reference, temperature = request.get("reference"), request.get("temperature")
        asked = Asked(
            request["force_unit"],
            request["indication_unit"],
            request["degree"],
            len(request["series"]),
            len({one["rotation_deg"] for one in request["series"]}),
            request.get("resolution"),
            None
            if reference is None
            else Reference(reference["U_rel_pct"], reference.get("k", Decimal(2))),
            None if temperature is None else Temperature(**temperature),
            tables,
        )
        answer = report(figures, asked)
    except FieldError as error:
        detail = str(error)
        raise InvalidRecord(detail, [Issue(error.field, detail, _REMEDY)]) from None
    said = {name: request[name] for name in _SAID if name in request}
    if "of" in request.get("reference", ()):
        said["reference"] = texted(request["reference"])
    return {**said, **answer}


def resolved_tables(
    session: Session, request: Mapping[str, Any]
) -> list[tuple[ClassTable, Mapping[str, Any]]]:
    """Return the class tables that a request names, each with what it says of it.

    Raises UnknownReference for one that is not recorded, InvalidRecord for a case it has not.
    """
    found = []
    for index, named in enumerate(request.get("class_tables", ())):
        place = pointer("class_tables", index)
        table = class_tables.resolve_table(session, named["id"], named.get("version"), place)
        case = named.get("case")
        if case is not None and case not in table.cases:
            detail = f'class table "{table.id}" has no case {case}'
            known = ", ".join(table.cases)
            remedy = f"known cases: {known}" if known else "leave it out; the table has no cases"
            raise InvalidRecord(detail, [Issue(f"{place}/case", detail, remedy, case)])
        found.append((table, named))
    return found


def _runs(request: Mapping[str, Any]) -> Runs:
    creep = request.get("creep")
    return Runs(
        series=_series(request, "series"),
        repeated=_series(request, "repeated"),
        resolution=request.get("resolution"),
        creep=None if creep is None else (creep["at_30_s"], creep["at_300_s"]),
        degree=request["degree"],
        constant=request["constant_term"],
    )


def _series(request: Mapping[str, Any], name: str) -> list[Series]:
    return [
        Series(
            one["rotation_deg"],
            _readings(pointer(name, index, "ascending"), one["ascending"]),
            one["zero_before"],
            _readings(pointer(name, index, "descending"), one["descending"])
            if "descending" in one
            else None,
            one.get("zero_after"),
        )
        for index, one in enumerate(request.get(name, ()))
    ]


def _readings(place: str, sent: Sequence[Mapping[str, Decimal]]) -> dict[Decimal, Decimal]:
    found: dict[Decimal, Decimal] = {}
    for index, one in enumerate(sent):
        if one["applied"] in found:
            raise FieldError(f"{place}/{index}/applied", "this force stands twice in the series")
        found[one["applied"]] = one["indicated"]
    return found


def _item(session: Session, request: Mapping[str, Any]) -> int | None:
    if "item" not in request:
        return None
    code = request["item"]
    key: int | None = session.scalar(select(Item.id).where(Item.code == code))
    if key is None:
        detail = f'item "{code}" is not recorded'
        issue = Issue("/item", detail, "record the item first, mend the id, or leave it out", code)
        raise UnknownReference(detail, [issue])
    return key
