"""Casework: exceptions from notices, reasons told to customers, reviews, corrected revisions.

Revision 0007, after 0006. Cases that were closed before stay closed.
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "notice_exception",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "recall_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column(
            "customer_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name=op.f("fk_notice_exception_customer_id")
        ),
        sa.ForeignKeyConstraint(
            ["recall_id"], ["recall.id"], name=op.f("fk_notice_exception_recall_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_notice_exception")),
    )
    with op.batch_alter_table("notice_exception", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_notice_exception_customer_id"), ["customer_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_notice_exception_recall_id"), ["recall_id"], unique=False
        )

    with op.batch_alter_table("case_event", schema=None) as batch_op:
        batch_op.add_column(sa.Column("effective", sa.Boolean(), nullable=True))

    with op.batch_alter_table("certificate", schema=None) as batch_op:
        batch_op.add_column(sa.Column("fault_corrections", sa.Text(), nullable=True))

    with op.batch_alter_table("disposition", schema=None) as batch_op:
        batch_op.add_column(sa.Column("reason_for_customer", sa.Text(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        batch_op.drop_column("fault_corrections")

    with op.batch_alter_table("disposition", schema=None) as batch_op:
        batch_op.drop_column("reason_for_customer")

    with op.batch_alter_table("case_event", schema=None) as batch_op:
        batch_op.drop_column("effective")

    with op.batch_alter_table("notice_exception", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_notice_exception_recall_id"))
        batch_op.drop_index(batch_op.f("ix_notice_exception_customer_id"))

    op.drop_table("notice_exception")
