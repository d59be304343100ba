"""Two looks differ by who is listed where, and by what is said of each."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from api.services.recalls.differences import (
    Seen,
    any_difference,
    differences,
    differing,
    hash_of,
    stored_entries,
)
from api.store.tables import Certificate, RecallEntry

AFFECTED, OTHER = Seen("affected", "1"), Seen("affected", "2")
CLEARED, CLEARED_OTHERWISE = Seen("cleared", "3"), Seen("cleared", "4")


@pytest.mark.parametrize(
    ("before", "after", "differs"),
    [
        (AFFECTED, AFFECTED, False),
        (AFFECTED, OTHER, True),
        (AFFECTED, None, True),
        (None, AFFECTED, True),
        (AFFECTED, CLEARED, True),
        (CLEARED, AFFECTED, True),
        # What is cleared does not count, whatever is said of it.
        (CLEARED, CLEARED_OTHERWISE, False),
        (CLEARED, None, False),
        (None, CLEARED, False),
    ],
)
def test_what_counts_is_every_list_but_the_cleared(before, after, differs):
    looks = [{} if one is None else {7: one} for one in (before, after)]
    assert differing(*looks) == ({7} if differs else set())


def test_certificates_are_named_under_what_became_of_them(recalled, database):
    with database.read() as session:
        numbers = dict(session.execute(select(Certificate.number, Certificate.id)).all())
        before = {numbers["W-1"]: AFFECTED, numbers["C-1"]: AFFECTED, numbers["C-2"]: AFFECTED}
        after = {numbers["W-1"]: OTHER, numbers["C-1"]: CLEARED, numbers["G-1"]: AFFECTED}
        found = differences(session, before, after)
        assert {kind: part["certificates"] for kind, part in found.items()} == {
            "added": [{"certificate": "G-1", "revision": 0, "class": "affected"}],
            "removed": [{"certificate": "C-2", "revision": 0, "class": "affected"}],
            "moved": [
                {
                    "certificate": "C-1",
                    "revision": 0,
                    "class": "cleared",
                    "from": "affected",
                    "to": "cleared",
                }
            ],
            "changed": [{"certificate": "W-1", "revision": 0, "class": "affected"}],
        }
        assert any_difference(found)
        few = differences(session, before, after, among={numbers["G-1"]})
        assert [few[kind]["count"] for kind in ("added", "removed", "moved", "changed")] == [
            1,
            0,
            0,
            0,
        ]
        assert not any_difference(differences(session, before, before))


def test_a_stored_entry_bears_the_hash_of_its_text(recalled, database):
    with database.read() as session:
        texts = session.execute(
            select(RecallEntry.certificate_id, RecallEntry.list_name, RecallEntry.body)
        ).all()
        expected = {key: Seen(name, hash_of(body)) for key, name, body in texts}
        assert stored_entries(session, 1) == expected
        assert len(expected) == 3
