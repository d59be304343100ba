"""What was written, which stored recalls it may concern, and where each stands.

Revision 0003, after 0002. Recalls that are there already are marked: each is compared with a fresh
one the first time.
"""

import hashlib
from typing import Any

import sqlalchemy as sa
from alembic import op

LOT = 2_000
KEY = ("recall_id", "list_name", "position")


revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "record_change",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("first_certificate", sa.BigInteger(), nullable=True),
        sa.Column("last_certificate", sa.BigInteger(), nullable=True),
        sa.Column("inserted", sa.Boolean(), nullable=False),
        sa.Column("everything", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record_change")),
    )
    op.create_table(
        "work_lease",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("holder", sa.Text(), nullable=False),
        sa.Column("until_us", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_work_lease")),
    )
    op.create_table(
        "recall_watch",
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("position", sa.BigInteger(), nullable=False),
        sa.Column("checked_position", sa.BigInteger(), nullable=False),
        sa.Column("checked_us", sa.BigInteger(), nullable=False),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("stale", sa.Boolean(), nullable=False),
        sa.Column("marked_position", sa.BigInteger(), nullable=True),
        sa.Column("marked_us", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_watch_recall_id")
        ),
        sa.PrimaryKeyConstraint("recall_id", name=op.f("pk_recall_watch")),
    )
    with op.batch_alter_table("recall_watch", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_recall_watch_marked_position"), ["marked_position"], unique=False
        )

    op.create_table(
        "recall_watch_item",
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_recall_watch_item_item_id")
        ),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_watch_item_recall_id")
        ),
        sa.PrimaryKeyConstraint("item_id", "recall_id", name=op.f("pk_recall_watch_item")),
        sqlite_with_rowid=False,
    )
    with op.batch_alter_table("recall_watch_item", schema=None) as batch_op:
        batch_op.create_index("ix_recall_watch_item_recall", ["recall_id"], unique=False)

    op.create_table(
        "recall_watch_window",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("first_us", sa.BigInteger(), nullable=True),
        sa.Column("last_us", sa.BigInteger(), nullable=True),
        sa.Column("roles", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_watch_window_recall_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recall_watch_window")),
    )
    with op.batch_alter_table("recall_watch_window", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_recall_watch_window_recall_id"), ["recall_id"], unique=False
        )

    op.create_table(
        "recall_watch_word",
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("word", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_watch_word_recall_id")
        ),
        sa.PrimaryKeyConstraint("recall_id", "kind", "word", name=op.f("pk_recall_watch_word")),
    )
    op.create_table(
        "record_change_item",
        sa.Column(
            "change_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["change_id"], ["record_change.id"], name=op.f("fk_record_change_item_change_id")
        ),
        sa.ForeignKeyConstraint(
            ["item_id"], ["item.id"], name=op.f("fk_record_change_item_item_id")
        ),
        sa.PrimaryKeyConstraint("change_id", "item_id", name=op.f("pk_record_change_item")),
    )
    op.create_table(
        "recall_difference",
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column(
            "certificate_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("list_name", sa.Text(), nullable=True),
        sa.Column("body_hash", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["certificate_id"], ["certificate.id"], name=op.f("fk_recall_difference_certificate_id")
        ),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_recall_difference_recall_id")
        ),
        sa.PrimaryKeyConstraint("recall_id", "certificate_id", name=op.f("pk_recall_difference")),
    )
    with op.batch_alter_table("recall_difference", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_recall_difference_certificate_id"), ["certificate_id"], unique=False
        )

    with op.batch_alter_table("recall_entry", schema=None) as batch_op:
        batch_op.add_column(sa.Column("body_hash", sa.Text(), server_default="", nullable=False))

    with op.batch_alter_table("recall_stale", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("stale", sa.Boolean(), server_default=sa.true(), nullable=False)
        )
        batch_op.add_column(
            sa.Column("position", sa.BigInteger(), server_default="0", nullable=False)
        )
    _fill()


def _fill() -> None:
    """Give every stored entry the hash of its text, and every stored recall its row."""
    connection = op.get_bind()
    entries = sa.table("recall_entry", *map(sa.column, (*KEY, "body", "body_hash")))
    recalls = connection.scalars(sa.text("SELECT id FROM recall ORDER BY id")).all()
    by_key = [entries.c[name] == sa.bindparam(f"of_{name}") for name in KEY]
    change = sa.update(entries).where(*by_key).values(body_hash=sa.bindparam("hash"))
    texts = sa.select(*(entries.c[name] for name in KEY), entries.c.body)
    for recall in recalls:
        rows = connection.execute(texts.where(entries.c.recall_id == recall)).all()
        for start in range(0, len(rows), LOT):
            connection.execute(change, [_hashed(row) for row in rows[start : start + LOT]])
    connection.execute(
        sa.text(
            "INSERT INTO recall_watch (recall_id, position, checked_position, checked_us, "
            "engine_version, stale, marked_position, marked_us) "
            "SELECT id, 0, 0, created_us, engine_version, "
            "EXISTS (SELECT 1 FROM recall_stale WHERE recall_stale.recall_id = recall.id), "
            "0, created_us FROM recall"
        )
    )


def _hashed(row: Any) -> dict[str, Any]:
    made: dict[str, Any] = {f"of_{name}": value for name, value in zip(KEY, row, strict=False)}
    return made | {"hash": hashlib.blake2b(row.body.encode(), digest_size=16).hexdigest()}


def downgrade() -> None:
    with op.batch_alter_table("recall_stale", schema=None) as batch_op:
        batch_op.drop_column("position")
        batch_op.drop_column("stale")

    with op.batch_alter_table("recall_entry", schema=None) as batch_op:
        batch_op.drop_column("body_hash")

    with op.batch_alter_table("recall_difference", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_recall_difference_certificate_id"))

    op.drop_table("recall_difference")
    op.drop_table("record_change_item")
    op.drop_table("recall_watch_word")
    with op.batch_alter_table("recall_watch_window", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_recall_watch_window_recall_id"))

    op.drop_table("recall_watch_window")
    with op.batch_alter_table("recall_watch_item", schema=None) as batch_op:
        batch_op.drop_index("ix_recall_watch_item_recall")

    op.drop_table("recall_watch_item")
    with op.batch_alter_table("recall_watch", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_recall_watch_marked_position"))

    op.drop_table("recall_watch")
    op.drop_table("work_lease")
    op.drop_table("record_change")
