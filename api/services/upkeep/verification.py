"""Is the store whole? Every invariant that a crash, a bad disk or a hand could have broken.

Choice: each check says what it looked at and how much of it, so that a report without findings
still tells what was done. Records that the journal speaks of are held against the hashes that it
gave them when they were made: an edited recall, notice, decision or rule is found, and one without
its line too.

Not checked: what an edit of both the record and the whole journal would hide; keep an export, or
the journal's head, elsewhere.
"""

from __future__ import annotations

import hashlib
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import groupby, islice
from typing import Any

import orjson
from sqlalchemy import Row, func, select, text
from sqlalchemy.orm import Session

from api.services.alerts import standing
from api.services.certificates import curves
from api.services.certificates.circles import circle_through_parts
from api.services.certificates.results import calibrated_span
from api.services.decisions.decisions import sha256_of
from api.services.recalls.differences import hash_of
from api.services.upkeep import journal, recall_checks, recall_links
from api.store.alerts import Alert
from api.store.casework import Notice
from api.store.comparisons import StoredComparison
from api.store.evaluations import RunEvaluation
from api.store.fitting import LoadEvent, SetupCheck
from api.store.in_force import unresolved
from api.store.serving import astray
from api.store.tables import Certificate, Composition, Recall, RecallEntry, Result, StoredDecision
from api.store.types import json_text
from api.store.uncertainty import UncertaintyBudget
from api.store.versions import VERSIONS, content_hash, content_of, words_of
from graph.lists import LISTS

LOT = 1_000
# Worked out anew unless another number is asked for.
MOST_RECALLS = 25


@dataclass(frozen=True, slots=True)
class Breach:
    """One thing that is not as it must be: which check, of what, and what is wrong."""

    check: str
    subject: str
    detail: str


@dataclass(slots=True)
class Report:
    """What was looked at, and what was found."""

    looked_at: dict[str, int] = field(default_factory=dict)
    findings: list[Breach] = field(default_factory=list)

    def add(self, check: str, looked_at: int, found: Iterable[tuple[str, str]] = ()) -> None:
        """Note one check with what it found: (subject, detail)."""
        self.looked_at[check] = self.looked_at.get(check, 0) + looked_at
        self.findings.extend(Breach(check, *one) for one in found)


def verify(session: Session, recalls: int = MOST_RECALLS) -> Report:
    """Check the whole store on one snapshot.

    Of the recalls that wait for nothing, so many are worked out anew, the newest first; that takes
    as long as they took.
    """
    report = Report()
    _engine(session, report)
    _in_force(session, report)
    _one_issued(session, report)
    _no_circle(session, report)
    _recalls(session, report)
    _standing(session, report, recalls)
    _notices(session, report)
    report.add("alerts", _count(session, Alert), standing.astray(session))
    _journal(session, report)
    return report


def _engine(session: Session, report: Report) -> None:
    """What the database itself can say of its pages and keys; PostgreSQL checks keys always."""
    if session.get_bind().dialect.name != "sqlite":
        return
    said = [str(row[0]) for row in session.execute(text("PRAGMA integrity_check"))]
    report.add("pages", 1, [("database", line) for line in said if line != "ok"])
    dangling = session.execute(text("PRAGMA foreign_key_check")).all()
    report.add("keys", 1, [(row[0], f"row {row[1]} points at no {row[2]}") for row in dangling])


def _in_force(session: Session, report: Report) -> None:
    wrong = [
        (f"{row.number} rev. {row.revision}", f"use {row.position} took its value from elsewhere")
        for row in unresolved(session)
    ]
    wrong += [
        (f"{number} rev. {revision}", "when it serves is not what its revisions give")
        for number, revision in astray(session)
    ]
    report.add("what was in force", _count(session, Certificate), wrong)
    report.add("calibrated ranges", _count(session, Certificate), _spans_astray(session))


