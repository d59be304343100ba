"""Versions of a record: the key lets one writer through, and pages follow the ids."""

from __future__ import annotations

import pytest

from api.errors import InvalidRecord
from api.store import versions
from api.store.tables import Specification


def values(code: str, version: int) -> dict:
    return {
        "code": code,
        "spec_version": version,
        "definition": {"tolerance": "1"},
        "recorded_us": 0,
    }


def test_the_second_writer_of_a_version_is_told_and_its_transaction_goes_on(database):
    with database.write() as session:
        first = versions.insert(session, Specification, values("A", 1))
        assert versions.insert(session, Specification, values("A", 1)) is None
        assert versions.insert(session, Specification, values("A", 2)) != first
    with database.read() as session:
        assert versions.versions(session, Specification, "A") == [1, 2]


def test_the_latest_version_is_found_unless_another_is_asked_for(database):
    with database.write() as session:
        for code, version in (("A", 1), ("A", 2), ("A", 10), ("B", 1)):
            versions.insert(session, Specification, values(code, version))
    with database.read() as session:
        assert versions.find(session, Specification, "A").spec_version == 10
        assert versions.find(session, Specification, "A", 2).spec_version == 2
        assert versions.find(session, Specification, "C") is None
        newest = {row.code: row.spec_version for row in versions.latest(session, Specification)}
        assert newest == {"A": 10, "B": 1}
        assert versions.codes(session, Specification) == ["A", "B"]


def test_a_page_starts_behind_its_key_and_says_where_to_go_on():
    assert versions.page_of(["a", "b", "c"], None, 2) == (["a", "b"], ("b",))
    assert versions.page_of(["a", "b", "c"], ("b",), 2) == (["c"], None)
    assert versions.page_of([], None, 2) == ([], None)


@pytest.mark.parametrize("after", [(), (1,), ("a", "b")])
def test_the_key_of_another_list_is_refused(after):
    with pytest.raises(InvalidRecord):
        versions.page_of(["a"], after, 2)
