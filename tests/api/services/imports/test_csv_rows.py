"""What one row says: values by field, lists taken apart, parts of a field put together."""

from __future__ import annotations

import io

import pytest

from api.schemas.import_mappings import KINDS, ImportMappingSchema
from api.services.imports.csv_files import CsvFile
from api.services.imports.csv_mapping import tables_of
from api.services.imports.csv_rows import (
    Several,
    Spot,
    key_columns,
    nested,
    says_anything,
    taken_apart,
    values_of,
)

USES = {
    "calibration.certificate": "Cert",
    "item": {"column": "Standards", "split": ";"},
    "weight": {"column": "Shares", "split": ";"},
    "role": {"value": "force_reference"},
}
USES_HEADING = "Cert,Standards,Shares"


def row_of(collection, fields, heading, line):
    data = f"{heading}\n{line}\n".encode()
    sent = {"file": "f.csv", "collection": collection, "fields": fields}
    mapping = ImportMappingSchema().load({"tables": [sent]})
    (table,) = tables_of(mapping, {"f.csv": CsvFile("f.csv", io.BytesIO(data))}, KINDS)
    (row,) = table.file.rows(len(table.heading))
    return Spot(table, row.number, row.line), row


def uses(line):
    """Uses of one row, and what is wrong with it."""
    spot, row = row_of("uses", USES, USES_HEADING, line)
    values, faults = values_of(spot, row)
    parts, more = taken_apart(spot, values)
    return parts, [*faults, *more]


def test_a_row_says_where_it_stands():
    spot, _ = row_of("items", {"id": "A", "kind": "K"}, "A,K", "REF,x")
    assert (str(spot), spot.place) == ("f.csv row 2", ("f.csv", 2))


def test_an_empty_cell_is_absent_and_a_constant_is_in_every_row():
    spot, row = row_of("items", {"id": "A", "kind": {"value": "x"}, "type": "T"}, "A,T", "REF,")
    assert values_of(spot, row) == ({"id": "REF", "kind": "x"}, [])


def test_cells_at_fault_are_named_with_field_columns_and_text():
    fields = {"id": "Asset", "item": "Item", "at": {"column": "Date", "format": "%d.%m.%Y"}}
    spot, row = row_of("checks", fields, "Asset,Item,Date", "K-1,REF,2025-06-01")
    values, (fault,) = values_of(spot, row)
    assert values == {"id": "K-1", "item": "REF"}
    assert (fault.field, tuple(fault.columns), fault.value) == ("at", (2,), "2025-06-01")
    assert fault.remedy
    assert not fault.dragged


def test_a_row_that_lists_several_uses_becomes_several():
    parts, faults = uses("C-1,WS; REF,0.4; 0.6")
    assert faults == []
    assert [(one["item"], one["weight"]) for one in parts] == [("WS", "0.4"), ("REF", "0.6")]
    # What is no list holds for each.
    assert {one["role"] for one in parts} == {"force_reference"}
    assert {one["calibration.certificate"] for one in parts} == {"C-1"}


def test_an_empty_place_of_a_list_is_absent_from_that_use_only():
    parts, faults = uses("C-1,WS; REF,0.4;")
    assert faults == []
    assert [one.get("weight") for one in parts] == ["0.4", None]


def test_lists_of_another_length_are_refused_and_nothing_is_guessed():
    parts, (fault,) = uses("C-1,A; B; C,0.4; 0.6")
    assert parts == []
    assert fault.reason == "the lists of the row are not of one length: item 3, weight 2"
    assert sorted(fault.columns) == [1, 2]


def test_shares_by_point_are_one_weight_and_no_list():
    parts, faults = uses("C-1,WS,1=0.4; 2=0.6")
    assert faults == []
    assert [one["weight"] for one in parts] == [{"1": "0.4", "2": "0.6"}]


def test_a_row_without_lists_is_one_record():
    values = {"id": "K"}
    spot, _ = row_of("checks", {"id": "A"}, "A", "K")
    assert taken_apart(spot, values) == ([values], [])


def test_lists_belong_to_uses_and_stay_lists_elsewhere():
    fields = {"id": "A", "item": "I", "covers": {"column": "C", "split": ";"}}
    spot, row = row_of("checks", fields, "A,I,C", "K,REF,a; b")
    values, _ = values_of(spot, row)
    assert values["covers"] == ["a", "b"]
    assert not isinstance(values["covers"], Several)


def test_parts_of_a_field_are_put_together():
    spot, _ = row_of("items", {"id": "A"}, "A", "REF")
    values = {"id": "P", "properties.pin_diameter": "2 in", "properties.position": "top"}
    assert nested(spot, values) == (
        {"id": "P", "properties": {"pin_diameter": "2 in", "position": "top"}},
        [],
    )


def test_a_field_as_a_whole_and_in_parts_is_a_fault():
    fields = {"point": "P", "tolerance": "T", "tolerance.lower": "L"}
    spot, row = row_of("results", fields, "P,T,L", "1,0.1,-0.2")
    values, _ = values_of(spot, row)
    raw, (fault,) = nested(spot, values)
    assert raw["tolerance"] == "0.1"
    assert fault.reason == "tolerance is given as a whole and in parts"
    assert fault.field == "tolerance"
    assert tuple(fault.columns)


@pytest.mark.parametrize(
    ("line", "says"),
    [("C-1,,", False), (",WS,", True), ("C-1,,0.5", True), (",,", False)],
)
def test_a_row_with_a_key_and_constants_only_says_nothing(line, says):
    # An empty row has no cells at all, so something else stands in it.
    spot, row = row_of("uses", USES, f"{USES_HEADING},Remark", f"{line},x")
    values, _ = values_of(spot, row)
    assert says_anything(spot.table, values) is says


def test_the_key_of_a_detail_is_that_of_its_calibration():
    spot, _ = row_of("uses", USES, USES_HEADING, "C-1,WS,")
    assert key_columns(spot.table, "certificate") == (0,)
    assert key_columns(spot.table, "issuer") == ()
    items, _ = row_of("items", {"kind": "K", "id": "A"}, "K,A", "x,REF")
    assert key_columns(items.table, "id") == (1,)