def _no_circle(session: Session, report: Report) -> None:
    """No calibration rests on itself by way of what an assembly held."""
    held = set(session.scalars(select(Composition.assembly_id).distinct()))
    found = circle_through_parts(session, held)
    wrong = [] if found is None else [(found, "a calibration rests on itself")]
    report.add("no circle through parts", len(held), wrong)


def _spans_astray(session: Session) -> Iterator[tuple[str, str]]:
    """Certificates whose calibrated range is not that of their curve, or else of their results."""
    columns = (Result.certificate_id, Result.stage, Result.applied, Result.unit)
    results = select(*columns).order_by(Result.certificate_id).execution_options(yield_per=LOT)
    groups = groupby(session.execute(results).mappings(), lambda row: row["certificate_id"])
    ends = (Certificate.span_from, Certificate.span_to)
    identity = (Certificate.id, Certificate.number, Certificate.revision, Certificate.curve)
    statement = select(*identity, *ends)
    group = next(groups, None)
    for key, number, revision, curve, *span in session.execute(
        statement.order_by(Certificate.id).execution_options(yield_per=LOT)
    ):
        given = None
        if group is not None and group[0] == key:
            given = calibrated_span(group[1])
            group = next(groups, None)
        given = curves.span(curve) or given
        if span != list(given or (None, None)):
            what = "its curve" if curve else "its results"
            yield f"{number} rev. {revision}", f"its calibrated range is not that of {what}"


def _one_issued(session: Session, report: Report) -> None:
    doubled = session.execute(
        select(Certificate.number, func.count().label("issued"))
        .where(Certificate.status == "issued")
        .group_by(Certificate.issuer, Certificate.number)
        .having(func.count() > 1)
    )
    found = [(row.number, f"{row.issued} revisions are issued") for row in doubled]
    report.add("one issued revision", _count(session, Certificate), found)


def _recalls(session: Session, report: Report) -> None:
    """A stored recall gives the hash that it was stored with."""
    place = {name: n for n, name in enumerate(LISTS)}
    for recall in session.scalars(select(Recall)):
        head = orjson.loads(recall.head)
        head.pop("differences", None)  # with an earlier recall: not part of what was found
        result = hashlib.sha256(orjson.dumps(head))
        entries = session.execute(
            select(
                RecallEntry.list_name,
                RecallEntry.position,
                RecallEntry.body,
                RecallEntry.body_hash,
            ).where(RecallEntry.recall_id == recall.id)
        ).all()
        for row in sorted(entries, key=lambda row: (place[row.list_name], row.position)):
            result.update(row.body.encode())
        whole = result.hexdigest() == recall.result_hash
        report.add(
            "recalls", 1, [] if whole else [(recall.number, "its entries do not give its hash")]
        )
        hashed = all(hash_of(row.body) == row.body_hash for row in entries)
        wrong = [] if hashed else [(recall.number, "an entry does not bear its own hash")]
        report.add("entries", len(entries), wrong)
        report.add("what leads to entries", *recall_links.astray(session, recall))


