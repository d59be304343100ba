"""Certificates of a recall of which nobody is to be told, beside customers that get no notice.

Revision 0012, after 0011. A row names a customer or a certificate.
"""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TABLE, CERTIFICATE = "notice_exception", "fk_notice_exception_certificate_id"


def upgrade() -> None:
    with op.batch_alter_table(TABLE, schema=None) as batch_op:
        batch_op.alter_column("customer_id", existing_type=KEY, nullable=True)
        batch_op.add_column(sa.Column("certificate_id", KEY, nullable=True))
        batch_op.create_foreign_key(
            batch_op.f(CERTIFICATE), "certificate", ["certificate_id"], ["id"]
        )


def downgrade() -> None:
    op.execute(sa.text(f"DELETE FROM {TABLE} WHERE customer_id IS NULL"))
    with op.batch_alter_table(TABLE, schema=None) as batch_op:
        batch_op.drop_constraint(batch_op.f(CERTIFICATE), type_="foreignkey")
        batch_op.drop_column("certificate_id")
        batch_op.alter_column("customer_id", existing_type=KEY, nullable=False)
