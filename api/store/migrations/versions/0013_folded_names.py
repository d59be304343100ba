"""Names of customers as they are compared: an agreement is found under another spelling, too.

Revision 0013, after 0012.
"""

import sqlalchemy as sa
from alembic import op

from api.store.spelling import folded

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

INDEX = "ix_customer_folded"


def upgrade() -> None:
    with op.batch_alter_table("customer", schema=None) as batch_op:
        batch_op.add_column(sa.Column("folded", sa.Text(), nullable=True))
    rows = op.get_bind().execute(sa.text("SELECT id, name FROM customer")).all()
    change = sa.text("UPDATE customer SET folded = :folded WHERE id = :id")
    if rows:
        op.get_bind().execute(change, [{"id": key, "folded": folded(name)} for key, name in rows])
    with op.batch_alter_table("customer", schema=None) as batch_op:
        batch_op.alter_column("folded", existing_type=sa.Text(), nullable=False)
        batch_op.create_index(batch_op.f(INDEX), ["folded"])


def downgrade() -> None:
    with op.batch_alter_table("customer", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f(INDEX))
        batch_op.drop_column("folded")
