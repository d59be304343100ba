"""Of which items the certificates leave open which of their values a use took."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref, row

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store import item_values, records
from api.store.reading import SessionReader

LATER = {
    "PLAIN": {},  # of the same range: the later one counts
    "DRAFT": {"status": "draft", "mode": "tension"},  # serves nobody
    "CHECK": {"assigns_value": False, "results": [row("2")]},  # gives no value
    "DATED": {"status": "voided", "void_reason": "lost", "voided_at": "2025-03-01"},
    "MODE": {"mode": "tension"},
    "VOID": {"status": "voided", "void_reason": "lost"},  # nobody knows when
    "WIDER": {"results": [row("2")]},
    "NO-RANGE": {"results": []},
}


@pytest.fixture
def reader(database):
    """A reader of items with a plain certificate and another one."""
    made = [
        cal(f"{item}-{n}", item, f"0{n}-10", [ref("REF")], **({"results": [row("1")]} | more))
        for item, later in LATER.items()
        for n, more in enumerate(({}, later), 1)
    ]
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(lab(*made)), 0)
    with database.read() as session:
        yield SessionReader(session)


def test_items_are_ambiguous_by_mode_by_undated_void_and_by_range(reader):
    keys = records.item_keys(reader, LATER)
    found = item_values.ambiguous_items(reader, keys)
    codes = set(records.item_codes(reader, sorted(found)).values())
    assert codes == {"MODE", "VOID", "WIDER", "NO-RANGE"}


def test_whatever_was_ever_issued_serves_or_served(reader):
    rows = item_values.servings_of(reader, records.item_keys(reader, ["DRAFT", "VOID", "CHECK"]))
    assert {row.number for row in rows} == {"DRAFT-1", "VOID-1", "VOID-2", "CHECK-1", "CHECK-2"}
    assert {row.span_from for row in rows if row.number == "CHECK-1"} == {"1000"}  # kN in newton
