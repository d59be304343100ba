"""What a use rested on at its time: voids, revisions, modes, shares; corrections of any record.

Revision 0002, after 0001. What is derived from older rows is derived here, in the words of this
revision, so that it means the same whatever the program comes to do later.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "record_correction",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("collection", sa.Text(), nullable=False),
        sa.Column(
            "record_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("before", sa.Text(), nullable=False),
        sa.Column("after", sa.Text(), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("at_us", sa.BigInteger(), nullable=False),
        sa.CheckConstraint(
            "collection IN ('composition','checks','calibrations','identity')",
            name=op.f("ck_record_correction_collection"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record_correction")),
    )
    with op.batch_alter_table("record_correction", schema=None) as batch_op:
        batch_op.create_index(
            "ix_record_correction_record", ["collection", "record_id"], unique=False
        )

    with op.batch_alter_table("certificate", schema=None) as batch_op:
        batch_op.add_column(sa.Column("issued_us", sa.BigInteger(), nullable=True))
        batch_op.add_column(sa.Column("voided_at", sa.Text(), nullable=True))
        batch_op.add_column(sa.Column("voided_us", sa.BigInteger(), nullable=True))
        batch_op.add_column(
            sa.Column("never_issued", sa.Boolean(), server_default=sa.false(), nullable=False)
        )
        batch_op.add_column(sa.Column("serves_from_us", sa.BigInteger(), nullable=True))
        batch_op.add_column(sa.Column("serves_until_us", sa.BigInteger(), nullable=True))

    with op.batch_alter_table("composition", schema=None) as batch_op:
        batch_op.add_column(sa.Column("share", sa.Text(), nullable=True))
        batch_op.add_column(
            sa.Column("withdrawn", sa.Boolean(), server_default=sa.false(), nullable=False)
        )

    with op.batch_alter_table("intermediate_check", schema=None) as batch_op:
        batch_op.add_column(sa.Column("mode", sa.Text(), nullable=True))
        batch_op.add_column(
            sa.Column("withdrawn", sa.Boolean(), server_default=sa.false(), nullable=False)
        )

    with op.batch_alter_table("use_correction", schema=None) as batch_op:
        batch_op.alter_column("before", existing_type=sa.TEXT(), nullable=True)
        batch_op.alter_column("after", existing_type=sa.TEXT(), nullable=True)

    connection = op.get_bind()
    _set_issued(connection)
    for statement in (*_MODES, *_SERVING, _IN_FORCE):
        connection.execute(sa.text(statement))


def downgrade() -> None:
    with op.batch_alter_table("use_correction", schema=None) as batch_op:
        batch_op.alter_column("after", existing_type=sa.TEXT(), nullable=False)
        batch_op.alter_column("before", existing_type=sa.TEXT(), nullable=False)

    with op.batch_alter_table("intermediate_check", schema=None) as batch_op:
        batch_op.drop_column("withdrawn")
        batch_op.drop_column("mode")

    with op.batch_alter_table("composition", schema=None) as batch_op:
        batch_op.drop_column("withdrawn")
        batch_op.drop_column("share")

    with op.batch_alter_table("certificate", schema=None) as batch_op:
        batch_op.drop_column("serves_until_us")
        batch_op.drop_column("serves_from_us")
        batch_op.drop_column("never_issued")
        batch_op.drop_column("voided_us")
        batch_op.drop_column("voided_at")
        batch_op.drop_column("issued_us")

    with op.batch_alter_table("record_correction", schema=None) as batch_op:
        batch_op.drop_index("ix_record_correction_record")

    op.drop_table("record_correction")


_MICROSECOND = timedelta(microseconds=1)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_LOT = 10_000
# A mode is tension or compression, absent for both. Any other text said nothing that could be
# compared: it is kept in the note.
_MODES = (
    "UPDATE certificate SET mode = lower(trim(mode)) WHERE mode IS NOT NULL",
    "UPDATE certificate SET note = CASE WHEN note IS NULL THEN '' ELSE note || '; ' END || "
    "'mode as recorded: ' || mode, mode = NULL WHERE mode NOT IN ('tension', 'compression')",
)
_OTHERS = (
    "FROM certificate AS other WHERE other.issuer = certificate.issuer "
    "AND other.number = certificate.number AND other.status <> 'draft' AND other.revision "
)
_SERVING = (
    "UPDATE certificate SET serves_from_us = CASE WHEN issued_us IS NOT NULL AND EXISTS "
    f"(SELECT 1 {_OTHERS} < certificate.revision) THEN issued_us ELSE performed_us END "
    "WHERE status IN ('issued', 'superseded')",
    f"UPDATE certificate SET serves_until_us = (SELECT min(other.issued_us) {_OTHERS} "
    "> certificate.revision) WHERE status = 'superseded'",
    "UPDATE certificate SET serves_from_us = NULL, serves_until_us = NULL "
    "WHERE status = 'superseded' AND (serves_until_us IS NULL OR serves_from_us >= serves_until_us "
    f"OR (SELECT other.issued_us {_OTHERS} > certificate.revision ORDER BY other.revision LIMIT 1) "
    "IS NULL)",
)
_LATEST = (
    "FROM certificate AS earlier WHERE earlier.item_id = usage.item_id "
    "AND earlier.performed_us <= usage.used_end_us "
    "AND earlier.serves_from_us <= usage.used_end_us "
    "AND (earlier.serves_until_us IS NULL OR earlier.serves_until_us > usage.used_end_us) "
    "AND (earlier.mode IS NULL OR coalesce((SELECT own.mode FROM certificate AS own "
    "WHERE own.id = usage.certificate_id), earlier.mode) = earlier.mode) "
)
_ORDER = "ORDER BY earlier.performed_us DESC, earlier.revision DESC, earlier.number DESC LIMIT 1"
_IN_FORCE = (
    f"UPDATE usage SET source_id = (SELECT earlier.id {_LATEST} AND earlier.assigns_value "
    f"{_ORDER}), evidence_id = (SELECT CASE WHEN earlier.assigns_value THEN NULL "
    f"ELSE earlier.id END {_LATEST} {_ORDER}) WHERE named_certificate IS NULL"
)


def _set_issued(connection: sa.Connection) -> None:
    """Work out the instant of each date of issue; a bare date is the beginning of its day."""
    zone = ZoneInfo(connection.scalar(sa.text("SELECT time_zone FROM laboratory")) or "UTC")
    statement = sa.text("UPDATE certificate SET issued_us = :at WHERE id = :key")
    for some in _dated(connection):
        connection.execute(statement, [{"key": k, "at": _microseconds(t, zone)} for k, t in some])


def _dated(connection: sa.Connection) -> Iterator[list[tuple[int, str]]]:
    last = 0
    query = sa.text(
        "SELECT id, issued_at FROM certificate WHERE issued_at IS NOT NULL AND id > :last "
        "ORDER BY id LIMIT :lot"
    )
    while found := connection.execute(query, {"last": last, "lot": _LOT}).all():
        last = found[-1].id
        yield [(row.id, row.issued_at) for row in found]


def _microseconds(text: str, zone: ZoneInfo) -> int:
    if len(text) == len("2025-03-10"):
        day = date.fromisoformat(text)
        at = datetime(day.year, day.month, day.day, tzinfo=zone)
    else:
        at = datetime.fromisoformat(text)
    return (at - _EPOCH) // _MICROSECOND
