"""Rows of several files become records; a row that cannot be read costs its record, whole."""

from __future__ import annotations

import io

import pytest

from api.errors import InvalidRecord
from api.schemas.import_mappings import KINDS, ImportMappingSchema
from api.services.imports import csv_records
from api.services.imports.csv_files import CsvFile
from api.services.imports.csv_mapping import tables_of
from api.services.imports.csv_records import read_tables

CALIBRATIONS = {
    "file": "c.csv",
    "collection": "calibrations",
    "fields": {
        "certificate": "No",
        "revision": "Rev",
        "item": "Item",
        "performed_at": {"column": "Date", "format": "%d.%m.%Y"},
    },
}
RESULTS = {
    "file": "r.csv",
    "collection": "results",
    "fields": {
        "calibration.certificate": "No",
        "calibration.revision": "Rev",
        "point": "Point",
        "error": "Error",
    },
}
HEADINGS = {"c.csv": "No,Rev,Item,Date", "r.csv": "No,Rev,Point,Error"}


def read(*sent, group=False, **lines):
    """Records of files given by their lines, c and r for calibrations and results."""
    chosen = list(sent) or [CALIBRATIONS, RESULTS]
    mapping = ImportMappingSchema().load({"tables": [one | {"group": group} for one in chosen]})
    files = {}
    for name, rows in lines.items():
        text = "\n".join([HEADINGS.get(f"{name}.csv", ""), *rows]).lstrip("\n")
        files[f"{name}.csv"] = CsvFile(f"{name}.csv", io.BytesIO(text.encode()))
    return read_tables(tables_of(mapping, files, KINDS))


def refusals(records):
    return [(str(one.spot), one.field) for one in records.refusals]


def calibrations(records):
    return {one.raw["certificate"]: one for one in records.kept("calibrations")}


C_1 = "C-1,,REF,01.02.2025"
C_2 = "C-2,,WS,02.02.2025"


def test_results_go_with_their_calibration_and_everything_knows_its_row():
    records = read(c=[C_1, C_2], r=["C-2,,1,0.1", "C-1,,1,0.2", "C-2,,2,0.3"])
    assert records.refusals == []
    found = calibrations(records)
    assert [one["error"] for one in found["C-2"].raw["results"]] == ["0.1", "0.3"]
    assert [one["error"] for one in found["C-1"].raw["results"]] == ["0.2"]
    assert [str(spot) for spot in found["C-2"].spots()] == [
        "c.csv row 3",
        "r.csv row 2",
        "r.csv row 4",
    ]
    assert records.read == {"c.csv": 2, "r.csv": 3}
    assert "calibration.certificate" not in found["C-1"].raw["results"][0]


def test_an_absent_revision_is_the_first_and_another_one_is_another_certificate():
    records = read(c=[C_1, "C-1,1,REF,03.02.2025"], r=["C-1,0,1,0.1", "C-1,1,1,0.2"])
    kept = records.kept("calibrations")
    assert [one.raw.get("revision") for one in kept] == [None, 1]
    assert [one.raw["results"][0]["error"] for one in kept] == ["0.1", "0.2"]
    assert kept[1].name == 'certificate "C-1" rev. 1'


def test_a_row_that_cannot_be_read_refuses_its_record_and_no_other():
    records = read(c=["C-1,,REF,2025-02-01", C_2], r=["C-1,,1,0.1", "C-2,,1,0,1"])
    assert refusals(records) == [("c.csv row 2", "performed_at"), ("r.csv row 3", None)]
    # The second row has one cell too many, and names C-2: without that result it would be another.
    assert records.kept("calibrations") == []


def test_a_fault_of_a_result_is_one_of_its_certificate():
    reading = {"column": "Error", "decimal": ","}
    results = RESULTS | {"fields": RESULTS["fields"] | {"error": reading}}
    records = read(CALIBRATIONS, results, c=[C_1, C_2], r=["C-1,,1,0.1", 'C-2,,1,"0,1"'])
    assert refusals(records) == [("r.csv row 2", "error")]
    assert list(calibrations(records)) == ["C-2"]