def _standing(session: Session, report: Report, most: int) -> None:
    """Stored recalls say rightly whether they still hold, and hear of what could change that."""
    report.add("recalls watched", _count(session, Recall), recall_checks.unwatched(session))
    report.add("recalls that wait to be compared", recall_checks.waiting(session))
    for key in recall_checks.some(session, most):
        found = recall_checks.wrong(session, key, time.time_ns() // 1000)
        report.add("recalls worked out anew", 1, found)


def _notices(session: Session, report: Report) -> None:
    for notice in session.scalars(select(Notice)):
        whole = hashlib.sha256(notice.content.encode()).hexdigest() == notice.content_hash
        report.add(
            "notices", 1, [] if whole else [(notice.number, "its content does not give its hash")]
        )


Hashes = Callable[[Row[Any]], str]


def _content(row: Row[Any]) -> str:
    return content_hash(content_of(row[0]))


# Tables whose rows are noted by `note_row`.
NEVER_CHANGED: tuple[Any, ...] = (StoredComparison, RunEvaluation, SetupCheck, LoadEvent)
# What the journal says of a record: its table, the columns and facts that name it, the fact that is
# its hash, and how that is worked out again.
JOURNALLED: dict[str, tuple[Any, dict[str, Any], str, Hashes]] = {
    "recall": (Recall, {"recall": Recall.id}, "result_hash", lambda row: row[0].result_hash),
    "notice": (Notice, {"notice": Notice.number}, "sha256", lambda row: row[0].content_hash),
    "decision": (
        StoredDecision,
        {"id": StoredDecision.id},
        "sha256",
        lambda row: sha256_of(json_text(row[0].request), json_text(row[0].answer)),
    ),
    **{words_of(table): (table, {"id": table.id}, "sha256", _content) for table in NEVER_CHANGED},
    words_of(UncertaintyBudget): (
        UncertaintyBudget,
        {"code": UncertaintyBudget.code},
        "sha256",
        _content,
    ),
    **{
        words_of(table): (table, {"code": table.code, column.key: column}, "sha256", _content)
        for table, column in VERSIONS.items()
    },
}


def _journal(session: Session, report: Report) -> None:
    """The chain is whole, and every record that it speaks of is as it was when it was made."""
    lines = journal.lines(session)
    kept: list[tuple[str, str]] = []
    told: Counter[str] = Counter()

    def passed() -> Iterator[tuple[str, str]]:
        for line in lines:
            kept.append(line)
            if len(kept) >= LOT:
                _facts(session, kept, told, report)
                kept.clear()
            yield line

    broken = [
        (f"line {one.position}", one.detail)
        for one in journal.breaches(passed(), journal.head(session))
    ]
    _facts(session, kept, told, report)
    report.add("journal", journal.head(session)["position"], broken)
    for what, (table, *_) in JOURNALLED.items():
        missing = _count(session, table) - told[what]
        if missing > 0:
            report.add(what, 0, [("journal", f"{missing} of them have no line")])


def _facts(
    session: Session, lines: Iterable[tuple[str, str]], told: Counter[str], report: Report
) -> None:
    """Hold the records that these lines speak of against the hashes that they give them."""
    said: dict[str, dict[tuple[Any, ...], str]] = {}
    for body, _ in lines:
        for fact in _of_line(body):
            if fact.get("what") in JOURNALLED:
                _, names, hash_, _ = JOURNALLED[fact["what"]]
                named = tuple(fact.get(name) for name in names)
                said.setdefault(fact["what"], {})[named] = fact.get(hash_, "")
    for what, hashes in said.items():
        table, names, _, again = JOURNALLED[what]
        found: dict[tuple[Any, ...], str] = {
            tuple(row[1:]): again(row) for row in _rows(session, table, names, hashes)
        }
        wrong = [
            (
                " ".join(map(str, named)),
                "it is gone" if named not in found else "it was changed after it was recorded",
            )
            for named, hash_ in hashes.items()
            if found.get(named) != hash_
        ]
        told[what] += len(hashes)
        report.add(what, len(hashes), wrong)


def _of_line(body: str) -> list[Mapping[str, Any]]:
    try:
        facts: list[Mapping[str, Any]] = orjson.loads(body)["facts"]
    except (orjson.JSONDecodeError, KeyError, TypeError):
        return []  # the chain's own check tells of it
    return facts


def _rows(
    session: Session, table: Any, names: Mapping[str, Any], wanted: Mapping[tuple[Any, ...], str]
) -> Iterator[Row[Any]]:
    first = next(iter(names.values()))
    keys = iter({named[0] for named in wanted})
    while some := list(islice(keys, LOT)):
        yield from session.execute(select(table, *names.values()).where(first.in_(some)))


def _count(session: Session, table: Any) -> int:
    return session.scalar(select(func.count()).select_from(table)) or 0
