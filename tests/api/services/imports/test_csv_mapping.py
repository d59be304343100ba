"""A mapping and its files put together: each field finds its column, each fault its place."""

from __future__ import annotations

import io
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from api.errors import InvalidRecord
from api.schemas.import_mappings import KINDS, ImportMappingSchema
from api.services.imports.csv_files import CsvFile
from api.services.imports.csv_mapping import kind_of, tables_of, unused_columns

ITEMS = {"file": "items.csv", "collection": "items"}
FILES = {
    "items.csv": b"Asset,Kind,Owner\nREF,reference_standard,\n",
    "uses.csv": b"Cert;Rev;Standard\nC-1;0;REF\n",
}


def tables(*sent, files=FILES, **common):
    mapping = ImportMappingSchema().load({"tables": list(sent), **common})
    given = {name: CsvFile(name, io.BytesIO(data)) for name, data in files.items()}
    return tables_of(mapping, given, KINDS)


def faults(*sent, files=FILES, **common):
    with pytest.raises(InvalidRecord, match=r"fault\(s\) in the mapping") as found:
        tables(*sent, files=files, **common)
    assert all(issue.remedy for issue in found.value.issues)
    return [(issue.pointer, issue.detail, issue.value) for issue in found.value.issues]


def only(name):
    return {name: FILES[name]}


def test_each_field_has_its_column_and_what_the_mapping_says_of_all():
    fields = {"id": "Asset", "kind": {"column": "Kind", "values": {"Ref": "reference_standard"}}}
    (table,) = tables(
        ITEMS | {"fields": fields, "empty": ["n/a"]},
        files=only("items.csv"),
        decimal=",",
        zone="Europe/Vienna",
        empty=["-"],
    )
    code, kind = table.readers
    assert (code.name, code.kind, code.columns) == ("id", "text", (0,))
    assert kind.columns == (1,)
    # The table's own word holds where it has one, else the mapping's.
    assert kind.options["empty"] == ["n/a"]
    assert kind.options["decimal"] == ","
    assert kind.options["zone"] == ZoneInfo("Europe/Vienna")
    assert table.columns_of("kind") == (1,)
    assert table.column_names((0, 2)) == "Asset, Owner"


def test_without_fields_the_columns_are_named_as_the_fields_are():
    data = b"id,kind,tolerance.lower,properties.pin_diameter,Remark\nP,adapter,,50 mm,\n"
    (table,) = tables(ITEMS, files={"items.csv": data})
    named = {one.name: (one.kind, one.columns) for one in table.readers}
    assert named == {
        "id": ("text", (0,)),
        "kind": ("text", (1,)),
        "properties.pin_diameter": ("text", (3,)),
    }
    assert unused_columns([table], "items.csv") == ["tolerance.lower", "Remark"]


def test_a_part_of_a_field_leads_to_its_column_and_a_constant_to_none():
    fields = {
        "id": "Asset",
        "kind": {"value": "adapter"},
        "properties.rod_thread": {"columns": ["Kind", "Owner"]},
    }
    (table,) = tables(ITEMS | {"fields": fields}, files=only("items.csv"))
    assert table.columns_of("properties") == (1, 2)
    assert table.columns_of("kind") == ()
    assert table.columns_of("capacity") == ()


def test_tables_of_details_come_behind_those_that_they_belong_to():
    uses = {
        "file": "uses.csv",
        "collection": "uses",
        "separator": ";",
        "fields": {"calibration.certificate": "Cert", "item": "Standard"},
    }
    items = ITEMS | {"fields": {"id": "Asset", "kind": "Kind"}}
    found = tables(uses, items)
    assert [(one.collection, one.index) for one in found] == [("items", 1), ("uses", 0)]
    assert unused_columns(found, "uses.csv") == ["Rev"]


def test_one_file_may_serve_several_tables_that_read_it_alike():
    sent = [ITEMS | {"fields": {"id": "Asset", "kind": {"value": kind}}} for kind in ("a", "b")]
    first, second = tables(*sent, files=only("items.csv"))
    assert first.file is second.file
    # What one of them takes is used.
    assert unused_columns([first, second], "items.csv") == ["Kind", "Owner"]
    sent[1] |= {"separator": ";"}
    ((place, detail, value),) = faults(*sent, files=only("items.csv"))
    assert (place, value) == ("/tables/1/file", "items.csv")
    assert "another separator or heading" in detail


def test_every_fault_of_a_mapping_is_told_at_once_with_its_pointer():
    data = b"Asset,Kind,Kind\nREF,x,y\n"
    fields = {"id": "Aset", "kind": "Kind", "properties.a/b": "Thread"}
    found = faults(
        ITEMS | {"fields": fields},
        {"file": "gone.csv", "collection": "checks"},
        files={"items.csv": data, "more.csv": b"id\n"},
    )
    assert found == [
        ("/tables/0/fields/id", 'the file has no column "Aset"', "Aset"),
        ("/tables/0/fields/kind", 'the file has 2 columns "Kind"', "Kind"),
        ("/tables/0/fields/properties.a~1b", 'the file has no column "Thread"', "Thread"),
        ("/tables/1/file", "no such file was sent", "gone.csv"),
        ("/tables", 'the mapping says nothing of the file "more.csv"', "more.csv"),
    ]


def test_columns_that_no_field_is_named_after_need_fields():
    ((place, detail, _),) = faults(ITEMS, files=only("items.csv"))
    assert (place, detail) == ("/tables/0/file", "no column is named as a field is")


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("tolerance", "tolerance"),
        ("tolerance.lower", "decimal"),
        ("weight.1", "decimal"),
        ("properties.pin_diameter", "text"),
        ("properties", None),  # an object comes in parts
        ("properties.", None),
        ("id.part", None),
        ("unheard", None),
    ],
)
def test_a_field_or_a_part_of_one_holds_what_its_record_says(name, kind):
    kinds = {"tolerance": "tolerance", "weight": "weight", "properties": "object", "id": "text"}
    assert kind_of(name, kinds) == kind


def test_a_factor_stays_exact():
    fields = {"id": "Asset", "kind": "Kind", "capacity": {"column": "Owner", "scale": "0.0010"}}
    (table,) = tables(ITEMS | {"fields": fields}, files=only("items.csv"))
    assert str(table.readers[-1].options["scale"]) == str(Decimal("0.0010"))
