"""Which loads went through which parts. Expected numbers are sums of applications written here.

Part PIN sits in ADP until 03-01T00:00Z, and ADP sits in RIG from 02-01 on; then PIN sits in OTHER.
"""

from __future__ import annotations

import pytest
from sqlalchemy import select

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.life.load_events import record
from api.store.load_uses import EVER, Span, events, last_inspections, spans, totals, uses
from api.store.tables import Item
from graph.moments import moment, time_zone

UTC = time_zone("UTC")
CODES = ("PIN", "ADP", "RIG", "OTHER", "TL", "LOOSE")


def us(text: str) -> int:
    return moment(text, UTC).start_us


def cal(number, at, *items, applications=10, **more):
    return {
        "certificate": number,
        "item": "TL",
        "performed_at": at,
        "load_applications": applications,
        "uses": [{"item": item, "role": "adapter"} for item in items],
        **more,
    }


LABORATORY = {
    "items": [{"id": code, "kind": "adapter"} for code in CODES],
    "composition": [
        {"assembly": "ADP", "part": "PIN", "from": "2025-01-01", "until": "2025-03-01T00:00:00Z"},
        {"assembly": "RIG", "part": "ADP", "from": "2025-02-01T00:00:00Z"},
        {"assembly": "OTHER", "part": "PIN", "from": "2025-03-01T00:00:00Z"},
    ],
    "calibrations": [
        cal("A", "2025-01-10T10:00:00Z", "ADP", applications=1),
        cal("RIG-EARLY", "2025-01-20T10:00:00Z", "RIG", applications=2),  # ADP was not in it yet
        cal("RIG", "2025-02-10T10:00:00Z", "RIG", applications=4),
        cal("EDGE", "2025-03-01T00:00:00Z", "ADP", applications=8),  # PIN had just left
        cal("DAY", "2025-03-01", "ADP", "OTHER", applications=16),  # a bare date: both held it
        cal("DIRECT", "2025-04-01T10:00:00Z", "PIN", "OTHER", applications=32),  # once, not twice
        cal("LOOSE", "2025-05-01T10:00:00Z", "LOOSE", applications=64),
        cal("NONE", "2025-05-02T10:00:00Z", "PIN", applications=0),
    ],
    "checks": [
        {"id": "K1", "item": "PIN", "at": "2025-01-15T00:00:00Z", "result": "pass",
         "kind": "inspection"},
        {"id": "K2", "item": "PIN", "at": "2025-02-15T00:00:00Z", "result": "fail",
         "wear_pct": "12"},
        {"id": "K3", "item": "PIN", "at": "2025-06-15T00:00:00Z", "result": "pass",
         "kind": "comparison"},
    ],
}  # fmt: skip


@pytest.fixture
def laboratory(database):
    """A session on the laboratory, and the keys of its items."""
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 1)
    with database.write() as session:
        found = session.execute(select(Item.code, Item.id)).all()
        yield session, dict(tuple(row) for row in found)


def applications(laboratory, code, base=EVER, at="2026-01-01T00:00:00Z"):
    session, keys = laboratory
    (total,) = totals(session, spans(session, {keys[code]: base}), us(at), us("2025-03-15"))
    assert total.part == keys[code]
    return total


def test_a_span_goes_upwards_and_is_cut_to_what_was_held_at_once(laboratory):
    session, keys = laboratory
    found = {(one.carrier, one.from_us, one.until_us) for one in spans(session, {keys["PIN"]: 5})}
    march, february = us("2025-03-01T00:00:00Z"), us("2025-02-01T00:00:00Z")
    assert (keys["ADP"], us("2025-01-01"), march) in found
    assert (keys["RIG"], february, march) in found
    assert len(found) == 4  # itself, ADP, RIG and OTHER
    assert {one.base_us for one in spans(session, {keys["PIN"]: 5})} == {5}


def test_a_part_has_the_loads_of_what_held_it_each_once(laboratory):
    # 1 + 4 (through RIG) + 16 + 32; not RIG-EARLY, not EDGE, not LOOSE
    assert applications(laboratory, "PIN")[1:] == (53, 0, 32)
    # 1 + 4 (through RIG) + 8 + 16
    assert applications(laboratory, "ADP").after == 29
    assert applications(laboratory, "LOOSE").after == 64


def test_what_is_calibrated_is_loaded_too(laboratory):
    assert applications(laboratory, "TL").after == 1 + 2 + 4 + 8 + 16 + 32 + 64


def test_loads_up_to_the_base_are_taken_back_for_an_earlier_instant(laboratory):
    base = us("2025-02-10T10:00:00Z")
    assert applications(laboratory, "PIN", base).after == 16 + 32
    assert applications(laboratory, "PIN", base, "2025-01-31T00:00:00Z").before == 4


def test_uses_come_in_order_of_time(laboratory):
    session, keys = laboratory
    found = uses(session, spans(session, {keys["PIN"]: EVER}))
    assert [row.applications for row in found] == [1, 4, 16, 32]


def test_no_spans_have_no_loads(laboratory):
    session, _ = laboratory
    assert (list(totals(session, [], 0, 0)), uses(session, []), events(session, [])) == ([], [], [])


def test_revisions_of_one_event_count_once_and_a_voided_one_counts(laboratory):
    session, _ = laboratory
    more = [
        cal("R", "2025-07-01T10:00:00Z", "LOOSE", applications=100, status="superseded"),
        cal("R", "2025-07-01T10:00:00Z", "LOOSE", applications=7, revision=1),
        cal("V", "2025-07-02T10:00:00Z", "LOOSE", applications=1000, status="voided"),
        cal("D", "2025-07-03T10:00:00Z", "LOOSE", applications=10000, status="draft"),
        cal("D", "2025-07-03T10:00:00Z", "LOOSE", applications=20000, status="draft", revision=1),
    ]
    import_laboratory(session, LaboratorySchema().load({"calibrations": more}), 2)
    assert applications(laboratory, "LOOSE").after == 64 + 7 + 1000 + 20000


def test_an_event_on_an_assembly_is_one_of_the_parts_that_it_held(laboratory):
    session, keys = laboratory
    event = {"item": "ADP", "kind": "overload", "person": "Robin"}
    for code, at in (("E1", "2025-02-20T00:00:00Z"), ("E2", "2025-03-20T00:00:00Z")):
        assert record(session, event | {"id": code, "at": at}, 1)
    found = events(session, spans(session, {keys["PIN"]: EVER, keys["ADP"]: EVER}))
    named = sorted((part, event.code) for part, event in found)
    assert named == sorted([(keys["PIN"], "E1"), (keys["ADP"], "E1"), (keys["ADP"], "E2")])


def test_an_inspection_is_named_so_or_has_measured_wear(laboratory):
    session, keys = laboratory
    pin = keys["PIN"]
    assert last_inspections(session, [pin])[pin].code == "K2"
    passed = last_inspections(session, [pin], passed_until_us=us("2026-01-01"))
    assert passed[pin].code == "K1"
    assert last_inspections(session, [pin], passed_until_us=us("2025-01-01")) == {}


def test_parts_of_many_spans_are_cut_into_statements_and_lost_by_none(laboratory):
    session, keys = laboratory
    own = spans(session, {keys["PIN"]: EVER})
    many = [Span(number, keys["LOOSE"], EVER, 2**62) for number in range(10_000, 10_450)]
    found = {one.part: one.after for one in totals(session, [*many, *own], us("2026-01-01"), 0)}
    assert (len(found), found[keys["PIN"]], found[10_449]) == (451, 53, 64)
