"""Corrected revisions are found without reading every certificate.

Revision 0015, after 0014.
"""

import sqlalchemy as sa
from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    kept = sa.text("fault_corrections IS NOT NULL")
    op.create_index(
        "ix_certificate_corrected",
        "certificate",
        ["id"],
        sqlite_where=kept,
        postgresql_where=kept,
    )


def downgrade() -> None:
    op.drop_index("ix_certificate_corrected", "certificate")
