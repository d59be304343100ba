"""By what write, by whom and why an alert ended.

Revision 0014, after 0013.
"""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("alert", schema=None) as batch_op:
        batch_op.add_column(sa.Column("ended", sa.Text(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("alert", schema=None) as batch_op:
        batch_op.drop_column("ended")
