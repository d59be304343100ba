"""Agreements with customers; the order of a certificate and the agreement it was issued under.

Revision 0006, after 0005.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

COLUMNS = ("order_number", "agreement")


def upgrade() -> None:
    key = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.create_table(
        "agreement",
        sa.Column("id", key, nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("agreement_version", sa.Integer(), nullable=False),
        sa.Column("customer_id", key, nullable=False),
        sa.Column("item_id", key, nullable=True),
        sa.Column("type", sa.Text(), nullable=True),
        sa.Column("order_number", sa.Text(), nullable=True),
        sa.Column("rule_id", key, nullable=False),
        sa.Column("specification_id", key, nullable=True),
        sa.Column("holds_from", sa.Text(), nullable=False),
        sa.Column("holds_until", sa.Text(), nullable=True),
        sa.Column("from_us", sa.BigInteger(), nullable=False),
        sa.Column("until_us", sa.BigInteger(), nullable=True),
        sa.Column("agreed_with", sa.Text(), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("recorded_us", sa.BigInteger(), nullable=False),
        *(
            sa.ForeignKeyConstraint([column], [f"{table}.id"], name=f"fk_agreement_{column}")
            for column, table in (
                ("customer_id", "customer"),
                ("item_id", "item"),
                ("rule_id", "decision_rule"),
                ("specification_id", "specification"),
            )
        ),
        sa.PrimaryKeyConstraint("id", name="pk_agreement"),
        sa.UniqueConstraint(
            "code", "agreement_version", name="uq_agreement_code_agreement_version"
        ),
    )
    with op.batch_alter_table("agreement", schema=None) as batch_op:
        batch_op.create_index("ix_agreement_customer_id", ["customer_id"], unique=False)
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        for name in COLUMNS:
            batch_op.add_column(sa.Column(name, sa.Text(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        for name in reversed(COLUMNS):
            batch_op.drop_column(name)
    op.drop_table("agreement")
