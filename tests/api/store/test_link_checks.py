"""What recording and verification ask of links; networkx is the judge of what can be reached."""

from __future__ import annotations

import networkx as nx
import pytest
import sqlalchemy as sa

from api.store import link_checks
from api.store.serving import refresh_after
from api.store.tables import Usage

SIZE = 60  # as in conftest.py


def test_upwards_every_link_of_both_kinds_is_read_once(woven):
    session, sources, evidence = woven
    both = nx.compose(sources, evidence)
    starts = {SIZE - 1, SIZE - 2, SIZE // 2} & set(both)
    reached = starts | set().union(*(nx.descendants(both, one) for one in starts))
    edges = list(link_checks.everything_upward(session, starts))
    assert set(edges) == set(both.subgraph(reached).edges)
    in_both = set(sources.edges) & set(evidence.edges)
    assert len(edges) == len(set(edges)) + len([edge for edge in edges if edge in in_both]) // 2


def test_certificates_are_found_by_their_item_and_by_when_they_came(woven):
    session, *_ = woven
    assert link_checks.certificates_of(session, 5) == {5}
    assert link_checks.certificates_from(session, SIZE - 2) == {SIZE - 2, SIZE - 1}


def test_an_item_touches_its_certificates_and_those_that_used_it(woven):
    session, sources, evidence = woven
    both = nx.compose(sources, evidence).reverse()
    users = {user for one in (5, 9) if one in both for user in both.successors(one)}
    assert link_checks.touched_by_items(session, {5, 9}) == users | {5, 9}


def test_a_link_that_does_not_point_back_in_time_is_found(woven):
    session, *_ = woven
    assert link_checks.not_back_in_time(session) == set()
    usage = session.get(Usage, 1)
    usage.source_id = usage.certificate_id
    session.flush()
    assert link_checks.not_back_in_time(session) == {usage.certificate_id}


def test_numbers_are_read_by_key(woven):
    session, *_ = woven
    assert link_checks.numbers_of(session, [3, 3, 7]) == {3: "C-3", 7: "C-7"}


@pytest.mark.parametrize(
    "question",
    [link_checks.used_from, link_checks.items_from, link_checks.certificates_from, refresh_after],
)
def test_what_was_recorded_last_is_found_without_reading_everything(own_database, question):
    if not own_database.is_sqlite:
        pytest.skip("PostgreSQL keeps statistics, by which it chooses")
    asked = []
    sa.event.listen(
        own_database.engine, "before_cursor_execute", lambda *given: asked.append(given[2:4])
    )
    with own_database.read() as session:
        assert question(session, 1) == set()
        steps = [
            step.detail
            for text, values in [one for one in asked if one[0].startswith("SELECT")]
            for step in session.connection().exec_driver_sql(f"EXPLAIN QUERY PLAN {text}", values)
        ]
    assert steps
    assert not [step for step in steps if step.startswith("SCAN")]
