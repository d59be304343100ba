"""Which values items have from their certificates, and whether these leave open which one it was.

Every question is one text for both engines (`api.store.reading`).
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from api.store.keyed import rows_of
from api.store.reading import Reader
from api.store.records import named

_ISSUED = "status <> 'draft' AND NOT never_issued"  # ever; superseded or voided now, perhaps
_SPAN = "span_from || ' ' || span_to"
_AMBIGUOUS = (
    "count(mode) > 0 OR count(CASE WHEN status = 'voided' AND voided_us IS NULL THEN 1 END) > 0 "
    f"OR min({_SPAN}) <> max({_SPAN}) OR count({_SPAN}) NOT IN (0, count(*))"
)


class ServingRow(NamedTuple):
    """A certificate of an item that was ever issued, and when its value serves uses.

    From `serves_from_us` (inclusive; None: never) until `serves_until_us` (exclusive; None: open),
    see `api.store.serving`. `span_from` and `span_to` are the ends of its calibrated range, in
    newton, as fractions in text; None where it has none.
    """

    id: int
    item_id: int
    number: str
    revision: int
    issuer: str
    status: str
    performed_us: int
    assigns_value: bool
    mode: str | None
    serves_from_us: int | None
    serves_until_us: int | None
    voided_us: int | None
    issued_us: int | None
    span_from: str | None
    span_to: str | None


def servings_of(reader: Reader, items: Collection[int]) -> list[ServingRow]:
    """Certificates of these items that were ever issued: issued, superseded or voided now."""
    columns = named("certificate", ServingRow._fields)
    rows = rows_of(reader, columns, "certificate", "item_id", items, f"WHERE {_ISSUED}")
    return list(map(ServingRow._make, rows))


def ambiguous_items(reader: Reader, items: Collection[int]) -> set[int]:
    """Those of these items whose certificates leave open which of their values a use took.

    One that assigns a value was voided without a date, or names a mode, or their ranges differ.
    Asked of the database, since of most items nothing else is wanted of their certificates.
    """
    also = (
        f"WHERE (SELECT {_AMBIGUOUS} FROM certificate "
        f"WHERE certificate.item_id = item.id AND assigns_value AND {_ISSUED})"
    )
    return {key for (key,) in rows_of(reader, "item.id", "item", "id", items, also)}
