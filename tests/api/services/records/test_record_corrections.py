"""How a correction is kept: numbers as the text they were, names as they are sent."""

from __future__ import annotations

from decimal import Decimal

from api.services.records.record_corrections import plain


def test_a_record_is_kept_as_it_is_sent():
    record = {"from_": "2025-01-01", "until": None, "share": Decimal("0.50"), "covers": ["1 kN"]}
    assert plain(record) == {"from": "2025-01-01", "share": "0.50", "covers": ["1 kN"]}
    assert plain({"deep": {"U": Decimal("1E-3"), "none": None}}) == {"deep": {"U": "0.001"}}
