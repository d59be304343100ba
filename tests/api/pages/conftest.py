"""The invented laboratory on SQLite, and somebody who signs in and looks at its pages."""

from __future__ import annotations

import re
from html import unescape

import pytest
from flask import Flask
from werkzeug.test import TestResponse

from api.store.database import Database
from tests.browser.site import build
from tests.databases import OnSqlite

_TOKEN = re.compile(r'name="token" value="([0-9a-f]{64})"')
_ONCE = re.compile(r'name="once" value="([^"]+)"')
_VERSION = re.compile(r'name="version" value="([^"]+)"')


class Visitor:
    """A browser without scripts: it keeps cookies and sends the forms that pages hold."""

    def __init__(self, app: Flask) -> None:
        self.client = app.test_client()

    def get(self, address: str, **options) -> TestResponse:
        """Open a page."""
        return self.client.get(address, **options)

    def sign_in(self, token: str, **fields: str) -> TestResponse:
        """Enter a key."""
        form = self.get("/sign-in").text
        sent = {"token": hidden(form, _TOKEN), "key": token, **fields}
        return self.client.post("/sign-in", data=sent)

    def send(self, page: str, action: str, /, **fields) -> TestResponse:
        """Send a form to an address with the hidden fields of the page that showed it."""
        shown = self.get(page).text
        sent = {"token": hidden(shown, _TOKEN), "once": hidden(shown, _ONCE)}
        if _VERSION.search(shown):
            sent["version"] = hidden(shown, _VERSION)
        return self.client.post(action, data=sent | fields)


def hidden(page: str, field: re.Pattern[str]) -> str:
    """Value of a hidden field."""
    found = field.search(page)
    assert found is not None, page
    return unescape(found[1])


@pytest.fixture(scope="session")
def demo(sqlite_place: OnSqlite) -> str:
    """Name under which the invented laboratory is kept, with two recalls and two set-up checks."""
    build(sqlite_place.kept("demo"))
    return "demo"


@pytest.fixture
def database(demo: str, sqlite_place: OnSqlite) -> Database:
    """Return the worker's SQLite database with a copy of it."""
    sqlite_place.fill(demo)
    return sqlite_place.database


@pytest.fixture
def stranger(app: Flask) -> Visitor:
    """Somebody who did not sign in."""
    return Visitor(app)


@pytest.fixture
def visitor(app: Flask, keys) -> Visitor:
    """Somebody signed in with a key that may do everything."""
    made = Visitor(app)
    assert made.sign_in(keys.token()).status_code == 303
    return made


@pytest.fixture
def signed_in(app: Flask, keys):
    """Sign somebody in with a key of these scopes, perhaps a customer's."""

    def make(*scopes: str, customer: str | None = None) -> Visitor:
        made = Visitor(app)
        assert made.sign_in(keys.token(*scopes, customer=customer)).status_code == 303
        return made

    return make
