"""Pages in the order of a compound key, both ways."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from api.errors import InvalidRecord
from api.store.paging import page
from api.store.tables import DecisionRule

KEY = [DecisionRule.code, DecisionRule.rule_version]


@pytest.fixture
def session(database):
    """Session on six rule versions."""
    with database.write() as opened:
        opened.add_all(
            DecisionRule(code=code, rule_version=version, definition={}, recorded_us=0)
            for code in "ab"
            for version in (1, 2, 10)
        )
    with database.read() as opened:
        yield opened


@pytest.mark.parametrize("descending", [False, True])
@pytest.mark.parametrize("limit", [1, 2, 4, 6])
def test_a_compound_key_orders_and_continues_both_ways(session, limit, descending):
    seen, after = [], None
    while True:
        rows, after = page(session, select(DecisionRule), KEY, after, limit, descending=descending)
        seen += [(row[0].code, row[0].rule_version) for row in rows]
        if after is None:
            break
    expected = [(code, version) for code in "ab" for version in (1, 2, 10)]
    assert seen == (expected[::-1] if descending else expected)


@pytest.mark.parametrize(
    "after", [("a",), ("a", "1"), (1, 1), ("a", 2**63), ("a", 1, 1), ("a", True)]
)
def test_a_key_of_another_form_is_refused(session, after):
    with pytest.raises(InvalidRecord):
        page(session, select(DecisionRule), KEY, after, 2)
