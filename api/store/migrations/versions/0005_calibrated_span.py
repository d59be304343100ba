"""The span of force that a certificate calibrated, so that a recall need not read its results.

Revision 0005, after 0004. The spans of older certificates are derived here, in the words of this
revision.
"""

from collections import defaultdict
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

COLUMNS = ("span_from", "span_to")


def upgrade() -> None:
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        for name in COLUMNS:
            batch_op.add_column(sa.Column(name, sa.Text(), nullable=True))
    connection = op.get_bind()
    statement = sa.text("UPDATE certificate SET span_from = :low, span_to = :high WHERE id = :key")
    for some in _spans(connection):
        connection.execute(statement, some)


def downgrade() -> None:
    with op.batch_alter_table("certificate", schema=None) as batch_op:
        for name in reversed(COLUMNS):
            batch_op.drop_column(name)


_LOT = 10_000
_POUND = Fraction("0.45359237") * Fraction("9.80665")
_KILOGRAM = Fraction("9.80665")
_NEWTON = {
    "N": Fraction(1),
    "kN": Fraction(1_000),
    "MN": Fraction(1_000_000),
    "lbf": _POUND,
    "kip": 1_000 * _POUND,
    "klbf": 1_000 * _POUND,
    "kgf": _KILOGRAM,
    "gf": _KILOGRAM / 1_000,
    "tf": 1_000 * _KILOGRAM,
    "tonf_US": 2_000 * _POUND,
    "tonf_UK": 2_240 * _POUND,
}


def _spans(connection: sa.Connection) -> Iterator[list[dict[str, object]]]:
    """Smallest and largest force, zero left out: as left, else single, else as found."""
    last = connection.scalar(sa.text("SELECT max(id) FROM certificate")) or 0
    query = sa.text(
        "SELECT certificate_id, stage, applied, unit FROM result "
        "WHERE certificate_id > :after AND certificate_id <= :until AND applied IS NOT NULL"
    )
    known: dict[tuple[str, str], Fraction] = {}
    for after in range(0, last, _LOT):
        forces: dict[int, dict[str, list[Fraction]]] = defaultdict(lambda: defaultdict(list))
        for row in connection.execute(query, {"after": after, "until": after + _LOT}):
            if row.unit not in _NEWTON:
                continue
            name = row.applied, row.unit
            if name not in known:
                known[name] = Fraction(Decimal(row.applied)) * _NEWTON[row.unit]
            if known[name]:
                forces[row.certificate_id][row.stage].append(known[name])
        found: list[dict[str, object]] = []
        for key, by_stage in forces.items():
            some = by_stage["as_left"] or by_stage["single"] or by_stage["as_found"]
            if some:
                found.append({"key": key, "low": str(min(some)), "high": str(max(some))})
        if found:
            yield found
