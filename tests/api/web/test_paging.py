"""Pages by key: nothing is lost or shown twice while records are added."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from api.store.paging import page
from api.store.tables import Customer
from api.web import paging
from api.web.blueprints import Blueprint
from api.web.transactions import reading, writing


@pytest.fixture
def app(own_app):
    """Application that tests here add views to."""
    return own_app


@pytest.fixture
def trial(app, client):
    """Client of an app that lists 25 customers by name."""
    blp = Blueprint("trial", __name__)

    @blp.route("/customers")
    @blp.arguments(paging.PageQuery, location="query")
    def listed(query):
        with reading() as session:
            rows, key = page(
                session, select(Customer.name), [Customer.name], paging.after(query), query["limit"]
            )
        return paging.answer([row.name for row in rows], key)

    app.register_blueprint(blp)
    with app.test_request_context(), writing() as session:
        session.add_all(Customer(name=f"C-{n:02}") for n in range(25))
    return client


def walk(client, address):
    """Pages of a list, followed by ``next``."""
    while address is not None:
        body = client.get(address).get_json()
        yield body["items"]
        address = body["next"]


@pytest.mark.parametrize("limit", [1, 7, 24, 25, 26, 1000])
def test_all_entries_come_once_and_in_order_whatever_the_limit(trial, limit):
    pages = list(walk(trial, f"/customers?limit={limit}"))
    assert [name for names in pages for name in names] == [f"C-{n:02}" for n in range(25)]
    assert all(len(names) <= limit for names in pages)
    assert len(pages) == -(-25 // limit)


def test_the_default_is_a_hundred_a_page(trial):
    assert paging.PageQuery().load({})["limit"] == 100


def test_an_entry_added_behind_the_cursor_is_seen_and_one_before_it_moves_nothing(app, trial):
    first = trial.get("/customers?limit=10").get_json()
    with app.test_request_context(), writing() as session:
        session.add_all([Customer(name="A-00"), Customer(name="C-095")])
    second = trial.get(first["next"]).get_json()
    assert second["items"][:2] == ["C-095", "C-10"]


def test_the_link_header_says_the_same_as_next_and_ends_with_the_list(trial):
    answer = trial.get("/customers?limit=20")
    assert answer.headers["Link"] == f'<{answer.get_json()["next"]}>; rel="next"'
    last = trial.get(answer.get_json()["next"])
    assert "Link" not in last.headers
    assert last.get_json()["next"] is None


@pytest.mark.parametrize("limit", ["0", "1001", "-1", "ten", "1.5"])
def test_a_limit_out_of_range_is_refused_by_name(trial, limit):
    answer = trial.get(f"/customers?limit={limit}")
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["parameter"] == "limit"


# "WzFd" is base64url of [1], "WyJhIiwxXQ" of ["a",1], "IkEi" of "A".
@pytest.mark.parametrize("cursor", ["WzFd", "WyJhIiwxXQ", "IkEi", "not!base64", "é", "AAAA"])
def test_a_cursor_that_was_not_given_out_for_this_list_is_refused(trial, cursor):
    answer = trial.get("/customers", query_string={"cursor": cursor})
    assert answer.status_code in (400, 422)
    assert "cursor" in answer.get_json()["detail"]


def test_an_unknown_query_parameter_is_refused_by_name(trial):
    answer = trial.get("/customers?lmit=5")
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["parameter"] == "lmit"


def test_other_query_parameters_stay_in_the_next_address(app):
    with app.test_request_context("/customers?limit=2&cursor=old&a=b%26c"):
        body, _, _ = paging.answer(["x", "y"], ("y",))
    assert body["next"] == "/customers?limit=2&a=b%26c&cursor=WyJ5Il0"
