"""Sessions of views: one transaction each."""

from __future__ import annotations

import pytest
from sqlalchemy import func, select

from api.store.tables import Customer
from api.web import transactions
from api.web.transactions import reading, writing

COUNT = select(func.count()).select_from(Customer)


def test_what_was_written_is_there_afterwards(app):
    with app.test_request_context():
        with writing() as session:
            session.add(Customer(name="Lift Co"))
        with reading() as session:
            assert session.scalar(COUNT) == 1


def test_an_error_takes_everything_back(app):
    def fail() -> None:
        with writing() as session:
            session.add(Customer(name="Lift Co"))
            session.flush()
            raise RuntimeError("halfway")

    with app.test_request_context():
        with pytest.raises(RuntimeError):
            fail()
        with reading() as session:
            assert session.scalar(COUNT) == 0


def test_the_apps_database_is_the_one_it_was_made_with(app, database_url):
    with app.test_request_context():
        assert transactions.database().url == database_url
