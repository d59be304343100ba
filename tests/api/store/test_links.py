"""Reads along the links between certificates; networkx is the judge of what can be reached."""

from __future__ import annotations

import networkx as nx
import pytest

from api.store import link_checks, links
from api.store.reading import SessionReader
from api.store.tables import Certificate, Item

SIZE = 60  # as in conftest.py


def test_downwards_exposure_goes_one_step_and_values_go_on(woven):
    session, sources, evidence = woven
    down, confirmed = sources.reverse(), evidence.reverse()
    start = {1, 2, 3}
    valued = start | set().union(*(nx.descendants(down, one) for one in start if one in down))
    exposed = {user for one in valued if one in confirmed for user in confirmed.successors(one)}
    assert links.everything_downward(SessionReader(session), start) == valued | exposed


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
    assert links.items_upward(SessionReader(session), [start]) == used


def test_users_of_an_item_are_found_by_its_key(woven):
    session, sources, evidence = woven
    both = nx.compose(sources, evidence).reverse()
    expected = set(both.successors(5)) if 5 in both else set()
    assert links.users_of_items(SessionReader(session), [5]) == expected
    assert links.users_of_items(SessionReader(session), []) == set()


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
            keys = links.lacking_roles(SessionReader(session), roles, window)
            return set(link_checks.numbers_of(session, keys).values())

        yield lacking
        session.rollback()


def test_our_own_certificates_of_the_window_without_a_role_are_found(by_role):
    inside = {"none", "draft", "reference", "like it", "day into it", "last", "day out of it"}
    assert by_role({"adapter"}, (10, 90)) == inside
    assert by_role({"adapter", "force_reference"}, (10, 90)) == inside - {"reference"}


def test_a_window_that_is_open_on_either_side_goes_on_for_ever(by_role):
    assert by_role({"force_reference"}, (None, 9)) == {"before", "day into it"}
    assert by_role({"adapter", "force_reference"}, (91, None)) == {"day out of it", "after"}
