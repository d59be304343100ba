"""The list of a recall as rows: one for each point, with path, shift, verdicts and disposition.

Read in lots from the stored snapshot, so that a large recall never stands in memory. What was
stated before (error, U, applied force) comes from the certificate; the rest from the entry as it
was answered. A bounded number is a text of both bounds.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.base.sheets import Cell
from api.services.casework.dispositions import current, said
from api.services.casework.outstanding import lacking, outstanding
from api.services.evidence.leading import Leading
from api.store.casework import Disposition
from api.store.tables import Recall, RecallEntry, Result
from graph.links import CERTIFICATE
from graph.lists import NOT_EXCLUDED
from graph.moments import text_of
from graph.traceability import Graph
from graph.traces import Trace, traced

COLUMNS = (
    "class",
    "certificate",
    "revision",
    "issuer",
    "item",
    "customer",
    "generation",
    "path",
    "path_count",
    "point",
    "stage",
    "applied",
    "applied_unit",
    "unit",
    "error",
    "shift",
    "corrected_error",
    "U",
    "U_after",
    "verdict_before",
    "verdict_after",
    "verdicts_possible",
    "changed",
    "reason",
    "disposition",
    "disposition_by",
    "justification",
    "disposition_at",
    "still_lacks",
)
LOT = 1_000


def rows(session: Session, recall_id: int, lists: Sequence[str]) -> Iterator[list[Cell]]:
    """Yield the rows of these lists, in their order; a certificate without points has one row."""
    recall = session.get_one(Recall, recall_id)
    leading = Leading(session, recall)
    for lot in _lots(session, recall_id, lists):
        keys = [one.certificate_id for one in lot]
        decided = current(session, recall_id, keys)
        lacks = lacking(session, recall_id, keys)
        stated = _results(session, keys)
        leading.learn(keys)
        part = leading.part(keys)
        for one in lot:
            entry = orjson.loads(one.body)
            front = _front(entry, _path(part, one.certificate_id, entry, recall.faults))
            made = decided.get(one.certificate_id)
            back = [*_back(entry, made), lacks.get(one.certificate_id)]
            results = stated.get(one.certificate_id, [])
            points = entry.get("points", ())
            if len(points) != len(results) and points:
                raise ValueError(f"results of {entry['certificate']} do not fit its entry")
            for point, result in zip(points, results, strict=False):
                yield [*front, *_point(point, result), *_with_branch(back, point)]
            if not points:
                yield [*front, *[None] * (len(COLUMNS) - len(front) - len(back)), *back]
        leading.forget(keys)


def lines(session: Session, recall: Recall, lists: Sequence[str]) -> Iterator[bytes]:
    """Yield the entries as JSON lines with their dispositions, and last a line with the summary.

    That says what was decided and is still to be done, too.
    """
    count = 0
    for lot in _lots(session, recall.id, lists):
        keys = [one.certificate_id for one in lot]
        decided = current(session, recall.id, keys)
        lacks = lacking(session, recall.id, keys)
        for one in lot:
            made = decided.get(one.certificate_id)
            more = b"null"
            if made is not None:
                left = lacks.get(one.certificate_id)
                more = orjson.dumps(said(made) | ({"still_lacks": left} if left else {}))
            yield b'%b,"disposition":%b}\n' % (one.body[:-1].encode(), more)
            count += 1
    last = {
        "summary": orjson.loads(recall.head)["summary"],
        "recall": recall.id,
        "number": recall.number,
        "result_hash": recall.result_hash,
        "outstanding": outstanding(session, recall.id),
        "lists": list(lists),
        "entries": count,
    }
    yield orjson.dumps(last) + b"\n"


def path_in_words(trace: Trace, *, may: bool = False) -> str:
    """Return a reason path as a sentence, from the fault onwards.

    `may` is of one that the records leave open: its last certificate may rest on it.

    >>> fault = {"item": "REF-100", "kind": "unknown"}
    >>> steps = (("W-202", "WS-20"), ("D-303", None))
    >>> path_in_words(Trace("item", "REF-100", fault, (), None, steps, ((), ())))
    'REF-100 was used for W-202, which calibrated WS-20, which was used for D-303'
    >>> path_in_words(Trace("item", "PIN-7A", fault, ("ADP-7",), None, (("F-601", None),), ((),)))
    'PIN-7A in ADP-7 was used for F-601'
    >>> steps = (("X-1", None),)
    >>> path_in_words(Trace("channel", "IND-1:A", fault, (), "readout_dut", steps, ((),)))
    'IND-1:A as readout_dut was used for X-1'
    >>> path_in_words(Trace("item", "PIN-7A", fault, ("ADP-7",), None, steps, ((),)), may=True)
    'PIN-7A in ADP-7 may have been used for X-1'
    """
    told = trace.start
    if trace.concerns == CERTIFICATE:
        item, *above = trace.through
        told += f", which calibrated {_in(item, above)}, which"
    elif trace.role is not None:
        told += f" as {trace.role}"
    else:
        told = _in(told, trace.through)
    for (number, used), within in zip(trace.steps, trace.within, strict=True):
        last = number == trace.steps[-1][0]
        told += f" {'may have been' if may and last else 'was'} used for {number}"
        if used is not None:
            told += f", which calibrated {_in(used, within)}, which"
    return told


def _in(item: str, above: Sequence[str]) -> str:
    return " in ".join((item, *above))


def _path(part: Graph, key: int, entry: Record, faults: Sequence[Mapping[str, Any]]) -> str | None:
    """The first path of an entry in words, or as it is where a certificate of it is not listed."""
    paths = entry.get("reason_paths")
    if not paths:
        return None
    trace = traced(part, key, paths[0], faults)
    if trace is None:
        return " > ".join(paths[0])
    return path_in_words(trace, may=entry["class"] == NOT_EXCLUDED)


def _lots(
    session: Session, recall_id: int, lists: Sequence[str]
) -> Iterator[Sequence[RecallEntry]]:
    for name in lists:
        after = -1
        while True:
            statement = (
                select(RecallEntry)
                .where(
                    RecallEntry.recall_id == recall_id,
                    RecallEntry.list_name == name,
                    RecallEntry.position > after,
                )
                .order_by(RecallEntry.position)
                .limit(LOT)
            )
            lot = session.scalars(statement).all()
            if not lot:
                break
            yield lot
            after = lot[-1].position
            session.expunge_all()


def _results(session: Session, keys: Sequence[int]) -> Mapping[int, list[Result]]:
    found: dict[int, list[Result]] = {}
    statement = select(Result).where(Result.certificate_id.in_(keys))
    for one in session.scalars(statement.order_by(Result.certificate_id, Result.position)):
        found.setdefault(one.certificate_id, []).append(one)
    return found


def _front(entry: Record, path: str | None) -> list[Cell]:
    return [
        entry["class"],
        entry["certificate"],
        entry["revision"],
        entry.get("issuer"),
        entry["item"],
        entry.get("customer"),
        entry.get("generation"),
        path,
        entry.get("path_count"),
    ]


def _point(point: Record, result: Result) -> list[Cell]:
    relative = point["unit"] == "%"
    error, U = (result.error_rel_pct, result.U_rel_pct) if relative else (result.error, result.U)
    if error is None and result.indicated is not None and result.applied is not None:
        error = result.indicated - result.applied
    possible = point.get("verdicts_possible")
    return [
        point["point"],
        point["stage"],
        result.applied,
        result.unit,
        point["unit"],
        error,
        _number(point["shift"]),
        _number(point["corrected_error"]),
        U,
        _number(point.get("U_after")),
        point["verdict_before"],
        point["verdict_after"],
        " or ".join(possible) if possible else None,
        point["changed"],
    ]


def _with_branch(back: list[Cell], point: Record) -> list[Cell]:
    """Add to the reasons which ratio made the rule decide by another branch, or state nothing."""
    branch = point.get("branch_after")
    if branch is None or not point["changed"]:
        return back
    reason, *others = back
    return [f"{reason}; {branch['reason']}" if reason else branch["reason"], *others]


def _number(value: Any) -> Cell:
    if isinstance(value, dict):
        return f"[{value['lower']}, {value['upper']}]"
    return None if value is None else Decimal(value)


def _back(entry: Record, made: Disposition | None) -> list[Cell]:
    decided: list[Cell] = [None] * 4
    if made is not None:
        decided = [made.action, made.person, made.justification, text_of(made.at_us)]
    told = [entry[name] for name in ("detail", "contradicted_before") if entry.get(name)]
    return ["; ".join(told) or None, *decided]
