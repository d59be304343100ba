"""Alembic's entry point; ``api.store.migrate`` hands it an open connection.

While no version has been released, the first migration may be written anew from the tables:

    python - <<'END'
    from pathlib import Path
    from alembic import command
    from api.store.database import Database
    from api.store import migrate
    for old in (migrate.SCRIPTS / "versions").glob("*.py"):
        old.unlink()
    with Database("sqlite://").engine.connect() as connection:
        command.revision(migrate.configuration(connection), "first", rev_id="0001",
                         autogenerate=True)
    END
    sed -i "/# ###/d" api/store/migrations/versions/0001_first.py
    ruff check --fix api/store/migrations; ruff format api/store/migrations
"""

from typing import Any, Literal

from alembic import context

# Their tables belong to the schema too.
import api.store.casework
import api.store.comparisons
import api.store.evaluations
import api.store.fitting
import api.store.journal
import api.store.pages
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
