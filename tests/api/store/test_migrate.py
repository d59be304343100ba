"""The migrations and the tables say the same, and a migration is all or nothing."""

from __future__ import annotations

import importlib.util
import sys
import threading

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from api.store import migrate
from api.store.database import Database
from api.store.tables import Base


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
    assert migrate.current(database) == migrate.head() == "0002"
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


def test_every_migration_can_be_undone(database):
    if not database.is_sqlite:
        pytest.skip("the worker's PostgreSQL database is shared by its tests")
    from alembic.operations import Operations

    with database.engine.begin() as connection:
        for path in sorted((migrate.SCRIPTS / "versions").glob("*.py"), reverse=True):
            spec = importlib.util.spec_from_file_location(path.stem, path)
            step = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(step)
            assert path.stem not in sys.modules
            with Operations.context(MigrationContext.configure(connection)):
                step.downgrade()
        assert sa.inspect(connection).get_table_names() == ["alembic_version"]
