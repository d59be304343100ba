"""The invented laboratory on a server of its own, and a browser that looks at it.

Everything is on this machine: the browser is Debian's Chromium, and a request to any other host is
a failure, as is whatever a page writes to the console as an error.
"""

from __future__ import annotations

import json
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from api.app import create_app
from api.commands.embedded import serving
from api.pages.sessions import COOKIE
from api.services.access import page_sessions
from api.services.access.keys import SCOPES, create_key, verify
from api.settings import Settings
from api.store import migrate
from api.store.database import Database
from api.store.journal import Author

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
DEMO = Path(__file__).resolve().parents[2] / "fixtures" / "demo_lab"
AXE = Path(__file__).parent / "axe" / "axe.min.js"
DESKTOP = {"width": 1280, "height": 900}
PHONE = {"width": 390, "height": 844}
STANDARDS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
OF_A_WIDTH = ("target-size", "scrollable-region-focusable", "css-orientation-lock")


@dataclass(slots=True)
class Site:
    """A served laboratory: its address, keys of the laboratory and of one customer, and the cookie
    of somebody who signed in with the first.
    """

    url: str
    database_url: str
    token: str
    customer: str
    customer_token: str
    cookie: str


def build(path: Path) -> None:
    """Make the database of the demonstration: the laboratory, two recalls, two set-up checks."""
    with _asking(path, new=True) as ask:
        story = json.loads(DEMO.joinpath("story.json").read_bytes())
        ask("POST", "/v1/imports", DEMO.joinpath("laboratory.json").read_bytes())
        about = {"name": "Marrowvale Force Laboratory", "contact": "quality manager, extension 12"}
        ask("PATCH", "/v1/laboratory", about, etag_of="/v1/laboratory")
        for one in json.loads(DEMO.joinpath("requirements.json").read_bytes()):
            ask("POST", "/v1/requirements", one)
        for one in json.loads(DEMO.joinpath("setups.json").read_bytes()):
            ask("POST", "/v1/setup-checks", one["setup"])
        for name in ("fault", "second_fault"):
            ask("POST", "/v1/recalls", {"fault": story[name]})


def work_on(path: Path) -> None:
    """Carry the first recall on: assessed, noticed, answered, looked at again."""
    story = json.loads(DEMO.joinpath("story.json").read_bytes())
    case = "/v1/recalls/1/case"
    with _asking(path) as ask:
        step = {"by": "Ida Example", "reason": "the comparison was repeated with the same result"}
        ask("PATCH", case, step | {"state": "assessed"}, etag_of=case)
        made = ask("POST", "/v1/recalls/1/notices", {"by": "Ida Example"})["items"]
        for one in made[:4]:
            told = {"to": one["customer"], "how": "email", "by": "Ida Example"}
            ask("POST", f"/v1/recalls/1/notices/{one['id']}/deliveries", told)
        answered = {"from": "quality manager", "how": "phone", "by": "Tor Example"}
        ask("POST", f"/v1/recalls/1/notices/{made[0]['id']}/acknowledgements", answered)
        again = story["fault"] | {"delta_rel": "-0.0009", "last_good_at": "2025-05-01"}
        ask("POST", "/v1/recalls", {"fault": again, "previous": 1})


@contextmanager
def _asking(path: Path, *, new: bool = False) -> Iterator[Any]:
    """Ask the API of a database, and have everything in its one file at the end."""
    database = Database(f"sqlite:///{path}")
    if new:
        migrate.upgrade(database)
    client = create_app(Settings(), database).test_client()
    headers = {"Authorization": f"Bearer {_key(database, 'builder')}"}
    headers["Content-Type"] = "application/json"

    def ask(method: str, address: str, body: Any, etag_of: str | None = None) -> Any:
        tag = {}
        if etag_of is not None:
            tag = {"If-Match": client.get(etag_of, headers=headers).headers["ETag"]}
        # Files go as they are: read and written again, their numbers would lose their digits.
        data = body if isinstance(body, bytes) else json.dumps(body)
        answer = client.open(address, method=method, data=data, headers=headers | tag)
        assert answer.status_code in (200, 201), answer.text
        return answer.get_json()

    yield ask
    # Everything into the one file, so that copying it copies all.
    with database.engine.connect() as connection:
        connection.connection.dbapi_connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.dispose()


