"""The rows beside a stored recall are replaced as a whole, and only where they differ."""

from __future__ import annotations

from api.services.recalls.differences import Seen
from api.services.recalls.watch_rows import elsewhere_of, keep_elsewhere, watch, watch_of
from api.store.links import Window
from api.store.record_touch import Watched

WATCHED = (
    Watched(frozenset({1, 2}), frozenset({Window(None, 5, ("adapter",))}), frozenset()),
    Watched(frozenset({2, 3}), frozenset(), frozenset({("method", "M-1")})),
    Watched(),
)
ELSEWHERE = (
    {1: Seen("affected", "a"), 2: None},
    {1: Seen("affected", "b"), 3: Seen("cleared", "c")},
    {},
)


def test_what_is_watched_is_what_was_said_last(recalled, database):
    for one in WATCHED:
        with database.write() as session:
            watch(session, 1, one)
        with database.read() as session:
            assert watch_of(session, 1) == one


def test_where_a_fresh_recall_differs_is_kept_and_news_are_told_from_what_was_known(
    recalled, database
):
    for one in ELSEWHERE:
        for new in (True, False):
            with database.write() as session:
                assert keep_elsewhere(session, 1, one) is new
            with database.read() as session:
                assert elsewhere_of(session, 1) == one
