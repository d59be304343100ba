"""Which assemblies held a part: upwards, over all time, each holding once."""

from __future__ import annotations

import pytest

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.records.holdings import holdings_above
from api.store.reading import SessionReader
from api.store.sources import Recorded
from graph.moments import instant_us, time_zone


def at(text: str) -> int:
    return instant_us(text, time_zone("UTC"))


# PIN stood in ADP twice and once in CLV; ADP in RIG; CLV in RIG too; BOLT in RIG.
HELD = [
    ("ADP", "PIN", "2025-01-01T00:00:00Z", "2025-02-01T00:00:00Z"),
    ("CLV", "PIN", "2025-02-01T00:00:00Z", "2025-03-01T00:00:00Z"),
    ("ADP", "PIN", "2025-03-01T00:00:00Z", None),
    ("RIG", "ADP", "2024-01-01T00:00:00Z", None),
    ("RIG", "CLV", "2025-01-01T00:00:00Z", None),
    ("RIG", "BOLT", "2025-01-01T00:00:00Z", None),
]


@pytest.fixture
def above(database):
    """Names of what holds these parts, as (assembly, part, from)."""
    laboratory = {
        "items": [{"id": code, "kind": "adapter_part"} for code in ("PIN", "BOLT")]
        + [{"id": code, "kind": "adapter"} for code in ("ADP", "CLV", "RIG")],
        "composition": [
            {"assembly": assembly, "part": part, "from": start, "until": end}
            for assembly, part, start, end in HELD
        ],
    }
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(laboratory), 0)
        yield lambda codes: holdings_above(Recorded(SessionReader(session)), codes)


def test_everything_above_a_part_is_found_once_with_its_times(above):
    found = above(["PIN"])
    assert {(one.assembly, one.part, one.start_us, one.end_us) for one in found} == {
        (assembly, part, at(start), None if end is None else at(end))
        for assembly, part, start, end in HELD
        if part != "BOLT"
    }
    assert len(found) == 5


def test_several_parts_are_asked_together_and_what_they_share_is_told_once(above):
    assert len(above(["PIN", "BOLT", "ADP"])) == len(HELD)


def test_what_was_never_held_has_nothing_above_it(above):
    assert above(["RIG"]) == above(["NOSUCH"]) == above([]) == []
