"""What an answer to an alert knew of, and why it counts no longer.

Revision 0011, after 0010. Of answers from before it is not known which uses they knew of, so that
none of those lapses by a use.
"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("alert_answer", sa.Column("known_uses", sa.Text(), nullable=True))
    op.add_column("alert_answer", sa.Column("lapsed", sa.Text(), nullable=True))
    op.add_column("alert_answer", sa.Column("lapsed_us", sa.BigInteger(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("alert_answer", schema=None) as batch_op:
        for name in ("lapsed_us", "lapsed", "known_uses"):
            batch_op.drop_column(name)
