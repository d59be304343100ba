"""What spoke against a certificate at its issue, and the set-up check that belongs to it.

Revision 0008, after 0007. Nobody asked about older certificates when they were issued: they have no
row, and what speaks against them today is worked out when it is asked for.
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
LINK = "fk_certificate_setup_check_id"


def upgrade() -> None:
    op.create_table(
        "certificate_grounds",
        sa.Column("certificate_id", KEY, nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.Column("override", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["certificate_id"],
            ["certificate.id"],
            name=op.f("fk_certificate_grounds_certificate_id"),
        ),
        sa.PrimaryKeyConstraint("certificate_id", name=op.f("pk_certificate_grounds")),
    )
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        batch_op.add_column(sa.Column("setup_check_id", KEY, nullable=True))
        batch_op.create_foreign_key(batch_op.f(LINK), "setup_check", ["setup_check_id"], ["id"])


def downgrade() -> None:
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f(LINK), type_="foreignkey")
        batch_op.drop_column("setup_check_id")
    op.drop_table("certificate_grounds")
