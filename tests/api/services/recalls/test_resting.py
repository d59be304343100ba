"""What a use rested on besides the value of its own item: histories read once, only where open."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref, row

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.resting import NOTHING_MORE, Histories, users_beyond
from api.store.reading import SessionReader
from api.store.sources import Recorded
from graph.moments import moment, time_zone

UTC = time_zone("UTC")
MARCH = moment("2025-03-01T10:00:00Z", UTC)


@pytest.fixture
def histories(database):
    """Record a laboratory; return what was read of its items, their keys and its certificates'."""

    def read(laboratory):
        with database.write() as session:
            import_laboratory(session, LaboratorySchema().load(laboratory), 0)
        session = opened.enter_context(database.read())
        source = Recorded(SessionReader(session))
        codes = [one["id"] for one in laboratory["items"]]
        keys = {code: next(iter(source.item_keys([code]))) for code in codes}
        found = Histories(source)
        found.learn({key: code for code, key in keys.items()})
        numbers = {one["certificate"] for one in laboratory["calibrations"]}
        return found, {n: source.numbered(n)[0].id for n in numbers}

    from contextlib import ExitStack

    with ExitStack() as opened:
        yield read


def test_an_item_with_one_plain_certificate_leaves_nothing_open(histories):
    found, keys = histories(lab(cal("W-1", "WS", "01-10", [ref("REF")])))
    assert not found.leave_open("WS")
    assert found.rest("WS", MARCH, None, keys["W-1"]) is NOTHING_MORE


def test_certificates_of_an_item_that_leaves_nothing_open_are_not_read(histories):
    twice = [cal("W-1", "WS", "01-10", [ref("REF")]), cal("W-2", "WS", "02-10", [ref("REF")])]
    found, keys = histories(lab(*twice))
    assert found.rest("WS", MARCH, None, keys["W-2"]) is NOTHING_MORE
    assert "WS" not in found.candidates


@pytest.mark.parametrize(
    "second",
    [
        {"mode": "tension"},
        {"status": "voided", "void_reason": "lost"},  # nobody knows when
        {"results": [row("2")]},  # another range
        {"results": []},  # no range at all
    ],
)
def test_certificates_that_leave_their_value_open_are_read(histories, second):
    first = cal("W-1", "WS", "01-10", [ref("REF")], [row("1")])
    later = {"results": [row("1")]} | second
    found, keys = histories(lab(first, cal("W-2", "WS", "02-10", [ref("REF")], **later)))
    assert found.leave_open("WS")
    assert {one.key for one in found.candidates["WS"]} == set(keys.values())


def test_a_void_without_date_leaves_a_doubt(histories):
    found, keys = histories(
        lab(
            cal("W-1", "WS", "01-10", [ref("REF")]),
            cal("W-2", "WS", "02-10", [ref("REF")], status="voided", void_reason="lost"),
        )
    )
    (doubt,) = found.rest("WS", MARCH, None, keys["W-1"]).doubts
    assert (doubt.key, doubt.reason) == (keys["W-2"], "undated_void")


def test_earlier_certificates_are_named_only_where_their_range_goes_beyond(histories):
    def both(first, second):
        return lab(
            cal("W-1", "WS", "01-10", [ref("REF")], [row("1"), row(first, point=2)]),
            cal("W-2", "WS", "02-10", [ref("REF")], [row("1"), row(second, point=2)]),
        )

    wide, keys = histories(both("50", "10"))
    ranked = wide.rest("WS", MARCH, None, keys["W-2"]).ranked
    assert [one.key for one in ranked] == [keys["W-2"], keys["W-1"]]
    assert ranked[0].span == (1_000, 10_000)  # kN in newton


def rig():
    """K-1 used RIG, which held CELL alone."""
    laboratory = lab(
        cal("W-1", "CELL", "01-10", [ref("REF")]), cal("K-1", "KU", "03-01", [ref("RIG")])
    )
    for item in laboratory["items"]:
        if item["id"] in ("CELL", "RIG"):
            item["kind"] = "working_standard"
    laboratory["composition"] = [
        {"assembly": "RIG", "part": "CELL", "from": "2024-01-01T00:00:00Z", "share": "1"}
    ]
    return laboratory


def test_what_an_assembly_held_is_read_with_its_share(histories):
    found, keys = histories(rig())
    (held,) = found.rest("RIG", MARCH, None, None).held
    assert (held.chain, held.share, held.source) == (("CELL", "RIG"), 1, keys["W-1"])
    cell = found.source.item_keys(["CELL"])
    assert users_beyond(found.source, found, cell) == {keys["K-1"]}


def test_a_part_that_was_met_before_what_held_it_is_read_with_it(histories):
    read, keys = histories(rig())
    found = Histories(read.source)
    for code in ("CELL", "RIG"):
        (key,) = found.source.item_keys([code])
        found.learn({key: code})
        assert found.leave_open(code) == (code == "RIG")
    (held,) = found.rest("RIG", MARCH, None, None).held
    assert held.source == keys["W-1"]
