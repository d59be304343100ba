"""Alembic's entry point; ``api.store.migrate`` hands it an open connection.

A change of the tables is a migration of its own; one that was released is never written again. From
a checkout, with its number in the place of 0002:

    python - <<'END'
    from alembic import command
    from api.store import migrate
    from api.store.database import Database
    database = Database("sqlite:///scratch.db")
    migrate.upgrade(database)
    with database.engine.connect() as connection:
        command.revision(migrate.configuration(connection), "what changes", rev_id="0002",
                         autogenerate=True)
    END
    sed -i "/# ###/d" api/store/migrations/versions/0002_what_changes.py
    ruff check --fix api/store/migrations; ruff format api/store/migrations; rm scratch.db*

Read what was generated, try it on both engines (`tests/api/store/test_migrate.py`), and name the
revision in `api.version.SCHEMA`.
"""

from typing import Any, Literal

from alembic import context

# Their tables belong to the schema too.
import api.store.agreements
import api.store.casework
import api.store.comparisons
import api.store.evaluations
import api.store.fitting
import api.store.grounds
import api.store.journal
import api.store.pages
import api.store.record_watch
import api.store.uncertainty  # noqa: F401
from api.store.tables import Base
from api.store.types import DecimalText, JsonText


def _render_item(kind: str, item: Any, _context: Any) -> str | Literal[False]:
    # A migration must not change its meaning when our column types do.
    if kind == "type" and isinstance(item, DecimalText | JsonText):
        return "sa.Text()"
    return False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    transactional_ddl=True,
    render_item=_render_item,
)
with context.begin_transaction():
    context.run_migrations()
