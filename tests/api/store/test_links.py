"""Reads along the links between certificates; networkx is the judge of what can be reached."""

from __future__ import annotations

import random

import networkx as nx
import pytest

from api.store import links
from api.store.tables import Certificate, Item, Usage

SIZE = 60


@pytest.fixture(params=range(3))
def woven(request, database):
    """A random web of certificates: session, sources, and links that only confirmed limits."""
    chance = random.Random(request.param)
    sources = [(b, a) for b in range(2, SIZE) for a in range(1, b) if chance.random() < 0.03]
    evidence = [(b, a) for b in range(2, SIZE) for a in range(1, b) if chance.random() < 0.01]
    with database.write() as session:
        session.add_all(
            Item(id=key, code=f"I-{key}", kind="adapter", content_hash="", recorded_us=0)
            for key in range(1, SIZE)
        )
        session.flush()
        session.add_all(
            Certificate(
                id=key,
                number=f"C-{key}",
                revision=0,
                status="issued",
                item_id=key,
                performed_at="",
                performed_us=key,
                performed_end_us=key,
                content_hash="",
                recorded_us=0,
            )
            for key in range(1, SIZE)
        )
        session.flush()
        made = [(b, a, a, None) for b, a in sources] + [(b, a, None, a) for b, a in evidence]
        session.add_all(
            Usage(
                certificate_id=user,
                position=0,
                item_id=item,
                role="force_reference",
                used_us=user,
                used_end_us=user,
                source_id=source,
                evidence_id=confirmed,
            )
            for user, item, source, confirmed in made
        )
        session.flush()
        yield session, nx.DiGraph(sources), nx.DiGraph(evidence)
        session.rollback()


def test_upwards_every_link_of_both_kinds_is_read_once(woven):
    session, sources, evidence = woven
    both = nx.compose(sources, evidence)
    starts = {SIZE - 1, SIZE - 2, SIZE // 2} & set(both)
    reached = starts | set().union(*(nx.descendants(both, one) for one in starts))
    edges = list(links.everything_upward(session, starts))
    assert set(edges) == set(both.subgraph(reached).edges)
    in_both = set(sources.edges) & set(evidence.edges)
    assert len(edges) == len(set(edges)) + len([edge for edge in edges if edge in in_both]) // 2


def test_downwards_exposure_goes_one_step_and_values_go_on(woven):
    session, sources, evidence = woven
    down, confirmed = sources.reverse(), evidence.reverse()
    start = {1, 2, 3}
    valued = start | set().union(*(nx.descendants(down, one) for one in start if one in down))
    exposed = {user for one in valued if one in confirmed for user in confirmed.successors(one)}
    assert links.everything_downward(session, start) == valued | exposed


def test_items_upward_are_those_of_the_values(woven):
    session, sources, evidence = woven
    start = SIZE - 1
    above = {start} | (nx.descendants(sources, start) if start in sources else set())
    used = {
        item
        for user in above
        for graph in (sources, evidence)
        if user in graph
        for item in graph.successors(user)
    }
    assert links.items_upward(session, [start]) == used


def test_users_and_certificates_of_an_item_are_found_by_its_key(woven):
    session, sources, evidence = woven
    both = nx.compose(sources, evidence).reverse()
    expected = set(both.successors(5)) if 5 in both else set()
    assert links.users_of_items(session, [5]) == expected
    assert links.users_of_items(session, []) == set()
    assert links.certificates_of(session, 5) == {5}
    assert links.certificates_from(session, SIZE - 2) == {SIZE - 2, SIZE - 1}


def test_a_link_that_does_not_point_back_in_time_is_found(woven):
    session, *_ = woven
    assert links.not_back_in_time(session) == set()
    usage = session.get(Usage, 1)
    usage.source_id = usage.certificate_id
    session.flush()
    assert links.not_back_in_time(session) == {usage.certificate_id}


def test_numbers_are_read_by_key(woven):
    session, *_ = woven
    assert links.numbers_of(session, [3, 3, 7]) == {3: "C-3", 7: "C-7"}


@pytest.fixture
def by_role(database):
    """Certificates by number: roles, first and last microsecond of their day, and what else."""
    rows = {
        "none": ("", 50, 50, {}),
        "adapter": ("|adapter|", 50, 50, {}),
        "both": ("|adapter||force_reference|", 50, 50, {}),
        "reference": ("|force_reference|", 50, 50, {}),
        "like it": ("|adapter_part|", 50, 50, {}),
        "outside": ("", 50, 50, {"external": True}),
        "draft": ("", 50, 50, {"status": "draft"}),
        "before": ("", 9, 9, {}),
        "day into it": ("", 1, 10, {}),
        "last": ("", 90, 90, {}),
        "day out of it": ("", 90, 99, {}),
        "after": ("", 91, 91, {}),
    }
    with database.write() as session:
        session.add(Item(id=1, code="I", kind="adapter", content_hash="", recorded_us=0))
        session.flush()
        for number, (roles, first, last, more) in rows.items():
            made = {"status": "issued", "roles": roles, "performed_us": first} | more
            session.add(
                Certificate(
                    number=number,
                    revision=0,
                    item_id=1,
                    performed_at="",
                    performed_end_us=last,
                    content_hash="",
                    recorded_us=0,
                    **made,
                )
            )
        session.flush()

        def lacking(roles, window):
            keys = links.lacking_roles(session, roles, window)
            return set(links.numbers_of(session, keys).values())

        yield lacking
        session.rollback()


def test_our_own_issued_certificates_of_the_window_without_a_role_are_found(by_role):
    inside = {"none", "reference", "like it", "day into it", "last", "day out of it"}
    assert by_role({"adapter"}, (10, 90)) == inside
    assert by_role({"adapter", "force_reference"}, (10, 90)) == inside - {"reference"}


def test_a_window_that_is_open_on_either_side_goes_on_for_ever(by_role):
    assert by_role({"force_reference"}, (None, 9)) == {"before", "day into it"}
    assert by_role({"adapter", "force_reference"}, (91, None)) == {"day out of it", "after"}
