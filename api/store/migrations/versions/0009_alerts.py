"""Alerts: failures, uses they grew by, answers, what was read; make and model of items.

Revision 0009, after 0008. The alerts of what is recorded are raised by `tracehold migrate`, else by
the next write.
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "alert_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("position", sa.BigInteger(), nullable=False),
        sa.Column("recall_id", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alert_reading")),
    )
    op.create_table(
        "alert",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("item_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column(
            "certificate_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
        ),
        sa.Column("check_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("until", sa.Text(), nullable=False),
        sa.Column("until_us", sa.BigInteger(), nullable=False),
        sa.Column("uses", sa.Integer(), nullable=False),
        sa.Column("good_before", sa.Text(), nullable=True),
        sa.Column("followed", sa.Text(), nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("raised_us", sa.BigInteger(), nullable=False),
        sa.Column("changed_us", sa.BigInteger(), nullable=False),
        sa.CheckConstraint(
            "kind IN ('as_found','check','overdue_use')", name=op.f("ck_alert_kind")
        ),
        sa.CheckConstraint("state IN ('open','answered','ended')", name=op.f("ck_alert_state")),
        sa.ForeignKeyConstraint(
            ["certificate_id"], ["certificate.id"], name=op.f("fk_alert_certificate_id")
        ),
        sa.ForeignKeyConstraint(
            ["check_id"], ["intermediate_check.id"], name=op.f("fk_alert_check_id")
        ),
        sa.ForeignKeyConstraint(["item_id"], ["item.id"], name=op.f("fk_alert_item_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alert")),
    )
    with op.batch_alter_table("alert", schema=None) as batch_op:
        batch_op.create_index("ix_alert_state", ["state", "id"], unique=False)
        batch_op.create_index("uq_alert_cause", ["item_id", "kind", "cause"], unique=True)

    op.create_table(
        "alert_answer",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("alert_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["alert_id"], ["alert.id"], name=op.f("fk_alert_answer_alert_id")),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_alert_answer_recall_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alert_answer")),
    )
    with op.batch_alter_table("alert_answer", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_alert_answer_alert_id"), ["alert_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_alert_answer_recall_id"), ["recall_id"], unique=False)

    op.create_table(
        "alert_use",
        sa.Column("alert_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "certificate_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("value_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("used_at", sa.Text(), nullable=False),
        sa.Column("used_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["alert_id"], ["alert.id"], name=op.f("fk_alert_use_alert_id")),
        sa.ForeignKeyConstraint(
            ["certificate_id"], ["certificate.id"], name=op.f("fk_alert_use_certificate_id")
        ),
        sa.ForeignKeyConstraint(
            ["value_id"], ["certificate.id"], name=op.f("fk_alert_use_value_id")
        ),
        sa.PrimaryKeyConstraint(
            "alert_id", "certificate_id", "position", name=op.f("pk_alert_use")
        ),
    )
    with op.batch_alter_table("alert_use", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_alert_use_certificate_id"), ["certificate_id"], unique=False
        )

    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column(
                "alert_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True
            )
        )
        batch_op.create_foreign_key(batch_op.f("fk_change_alert_id"), "alert", ["alert_id"], ["id"])

    for table in ("item", "requirement"):
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.add_column(sa.Column("make", sa.Text(), nullable=True))
            batch_op.add_column(sa.Column("model", sa.Text(), nullable=True))


def downgrade() -> None:
    for table in ("requirement", "item"):
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.drop_column("model")
            batch_op.drop_column("make")

    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f("fk_change_alert_id"), type_="foreignkey")
        batch_op.drop_column("alert_id")

    with op.batch_alter_table("alert_use", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_alert_use_certificate_id"))

    op.drop_table("alert_use")
    with op.batch_alter_table("alert_answer", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_alert_answer_recall_id"))
        batch_op.drop_index(batch_op.f("ix_alert_answer_alert_id"))

    op.drop_table("alert_answer")
    with op.batch_alter_table("alert", schema=None) as batch_op:
        batch_op.drop_index("uq_alert_cause")
        batch_op.drop_index("ix_alert_state")

    op.drop_table("alert")
    op.drop_table("alert_reading")
