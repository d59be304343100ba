"""The list of a recall as rows: one for each point, with path, shift, verdicts and disposition.

Read in lots from the stored snapshot, so that a large recall never stands in memory. What was
stated before (error, U, applied force) comes from the certificate; the rest from the entry as it
was answered. A bounded number is a text of both bounds.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

import orjson
from sqlalchemy import select
from sqlalchemy.orm import Session

from api.services.base.record import Record
from api.services.base.sheets import Cell
from api.services.casework.dispositions import current, said
from api.store.casework import Disposition
from api.store.tables import Composition, Item, Recall, RecallEntry, Result

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
)
LOT = 1_000


def rows(session: Session, recall_id: int, lists: Sequence[str]) -> Iterator[list[Cell]]:
    """Yield the rows of these lists, in their order; a certificate without points has one row."""
    assemblies = set(
        session.scalars(
            select(Item.code)
            .join(Composition, Composition.assembly_id == Item.id)
            .where(Composition.withdrawn.is_(False))
        )
    )
    faults = session.get_one(Recall, recall_id).faults
    wrong = {fault["certificate"] for fault in faults if "certificate" in fault}
    for lot in _lots(session, recall_id, lists):
        keys = [one.certificate_id for one in lot]
        decided = current(session, recall_id, keys)
        stated = _results(session, keys)
        for one in lot:
            entry = orjson.loads(one.body)
            front = _front(entry, assemblies, wrong)
            back = _back(entry, decided.get(one.certificate_id))
            results = stated.get(one.certificate_id, [])
            points = entry.get("points", ())
            if len(points) != len(results) and points:
                raise ValueError(f"results of {entry['certificate']} do not fit its entry")
            for point, result in zip(points, results, strict=False):
                yield [*front, *_point(point, result), *back]
            if not points:
                yield [*front, *[None] * (len(COLUMNS) - len(front) - len(back)), *back]


def lines(session: Session, recall: Recall, lists: Sequence[str]) -> Iterator[bytes]:
    """Yield the entries as JSON lines with their dispositions, and last a line with the summary."""
    count = 0
    for lot in _lots(session, recall.id, lists):
        decided = current(session, recall.id, [one.certificate_id for one in lot])
        for one in lot:
            made = decided.get(one.certificate_id)
            more = b"null" if made is None else orjson.dumps(said(made))
            yield b'%b,"disposition":%b}\n' % (one.body[:-1].encode(), more)
            count += 1
    last = {
        "summary": orjson.loads(recall.head)["summary"],
        "recall": recall.id,
        "number": recall.number,
        "result_hash": recall.result_hash,
        "lists": list(lists),
        "entries": count,
    }
    yield orjson.dumps(last) + b"\n"


def path_in_words(
    path: Sequence[str], assemblies: Collection[str], certificates: Collection[str] = ()
) -> str:
    """Return a reason path as a sentence.

    `certificates` are the numbers of faulty certificates; any other path begins with an item.

    >>> path_in_words(["REF-100", "W-202", "WS-20", "D-303"], set())
    'REF-100 was used for W-202, which calibrated WS-20, which was used for D-303'
    >>> path_in_words(["PIN-7A", "ADP-7", "F-601"], {"ADP-7"})
    'PIN-7A in ADP-7 was used for F-601'
    >>> path_in_words(["IND-1:A", "readout_dut", "X-1"], set())
    'IND-1:A as readout_dut was used for X-1'
    >>> path_in_words(["W-202", "WS-20", "D-303"], set(), {"W-202"})
    'W-202, which calibrated WS-20, which was used for D-303'
    >>> path_in_words(["REF-9", "W-1", "CELL-2", "RIG-A", "K-7"], {"RIG-A"})
    'REF-9 was used for W-1, which calibrated CELL-2 in RIG-A, which was used for K-7'
    """
    told, *rest = path
    if told not in certificates:
        if ":" in told and len(rest) > 1 and rest[0] not in assemblies:  # a channel, then its role
            told += f" as {rest.pop(0)}"
        told += _held_in(rest, assemblies) + f" was used for {rest.pop(0)}"
    while rest:
        told += f", which calibrated {rest.pop(0)}"
        told += _held_in(rest, assemblies) + f", which was used for {rest.pop(0)}"
    return told


def _held_in(rest: list[str], assemblies: Collection[str]) -> str:
    """Take the assemblies off the front of a path; its last name is always a certificate."""
    told = ""
    while len(rest) > 1 and rest[0] in assemblies:
        told += f" in {rest.pop(0)}"
    return told


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


def _front(entry: Record, assemblies: set[str], wrong: set[str]) -> list[Cell]:
    paths = entry.get("reason_paths")
    return [
        entry["class"],
        entry["certificate"],
        entry["revision"],
        entry.get("issuer"),
        entry["item"],
        entry.get("customer"),
        entry.get("generation"),
        path_in_words(paths[0], assemblies, wrong) if paths else None,
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


def _number(value: Any) -> Cell:
    if isinstance(value, dict):
        return f"[{value['lower']}, {value['upper']}]"
    return None if value is None else Decimal(value)


def _back(entry: Record, made: Disposition | None) -> list[Cell]:
    decided: list[Cell] = [made.action, made.person, made.justification] if made else [None] * 3
    return [entry.get("detail"), *decided]
