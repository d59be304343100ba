"""By what write, by whom and why an alert ended.

Revision 0015, after 0012.
"""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("alert", schema=None) as batch_op:
        batch_op.add_column(sa.Column("ended", sa.Text(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("alert", schema=None) as batch_op:
        batch_op.drop_column("ended")
