"""The server is killed with SIGKILL while it imports: afterwards all of it is there, or nothing.

A real process serves the database. It is killed at a random moment, from the first byte of the
request until after the usual end of the import; the database is then opened again and counted.
"""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
import requests
import sqlalchemy as sa
from oracle_cases import cal, ref

from api.services.access.keys import SCOPES, create_key
from api.store.database import Database
from api.store.tables import Certificate, Composition, ImportRun, Item, Result, Usage

ROOT = Path(__file__).parents[2]
ROUNDS = 4
CALIBRATIONS = 400
RECORDS = (Item, Composition, Certificate, Usage, Result, ImportRun)
SERVE = """
import sys
from waitress.server import create_server
from api.app import create_app
from api.store.database import Database
server = create_server(create_app(database=Database(sys.argv[1])), host="127.0.0.1", port=0)
print(server.effective_port, flush=True)
server.run()
"""


def laboratory(name: str) -> bytes:
    """A laboratory of its own names, so that every round adds to what is there."""
    items = [{"id": f"{name}-{n}", "kind": "customer_instrument"} for n in range(CALIBRATIONS)]
    items += [{"id": f"{name}-REF", "kind": "reference_standard"}]
    holding = {"assembly": f"{name}-0", "part": f"{name}-1", "from": "2025-01-01T00:00:00Z"}
    calibrations = [
        cal(f"{name}-C-{n}", f"{name}-{n}", "02-01", [ref(f"{name}-REF")])
        for n in range(CALIBRATIONS)
    ]
    made = {"items": items, "composition": [holding], "calibrations": calibrations}
    return json.dumps(made).encode()


@contextmanager
def serving(url: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Serve the database from another process; yields it and its address."""
    command = [sys.executable, "-c", SERVE, url]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            port = process.stdout.readline().strip()
            assert port, "the server did not start"
            yield process, f"http://127.0.0.1:{port}"
        finally:
            process.kill()


def send(address: str, token: str, body: bytes, answers: list[int]) -> None:
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    with suppress(requests.RequestException):
        sent = requests.post(f"{address}/v1/imports", data=body, headers=headers, timeout=60)
        answers.append(sent.status_code)


def counts(database: Database) -> dict[str, int]:
    with database.read() as session:
        return {
            table.__tablename__: session.scalar(sa.select(sa.func.count()).select_from(table)) or 0
            for table in RECORDS
        }


def settled(database: Database) -> dict[str, int]:
    """Counts once PostgreSQL has noticed that the client of an open transaction is gone."""
    if not database.is_sqlite:
        with database.write() as session:
            session.execute(sa.text("LOCK TABLE import_run IN ACCESS EXCLUSIVE MODE"))
    return counts(database)


def whole() -> dict[str, int]:
    each = {"item": CALIBRATIONS + 1, "composition": 1, "import_run": 1}
    return each | dict.fromkeys(("certificate", "usage", "result"), CALIBRATIONS)


def added(before: dict[str, int], after: dict[str, int]) -> dict[str, int]:
    return {name: after[name] - before[name] for name in after}


@pytest.mark.long
def test_an_import_that_is_killed_leaves_all_of_it_or_nothing(database_url):
    database = Database(database_url)
    with database.write() as session:
        _, token = create_key(session, "crash", SCOPES, now=time.time_ns() // 1000)
    nothing = dict.fromkeys(whole(), 0)
    with serving(database_url) as (_, address):
        begun = time.monotonic()
        answers: list[int] = []
        send(address, token, laboratory("FIRST"), answers)
        usual = time.monotonic() - begun
    assert answers == [201]
    assert counts(database) == whole()

    chance = random.Random(20250310)
    seen: list[Any] = []
    for number in range(ROUNDS):
        before = counts(database)
        seen.append(killed_after(chance.uniform(0, 1.1) * usual, number, database_url, token))
        database.dispose()
        done = added(before, settled(database))
        assert done in (nothing, whole())
        if seen[-1] == [201]:
            assert done == whole()  # what was acknowledged is there
    assert [] in seen  # at least one was cut off before its answer
    database.dispose()


def killed_after(seconds: float, number: int, url: str, token: str) -> list[int]:
    """Begin an import, kill the server after so long, and return the status, if one came back."""
    answers: list[int] = []
    with serving(url) as (process, address):
        arguments = (address, token, laboratory(f"R{number}"), answers)
        sender = threading.Thread(target=send, args=arguments)
        sender.start()
        time.sleep(seconds)
        os.kill(process.pid, signal.SIGKILL)
        sender.join()
    return answers


@pytest.mark.long
def test_a_killed_import_can_be_sent_again(database_url):
    database = Database(database_url)
    with database.write() as session:
        _, token = create_key(session, "crash", SCOPES, now=time.time_ns() // 1000)
    killed_after(0.2, 0, database_url, token)
    answers: list[int] = []
    with serving(database_url) as (_, address):
        send(address, token, laboratory("R0"), answers)
    assert answers == [201]
    found = counts(database)
    assert {name: found[name] for name in whole()} | {"import_run": 1} == whole()
    database.dispose()
