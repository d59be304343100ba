"""What a calibration was measured in, and what stands on its paper beside the results.

Revision 0010, after 0009. Certificates from before name neither; nothing is asked of them.
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TEXTS = (
    "run_evaluation",
    "budget",
    "place",
    "conditions",
    "received_at",
    "performed_by",
    "authorised_by",
)
# Table, column, the table that it points to.
LINKS = (
    ("usage", "setup_check_id", "setup_check"),
    ("result", "setup_check_id", "setup_check"),
    ("result", "run_evaluation_id", "run_evaluation"),
)


def upgrade() -> None:
    for name in TEXTS:
        op.add_column("certificate", sa.Column(name, sa.Text(), nullable=True))
    op.add_column("result", sa.Column("taken", sa.Text(), nullable=True))
    op.add_column("laboratory", sa.Column("asked_at_issue", sa.Text(), nullable=True))
    for table, column, target in LINKS:
        name = f"fk_{table}_{column}"
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.add_column(sa.Column(column, KEY, nullable=True))
            batch_op.create_foreign_key(batch_op.f(name), target, [column], ["id"])


def downgrade() -> None:
    for table, column, _ in reversed(LINKS):
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.drop_constraint(f"fk_{table}_{column}", type_="foreignkey")
            batch_op.drop_column(column)
    with op.batch_alter_table("laboratory", schema=None) as batch_op:
        batch_op.drop_column("asked_at_issue")
    with op.batch_alter_table("result", schema=None) as batch_op:
        batch_op.drop_column("taken")
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        for name in reversed(TEXTS):
            batch_op.drop_column(name)
