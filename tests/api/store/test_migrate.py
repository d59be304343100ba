"""The migrations and the tables say the same, and a migration is all or nothing."""

from __future__ import annotations

import threading
from fractions import Fraction

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from api.store import migrate
from api.store.database import Database
from api.store.serving import astray
from api.store.tables import Base, Certificate


def test_the_migrations_lead_to_exactly_the_tables(database):
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_constraints_that_alembic_does_not_compare_are_there_too(database):
    def names(engine: sa.Engine) -> set[str | None]:
        found = sa.inspect(engine)
        return {
            constraint["name"]
            for table in Base.metadata.tables
            for constraint in (
                *found.get_check_constraints(table),
                *found.get_unique_constraints(table),
                *found.get_foreign_keys(table),
                found.get_pk_constraint(table),
            )
        }

    wanted = {
        constraint.name
        for table in Base.metadata.tables.values()
        for constraint in table.constraints
        if isinstance(constraint.name, str)
    }
    assert names(database.engine) >= {"ck_certificate_status", "pk_item"}
    assert len(names(database.engine)) == len(wanted)


def test_a_migrated_database_is_current(database):
    assert migrate.current(database) == migrate.head() == "0016"
    assert migrate.is_current(database)


def test_migrating_again_changes_nothing(database):
    migrate.upgrade(database)
    assert migrate.is_current(database)


def test_an_empty_database_has_no_revision(tmp_path):
    empty = Database(f"sqlite:///{tmp_path / 'empty.db'}")
    assert migrate.current(empty) is None
    assert not migrate.is_current(empty)
    empty.dispose()


