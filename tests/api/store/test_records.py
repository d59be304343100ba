"""Records read by key: complete, as their columns hold them, with the words around them."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref, row

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store import records
from api.store.reading import SessionReader


@pytest.fixture
def filled(database):
    """A reader of three calibrations and two checks of REF."""
    made = lab(
        cal("R-1", "REF", "01-10", []),
        cal(
            "C-1", "A", "02-01", [ref("REF"), ref("OTHER")], [row(point=2), row("1.2300", point=1)]
        ),
        cal("C-2", "B", "03-01", [ref("REF", "0.50")], [row(rule="simple")], customer="Mine Works"),
        checks=[
            {"id": "K-2", "item": "REF", "at": "2025-02-02", "result": "pass", "against": "OTHER"},
            {"id": "K-1", "item": "REF", "at": "2025-01-02", "result": "fail"},
        ],
    )
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(made), 0)
    with database.read() as session:
        yield SessionReader(session)


def test_certificates_are_found_by_key_and_missing_ones_are_left_out(filled):
    found = {row.number: row for row in records.certificates(filled, [1, 2, 3, 99])}
    assert set(found) == {"R-1", "C-1", "C-2"}
    customers = records.customer_names(filled, [found["C-2"].customer_id])
    assert list(customers.values()) == ["Mine Works"]
    assert records.item_words(filled, [found["C-2"].item_id])[found["C-2"].item_id][0] == "B"
    assert found["C-1"].customer_id is None


def test_uses_and_results_tell_their_place_in_the_record(filled):
    uses = sorted(records.uses(filled, [2]), key=lambda use: use.position)
    codes = records.item_codes(filled, {use.item_id for use in uses})
    assert [codes[use.item_id] for use in uses] == ["REF", "OTHER"]
    results = sorted(records.results(filled, [3, 2]), key=lambda r: (r.certificate_id, r.position))
    assert [(r.certificate_id, r.point) for r in results] == [(2, "2"), (2, "1"), (3, "1")]
    assert results[1].applied == "1.2300"


def test_many_keys_travel_in_one_statement(filled):
    # Far more than the parameters that one statement may bind.
    assert len(list(records.results(filled, range(1, 200_000)))) == 4


def test_no_keys_ask_nothing(filled):
    assert list(records.uses(filled, [])) == []


def test_checks_of_an_item_are_found_with_what_they_were_made_against(filled):
    found = records.checks_of(filled, records.item(filled, "REF").id)
    other = records.item(filled, "OTHER").id
    assert {row.code: row.against_id for row in found} == {"K-1": None, "K-2": other}


def test_items_are_found_by_their_ids_and_unknown_ones_are_none(filled):
    assert records.item(filled, "REF").kind == "working_standard"
    assert records.item(filled, "NONE") is None
    assert records.item_keys(filled, ["REF", "NONE"]) == {records.item(filled, "REF").id}


def test_a_number_is_found_with_its_revisions(filled):
    assert [(row.issuer, row.revision) for row in records.numbered(filled, "C-1")] == [("", 0)]


def test_recalibrations_lie_after_the_start_and_up_to_the_end(filled):
    (row,) = records.certificates(filled, [1])
    at, item = row.performed_us, records.item(filled, "REF").id

    def numbers(start, end):
        return [found.number for found in records.recalibrations(filled, item, start, end)]

    assert numbers(None, None) == numbers(at - 1, at) == ["R-1"]
    assert numbers(at, None) == numbers(None, at - 1) == []


def test_rules_are_read_by_key(filled):
    assert {code for _, code, _, _ in records.rules(filled, [1, 2])} == {"guard_U", "simple"}
