"""A recall watches everything that a write would have to name to change it."""

from __future__ import annotations

import pytest
from oracle_cases import cal, ref

from api.services.recalls.rechecking import worked_out
from api.services.recalls.watch_rows import watch_of
from api.store.links import Window
from api.store.reading import SessionReader
from api.store.record_touch import CERTIFICATE, METHOD
from api.store.records import item_codes
from graph.moments import instant_us, time_zone


@pytest.fixture
def watched(recalled, database, recheck):
    """What a recall watches by now, items by their ids."""

    def of(key=1):
        recheck()
        with database.read() as session:
            kept = watch_of(session, key)
            assert kept == worked_out(session, key, 0).watched
            return set(item_codes(SessionReader(session), kept.items).values()), kept

    return of


def test_the_faulty_item_and_the_items_of_all_that_is_listed(watched):
    assert watched()[0] == {"REF", "WS", "A", "B"}


def test_assemblies_of_what_is_listed_and_their_other_parts(recalled, watched):
    for assembly, part in (("X", "A"), ("Y", "X"), ("Y", "PIN")):
        body = {"assembly": assembly, "part": part, "from": "2025-01-01T00:00:00Z"}
        recalled.post("/v1/compositions", body)
    # A is in X, X in Y, which holds the pin too.
    assert watched()[0] == {"REF", "WS", "A", "B", "X", "Y", "PIN"}


def test_what_a_check_of_the_faulty_item_was_made_against_and_what_that_rests_on(recalled, watched):
    check = {"id": "K", "item": "REF", "at": "2025-03-01T00:00:00Z", "result": "pass"}
    recalled.post("/v1/checks", check | {"against": "GOOD"})
    assert watched()[0] == {"REF", "WS", "A", "B", "GOOD", "GOLD"}


def test_what_only_a_fresh_recall_would_list(recalled, watched):
    recalled.record(cal("C-3", "X", "05-01", [ref("WS")]))
    assert watched()[0] == {"REF", "WS", "A", "B", "X"}


def test_the_window_and_the_roles_of_the_faulty_item(watched):
    zone = time_zone("UTC")
    first, last = (instant_us(f"2025-{day}T00:00:00Z", zone) for day in ("01-01", "12-31"))
    # A window does not hold the very instant at which it starts.
    assert watched()[1].windows == {Window(first + 1, last, ("force_reference",))}


@pytest.mark.parametrize(
    ("named", "words"),
    [({"method": "M-1"}, {(METHOD, "M-1")}), ({"certificate": "W-1"}, {(CERTIFICATE, "W-1")})],
)
def test_the_method_or_certificate_that_a_fault_names(recalled, watched, named, words):
    recalled.fault = named | {"kind": "unknown"}
    recalled.report()
    items, kept = watched(2)
    assert kept.words == words
    assert ("WS" in items) is ("certificate" in named)
