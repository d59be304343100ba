"""Which entries become fail, or could: the customer of such a one reads why nothing is done."""

from __future__ import annotations

import pytest

from api.services.casework.no_action import becomes_fail, loses_statement


def point(before, after, *possible):
    return {
        "verdict_before": before,
        "verdict_after": after,
        "verdicts_possible": list(possible) or None,
    }


@pytest.mark.parametrize(
    ("points", "answer"),
    [
        ([point("pass", "fail")], True),
        ([point("pass", "pass"), point("conditional_pass", "fail")], True),
        ([point("pass", "conditional_fail")], True),
        ([point("conditional_fail", "fail")], True),
        ([point("pass", "pass")], False),
        # It failed before, and that was stated: nothing becomes.
        ([point("fail", "fail")], False),
        ([point("fail", "pass")], False),
        # Bounds only: one of the verdicts within them is a fail.
        ([point("pass", None, "pass", "fail")], True),
        ([point("pass", None, "pass", "conditional_pass")], False),
        # Nobody knows, and the words in the notice say so.
        ([point("pass", None)], False),
        # No verdict was stated, and by the rule it fails.
        ([point(None, "fail")], True),
        ([], False),
    ],
)
def test_an_entry_becomes_fail_by_any_of_its_points(points, answer):
    assert becomes_fail({"points": points}) is answer
    assert becomes_fail({}) is False


@pytest.mark.parametrize(
    ("points", "answer"),
    [
        ([point("pass", "pass"), point("pass", "no_statement")], True),
        # Nonconformity was stated, and is no more: that is another statement too.
        ([point("fail", "no_statement")], True),
        ([point("no_statement", "no_statement")], False),
        # Nothing was stated before.
        ([point(None, "no_statement")], False),
        ([point("no_statement", "pass")], False),
        ([point("pass", None)], False),
    ],
)
def test_an_entry_loses_a_statement_where_its_rule_makes_none_any_more(points, answer):
    assert loses_statement({"points": points}) is answer
    assert not becomes_fail({"points": points})
