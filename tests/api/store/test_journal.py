"""The journal's lines are written with the change that they tell of, and with nothing else."""

from __future__ import annotations

import threading

import pytest
import sqlalchemy as sa

from api.services.upkeep import journal as reading
from api.store.journal import Author, JournalLine, note
from api.store.tables import Customer

AUTHOR = Author("tests.change", path="/v1/tests", key_id="abc", key_name="a test")


def lines(database):
    with database.read() as session:
        return list(reading.lines(session))


def breaches(database):
    with database.read() as session:
        return list(reading.breaches(reading.lines(session), reading.head(session)))


def change(database, name, author=AUTHOR):
    with database.write(author) as session:
        session.add(Customer(name=name, version=1))
        note(session, "customer", name=name, by="Ada Quill")


def test_a_change_and_its_line_are_committed_together(database):
    change(database, "Quillback Hire")
    ((body, hash_),) = lines(database)
    line = reading.shown(body, hash_)
    assert line["position"] == 1
    assert line["operation"] == "tests.change"
    assert line["key"] == "abc"
    assert line["person"] == "Ada Quill"
    assert line["facts"] == [{"what": "customer", "by": "Ada Quill", "name": "Quillback Hire"}]
    assert line["previous"] == "0" * 64


def test_a_change_that_fails_leaves_no_line(database):
    change(database, "Quillback Hire")
    with pytest.raises(sa.exc.IntegrityError):
        change(database, "Quillback Hire")
    assert len(lines(database)) == 1


def test_a_transaction_rolled_back_on_purpose_leaves_no_line(database):
    with database.write(AUTHOR) as session:
        note(session, "customer")
        session.rollback()
    assert lines(database) == []


def test_a_transaction_without_an_author_keeps_no_journal(database):
    change(database, "Quillback Hire", author=None)
    assert lines(database) == []


def test_lines_of_writers_that_run_at_the_same_time_make_one_chain(database):
    def work(who):
        for n in range(5):
            change(database, f"{who}-{n}")

    threads = [threading.Thread(target=work, args=(who,)) for who in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(lines(database)) == 20
    assert breaches(database) == []


@pytest.fixture
def chain(database):
    for n in range(5):
        change(database, f"Customer {n}")
    return database


def execute(database, statement):
    with database.write() as session:
        session.execute(statement)


def test_a_changed_line_is_found(chain):
    edited = sa.update(JournalLine).where(JournalLine.position == 3)
    execute(chain, edited.values(body=sa.func.replace(JournalLine.body, "Customer 2", "Nobody")))
    (found,) = breaches(chain)
    assert found.position == 3
    assert "changed" in found.detail


def test_a_changed_line_with_its_own_new_hash_is_found_by_the_next_one(chain):
    with chain.write() as session:
        row = session.get_one(JournalLine, 3)
        row.body = row.body.replace("Customer 2", "Nobody")
        row.hash = reading.hash_of(row.body)
    assert [one.position for one in breaches(chain)] == [4]


def test_a_removed_line_is_found(chain):
    execute(chain, sa.delete(JournalLine).where(JournalLine.position == 2))
    assert breaches(chain)[0].position == 2
    assert "removed" in breaches(chain)[0].detail


def test_a_line_cut_off_at_the_end_is_found(chain):
    execute(chain, sa.delete(JournalLine).where(JournalLine.position == 5))
    (found,) = breaches(chain)
    assert "ends here" in found.detail


def test_two_lines_that_changed_places_are_found(chain):
    with chain.write() as session:
        one, other = session.get_one(JournalLine, 2), session.get_one(JournalLine, 3)
        one.body, other.body = other.body, one.body
        one.hash, other.hash = other.hash, one.hash
    assert len(breaches(chain)) >= 2
