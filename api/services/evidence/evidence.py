"""Evidence for a stored recall: its affected part as a graph, and its paths in sentences.

What was found is read from the stored entries, so that it stays as it was answered; role and weight
of each use, which entries do not carry, are read from the records. The graph is held in memory:
above a number of certificates it is refused, and the stream of entries is the way to go.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

import orjson
from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, NotFound
from api.services.base.record import Record
from api.services.recalls import recalls
from api.services.records import laboratory
from api.store import records
from api.store.chunks import chunks
from api.store.reading import SessionReader
from api.store.tables import Certificate, Recall, RecallEntry
from graph.affected import (
    REACHED,
    Identity,
    Part,
    Used,
    affected_part,
    graphml,
    identity,
    items_by_number,
    traced,
)
from graph.explanation import sentence
from graph.recall import NOT_EXCLUDED, TRACED

MOST_CERTIFICATES = 20_000
LOT = 1_000


def affected_graph(session: Session, recall: Recall) -> Part:
    """Return the graph of what a stored recall reached; see `graph.affected.affected_part`.

    Raises
    ------
    InvalidRecord
        If it holds more than `MOST_CERTIFICATES`.
    """
    reached = select(func.count()).where(*_of(recall.id))
    count = session.scalar(reached) or 0
    if count > MOST_CERTIFICATES:
        remedy = f"take /v1/recalls/{recall.id}/export.ndjson, which holds the paths of all"
        issue = Issue("", f"{count} certificates, more than {MOST_CERTIFICATES}", remedy)
        raise InvalidRecord("this recall is too large to be shown as one graph", [issue])
    entries: dict[int, Record] = {}
    for key, body in session.execute(
        select(RecallEntry.certificate_id, RecallEntry.body).where(*_of(recall.id))
    ):
        entries[key] = orjson.loads(body)
        entries[key].pop("points", None)  # most of the bytes, and no part of the graph
    return affected_part(recall.faults, entries.values(), _uses(session, entries))


def provenance(session: Session, recall: Recall) -> bytes:
    """Return the affected part as PROV-JSON."""
    from graph.provenance import RecallFacts, prov_json  # PROV is wanted rarely, and slow to import

    head = recalls.head_answer(recall)
    facts = RecallFacts(
        recall.number,
        head["created_at"],
        recall.result_hash,
        recall.engine_version,
        laboratory.answer(session)["name"],
    )
    return prov_json(affected_graph(session, recall), facts)


def as_graphml(session: Session, recall: Recall) -> bytes:
    """Return the affected part as GraphML."""
    return graphml(affected_graph(session, recall))


def explanation(
    session: Session, recall: Recall, number: str, issuer: str | None, revision: int | None
) -> Record:
    """Return why a certificate is listed: its reason paths, each with a sentence.

    Without revision it is the one that was recalled, else the highest one listed.

    Raises
    ------
    NotFound
        If the recall does not list the certificate.
    InvalidRecord
        If it lists certificates of several issuers under the number, and none is named.
    """
    listed = [
        entry
        for entry in _entries(session, recall.id, [number])
        if revision in (None, entry["revision"]) and issuer in (None, identity(entry).issuer)
    ]
    if not listed:
        raise NotFound(f"recall {recall.id} does not list this certificate")
    issuers = sorted({identity(entry).issuer for entry in listed})
    if len(issuers) > 1:
        named = ", ".join(one or "our own" for one in issuers)
        issue = Issue("", f"issued by several: {named}", "name the issuer", number)
        raise InvalidRecord("more than one certificate has this number", [issue])
    entry = max(listed, key=lambda one: (one["class"] != TRACED, one["revision"]))
    paths = entry.get("reason_paths", ())
    names = {name for path in paths for name in path}
    items_of = items_by_number(
        one for one in _entries(session, recall.id, sorted(names)) if "reason_paths" in one
    )
    shown = {
        name: entry[name]
        for name in ("certificate", "revision", "issuer", "item", "class", "generation", "detail")
        if name in entry
    }
    return shown | {
        "path_count": entry.get("path_count", 0),
        "paths": [
            {"path": path, "sentence": _sentence(entry, path, recall.faults, items_of)}
            for path in paths
        ],
    }


def _sentence(
    entry: Record,
    path: Sequence[str],
    faults: Sequence[Record],
    items_of: Mapping[str, Collection[str]],
) -> str:
    """The path in words; of what cannot be excluded nobody knows that it holds."""
    if entry["class"] == NOT_EXCLUDED:
        return f"It may rest on the fault: {' > '.join(path)}."
    return sentence(traced(path, faults, items_of))


def _of(recall_id: int) -> tuple[Any, ...]:
    return RecallEntry.recall_id == recall_id, RecallEntry.list_name.in_(REACHED)


def _entries(session: Session, recall_id: int, numbers: Sequence[str]) -> Iterator[Record]:
    """Yield the entries of a recall, of any list, under these numbers."""
    for some in chunks(numbers, LOT):
        statement: Select[str] = (
            select(RecallEntry.body)
            .join(Certificate, Certificate.id == RecallEntry.certificate_id)
            .where(RecallEntry.recall_id == recall_id, Certificate.number.in_(some))
            .order_by(RecallEntry.list_name, RecallEntry.position)
        )
        yield from map(orjson.loads, session.scalars(statement))


def _uses(session: Session, entries: Mapping[int, Record]) -> dict[Identity, list[Used]]:
    """Role and weight of every recorded use of these certificates."""
    reader = SessionReader(session)
    rows = list(records.uses(reader, entries))
    items = records.item_codes(reader, {row.item_id for row in rows})
    found: dict[Identity, list[Used]] = {}
    for row in rows:
        used = Used(items[row.item_id], row.role, _weight(row.weight))
        found.setdefault(identity(entries[row.certificate_id]), []).append(used)
    return found


def _weight(text: str | None) -> str | None:
    """The weight as it was recorded; one for each point stays JSON."""
    weight = None if text is None else orjson.loads(text)
    return weight if isinstance(weight, str) else text
