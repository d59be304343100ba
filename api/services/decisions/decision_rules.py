"""Which rule was meant, and in which version? Rules are recorded once and never changed.

Choice: a changed rule is a new version under the same id; without a version the latest is meant.
A rule that another one falls back on is kept inside it, whole and with its version, so that the
other never changes either; recorded again, it takes the version that is the latest by then. The
three built-in rules need no record; one is recorded as version 1 when the first result or decision
that is stored under it needs a row to point at. Equal numbers are the same content, however they
are written ("1.0" and "1").

Not checked: that whoever agreed to a rule may do so.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, NotFound, UnknownReference
from api.rules.rule import (
    BUILT_IN,
    NO_STATEMENT,
    Find,
    Rule,
    RuleError,
    refuse_unreachable,
    rule_from_mapping,
)
from api.store import versions
from api.store.tables import DecisionRule

_INLINE = "inline"  # the id of a rule that was sent with a request and is recorded nowhere
_COLUMNS = ("prescribed_by", "agreed_with", "agreed_at", "note")


def known_rules(session: Session) -> dict[str, Rule]:
    """Return the built-in rules, then the latest version of every recorded one, by id."""
    recorded = {row.code: _rule(row) for row in versions.latest(session, DecisionRule)}
    return {**BUILT_IN, **{code: rule for code, rule in recorded.items() if code not in BUILT_IN}}


def list_rules(
    session: Session, after: Sequence[Any] | None, limit: int
) -> tuple[list[Rule], tuple[str] | None]:
    """Return known rules in the order of their ids, and the key to continue behind."""
    rules = known_rules(session)
    found, key = versions.page_of(sorted(rules), after, limit)
    return [rules[code] for code in found], key


def resolve_rule(
    session: Session, code: str, version: int | None = None
) -> tuple[Rule, int | None]:
    """Return a rule by id, the latest version by default, and its row id.

    The row id is None for a built-in rule that nothing stored has needed yet.

    Raises UnknownReference, whose remedy lists the known ids or versions.
    """
    row = versions.find(session, DecisionRule, code, version)
    if row is not None:
        return _rule(row), row.id
    if code in BUILT_IN and version in (None, 1):
        return BUILT_IN[code], None
    known = _known_versions(session, code)
    if known:
        detail = f'decision rule "{code}" has no version {version}'
        remedy = f"known versions: {', '.join(map(str, known))}"
    else:
        detail = f'decision rule "{code}" is not recorded'
        remedy = f"known rules: {', '.join(known_rules(session))}"
    raise UnknownReference(detail, [Issue("/rule", detail, remedy, code)])


def finder(session: Session) -> Find:
    """Return what finds the rules that a rule may fall back on: built in or recorded."""

    def find(code: str, version: int | None) -> Rule | None:
        try:
            return resolve_rule(session, code, version)[0]
        except UnknownReference:
            return None

    return find


def ensure_rule(session: Session, code: str) -> int:
    """Return the row id of a rule's latest version, recording a built-in one on first use.

    For a write transaction; of two that need the same rule first, both get the one row.

    Raises UnknownReference.
    """
    rule, row_id = resolve_rule(session, code)
    if row_id is not None:
        return row_id
    made = versions.insert(session, DecisionRule, _values(rule, time.time_ns() // 1000))
    return made if made is not None else ensure_rule(session, code)


def get_rule(session: Session, code: str, version: int | None = None) -> tuple[Rule, Sequence[int]]:
    """Return a rule as `resolve_rule` does and all its versions; raise NotFound."""
    try:
        rule, _ = resolve_rule(session, code, version)
    except UnknownReference as unknown:
        raise NotFound(f"{unknown.detail}; {unknown.issues[0].remedy}") from None
    return rule, _known_versions(session, code)


def record_rule(session: Session, sent: Mapping[str, Any], now_us: int) -> tuple[Rule, bool]:
    """Record a rule, as version 1 or the next one; return it and whether it is new.

    `sent` is the JSON form of a rule with its id and without a version. The same content as the
    latest version is not recorded again.

    Raises Conflict for the id of a built-in rule, InvalidRecord for a rule that cannot be used.
    """
    code = sent["id"]
    if code in BUILT_IN or code in (_INLINE, NO_STATEMENT):
        detail = f'"{code}" is built in and cannot be redefined'
        issue = Issue("/id", detail, "record the rule under another id", code)
        raise Conflict(detail, [issue])
    try:
        rule = rule_from_mapping(sent, finder(session))
        refuse_unreachable(rule)
    except RuleError as error:
        detail, _, remedy = str(error).partition("; ")
        issue = Issue(error.field, detail, remedy or "see the rules at GET /v1/decision-rules")
        raise InvalidRecord(detail, [issue]) from None
    while True:
        row = versions.find(session, DecisionRule, code)
        if row is not None:
            rule = replace(rule, version=row.rule_version)
            if _rule(row) == rule:
                return _rule(row), False
            rule = replace(rule, version=row.rule_version + 1)
        if versions.insert(session, DecisionRule, _values(rule, now_us)) is not None:
            return rule, True


def _known_versions(session: Session, code: str) -> Sequence[int]:
    recorded = versions.versions(session, DecisionRule, code)
    return recorded or ([1] if code in BUILT_IN else [])


def _rule(row: DecisionRule) -> Rule:
    columns = {name: getattr(row, name) for name in _COLUMNS}
    identity = {"id": row.code, "version": row.rule_version}
    return rule_from_mapping({**identity, **row.definition, **columns})


def _values(rule: Rule, now_us: int) -> dict[str, Any]:
    definition = rule.to_mapping()
    del definition["id"], definition["version"]
    return {
        "code": rule.id,
        "rule_version": rule.version,
        **{name: definition.pop(name, None) for name in _COLUMNS},
        "definition": definition,
        "recorded_us": now_us,
    }
