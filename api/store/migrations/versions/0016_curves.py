"""Certificates assign curves.

Revision 0016, after 0015. Certificates from before have none.
"""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("certificate", sa.Column("curve", sa.Text(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        batch_op.drop_column("curve")
