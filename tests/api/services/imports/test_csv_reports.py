"""The report of refused rows: counts, cells as they stand in the file, and what is missing."""

from __future__ import annotations

import csv
import io
import json

from api.schemas.import_mappings import KINDS, ImportMappingSchema
from api.services.imports.csv_files import CsvFile
from api.services.imports.csv_imports import CsvImport
from api.services.imports.csv_mapping import tables_of
from api.services.imports.csv_records import read_tables
from api.services.imports.csv_reports import COLUMNS, report, report_csv
from api.services.imports.csv_rows import Refusal

FILES = {
    "c.csv": "No,Item,Date,Remark\nC-1,=REF,01.02.2025,x\nC-2,WS,2025-02-02,y\nC-3,WS,\n",
    "r.csv": "No,Point,Error\nC-2,1,-0.10\nC-1,1,0.2\nC-9,1,0.3\n",
}
TABLES = [
    {
        "file": "c.csv",
        "collection": "calibrations",
        "fields": {
            "certificate": "No",
            "item": "Item",
            "performed_at": {"column": "Date", "format": "%d.%m.%Y"},
        },
    },
    {
        "file": "r.csv",
        "collection": "results",
        "fields": {"calibration.certificate": "No", "point": "Point", "error": "Error"},
    },
]


def tried(*more: Refusal):
    """An import of the files, not yet loaded or stored."""
    mapping = ImportMappingSchema().load({"tables": TABLES})
    files = {name: CsvFile(name, io.BytesIO(text.encode())) for name, text in FILES.items()}
    tables = tables_of(mapping, files, KINDS)
    records = read_tables(tables)
    records.refusals += more
    return CsvImport(mapping, tables, records)


def test_counts_say_how_many_rows_were_refused_and_how_many_went_with_them():
    # C-2 has a date of another form and takes its result with it; C-3 lacks a cell; C-9 is unknown.
    files = report(tried())["files"]
    assert files == [
        {"file": "c.csv", "rows": 3, "refused": 2, "dragged": 0, "unused_columns": ["Remark"]},
        {"file": "r.csv", "rows": 3, "refused": 1, "dragged": 1, "unused_columns": []},
    ]


def test_refused_rows_come_in_the_order_of_the_files_with_their_cells():
    entries = report(tried())["refused"]
    assert [(one["file"], one["row"], one["line"], one["dragged"]) for one in entries] == [
        ("c.csv", 3, 3, False),
        ("c.csv", 4, 4, False),
        ("r.csv", 2, 2, True),
        ("r.csv", 4, 4, False),
    ]
    date, short, dragged, orphan = entries
    assert (date["column"], date["field"], date["value"]) == ("Date", "performed_at", "2025-02-02")
    assert "cells" in short["reason"]
    assert "column" not in short
    assert "c.csv row 3" in dragged["reason"]
    assert orphan["value"] == "C-9"
    assert all(one["reason"] and one["remedy"] for one in entries)


def test_what_belongs_to_no_row_stands_first_without_a_place():
    first = report(tried(Refusal(None, "a circle", "mend it")))["refused"][0]
    assert first == {"dragged": False, "reason": "a circle", "remedy": "mend it"}


def test_a_long_value_is_cut():
    first = report(tried(Refusal(None, "long", "shorten it", None, (), "x" * 500)))["refused"][0]
    assert first["value"] == "x" * 200


def test_what_nobody_recorded_is_listed_with_how_many_name_it():
    done = tried()
    done.missing.update({("items", "WS"): 2, ("items", "A"): 1, ("budgets", "UB"): 1})
    assert report(done)["missing"] == {
        "budgets": [{"id": "UB", "named_by": 1}],
        "items": [{"id": "A", "named_by": 1}, {"id": "WS", "named_by": 2}],
    }


def test_a_report_of_an_import_without_faults_is_empty():
    done = tried()
    done.records.refusals.clear()
    for built in done.records.built["calibrations"].values():
        built.refusal = None
    found = report(done)
    assert (found["refused"], found["missing"]) == ([], {})
    assert [one["refused"] for one in found["files"]] == [0, 0]


def test_a_report_is_json():
    found = report(tried())
    assert json.loads(json.dumps(found)) == found


def rows(entries, *, raw=False):
    text = "".join(report_csv(entries, raw=raw))
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def test_the_csv_of_a_report_has_a_column_for_everything_and_opens_without_running_it():
    entry = {"file": "=c.csv", "row": 2, "value": "=REF()", "dragged": False, "reason": "r"}
    (row,) = rows([entry])
    assert tuple(row) == COLUMNS
    assert (row["file"], row["value"]) == ("'=c.csv", "'=REF()")
    assert (row["row"], row["dragged"], row["remedy"]) == ("2", "false", "")
    (raw,) = rows([entry], raw=True)
    assert (raw["file"], raw["value"]) == ("=c.csv", "=REF()")


def test_a_number_that_was_sent_is_shown_with_its_digits():
    values = ["-0.10", "0.200", "007", "1E5", "-", "-8-6"]
    found = [row["value"] for row in rows([{"value": value} for value in values])]
    # What begins with a sign and is no number could be run.
    assert found == ["-0.10", "0.200", "007", "1E5", "'-", "'-8-6"]
