"""Evidence for a stored recall: its affected part as a graph, and its paths in sentences.

What was found is read from the stored entries and the links beside them, so that it stays as it was
answered. The graph is held in memory:
above a number of certificates it is refused, and the stream of entries is the way to go.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import orjson
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.errors import InvalidRecord, Issue, NotFound
from api.services.base.record import Record
from api.services.evidence.leading import Leading
from api.services.recalls import recalls
from api.services.recalls.entries import is_given_back
from api.services.records import laboratory
from api.store.tables import Certificate, Recall, RecallEntry
from graph.affected import (
    REACHED,
    Part,
    affected_part,
    graphml,
    identity,
    node_link,
)
from graph.explanation import sentence
from graph.lists import NOT_EXCLUDED, TRACED
from graph.traces import Trace, traced

MOST_CERTIFICATES = 20_000


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
    columns = select(RecallEntry.certificate_id, RecallEntry.body, Certificate.performed_us)
    joined = columns.join(Certificate, Certificate.id == RecallEntry.certificate_id)
    for key, body, performed_us in session.execute(joined.where(*_of(recall.id))):
        entries[key] = orjson.loads(body) | {"performed_us": performed_us}
        entries[key].pop("points", None)  # most of the bytes, and no part of the graph
    leading = Leading(session, recall)
    leading.learn(entries)
    return affected_part(recall.faults, entries, leading.links)


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


def as_node_link(session: Session, recall: Recall) -> Record:
    """Return the affected part in the node-link form of JSON."""
    return node_link(affected_graph(session, recall))


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
        (key, entry)
        for key, entry in _entries(session, recall.id, number)
        if revision in (None, entry["revision"]) and issuer in (None, identity(entry).issuer)
    ]
    if not listed:
        raise NotFound(f"recall {recall.id} does not list this certificate")
    issuers = sorted({identity(entry).issuer for _, entry in listed})
    if len(issuers) > 1:
        named = ", ".join(one or "our own" for one in issuers)
        issue = Issue("", f"issued by several: {named}", "name the issuer", number)
        raise InvalidRecord("more than one certificate has this number", [issue])
    key, entry = max(listed, key=lambda one: (one[1]["class"] != TRACED, one[1]["revision"]))
    leading = Leading(session, recall)
    leading.learn([key])
    part = leading.part([key])
    shown = {
        name: entry[name]
        for name in ("certificate", "revision", "issuer", "item", "class", "generation", "detail")
        if name in entry
    }
    return shown | {
        "path_count": entry.get("path_count", 0),
        "paths": [
            {
                "path": path,
                "sentence": _sentence(entry, path, traced(part, key, path, recall.faults)),
            }
            for path in entry.get("reason_paths", ())
        ],
    }


def _sentence(entry: Record, path: Sequence[str], trace: Trace | None) -> str:
    """The path in words; of what cannot be excluded nobody knows that it holds."""
    if is_given_back(entry):
        return f"What a look before took on this way is given back: {' > '.join(path)}."
    if entry["class"] == NOT_EXCLUDED or trace is None:
        return f"It may rest on the fault: {' > '.join(path)}."
    return sentence(trace)


def _of(recall_id: int) -> tuple[Any, ...]:
    return RecallEntry.recall_id == recall_id, RecallEntry.list_name.in_(REACHED)


def _entries(session: Session, recall_id: int, number: str) -> Iterator[tuple[int, Record]]:
    """Yield key and entry of each certificate of a recall, of any list, under this number."""
    statement = (
        select(RecallEntry.certificate_id, RecallEntry.body)
        .join(Certificate, Certificate.id == RecallEntry.certificate_id)
        .where(RecallEntry.recall_id == recall_id, Certificate.number == number)
        .order_by(RecallEntry.list_name, RecallEntry.position)
    )
    for row in session.execute(statement):
        yield row.certificate_id, orjson.loads(row.body)
