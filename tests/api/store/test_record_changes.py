"""What a transaction says that it wrote marks the recalls concerned; what it hides marks all."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from api.store.record_changes import UNKNOWN_CAUSE, position, touched
from api.store.record_watch import (
    RecallWatch,
    RecallWatchItem,
    RecordChange,
    RecordChangeItem,
)
from api.store.tables import Item, Recall, Usage

NOW = 1_750_000_000_000_000


def an_item(key):
    facts = {"kind": "working_standard", "content_hash": "", "recorded_us": NOW}
    return Item(id=key, code=f"I-{key}", **facts)


@pytest.fixture
def watched(database):
    """Two recalls: the first watches item 1, the second item 2."""
    with database.write() as session:
        session.add_all(an_item(key) for key in (1, 2, 3))
        session.flush()
        for key in (1, 2):
            empty = {"engine_version": "0", "input_hash": "", "result_hash": "", "head": "{}"}
            times = {"created_us": NOW, "as_of_us": NOW}
            session.add(Recall(id=key, number=f"R-{key}", faults=[], **empty, **times))
            session.flush()
            facts = {"position": 0, "checked_position": 0, "checked_us": NOW}
            session.add(RecallWatch(recall_id=key, engine_version="0", **facts))
            session.add(RecallWatchItem(recall_id=key, item_id=key))
    return database


def marked(database):
    with database.read() as session:
        rows = session.scalars(sa.select(RecallWatch).order_by(RecallWatch.recall_id))
        return {row.recall_id: row.marked_position for row in rows if row.marked_position}


def test_a_write_marks_the_recalls_that_watch_its_items_and_no_other(watched):
    with watched.write() as session:
        touched(session, "a check was recorded", NOW, items=[2, 3])
    assert marked(watched) == {2: 1}
    with watched.read() as session:
        change = session.get_one(RecordChange, 1)
        assert (change.cause, change.at_us, change.everything) == ("a check was recorded", NOW, 0)
        assert set(session.scalars(sa.select(RecordChangeItem.item_id))) == {2, 3}
        assert position(session) == 1


def test_a_mark_stays_that_of_the_first_write(watched):
    for cause in ("first", "second"):
        with watched.write() as session:
            touched(session, cause, NOW, items=[1])
    assert marked(watched) == {1: 1}


def test_what_concerns_everything_marks_every_recall(watched):
    with watched.write() as session:
        touched(session, "another time zone", NOW, everything=True)
    assert marked(watched) == {1: 1, 2: 1}


def test_what_is_said_to_concern_nobody_leaves_no_trace(watched):
    with watched.write() as session:
        session.get_one(Item, 1).note = "on the upper shelf"
        touched(session, "a note", NOW)
    assert marked(watched) == {}
    with watched.read() as session:
        assert position(session) == 0


@pytest.mark.parametrize("said_before", [False, True])
def test_a_write_that_says_nothing_or_goes_on_after_it_spoke_marks_every_recall(
    watched, said_before
):
    with watched.write() as session:
        if said_before:
            touched(session, "a check was recorded", NOW, items=[3])
        session.get_one(Item, 1).type = "crane_scale"
    assert marked(watched).keys() == {1, 2}
    with watched.read() as session:
        last = session.get_one(RecordChange, position(session))
        assert (last.cause, last.everything) == (UNKNOWN_CAUSE, True)


def test_a_statement_counts_as_an_object_does(watched):
    with watched.write() as session:
        session.execute(sa.delete(Usage))
    assert marked(watched).keys() == {1, 2}


def test_a_first_record_of_an_item_and_other_tables_need_not_speak(watched):
    with watched.write() as session:
        session.add(an_item(4))
        session.execute(sa.insert(Item), [{"id": 5, "code": "I-5", "kind": "pin"} | HASHED])
        session.get_one(Recall, 1).head = '{"notes":[]}'
    assert marked(watched) == {}


HASHED = {"content_hash": "", "recorded_us": NOW, "version": 1}


def test_what_is_rolled_back_marks_nobody(watched):
    with watched.write() as session:
        session.get_one(Item, 1).type = "crane_scale"
        session.flush()
        session.rollback()
    assert marked(watched) == {}
