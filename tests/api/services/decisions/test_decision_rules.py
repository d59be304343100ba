"""Rules and their rows: resolved, recorded on first use, never twice."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal

import pytest
from sqlalchemy import select

from api.errors import UnknownReference
from api.rules.rule import BUILT_IN
from api.services.decisions.decision_rules import (
    ensure_rule,
    known_rules,
    record_rule,
    resolve_rule,
)
from api.store.tables import DecisionRule

OURS = {"id": "ours", "guard": {"basis": "U", "factor": Decimal("0.5")}, "zones": 4}


def rows(database):
    with database.read() as session:
        return list(session.scalars(select(DecisionRule).order_by(DecisionRule.id)))


def test_a_built_in_rule_resolves_without_a_row_and_gets_one_on_first_use(database):
    with database.write() as session:
        assert resolve_rule(session, "guard_U") == (BUILT_IN["guard_U"], None)
        row_id = ensure_rule(session, "guard_U")
        assert ensure_rule(session, "guard_U") == row_id
        assert resolve_rule(session, "guard_U") == (BUILT_IN["guard_U"], row_id)
    assert [(row.code, row.rule_version) for row in rows(database)] == [("guard_U", 1)]


def test_writers_that_need_the_same_rule_first_share_its_one_row(database):
    def use(_: int) -> int:
        with database.write() as session:
            return ensure_rule(session, "simple")

    with ThreadPoolExecutor(4) as pool:
        found = set(pool.map(use, range(12)))
    assert found == {rows(database)[0].id}
    assert len(rows(database)) == 1


def test_writers_of_new_versions_get_different_numbers(database):
    def record(place: int) -> int:
        sent = {**OURS, "guard": {"basis": "U", "factor": Decimal(place + 1)}}
        with database.write() as session:
            return record_rule(session, sent, 0)[0].version

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(record, range(8))) == list(range(1, 9))


def test_the_latest_version_is_meant_unless_one_is_named(database):
    with database.write() as session:
        first, new = record_rule(session, OURS, 0)
        second, _ = record_rule(session, {**OURS, "title": "changed"}, 0)
        assert (new, first.version, second.version) == (True, 1, 2)
        assert resolve_rule(session, "ours")[0] == second
        assert resolve_rule(session, "ours", 1)[0] == first
        assert known_rules(session)["ours"] == second


def test_an_unknown_rule_or_version_names_the_known_ones(database):
    with database.read() as session:
        with pytest.raises(UnknownReference) as unknown:
            resolve_rule(session, "other")
        assert unknown.value.issues[0].remedy == "known rules: simple, guard_U, four_state_U"
        with pytest.raises(UnknownReference, match="no version 3") as unknown:
            resolve_rule(session, "simple", 3)
        assert unknown.value.issues[0].remedy == "known versions: 1"
