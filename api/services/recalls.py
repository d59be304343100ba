"""A fault is reported; the recall comes back, is stored as a snapshot, and never changes.

Order of steps: the direct users of the faulty item, the window narrowed by its checks, everything
that could rest on a suspect use, the engine, the verdicts. The hash of the result covers what was
found and not when or under which number, so that the same question on the same data gives the same
bytes.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import orjson
from sqlalchemy import func, insert, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, NotFound
from api.rules import ENGINE_VERSION
from api.services import tracing
from api.services.entries import entry
from api.services.faults import (
    Reported,
    narrowed,
    recalibration_notes,
    report,
    window_answer,
)
from api.services.recording import Record, digest, zone_of
from api.store import links
from api.store.chunks import chunks
from api.store.paging import KeyValues, page
from api.store.tables import Recall, RecallEntry
from graph.moments import instant_us, text_of
from graph.recall import AFFECTED, INDETERMINATE, LISTS, Case, Finding, assess
from graph.suspects import expose

# Above this many entries an answer carries the summary and links instead of the lists.
ENTRIES_AT_ONCE = 5_000
LOT = 2_000


@dataclass(frozen=True, slots=True)
class Answer:
    """A recall as found, without number and time. Lists hold (certificate key, entry)."""

    head: Record
    lists: dict[str, list[tuple[int, Record]]]
    input_hash: str
    result_hash: str
    as_of_us: int
    faults: list[Record]


def recall(session: Session, request: Record, now_us: int) -> Answer:
    """Find what the reported faults reach; nothing is stored.

    Raises
    ------
    UnknownReference
        If a faulty item is not recorded.
    InvalidRecord
        If a fault contradicts itself.
    """
    zone = zone_of(session)
    as_of_us = now_us
    if "as_of" in request:
        as_of_us = instant_us(request["as_of"], zone, end=True)
        if as_of_us > now_us:
            issue = Issue("/as_of", "lies in the future", "leave it out for now", request["as_of"])
            raise InvalidRecord("a recall cannot look ahead", [issue])
    faults = request.get("faults") or [request["fault"]]
    places = (
        [f"/faults/{place}" for place in range(len(faults))] if "faults" in request else ["/fault"]
    )
    reported = [
        report(session, fault, zone, as_of_us, place)
        for fault, place in zip(faults, places, strict=True)
    ]
    cases, windows, notes, traced = _trace(session, reported)
    findings = assess(cases, traced.calibrations)
    lists: dict[str, list[tuple[int, Record]]] = {name: [] for name in LISTS}
    for finding in findings:
        made = entry(finding, cases, traced)
        lists[finding.list_name].append((finding.calibration.key, made))
    head = {
        "engine_version": ENGINE_VERSION,
        **_windows(windows),
        "notes": notes,
        "summary": _summary(findings, lists),
    }
    result = hashlib.sha256(orjson.dumps(head))
    for name in LISTS:
        for _, made in lists[name]:
            result.update(orjson.dumps(made))
    return Answer(head, lists, _input_hash(faults, traced), result.hexdigest(), as_of_us, faults)


def store(session: Session, answer: Answer, previous: int | None, now_us: int) -> Record:
    """Store an answer under a new number; return its head as the API shows it."""
    if previous is not None and session.get(Recall, previous) is None:
        issue = Issue(
            "/previous", f"recall {previous} does not exist", "name its id", str(previous)
        )
        raise InvalidRecord("the recall named as the previous one does not exist", [issue])
    count = session.scalar(select(func.count()).select_from(Recall)) or 0
    stored = Recall(
        number=f"R-{count + 1:05d}",
        created_us=now_us,
        as_of_us=answer.as_of_us,
        engine_version=ENGINE_VERSION,
        input_hash=answer.input_hash,
        result_hash=answer.result_hash,
        previous_id=previous,
        faults=_jsonable(answer.faults),
        head=orjson.dumps(answer.head).decode(),
    )
    session.add(stored)
    session.flush()
    rows = [
        {
            "recall_id": stored.id,
            "list_name": name,
            "position": position,
            "certificate_id": certificate,
            "verdict_changes": made.get("verdict_changes"),
            "body": orjson.dumps(made).decode(),
        }
        for name in LISTS
        for position, (certificate, made) in enumerate(answer.lists[name])
    ]
    for lot in chunks(rows, LOT):
        session.execute(insert(RecallEntry), list(lot))
    return head_answer(stored)


def get(session: Session, key: int) -> Recall:
    """Return the stored recall with this id."""
    stored = session.get(Recall, key)
    if stored is None:
        raise NotFound(f"recall {key} does not exist")
    return stored


def head_answer(stored: Recall) -> Record:
    """Return a stored recall without its lists."""
    return {
        "id": stored.id,
        "number": stored.number,
        "created_at": text_of(stored.created_us),
        "as_of": text_of(stored.as_of_us),
        "previous": stored.previous_id,
        "input_hash": stored.input_hash,
        "result_hash": stored.result_hash,
        "faults": stored.faults,
        **orjson.loads(stored.head),
    }


def preview_answer(answer: Answer) -> Record:
    """Return an answer that was not stored, without its lists."""
    return {
        "as_of": text_of(answer.as_of_us),
        "input_hash": answer.input_hash,
        "result_hash": answer.result_hash,
        "faults": _jsonable(answer.faults),
        **answer.head,
    }


def entries(
    session: Session, key: int, name: str, after: int = -1, limit: int | None = None
) -> Sequence[tuple[int, str]]:
    """Return (position, JSON text) of one list of a stored recall, after a position."""
    statement = (
        select(RecallEntry.position, RecallEntry.body)
        .where(
            RecallEntry.recall_id == key,
            RecallEntry.list_name == name,
            RecallEntry.position > after,
        )
        .order_by(RecallEntry.position)
        .limit(limit)
    )
    return [(position, body) for position, body in session.execute(statement)]


def _trace(
    session: Session, reported: Sequence[Reported]
) -> tuple[list[Case], list[Record], list[str], tracing.Traced]:
    direct_keys = links.users_of_items(session, {key for one in reported for key in one.item_keys})
    direct = tracing.load(session, direct_keys)
    cases: list[Case] = []
    windows: list[Record] = []
    notes: list[str] = []
    suspects: set[int] = set()
    for one in reported:
        case, considered = narrowed(session, one, direct.calibrations.values())
        cases.append(case)
        windows.append(window_answer(one, case, considered))
        notes.extend(recalibration_notes(session, one, case))
        suspects.update(
            key
            for key, calibration in direct.calibrations.items()
            if expose(calibration, case.fault, case.window, case.holders).uses
        )
    further = tracing.load(session, links.everything_downward(session, suspects) - direct_keys)
    return cases, windows, notes, _joined(direct, further)


def _joined(direct: tracing.Traced, further: tracing.Traced) -> tracing.Traced:
    return tracing.Traced(
        direct.calibrations | further.calibrations,
        direct.statements | further.statements,
        direct.rows | further.rows,
    )


def _windows(windows: list[Record]) -> Record:
    return {"window": windows[0]} if len(windows) == 1 else {"windows": windows}


def _summary(findings: Iterable[Finding], lists: dict[str, list[tuple[int, Record]]]) -> Record:
    recalled = [made for name in (AFFECTED, INDETERMINATE) for _, made in lists[name]]
    generations = Counter(
        finding.why.generation
        for finding in findings
        if finding.why is not None and finding.list_name in (AFFECTED, INDETERMINATE)
    )
    return {
        **{name: len(lists[name]) for name in LISTS},
        "verdict_changes": sum(1 for made in recalled if made.get("verdict_changes")),
        "could_change": sum(1 for made in recalled if made.get("could_change")),
        "customers": len({made["customer"] for made in recalled if "customer" in made}),
        "by_generation": {str(number): generations[number] for number in sorted(generations)},
    }


def _input_hash(faults: list[Record], traced: tracing.Traced) -> str:
    """Digest of what was asked and of every record that the answer rests on."""
    found = hashlib.sha256()
    for fault in faults:
        found.update(digest(fault).encode())
    names = {key: _name(row) for key, row in traced.rows.items()}
    for key in sorted(names, key=lambda key: names[key]):
        row, calibration = traced.rows[key], traced.calibrations[key]
        sources = [names.get(use.source or 0, "") for use in calibration.uses]
        found.update(orjson.dumps([names[key], row.status, row.content_hash, sources]))
    return found.hexdigest()


def _name(row: Any) -> str:
    return f"{row.issuer}\n{row.number}\n{row.revision}"


def _jsonable(faults: list[Record]) -> list[Record]:
    shown: list[Record] = orjson.loads(
        orjson.dumps(faults, default=lambda value: format(value, "f"))
    )
    return shown


def texts(answer: Answer) -> dict[str, list[str]]:
    """Return the entries of an answer as the JSON text that is stored and sent."""
    return {name: [orjson.dumps(made).decode() for _, made in answer.lists[name]] for name in LISTS}


def fits_at_once(summary: Record) -> bool:
    """Whether an answer carries its lists, or links to them."""
    return sum(int(summary[name]) for name in LISTS) <= ENTRIES_AT_ONCE


def find(
    session: Session, after: Sequence[Any] | None, limit: int
) -> tuple[list[Record], KeyValues | None]:
    """Return a page of recalls, newest first, without their lists."""
    rows, key = page(session, select(Recall), [Recall.id], after, limit, descending=True)
    return [head_answer(row[0]) for row in rows], key


def entry_page(
    session: Session, key: int, name: str, after: int, limit: int
) -> tuple[list[str], KeyValues | None]:
    """Return a page of one list of a recall, and the position to go on behind."""
    found = entries(session, key, name, after, limit + 1)
    more = len(found) > limit
    shown = found[:limit]
    return [body for _, body in shown], (shown[-1][0],) if more else None
