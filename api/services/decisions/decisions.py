"""A result comes in and a decision goes out, stored with the rule's version and the request.

Choice: the request is stored as it was understood, with the version of a recorded specification;
with the rule version and the engine version of the answer it can be decided again (`replay`).

Not checked: that a database is not edited by hand; the replay would show it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from api.errors import NotFound, pointer
from api.rules import ENGINE_VERSION
from api.rules.decide import Decision
from api.services.base.texts import texted
from api.services.decisions.agreements import with_agreement
from api.services.decisions.answers import decision_answer
from api.services.decisions.decision_rules import ensure_rule
from api.services.decisions.interval_ends import interval_end_answer
from api.services.decisions.requests import (
    Decided,
    Request,
    decide_request,
    requested_rule,
)
from api.services.uncertainty.budget_links import with_budget
from api.store.database import Database
from api.store.group_commit import GroupCommit
from api.store.journal import Author, Entry, add, note, open_entry, take_entry
from api.store.paging import KeyValues, page
from api.store.tables import StoredDecision
from api.store.types import WrittenJson, json_text
from graph.moments import text_of

# Under this name an application holds its Keeper.
KEEPER = "tracehold.decisions"
_LISTED = ("verdict", "value", "U", "unit", "rule")
_NUMBERS = (
    *("value", "U", "U_rel_pct", "k", "dof", "density", "drift", "limits", "prior"),
    *("nominal", "reading", "full_scale", "resolution"),
)


def decide_unstored(session: Session | None, request: Request) -> dict[str, Any]:
    """Decide one result, as loaded by its schema; the answer's `id` is None.

    The session may be None unless `needs_records`. Raises as `prepare` does.
    """
    if session is not None:
        request = with_budget(session, with_agreement(session, request))
    return {"id": None, **answered(session, request)[1]}


@dataclass(frozen=True, slots=True)
class Prepared:
    """A decision that is made and not yet stored, with its JSON texts as they will be.

    ``rule_code`` names a built-in rule, whose row id is found when the decision is stored.
    """

    answer: dict[str, Any]
    request_text: WrittenJson
    answer_text: WrittenJson
    sha256: str
    rule_id: int | None
    rule_code: str | None


def prepare(session: Session | None, request: Request) -> Prepared:
    """Decide one result, as loaded by its schema, so that it can be stored.

    The session may be None unless `needs_records`. Raises UnknownReference for a rule,
    specification, budget or agreement that is not recorded, InvalidRecord for numbers, limits or
    units that the decision cannot be made with.
    """
    if session is not None:
        request = with_budget(session, with_agreement(session, request))
    # Decided from what is stored, so that a replay has the same digits (1E+1 is kept as 10).
    kept = texted({name: part for name, part in request.items() if name != "store"})
    decided, answer, row_id = answered(session, _revived(kept))
    if decided.specification_version is not None:
        kept["tolerance"]["version"] = decided.specification_version
    code = request["rule"].get("id") if row_id is None else None
    texts = json_text(kept), json_text(answer)
    return Prepared(answer, *texts, sha256_of(*texts), row_id, code)


def sha256_of(request: str, answer: str) -> str:
    """Hash of a stored decision, by which the journal knows it: of both texts as they stand."""
    return hashlib.sha256(f"{request}\n{answer}".encode()).hexdigest()


# On the table and not its class: the identity map would cost more than the statement.
_STORE = insert(StoredDecision.__table__).returning(  # type: ignore[arg-type]
    StoredDecision.id, sort_by_parameter_order=True
)


class Keeper:
    """Stores decisions; those that come at the same time go into one transaction.

    `seen` is told of each transaction how many it wrote.
    """

    def __init__(self, database: Database, seen: Callable[[int], None] = lambda size: None) -> None:
        self._database, self._seen = database, seen
        self._group = GroupCommit(self._commit)
        # Row ids of built-in rules, which are never redefined: found once and not with each commit.
        self._rules: dict[str, int] = {}

    def keep(self, prepared: Prepared, author: Author, now_us: int) -> int:
        """Store a decision durably; return its id."""
        return self._group.add((prepared, author, now_us))

    def _commit(self, parts: Sequence[tuple[Prepared, Author, int]]) -> Sequence[int]:
        with self._database.write() as session:
            # What is noted besides, such as the first use of a rule, goes to the first of them.
            open_entry(session, parts[0][1])
            rules = self._rules | _rule_ids(session, [one for one, _, _ in parts], self._rules)
            ids = _insert(session, [(prepared, now_us) for prepared, _, now_us in parts], rules)
            noted = take_entry(session).facts
            entries = [Entry(author) for _, author, _ in parts]
            entries[0].facts.extend(noted)
            for entry, key, (prepared, _, _) in zip(entries, ids, parts, strict=True):
                entry.facts.append({"what": "decision", "id": key, "sha256": prepared.sha256})
            add(session.connection(), entries)
        self._rules = rules
        self._seen(len(parts))
        return ids


def store(session: Session, prepared: Prepared, now_us: int) -> int:
    """Store one decision in a transaction that others write in too; return its id."""
    (key,) = _insert(session, [(prepared, now_us)], _rule_ids(session, [prepared], {}))
    note(session, "decision", id=key, sha256=prepared.sha256)
    return key


def _rule_ids(
    session: Session, prepared: Sequence[Prepared], known: Mapping[str, int]
) -> dict[str, int]:
    """Row ids of the built-in rules that are not known yet; a rule needed first is recorded."""
    wanted = {one.rule_code for one in prepared if one.rule_code is not None} - known.keys()
    return {code: ensure_rule(session, code) for code in sorted(wanted)}


def _insert(
    session: Session, parts: Sequence[tuple[Prepared, int]], rules: Mapping[str, int]
) -> Sequence[int]:
    rows = [
        {
            "recorded_us": now_us,
            "engine_version": ENGINE_VERSION,
            "rule_id": rules.get(one.rule_code or "", one.rule_id),
            "verdict": one.answer["verdict"],
            "request": one.request_text,
            "answer": one.answer_text,
        }
        for one, now_us in parts
    ]
    return session.connection().scalars(_STORE, rows).all()


def get_decision(session: Session, key: int) -> dict[str, Any]:
    """Return a stored decision with its request; raise NotFound."""
    row = _row(session, key)
    recorded = {"recorded_at": text_of(row.recorded_us), "request": row.request}
    return {"id": row.id, **row.answer, **recorded}


def list_decisions(
    session: Session, verdict: str | None, after: Sequence[Any] | None, limit: int
) -> tuple[list[dict[str, Any]], KeyValues | None]:
    """Return stored decisions in short, the latest first, and the key to continue behind."""
    columns = StoredDecision.id, StoredDecision.recorded_us, StoredDecision.answer
    statement = select(*columns)
    if verdict is not None:
        statement = statement.where(StoredDecision.verdict == verdict)
    rows, key = page(session, statement, [StoredDecision.id], after, limit, descending=True)
    entries = [
        {"id": row.id, "recorded_at": text_of(row.recorded_us)}
        | {name: row.answer[name] for name in _LISTED}
        for row in rows
    ]
    return entries, key


def replay(session: Session, key: int) -> dict[str, Any]:
    """Decide a stored decision again by its own rule version, and list what comes out differently.

    Raises NotFound, InvalidRecord where the present engine refuses what an earlier one decided.
    """
    row = _row(session, key)
    request = _revived(row.request)
    rule = row.answer["rule"]
    recorded = "guard" not in rule
    request["rule"] = {"id": rule["id"], "version": rule["version"]} if recorded else rule
    _, found, _ = answered(session, request, again=True)
    # Through JSON, as the stored one went.
    replayed = json.loads(json.dumps(found))
    differences = list(_differences(row.answer, replayed))
    return {
        "id": row.id,
        "identical": not differences,
        "differences": differences,
        "rule": rule,
        "engine_version": {"stored": row.engine_version, "replayed": ENGINE_VERSION},
        "verdict": replayed["verdict"],
    }


def decided_again(session: Session, key: int) -> tuple[Decision, str]:
    """Return a stored decision as numbers, made again from its request and rule, and its unit.

    Raises NotFound.
    """
    row = _row(session, key)
    request = _revived(row.request) | {"rule": row.answer["rule"]}
    rule, _, _ = requested_rule(session, request, again=True)
    return decide_request(session, request, rule).decision, request["unit"]


def answered(
    session: Session | None, request: Request, *, again: bool = False
) -> tuple[Decided, dict[str, Any], int | None]:
    """Return a decision, its answer and the row id of its rule, of a request with its records.

    One that is made `again` has its rule as it was.

    Raises as `prepare` does.
    """
    rule, reference, row_id = requested_rule(session, request, again=again)
    agreed = request.get("agreement")
    if agreed is not None:
        named = f"{agreed['customer']} (agreement {agreed['id']}, version {agreed['version']})"
        rule = replace(rule, agreed_with=named)
    decided = decide_request(session, request, rule)
    answer = decision_answer(
        decided.decision, request["unit"], reference, decided.prior, request.get("prior")
    )
    if "drift" in request:
        answer["at_interval_end"] = interval_end_answer(request, decided)
    if "budget" in request:
        answer["budget"] = texted(request["budget"])
    if agreed is not None:
        answer["agreement"] = dict(agreed)
    return decided, answer, row_id


def _row(session: Session, key: int) -> StoredDecision:
    row = session.get(StoredDecision, key)
    if row is None:
        raise NotFound(f"decision {key} is not recorded")
    return row


def _revived(request: Mapping[str, Any]) -> dict[str, Any]:
    """Return a stored request as its schema had loaded it; tolerances and rules may stay text."""
    found = dict(request)
    found |= {
        name: _decimals(found[name]) for name in (*_NUMBERS, "limits", "prior") if name in found
    }
    return found


def _decimals(part: Any) -> Any:
    """Return the decimals that texts stand for; the name of a unit is no number."""
    if isinstance(part, Mapping):
        return {name: p if name == "unit" else _decimals(p) for name, p in part.items()}
    return Decimal(part) if isinstance(part, str) else part


def _differences(stored: Any, replayed: Any, *path: str) -> Iterator[dict[str, Any]]:
    if isinstance(stored, Mapping) and isinstance(replayed, Mapping):
        for name in {**stored, **replayed}:
            yield from _differences(stored.get(name), replayed.get(name), *path, name)
    elif stored != replayed:
        yield {"pointer": pointer(*path), "stored": stored, "replayed": replayed}
