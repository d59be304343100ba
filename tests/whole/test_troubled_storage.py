"""A full disk or a read-only database: a clear 5xx, nothing lost, nothing half-written."""

from __future__ import annotations

import pytest
import sqlalchemy as sa

from api.app import create_app
from api.services.upkeep.verification import verify
from api.settings import Settings
from api.store.database import Database

ITEM = {"id": "REF-1", "kind": "reference_standard"}
SPARE_PAGES = 12


@pytest.fixture
def database(own_database):
    """Database whose engine tests here listen to."""
    return own_database


def made_client(database, keys):
    made = create_app(Settings(), database).test_client()
    return made, keys.headers()


def whole(database):
    with database.read() as session:
        return verify(session).findings == []


@pytest.fixture
def read_only(database, database_url):
    """The same database, opened so that it refuses every change."""
    if database.is_sqlite:
        path = database_url.removeprefix("sqlite:///")
        opened = Database(f"sqlite:///file:{path}?mode=ro&uri=true")
    else:
        opened = Database(database_url)

        @sa.event.listens_for(opened.engine, "connect")
        def refuse(connection, _record):
            connection.execute("SET default_transaction_read_only = on")
            connection.commit()

    yield opened
    opened.dispose()


def test_a_read_only_database_is_read_and_says_so_when_asked_to_change(database, read_only, keys):
    written, headers = made_client(database, keys)
    assert written.post("/v1/items", json=ITEM, headers=headers).status_code == 201
    client, _ = made_client(read_only, keys)
    assert client.get("/v1/items/REF-1", headers=headers).status_code == 200
    again = {"id": "REF-2", "kind": "reference_standard"}
    refused = client.post("/v1/items", json=again, headers=headers)
    assert refused.status_code == 503
    assert "read-only" in refused.json["detail"]
    assert client.get("/v1/items/REF-2", headers=headers).status_code == 404
    assert whole(database)


def test_a_server_is_not_ready_while_nothing_fits_and_ready_again_once_it_does(database, keys):
    if not database.is_sqlite:
        pytest.skip("PostgreSQL has no limit on pages to set; test_readiness.py does it by memory")
    client, headers = made_client(database, keys)
    assert client.get("/readyz").status_code == 200
    with database.write() as session:
        session.execute(sa.text("CREATE TABLE room (filled BLOB)"))
        session.execute(sa.text("INSERT INTO room VALUES (zeroblob(400000))"))
    with database.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    most = {"pages": pages}
    database.engine.dispose()
    sa.event.listen(
        database.engine,
        "connect",
        lambda connection, _record: connection.execute(f"PRAGMA max_page_count={most['pages']}"),
    )
    refused = client.get("/readyz")
    assert refused.status_code == 503
    assert "full" in refused.json["detail"]
    items = [{"id": f"I-{n}", "kind": "customer_instrument", "note": "x" * 400} for n in range(200)]
    assert client.post("/v1/imports", json={"items": items}, headers=headers).status_code == 507
    assert client.get("/readyz").status_code == 503
    most["pages"] = pages + 1000
    database.engine.dispose()
    assert client.get("/readyz").status_code == 200
    assert client.post("/v1/imports", json={"items": items}, headers=headers).status_code == 201


def test_a_full_disk_is_named_and_what_was_there_stays_whole(database, keys):
    if not database.is_sqlite:
        pytest.skip("PostgreSQL has no limit on pages to set; its code 53100 is tested by name")
    client, headers = made_client(database, keys)

    def import_of(first):
        items = [
            {"id": f"I-{first + n}", "kind": "customer_instrument", "note": "x" * 400}
            for n in range(200)
        ]
        return client.post("/v1/imports", json={"items": items}, headers=headers)

    assert import_of(0).status_code == 201
    with database.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
    limit = f"PRAGMA max_page_count = {pages + SPARE_PAGES}"
    database.engine.dispose()
    sa.event.listen(
        database.engine, "connect", lambda connection, _record: connection.execute(limit)
    )
    refused = import_of(200)
    assert refused.status_code == 507
    assert "full" in refused.json["detail"]
    assert client.get("/v1/items/I-0", headers=headers).status_code == 200
    assert client.get("/v1/items/I-200", headers=headers).status_code == 404
    # What still fits is written.
    assert client.post("/v1/items", json=ITEM, headers=headers).status_code == 201
    assert whole(database)