def test_two_servers_that_start_together_migrate_once(tmp_path):
    address = f"sqlite:///{tmp_path / 'shared.db'}"
    failures = []

    def start() -> None:
        opened = Database(address)
        try:
            migrate.upgrade(opened)
        except sa.exc.SQLAlchemyError as error:
            failures.append(error)
        opened.dispose()

    threads = [threading.Thread(target=start) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []


def test_foreign_keys_are_enforced_again_after_a_migration(tmp_path):
    opened = Database(f"sqlite:///{tmp_path / 'fresh.db'}")
    migrate.upgrade(opened)
    with opened.engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    opened.dispose()


def test_a_migration_that_fails_leaves_no_table_behind(tmp_path, monkeypatch):
    opened = Database(f"sqlite:///{tmp_path / 'half.db'}")
    path = migrate.SCRIPTS / "versions" / "0001_first.py"
    broken = tmp_path / "migrations"
    (broken / "versions").mkdir(parents=True)
    (broken / "env.py").write_text((migrate.SCRIPTS / "env.py").read_text())
    failing = path.read_text().replace(
        "\ndef downgrade", "    raise RuntimeError\n\ndef downgrade", 1
    )
    (broken / "versions" / "0001_first.py").write_text(failing)
    monkeypatch.setattr(migrate, "SCRIPTS", broken)
    with pytest.raises(RuntimeError):
        migrate.upgrade(opened)
    assert sa.inspect(opened.engine).get_table_names() == []
    opened.dispose()


def test_every_migration_can_be_undone(empty_url):
    opened = Database(empty_url)
    migrate.upgrade(opened)
    with opened.engine.begin() as connection:
        command.downgrade(migrate.configuration(connection), "base")
    assert sa.inspect(opened.engine).get_table_names() == ["alembic_version"]
    opened.dispose()


OLD = ("id", "issuer", "number", "revision", "status", "issued_at", "mode", "note")
BEFORE = [  # as the first release holds them; all were performed at 1970-01-01T00:00:01Z
    (1, "", "ALONE", 0, "issued", "1970-01-09", None, None),
    (2, "", "TWO", 0, "superseded", "1970-01-01T12:00:00Z", "Tension ", None),
    (3, "", "TWO", 1, "issued", "1970-01-02", "dual", "two cells"),
    (4, "", "UNDATED", 0, "superseded", "1970-01-01T12:00:00Z", None, None),
    (5, "", "UNDATED", 1, "issued", None, None, None),
    (6, "", "GONE", 0, "superseded", None, None, None),
    (7, "", "GONE", 1, "voided", "1970-01-02T00:00:00+01:00", None, None),
    (8, "", "DRAFT", 0, "draft", None, None, None),
    (9, "Other", "TWO", 2, "issued", "1970-01-05", None, None),
]
HOUR, DAY = 3_600_000_000, 86_400_000_000
# In Tokyo a day begins nine hours before that of UTC.
AFTER = {
    1: (8 * DAY - 9 * HOUR, 1_000_000, None),
    2: (12 * HOUR, 1_000_000, DAY - 9 * HOUR),
    3: (DAY - 9 * HOUR, DAY - 9 * HOUR, None),
    4: (12 * HOUR, None, None),
    5: (None, 1_000_000, None),
    6: (None, 1_000_000, DAY - HOUR),
    7: (DAY - HOUR, None, None),
    8: (None, None, None),
    9: (4 * DAY - 9 * HOUR, 1_000_000, None),
}


def test_older_certificates_serve_from_the_second_revision_on_as_their_dates_say(empty_url):
    opened = Database(empty_url)
    migrate.upgrade(opened, "0001")
    with opened.engine.begin() as connection:
        connection.execute(
            sa.text("INSERT INTO laboratory (id, time_zone) VALUES (1, 'Asia/Tokyo')")
        )
        _record_old(connection, BEFORE)
    migrate.upgrade(opened)
    with opened.read() as session:
        found = {
            one.id: (one.issued_us, one.serves_from_us, one.serves_until_us)
            for one in session.scalars(sa.select(Certificate))
        }
        assert found == AFTER
        assert astray(session) == []
        modes = {one.id: (one.mode, one.note) for one in session.scalars(sa.select(Certificate))}
        assert modes[2] == ("tension", None)
        assert modes[3] == (None, "two cells; mode as recorded: dual")
    opened.dispose()


def test_calibrated_ranges_of_older_certificates_are_those_of_their_results(empty_url):
    opened = Database(empty_url)
    migrate.upgrade(opened, "0004")
    results = [
        (1, "as_found", "1", "kN"),
        (1, "as_left", "0", "lbf"),
        (1, "as_left", "-200.5", "lbf"),
        (1, "as_left", "1000", "lbf"),
        (1, "as_left", None, "%"),
        (2, "single", "0", "kN"),
    ]
    with opened.engine.begin() as connection:
        _record_old(connection, BEFORE[:2])
        connection.execute(
            sa.text(
                "INSERT INTO result (certificate_id, position, point, stage, applied, unit) "
                "VALUES (:key, :position, '1', :stage, :applied, :unit)"
            ),
            [
                dict(zip(("key", "stage", "applied", "unit"), one, strict=True)) | {"position": n}
                for n, one in enumerate(results)
            ],
        )
    migrate.upgrade(opened)
    with opened.read() as session:
        found = [
            (one.span_from, one.span_to)
            for one in session.scalars(sa.select(Certificate).order_by(Certificate.id))
        ]
    # Of what was left, zero set aside. 1 lbf = 4.448 221 615 260 5 N exactly (0.453 592 37 kg x
    # 9.806 65 m/s2), so that -200.5 lbf = -891.868 433 859 730 25 N.
    assert [Fraction(one) for one in found[0]] == [
        Fraction("-891.86843385973025"),
        Fraction("4448.2216152605"),
    ]
    assert found[1] == (None, None)
    opened.dispose()


def _record_old(connection, certificates):
    """Record an item and certificates of it in the words of an older schema."""
    connection.execute(
        sa.text(
            "INSERT INTO item (id, code, kind, content_hash, recorded_us, version) "
            "VALUES (1, 'A', 'readout', '', 0, 1)"
        )
    )
    connection.execute(
        sa.text(
            f"INSERT INTO certificate ({', '.join(OLD)}, item_id, performed_at, performed_us, "
            "performed_end_us, external, assigns_value, roles, content_hash, recorded_us, "
            f"version) VALUES ({', '.join(':' + name for name in OLD)}, 1, "
            "'1970-01-01T00:00:01Z', 1000000, 1000000, :no, :yes, '', '', 0, 1)"
        ),
        [dict(zip(OLD, row, strict=True)) | {"no": False, "yes": True} for row in certificates],
    )
