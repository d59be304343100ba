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
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from api.app import create_app
from api.commands.embedded import serving
from api.services.keys import SCOPES, create_key
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


@dataclass(slots=True)
class Site:
    """A served laboratory: its address, and keys of the laboratory and of one customer."""

    url: str
    database_url: str
    token: str
    customer: str
    customer_token: str


def build(path: Path) -> None:
    """Make the database of the demonstration: the laboratory, two recalls, two set-up checks."""
    database = Database(f"sqlite:///{path}")
    migrate.upgrade(database)
    token = _key(database, "builder")
    client = create_app(Settings(), database).test_client()
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def post(address: str, body: Any) -> None:
        sent = body if isinstance(body, bytes) else json.dumps(body)
        answer = client.post(address, data=sent, headers=headers)
        assert answer.status_code == 201, answer.text

    story = json.loads(DEMO.joinpath("story.json").read_bytes())
    post("/v1/imports", DEMO.joinpath("laboratory.json").read_bytes())
    about = {"name": "Marrowvale Force Laboratory", "contact": "quality manager, extension 12"}
    tag = client.get("/v1/laboratory", headers=headers).headers["ETag"]
    changed = client.patch("/v1/laboratory", json=about, headers=headers | {"If-Match": tag})
    assert changed.status_code == 200, changed.text
    for one in json.loads(DEMO.joinpath("requirements.json").read_bytes()):
        post("/v1/requirements", one)
    for one in json.loads(DEMO.joinpath("setups.json").read_bytes()):
        post("/v1/setup-checks", one["setup"])
    for name in ("fault", "second_fault"):
        post("/v1/recalls", {"fault": story[name]})
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
    with serving(create_app(Settings(), database)) as url:
        yield Site(url, database.url, token, customer, customer_token)
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

    def sign_in(self, token: str | None = None) -> None:
        """Sign in as a person would."""
        self.go("/sign-in")
        self.page.get_by_label("API key").fill(token or self.site.token)
        self.page.get_by_role("button", name="Sign in").click()
        self.page.get_by_role("button", name="Sign out").wait_for()

    def accessible(self) -> list[str]:
        """What axe-core finds serious or critical on the present page (WCAG 2.2 A and AA)."""
        self.page.evaluate(AXE.read_text("utf-8"))
        found = self.page.evaluate(
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', "
            "'wcag22aa', 'best-practice']})"
        )
        return [
            f"{one['id']} ({one['impact']}): {one['help']} at "
            + "; ".join(str(node["target"]) for node in one["nodes"][:4])
            for one in found["violations"]
            if one["impact"] in ("serious", "critical")
        ]


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
    assert seen.complaints == []
