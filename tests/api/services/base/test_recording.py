"""What every recording shares: identities, faults and their pointers."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from api.errors import Conflict, InvalidRecord, UnknownReference
from api.services.base.recording import MOST_ISSUES, Recording, begin, remarks, repeated, zone_of
from api.store.tables import Item, Laboratory


@pytest.fixture
def recording(database):
    """A recording in a transaction that is rolled back."""
    with database.write() as session:
        yield Recording(session, 0)
        session.rollback()


def test_remarks_are_the_texts_that_decide_nothing():
    assert remarks({"title": "t", "note": "n", "id": "x"}) == {"title": "t"}
    assert remarks({"note": "n"}) is None


def test_an_identity_that_stands_twice_is_refused_at_the_second_place(recording):
    repeated(recording, "items", ["a", "b", "a", "a"], ["A", "B", "A", "A"])
    assert [one.pointer for one in recording.issues] == ["/items/2", "/items/3"]
    assert "number 0" in recording.issues[0].detail


def test_pointers_begin_at_the_collection_or_at_a_single_record(recording):
    assert recording.place("items", 3, "a/b") == "/items/3/a~1b"
    recording.single = "items"
    assert recording.place("items", 0, "a/b") == "/a~1b"


def test_faults_are_raised_together_and_before_conflicts(recording):
    recording.check()
    recording.conflict("/a", "clash", "compare")
    with pytest.raises(Conflict):
        recording.check()
    recording.refuse("/b", "wrong", "mend it", "x" * 500)
    with pytest.raises(InvalidRecord) as caught:
        recording.check()
    (issue,) = caught.value.issues
    assert (issue.pointer, len(issue.value or "")) == ("/b", 200)


def test_a_dangling_link_makes_it_an_unknown_reference(recording):
    assert recording.item("GHOST", "/item") is None
    with pytest.raises(UnknownReference):
        recording.check()


def test_a_file_with_too_many_faults_is_told_the_first_of_them(recording):
    for number in range(MOST_ISSUES + 5):
        recording.refuse(f"/{number}", "wrong", "mend it")
    assert len(recording.issues) == MOST_ISSUES


def test_many_items_are_looked_up_at_once(recording):
    codes = [f"I-{number}" for number in range(1_500)]
    recording.session.add_all(
        Item(code=code, kind="adapter", content_hash="", recorded_us=0) for code in codes
    )
    recording.session.flush()
    recording.know_items({*codes, "GHOST"})
    assert recording.items.keys() == set(codes)


def test_the_zone_is_utc_until_one_is_recorded(database):
    with database.write() as session:
        assert zone_of(session) == ZoneInfo("UTC")
        session.add(Laboratory(id=1, time_zone="Europe/Vienna"))
        session.flush()
        assert zone_of(session) == ZoneInfo("Europe/Vienna")
        assert begin(session, 0).zone == ZoneInfo("Europe/Vienna")
