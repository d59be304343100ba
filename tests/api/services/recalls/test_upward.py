"""Whatever could give a certificate its value is read, and what could not is left out."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.upward import upward
from api.store.link_checks import numbers_of
from api.store.reading import SessionReader
from api.store.records import item_codes, item_keys

LABORATORY = lab(
    cal("R-1", "REF", "01-02", []),
    cal("W-1", "WS", "01-10", [ref("REF")]),
    cal("W-2", "WS", "06-10", [ref("GOOD")]),  # after C-1, which could never rest on it
    cal("P-1", "CELL", "01-11", [ref("PRIME")]),
    cal("C-1", "A", "02-01", [ref("WS"), ref("RIG")]),
    cal("Z-1", "Z", "02-01", [ref("OTHER")]),
)
LABORATORY["composition"] = [
    {"assembly": "RIG", "part": "INNER", "from": "2025-01-01T00:00:00Z"},
    {"assembly": "INNER", "part": "CELL", "from": "2025-03-01T00:00:00Z"},
]
LABORATORY["items"] += [{"id": "INNER", "kind": "force_machine"}]


@pytest.fixture
def session(database):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        yield session


def above(session, number, most=None):
    numbers = numbers_of(session, range(1, 10))
    (key,) = [key for key, one in numbers.items() if one == number]
    found = upward(session, [key], most)
    return {numbers[key] for key in found.certificates}, found


def test_certificates_of_every_item_used_of_its_parts_and_of_what_these_used(session):
    # Parts that came later too: what was held is corrected, and instants are judged afterwards.
    numbers, found = above(session, "C-1")
    assert numbers == {"C-1", "W-1", "W-2", "R-1", "P-1"}
    keys = item_keys(SessionReader(session), ["RIG", "WS"])
    codes = item_codes(SessionReader(session), set(found.parts) | keys)
    rig = next(key for key, code in codes.items() if code == "RIG")
    assert {codes[key] for key in found.within(rig)} == {"RIG", "INNER", "CELL"}


def test_nobody_beside_and_nobody_below(session):
    assert above(session, "W-1")[0] == {"W-1", "R-1"}
    assert above(session, "R-1")[0] == {"R-1"}


def test_reading_ends_once_there_is_more_than_wanted(session):
    assert above(session, "C-1", most=0)[0] == {"C-1"}
