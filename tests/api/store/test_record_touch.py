"""What was written behind a position, and whether it may concern a recall.

Expected from the definition of a window: a certificate lies in it if any instant of
it does, ends included; who names one of the roles does not lack them.
"""

from __future__ import annotations

import json

import pytest
from oracle_cases import cal, lab, ref

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store.reading import SessionReader
from api.store.record_changes import position, touched
from api.store.record_touch import (
    CERTIFICATE,
    METHOD,
    RoleSpan,
    Watched,
    Window,
    concerns,
    first_concern,
    touch_since,
)
from api.store.records import item_keys
from graph.moments import instant_us, time_zone

ROLES = ("adapter", "force_reference")


@pytest.mark.parametrize(
    ("window", "span", "held"),
    [
        (Window(10, 20, ROLES), RoleSpan("", 5, 10), True),
        (Window(10, 20, ROLES), RoleSpan("", 5, 9), False),
        (Window(10, 20, ROLES), RoleSpan("", 20, 30), True),
        (Window(10, 20, ROLES), RoleSpan("", 21, 30), False),
        (Window(None, None, ROLES), RoleSpan("|environment|", 1, 1), True),
        (Window(10, 20, ROLES), RoleSpan("|adapter||environment|", 15, 15), False),
        (Window(10, 20, ("force",)), RoleSpan("|force_reference|", 15, 15), True),
    ],
)
def test_a_window_holds_whoever_lacks_its_roles_at_any_instant_of_it(window, span, held):
    assert window.holds(span) is held


def put(database, **parts):
    loaded = LaboratorySchema().load(json.loads(json.dumps(parts)))
    with database.write() as session:
        import_laboratory(session, loaded, 0)


@pytest.fixture
def written(database):
    """W-1 of WS by REF, then C-1 of A by WS and method M-1."""
    put(database, **lab(cal("W-1", "WS", "01-10", [ref("REF")])))
    put(
        database,
        items=[{"id": "A", "kind": "customer_instrument"}],
        calibrations=[cal("C-1", "A", "02-01", [ref("WS")], method="M-1")],
    )
    return database


def keys(session, *codes):
    return frozenset(item_keys(SessionReader(session), codes))


def test_a_touch_is_made_of_items_used_and_calibrated_and_of_adjoining_ranges(written):
    with written.read() as session:
        everything = touch_since(session, 0)
        assert everything.items == keys(session, "WS", "REF", "A")
        assert everything.ranges == ((1, 2),)
        assert everything.position == position(session) == 2
        later = touch_since(session, 1)
        assert later.items == keys(session, "WS", "A")
        assert touch_since(session, 0, 1).items == keys(session, "WS", "REF")
        assert touch_since(session, 2).items == frozenset()
        at = instant_us("2025-02-01T10:00:00Z", time_zone("UTC"))
        assert later.spans == (RoleSpan("|force_reference|", at, at),)


def test_a_recall_is_concerned_by_its_items_words_and_windows(written):
    with written.read() as session:
        later = touch_since(session, 1)
        inside = Window(None, None, ("adapter",))
        for watched, concerned in (
            (Watched(keys(session, "WS")), True),
            (Watched(keys(session, "REF")), False),
            (Watched(words=frozenset({(METHOD, "M-1")})), True),
            (Watched(words=frozenset({(METHOD, "M-2")})), False),
            (Watched(words=frozenset({(CERTIFICATE, "C-1")})), True),
            (Watched(words=frozenset({(CERTIFICATE, "W-1")})), False),
            (Watched(windows=frozenset({inside})), True),
            (Watched(windows=frozenset({inside._replace(last_us=0)})), False),
        ):
            assert concerns(session, later, watched) is concerned
            assert first_concern(session, 1, watched) == (2 if concerned else None)
        assert first_concern(session, 0, Watched(keys(session, "REF"))) == 1


def test_items_that_are_named_without_a_certificate_are_kept_apart(written):
    with written.write() as session:
        reference = keys(session, "REF")
        touched(session, "a check was recorded", 0, items=reference)
    with written.read() as session:
        touch = touch_since(session, 2)
        assert touch.named == touch.items == reference
        assert touch.ranges == ()