def test_a_result_without_a_certificate_is_refused_by_itself():
    records = read(c=[C_1], r=["C-9,,1,0.1", ",,1,0.1", "C-1,1,1,0.1"])
    assert refusals(records) == [
        ("r.csv row 2", "calibration.certificate"),
        ("r.csv row 3", "calibration.certificate"),
        ("r.csv row 4", "calibration.certificate"),
    ]
    reasons = [one.reason for one in records.refusals]
    assert reasons[0] == 'no row of the calibrations is of certificate "C-9" rev. 0'
    assert reasons[1] == "the cell is empty"
    assert reasons[2].endswith('of certificate "C-1" rev. 1')
    assert list(calibrations(records)) == ["C-1"]


def test_a_key_that_cannot_be_read_taints_every_certificate_of_its_number():
    # Whose result it is nobody can say: C-1 of no revision can be whole.
    records = read(c=[C_1, "C-1,1,REF,03.02.2025", C_2], r=["C-1,one,1,0.1"])
    assert refusals(records) == [("r.csv row 2", "calibration.revision")]
    assert list(calibrations(records)) == ["C-2"]
    assert records.tainted.keys() == {"C-1"}


def test_a_key_without_a_column_says_so():
    fields = {name: one for name, one in CALIBRATIONS["fields"].items() if name != "certificate"}
    records = read(CALIBRATIONS | {"fields": fields}, c=[C_1])
    (refusal,) = records.refusals
    assert refusal.reason == "the mapping names no column for it"


def test_a_record_that_stands_twice_is_refused_and_the_first_row_named():
    records = read(CALIBRATIONS, c=[C_1, C_2, C_1])
    (refusal,) = records.refusals
    assert refusal.reason == 'certificate "C-1" rev. 0 stands twice, first in c.csv row 2'
    assert '"group": true' in refusal.remedy
    assert list(calibrations(records)) == ["C-2"]


def test_rows_that_make_one_record_may_repeat_it_and_not_contradict_it():
    records = read(CALIBRATIONS, group=True, c=[C_1, C_1, C_2, "C-2,,REF,02.02.2025"])
    (refusal,) = records.refusals
    assert (str(refusal.spot), refusal.field) == ("c.csv row 5", "item")
    assert list(calibrations(records)) == ["C-1"]
    assert len(calibrations(records)["C-1"].rows) == 2


def test_a_result_repeated_by_grouped_rows_is_one_and_otherwise_two():
    lines = {"c": [C_1], "r": ["C-1,,1,0.1", "C-1,,1,0.1"]}
    grouped = calibrations(read(group=True, **lines))["C-1"]
    single = calibrations(read(**lines))["C-1"]
    assert (len(grouped.raw["results"]), len(single.raw["results"])) == (1, 2)


def test_rows_without_anything_of_the_record_are_passed_over():
    records = read(c=[C_1, ",,,"], r=["C-1,,,", "C-1,,1,0.1"])
    assert records.refusals == []
    assert len(calibrations(records)["C-1"].raw["results"]) == 1
    # They are rows of the file all the same; a row without any text is none.
    assert records.read == {"c.csv": 1, "r.csv": 2}


def test_a_pointer_into_a_record_leads_to_row_field_and_columns():
    found = calibrations(read(c=[C_1], r=["C-1,,1,0.1", "C-1,,2,0.2"]))["C-1"]
    spot, name, columns = found.located(["results", "1", "error"])
    assert (str(spot), name, tuple(columns)) == ("r.csv row 3", "error", (3,))
    spot, name, columns = found.located(["performed_at"])
    assert (str(spot), name, tuple(columns)) == ("c.csv row 2", "performed_at", (3,))
    assert found.located([])[1:] == (None, ())


def test_more_rows_than_one_import_takes_are_refused(monkeypatch):
    monkeypatch.setattr(csv_records, "MOST_ROWS", 3)
    assert read(c=[C_1, C_2], r=["C-1,,1,0.1"]).refusals == []
    with pytest.raises(InvalidRecord, match="more than 3 rows") as found:
        read(c=[C_1, C_2], r=["C-1,,1,0.1", "C-2,,1,0.1"])
    assert "several imports" in found.value.issues[0].remedy
