"""What leads to each certificate of a recall, by key, beside its entry.

Revision 0004, after 0003. Recalls that were stored before have none: their entries
name certificates by number only, which a migration could but guess at.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("recall_entry", schema=None) as batch_op:
        batch_op.add_column(sa.Column("links", sa.Text(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("recall_entry", schema=None) as batch_op:
        batch_op.drop_column("links")