@contextmanager
def served(path: Path) -> Iterator[Site]:
    """Serve a database on this machine."""
    database = Database(f"sqlite:///{path}")
    with database.read() as session:
        customer = _a_customer(session)
    token = _key(database, "quality manager")
    customer_token = _key(database, "customer's key", ("read",), customer)
    with database.write() as session:
        now = time.time_ns() // 1000
        key = verify(session, token, now)
        assert key is not None
        cookie = page_sessions.open_session(session, key, None, now)
    with serving(create_app(Settings(), database)) as url:
        yield Site(url, database.url, token, customer, customer_token, cookie)
    database.dispose()


def _a_customer(session: Any) -> str:
    from sqlalchemy import func, select

    from api.store.tables import Certificate, Customer

    most = (
        select(Customer.name)
        .join(Certificate, Certificate.customer_id == Customer.id)
        .group_by(Customer.name)
        .order_by(func.count().desc(), Customer.name)
        .limit(1)
    )
    name: str = session.scalars(most).one()
    return name


def _key(
    database: Database, name: str, scopes: tuple[str, ...] = SCOPES, customer: str | None = None
) -> str:
    with database.write(Author("test")) as session:
        now = time.time_ns() // 1000
        _, token = create_key(session, name, scopes, customer, now=now)
    return token


@contextmanager
def browser() -> Iterator[Browser]:
    """Start Debian's Chromium without a window."""
    from playwright.sync_api import sync_playwright

    # Chromium refuses its sandbox to root, as whom containers run.
    arguments = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield started
        started.close()


@dataclass(slots=True)
class Watched:
    """A page of the browser, and what it did that it must not do."""

    page: Page
    site: Site
    complaints: list[str] = field(default_factory=list)

    def go(self, path: str) -> None:
        """Open an address of the site."""
        self.page.goto(self.site.url + path)

    def is_signed_in(self) -> None:
        """Carry the cookie of somebody who signed in before."""
        cookie = {"name": COOKIE, "value": self.site.cookie, "url": self.site.url}
        self.page.context.add_cookies([cookie | {"httpOnly": True, "sameSite": "Strict"}])

    def sign_in(self, token: str | None = None) -> None:
        """Sign in as a person would."""
        self.go("/sign-in")
        self.page.get_by_label("Key", exact=True).fill(token or self.site.token)
        self.page.get_by_role("button", name="Sign in").click()
        self.page.get_by_role("button", name="Sign out").wait_for()

    def accessible(self, *, again: bool = False) -> list[str]:
        """What axe-core finds serious or critical on the present page (WCAG 2.2 A and AA).

        With `again`, after the width of the window was changed, only what a width can change.
        """
        options = {"runOnly": list(OF_A_WIDTH if again else STANDARDS)}
        if not again:
            self.page.evaluate(axe())
        found = self.page.evaluate("options => axe.run(document, options)", options)
        return [
            f"{one['id']} ({one['impact']}): {one['help']} at "
            + "; ".join(str(node["target"]) for node in one["nodes"][:4])
            for one in found["violations"]
            if one["impact"] in ("serious", "critical")
        ]


@cache
def axe() -> str:
    """Source of axe-core."""
    return AXE.read_text("utf-8")


@contextmanager
def watched(context: BrowserContext, site: Site) -> Iterator[Watched]:
    """Open a page that is watched: no error in its console, no request to another host."""
    page = context.new_page()
    seen = Watched(page, site)
    host = urlsplit(site.url).netloc

    def request(one: Any) -> None:
        address = urlsplit(one.url)
        if address.scheme not in ("data", "blob") and address.netloc != host:
            seen.complaints.append(f"request to {one.url}")

    def said(message: Any) -> None:
        # A form that is sent back with what to mend answers 422, which the browser reports.
        expected = "status of 4" in message.text
        if message.type in ("error", "warning") and not expected:
            seen.complaints.append(f"console: {message.text}")

    page.on("request", request)
    page.on("console", said)
    page.on("pageerror", lambda error: seen.complaints.append(f"script: {error}"))
    yield seen
    assert seen.complaints == [], seen.complaints
