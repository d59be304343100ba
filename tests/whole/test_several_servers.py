"""Three server processes on one PostgreSQL are one laboratory: whom a client asks does not matter.

Needs a real PostgreSQL, since one server process is the rule on SQLite.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
import requests
import sqlalchemy as sa

from api.services.access.keys import SCOPES, create_key
from api.store import migrate
from api.store.database import Database
from api.store.tables import Certificate, Recall, StoredDecision
from api.web.auth import REMEMBERED_S
from tests.databases import POSTGRES, new_postgresql

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "fixtures" / "demo_lab"
FAULT = json.loads((DEMO / "story.json").read_text("utf-8"))["fault"]
SERVERS = 3
DECISION = {"value": "10.012", "U": "0.004", "unit": "kN", "rule": "guard_U"}
DECISION |= {"limits": {"upper": "10.015"}}  # 10.012 is above 10.015 - 0.004
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not POSTGRES, reason="TRACEHOLD_TEST_POSTGRES names no PostgreSQL"),
]


@pytest.fixture(scope="module")
def several() -> Iterator[tuple[list[str], Database]]:
    """Addresses of three server processes, and the database that they share."""
    with new_postgresql() as url:
        database = Database(url)
        migrate.upgrade(database)
        command = [sys.executable, "-m", "api", "serve", "--port", "0"]
        environment = {**os.environ, "TRACEHOLD_DATABASE_URL": url}
        processes = [
            subprocess.Popen(command, cwd=ROOT, env=environment, stderr=subprocess.PIPE, text=True)
            for _ in range(SERVERS)
        ]
        try:
            yield [address_of(process) for process in processes], database
        finally:
            for process in processes:
                process.send_signal(signal.SIGTERM)
            for process in processes:
                process.communicate(timeout=20)
            database.dispose()


def address_of(process: subprocess.Popen[str]) -> str:
    assert process.stderr is not None
    for line in process.stderr:
        if "http://" in line:
            return line[line.index("http://") :].split()[0]
    raise AssertionError("the server did not start")


@pytest.fixture(scope="module")
def send(several) -> Callable[..., requests.Response]:
    """Send a request to one of the servers."""
    addresses, database = several
    token = token_of(database)

    def sent(
        server: int, method: str, path: str, body: Any = None, token: str = token, **headers: str
    ) -> requests.Response:
        everything = {"Authorization": f"Bearer {token}"} | {
            name.replace("_", "-"): value for name, value in headers.items()
        }
        address = f"{addresses[server % SERVERS]}/v1/{path}"
        return requests.request(method, address, json=body, headers=everything, timeout=60)

    return sent


def token_of(database: Database) -> str:
    with database.write() as session:
        return create_key(session, "several", SCOPES, now=time.time_ns() // 1000)[1]


def count(database: Database, table: Any) -> int:
    with database.read() as session:
        return session.scalar(sa.select(sa.func.count()).select_from(table)) or 0


def test_what_one_server_recorded_all_others_know(several, send):
    laboratory = json.loads((DEMO / "laboratory.json").read_bytes())
    _, database = several
    # The same file to all at once: one records it, the others find it unchanged.
    with ThreadPoolExecutor(SERVERS) as pool:
        answers = list(pool.map(lambda n: send(n, "POST", "imports", laboratory), range(SERVERS)))
    assert [answer.status_code for answer in answers] == [201] * SERVERS
    created = [answer.json()["created"]["calibrations"] for answer in answers]
    whole = len(laboratory["calibrations"])
    assert sorted(created) == [0, 0, whole]
    assert count(database, Certificate) == whole

    shown = [send(n, "GET", "certificates/MV-25-0075").json() for n in range(SERVERS)]
    assert shown[0]["certificate"] == "MV-25-0075"
    assert shown == [shown[0]] * SERVERS

    def recalled(n: int) -> dict[str, Any]:
        answer = send(n, "POST", "recalls", {"fault": FAULT})
        assert answer.status_code == 201, answer.text
        found: dict[str, Any] = answer.json()
        return found

    with ThreadPoolExecutor(6) as pool:
        recalls = list(pool.map(recalled, range(6)))
    assert {one["result_hash"] for one in recalls} == {recalls[0]["result_hash"]}
    numbers = sorted(one["number"] for one in recalls)
    assert numbers == [f"R-{n:05d}" for n in range(1, 7)]  # one after the other, without gaps
    assert count(database, Recall) == 6
    for n, one in enumerate(recalls):
        again = send(n + 1, "GET", f"recalls/{one['id']}").json()
        assert again["result_hash"] == one["result_hash"]
        assert again["affected"] == one["affected"]


def test_every_decision_is_stored_once_whoever_took_it(several, send):
    _, database = several
    before = count(database, StoredDecision)
    with ThreadPoolExecutor(12) as pool:
        answers = list(pool.map(lambda n: send(n, "POST", "decisions", DECISION), range(60)))
    assert {answer.status_code for answer in answers} == {201}
    ids = {answer.json()["id"] for answer in answers}
    assert len(ids) == count(database, StoredDecision) - before == 60
    for n, key in enumerate(sorted(ids)[:SERVERS]):
        assert send(n, "GET", f"decisions/{key}").json()["verdict"] == "fail"


def test_a_request_repeated_to_another_server_is_done_once(several, send):
    _, database = several
    before = count(database, StoredDecision)

    def asked(n: int) -> requests.Response:
        while True:
            answer = send(n, "POST", "decisions", DECISION, Idempotency_Key="one-and-the-same")
            if answer.status_code != 409:  # the first one is still at work
                return answer
            time.sleep(0.05)

    with ThreadPoolExecutor(9) as pool:
        answers = list(pool.map(asked, range(9)))
    assert {answer.status_code for answer in answers} == {201}
    assert len({answer.text for answer in answers}) == 1
    assert count(database, StoredDecision) == before + 1
    other = send(
        1, "POST", "decisions", DECISION | {"U": "0.1"}, Idempotency_Key="one-and-the-same"
    )
    assert other.status_code == 422
    assert count(database, StoredDecision) == before + 1


def test_a_key_revoked_at_one_server_opens_none_of_them(several, send):
    _, database = several
    with database.write() as session:
        record, token = create_key(session, "leaving", ["read"], now=time.time_ns() // 1000)
    for n in range(SERVERS):
        assert send(n, "GET", "items", token=token).status_code == 200
    assert send(0, "DELETE", f"keys/{record.public_id}").status_code in (200, 204)
    time.sleep(REMEMBERED_S + 0.2)
    for n in range(SERVERS):
        assert send(n, "GET", "items", token=token).status_code == 401


def test_two_servers_do_not_lose_an_update(several, send):
    item = {"id": "ONE-MORE", "kind": "reference_standard"}
    assert send(0, "POST", "items", item).status_code == 201
    etag = send(1, "GET", "items/ONE-MORE").headers["ETag"]
    with ThreadPoolExecutor(SERVERS) as pool:
        answers = list(
            pool.map(
                lambda n: send(n, "PATCH", "items/ONE-MORE", {"note": f"by {n}"}, If_Match=etag),
                range(SERVERS),
            )
        )
    assert sorted(answer.status_code for answer in answers) == [200, 412, 412]
    (changed,) = (answer for answer in answers if answer.status_code == 200)
    assert send(2, "GET", "items/ONE-MORE").json()["note"] == changed.json()["note"]
