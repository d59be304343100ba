"""Whatever happens, no token, hash or webhook secret stands in the log or on the terminal."""

from __future__ import annotations

import hashlib
import logging
import re
from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Thread

import pytest
from click.testing import CliRunner
from oracle_cases import cal, lab, ref
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from api.cli import main
from api.services.access import keys
from api.services.feed import webhooks
from api.store.tables import ApiKey

# A token, its secret alone, a SHA-256, a secret of a webhook.
SECRET = re.compile(r"th_[0-9a-f]{16}_\w|whsec_\w|\b[0-9a-f]{64}\b|Bearer th_")


@pytest.fixture
def log(caplog):
    """Everything that is logged, at the lowest level, of libraries too."""
    caplog.set_level(logging.DEBUG)
    for name in ("sqlalchemy.engine", "urllib3", "waitress", "werkzeug", "api"):
        caplog.set_level(logging.DEBUG if name != "sqlalchemy.engine" else logging.INFO, name)

    def read():
        return "\n".join(
            caplog.handler.formatter.format(record) if caplog.handler.formatter else ""
            for record in caplog.records
        )

    return read


@pytest.fixture
def database(own_database):
    """Database whose connections are opened while everything is logged."""
    return own_database


@pytest.fixture
def app(own_app):
    """Application that a view is added to."""
    return own_app


@pytest.fixture
def failing(app):
    """A view that fails while the caller's key is at hand, and one whose statement fails."""

    @app.get("/fail")
    def fail():
        raise RuntimeError("something is wrong")

    return app


def secret_of(token: str) -> tuple[str, str]:
    secret = token.split("_", 2)[2]
    return secret, hashlib.sha256(secret.encode()).hexdigest()


def test_requests_failures_and_deliveries_tell_no_secret(
    failing, client, database, database_url, log, capfd
):
    failing.config["WEBHOOKS_TO_PRIVATE"] = True
    failing.config["PROPAGATE_EXCEPTIONS"] = False
    made = client.post("/v1/keys", json={"name": "bench", "scopes": ["read"]}).get_json()
    rotated = client.post(f"/v1/keys/{made['id']}/rotation", json={}).get_json()
    server = HTTPServer(("127.0.0.1", 0), Refusing)
    thread = Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    try:
        url = f"http://127.0.0.1:{server.server_port}/"
        hook = client.post("/v1/webhooks", json={"url": url}).get_json()
        client.post("/v1/imports", json=lab(cal("C-1", "I-1", "02-01", [ref("REF")])))
        environment = {
            "TRACEHOLD_DATABASE_URL": database_url,
            "TRACEHOLD_WEBHOOKS_TO_PRIVATE": "yes",
        }
        done = CliRunner(env=environment).invoke(main, ["webhooks", "deliver"])
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
    assert "refused, to be tried again" in done.stderr
    for headers in ({}, {"Authorization": f"Bearer {made['token']}x"}, {"Authorization": "x"}):
        client.get("/v1/keys", headers=headers)
        assert client.get("/fail", headers=headers).status_code == 500
    client.get("/v1/keys", headers={"Authorization": f"Bearer {rotated['token']}"})
    written = log() + done.output + "".join(capfd.readouterr())
    assert "something is wrong" in written
    assert "INSERT INTO api_key" in written
    for token in (made["token"], rotated["token"], client.token):
        for secret in secret_of(token):
            assert secret not in written
    assert hook["secret"] not in written


class Refusing(BaseHTTPRequestHandler):
    def do_POST(self):
        self.send_response(500)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *args):
        pass


def test_a_statement_that_fails_does_not_print_its_values(database, log):
    now = 1_700_000_000_000_000
    with database.write() as session:
        record, token = keys.create_key(session, "bench", ["read"], now=now)
        _, secret = webhooks.create(
            session, {"url": "https://example.org", "events": []}, now, to_private=False
        )
    with database.read() as session:
        row = session.get_one(ApiKey, record.id)
    again = {
        column.name: getattr(row, column.name)
        for column in ApiKey.__table__.columns
        if column.name != "id"
    }
    with pytest.raises(IntegrityError) as failed, database.write() as session:
        session.add(ApiKey(**again))
    logging.getLogger("api").error("it failed", exc_info=failed.value)
    statement = text("INSERT INTO webhook (id, secret) VALUES (1, :secret)")
    with pytest.raises(IntegrityError) as failed, database.write() as session:
        session.execute(statement, {"secret": secret})
    logging.getLogger("api").error("it failed", exc_info=failed.value)
    written = log()
    assert "INSERT INTO" in written
    assert SECRET.search(written) is None
    assert all(part not in written for part in secret_of(token))


def test_an_address_of_a_database_that_cannot_be_read_is_not_repeated():
    environment = {"TRACEHOLD_DATABASE_URL": "postgresql//name:open-sesame@host/lab"}
    done = CliRunner(env=environment).invoke(main, ["migrate"])
    assert done.exit_code == 3
    assert "open-sesame" not in done.output
