"""CSV files by a column mapping: what goes in, what is refused and why, and what is missing."""

from __future__ import annotations

import csv
import io
import json

import pytest
from import_forms import csv_answer

from api.services.imports import csv_files, csv_records

ITEMS = b"""Asset,Kind
REF,Reference
WS,Working
CELL,Customer's
"""
CALIBRATIONS = b"""Certificate,Asset,Date,Made by
E-1,REF,02.01.2025,Institute
W-1,WS,10.01.2025,
C-1,CELL,01.02.2025,
"""
USES = b"""Certificate,Standards,Shares
W-1,REF,
C-1,WS; REF,"0,4; 0,6"
"""
RESULTS = b"""Certificate,No.,Load,Error,U,Limit,Verdict
W-1,1,10,"-0,004","0,002","0,010",Pass
C-1,1,10,"0,001","0,002","0,010",Pass
C-1,2,20,"0,0120","0,004","0,020",Pass
"""
KINDS = {
    "Reference": "reference_standard",
    "Working": "working_standard",
    "Customer's": "customer_instrument",
}
MAPPING = {
    "decimal": ",",
    "format": "%d.%m.%Y",
    "time_zone": "Europe/Vienna",
    "tables": [
        {
            "file": "items.csv",
            "collection": "items",
            "fields": {"id": "Asset", "kind": {"column": "Kind", "values": KINDS}},
        },
        {
            "file": "certificates.csv",
            "collection": "calibrations",
            "fields": {
                "certificate": "Certificate",
                "item": "Asset",
                "performed_at": "Date",
                "issuer": "Made by",
                "external": {"column": "Made by", "values": {"Institute": True}, "default": False},
            },
        },
        {
            "file": "uses.csv",
            "collection": "uses",
            "fields": {
                "calibration.certificate": "Certificate",
                "item": {"column": "Standards", "split": ";"},
                "weight": {"column": "Shares", "split": ";"},
                "role": {"value": "force_reference"},
            },
        },
        {
            "file": "results.csv",
            "collection": "results",
            "fields": {
                "calibration.certificate": "Certificate",
                "point": "No.",
                "applied": "Load",
                "error": "Error",
                "U": "U",
                "tolerance": "Limit",
                "unit": {"value": "kN"},
                "rule": {"value": "guard_U"},
                "verdict_reported": {"column": "Verdict", "values": {"Pass": "pass"}},
            },
        },
    ],
}
FILES = {
    "items.csv": ITEMS,
    "certificates.csv": CALIBRATIONS,
    "uses.csv": USES,
    "results.csv": RESULTS,
}
CREATED = {"items": 3, "composition": 0, "calibrations": 3, "checks": 0}


def changed(name, before, after):
    """The files with one text changed in one of them."""
    assert FILES[name].count(before) == 1
    return FILES | {name: FILES[name].replace(before, after)}


def send(client, files=FILES, query="", mapping=MAPPING, **headers):
    return csv_answer(client, files, mapping, query, **headers)


def table(mapping, index, **changes):
    tables = list(mapping["tables"])
    tables[index] = tables[index] | changes
    return mapping | {"tables": tables}


def own(entries):
    """File, row and column of the refused rows that have a fault themselves."""
    return [(e["file"], e["row"], e.get("column")) for e in entries if not e["dragged"]]


def dragged(entries):
    return [(e["file"], e["row"]) for e in entries if e["dragged"]]


def refused(answer):
    """Report of an import that was stopped, after what holds for each of them."""
    assert answer.status_code == 422, answer.text
    assert answer.mimetype == "application/problem+json"
    body = json.loads(answer.text)
    assert body["type"] == "/problems/rows-refused"
    for one in body["report"]["refused"]:
        assert one["reason"]
        assert one["remedy"]
    named = [(e.get("file"), e.get("row"), e.get("column")) for e in body["errors"]]
    assert named == own(body["report"]["refused"])[:100]
    return body["report"]


def faults(answer):
    """Pointers into the mapping of an import whose mapping is refused."""
    assert answer.status_code == 422, answer.text
    return [one["pointer"] for one in json.loads(answer.text)["errors"]]


def nothing(client):
    return client.get("/v1/items").get_json()["items"] == []


def test_four_files_make_a_laboratory(client):
    answer = send(client)
    assert answer.status_code == 201, answer.text
    body = answer.get_json()
    assert (body["stored"], body["created"]) == (True, CREATED)
    assert (body["refused"], body["missing"]) == ([], {})
    shown = json.loads(client.get("/v1/certificates/C-1").text)
    shares = [(use["item"], use["weight"]) for use in shown["uses"]]
    assert shares == [("WS", "0.4"), ("REF", "0.6")]
    assert [result["error"] for result in shown["results"]] == ["0.001", "0.0120"]
    assert shown["performed_at"] == "2025-02-01"
    chain = client.get("/v1/certificates/C-1/chain").get_json()
    assert len(chain["links"]) == 3


def test_the_same_again_is_unchanged_and_a_retry_is_replayed(client):
    first = send(client)
    again = send(client).get_json()
    assert (set(again["created"].values()), again["unchanged"]) == ({0}, CREATED)
    assert first.status_code == 201


def test_a_dry_run_reports_and_stores_nothing(client):
    answer = send(client, query="?dry_run=true")
    assert answer.status_code == 200
    body = answer.get_json()
    assert (body["stored"], body["dry_run"], body["created"]) == (False, True, CREATED)
    assert nothing(client)


FAULTS = {
    "a number that is none": (
        "results.csv",
        b'"0,0120"',
        b"twelve",
        ("results.csv", 4, "Error"),
        "not a decimal number",
    ),
    "a point where a comma belongs": (
        "results.csv",
        b'"0,0120"',
        b"0.0120",
        ("results.csv", 4, "Error"),
        "stands in a number",
    ),
    "a date of another form": (
        "certificates.csv",
        b"01.02.2025",
        b"2025/02/01",
        ("certificates.csv", 4, "Date"),
        "not a date",
    ),
    "a day that there is not": (
        "certificates.csv",
        b"01.02.2025",
        b"30.02.2025",
        ("certificates.csv", 4, "Date"),
        "not a date",
    ),
    "a word without translation": (
        "items.csv",
        b"Customer's",
        b"Hammer",
        ("items.csv", 4, "Kind"),
        "no translation",
    ),
    "a row that is too short": (
        "results.csv",
        b'C-1,2,20,"0,0120"',
        b'C-1,2,"0,0120"',
        ("results.csv", 4, None),
        "6 cells",
    ),
    "a row that is too long": (
        "results.csv",
        b"C-1,2,20,",
        b"C-1,2,20,,",
        ("results.csv", 4, None),
        "8 cells",
    ),
    "an empty key": (
        "items.csv",
        b"CELL,",
        b",",
        ("items.csv", 4, "Asset"),
        "empty",
    ),
    "a required field that is empty": (
        "certificates.csv",
        b"C-1,CELL,",
        b"C-1,,",
        ("certificates.csv", 4, "Asset"),
        "required",
    ),
    "an item that nobody recorded": (
        "uses.csv",
        b"WS; REF",
        b"WS; GHOST",
        ("uses.csv", 3, "Standards"),
        '"GHOST" is not recorded',
    ),
    "lists of different lengths": (
        "uses.csv",
        b'"0,4; 0,6"',
        b'"0,4"',
        ("uses.csv", 3, "Standards, Shares"),
        "item 2, weight 1",
    ),
    "a result without its calibration": (
        "results.csv",
        b"W-1,1",
        b"W-9,1",
        ("results.csv", 2, "Certificate"),
        '"W-9" rev. 0',
    ),
    "a certificate twice": (
        "certificates.csv",
        b"W-1,WS,10.01.2025",
        b"C-1,WS,10.01.2025",
        ("certificates.csv", 4, "Certificate"),
        "stands twice, first in certificates.csv row 3",
    ),
    "an uncertainty below zero": (
        "results.csv",
        b'"0,004","0,020"',
        b'"-0,004","0,020"',
        ("results.csv", 4, "U"),
        "smaller than 0",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_row_at_fault_is_named_with_its_column_value_and_remedy_and_stops_the_import(
    client, name
):
    file, before, after, place, reason = FAULTS[name]
    found = refused(send(client, changed(file, before, after)))
    assert place in own(found["refused"])
    assert any(reason in one["reason"] for one in found["refused"])
    assert nothing(client)
    dry = send(client, changed(file, before, after), "?dry_run=true")
    assert dry.status_code == 200
    assert dry.get_json()["refused"] == found["refused"]


def test_the_value_is_shown_as_it_stands_in_the_file(client):
    found = refused(send(client, changed("results.csv", b'"0,0120"', b'"12,0 kN"')))
    (entry,) = [one for one in found["refused"] if not one["dragged"]]
    assert (entry["value"], entry["field"], entry["line"]) == ("12,0 kN", "error", 4)


def test_skipped_rows_come_back_with_what_they_drag_and_the_rest_goes_in(client):
    files = changed("results.csv", b'"0,0120"', b"twelve")
    answer = send(client, files, "?refused=skip")
    assert answer.status_code == 201
    body = answer.get_json()
    assert (body["stored"], body["created"]["calibrations"]) == (True, 2)
    assert own(body["refused"]) == [("results.csv", 4, "Error")]
    # The certificate goes in whole or not at all: its row, use and other result stay out too.
    assert dragged(body["refused"]) == [
        ("certificates.csv", 4),
        ("results.csv", 3),
        ("uses.csv", 3),
    ]
    reasons = {one["reason"] for one in body["refused"] if one["dragged"]}
    assert reasons == {'certificate "C-1" rev. 0 is refused: results.csv row 4'}
    counts = {one["file"]: (one["rows"], one["refused"], one["dragged"]) for one in body["files"]}
    assert counts["results.csv"] == (3, 1, 1)
    assert client.get("/v1/certificates/C-1").status_code == 404
    mended = send(client).get_json()
    assert (mended["created"]["calibrations"], mended["unchanged"]["calibrations"]) == (1, 2)


def test_a_refused_item_drags_the_certificates_that_name_it(client):
    files = changed("items.csv", b"WS,Working", b"WS,Hammer")
    body = send(client, files, "?refused=skip").get_json()
    assert body["created"] == CREATED | {"items": 2, "calibrations": 1}
    reasons = [one["reason"] for one in body["refused"]]
    assert reasons.count('item "WS" is refused: items.csv row 3') == 2
    assert body["missing"] == {}


def test_a_row_too_short_to_say_its_revision_taints_every_certificate_of_its_number(client):
    files = changed("results.csv", b'C-1,2,20,"0,0120","0,004","0,020",Pass', b"C-1,2")
    body = send(client, files, "?refused=skip").get_json()
    assert body["created"]["calibrations"] == 2
    assert ("certificates.csv", 4) in dragged(body["refused"])


def test_a_circle_belongs_to_no_row_and_ends_the_import_even_when_rows_may_be_skipped(client):
    files = FILES | {
        "uses.csv": USES.replace(b"W-1,REF", b"W-1,CELL"),
        "certificates.csv": CALIBRATIONS.replace(b"10.01.2025", b"01.02.2025"),
    }
    answer = send(client, files, "?refused=skip")
    assert answer.status_code == 422
    (entry,) = answer.get_json()["report"]["refused"]
    assert "rests on itself" in entry["reason"]
    assert "row" not in entry
    assert nothing(client)


def test_what_is_missing_is_listed_with_how_often_it_is_named(client):
    files = FILES | {"items.csv": b"Asset,Kind\nCELL,Customer's\n"}
    mapping = table(
        MAPPING, 3, fields=MAPPING["tables"][3]["fields"] | {"rule": {"value": "house rule"}}
    )
    found = refused(send(client, files, mapping=mapping))
    assert found["missing"]["items"] == [
        {"id": "REF", "named_by": 3},
        {"id": "WS", "named_by": 2},
    ]
    with_items = refused(send(client, mapping=mapping))
    assert with_items["missing"] == {"rules": [{"id": "house rule", "named_by": 3}]}


def test_items_of_the_database_are_not_missing(client):
    assert send(client).status_code == 201
    less = {name: file for name, file in FILES.items() if name != "items.csv"}
    mapping = MAPPING | {"tables": MAPPING["tables"][1:]}
    body = send(client, less, mapping=mapping).get_json()
    assert (body["unchanged"]["calibrations"], body["missing"]) == (3, {})


def test_a_clash_with_what_is_recorded_is_a_refused_row(client):
    assert send(client).status_code == 201
    files = changed("results.csv", b'"0,0120"', b'"0,0121"')
    found = refused(send(client, files))
    assert own(found["refused"]) == [("certificates.csv", 4, None)]
    assert "other content" in found["refused"][0]["reason"]


FLAT = """Nr;Objekt;Art;Datum;Normal;Punkt;Kraft;Abweichung
C-1;CELL;tension_link;10.03.2025 14:00;REF;1;10 kN;1,5
C-1;CELL;tension_link;10.03.2025 14:00;REF;2;20 kN;-0,25

C-2;LINK;tension_link;11.03.2025 09:00;REF;1;10 kN;2
"""
FLAT_MAPPING = {
    "separator": ";",
    "decimal": ",",
    "format": ["%d.%m.%Y %H:%M"],
    "zone": "Europe/Vienna",
    "tables": [
        {
            "file": "sheet",
            "collection": "items",
            "group": True,
            "fields": {"id": "Objekt", "type": "Art", "kind": {"value": "customer_instrument"}},
        },
        {
            "file": "sheet",
            "collection": "items",
            "group": True,
            "fields": {"id": "Normal", "kind": {"value": "reference_standard"}},
        },
        {
            "file": "sheet",
            "collection": "calibrations",
            "group": True,
            "fields": {"certificate": "Nr", "item": "Objekt", "performed_at": "Datum"},
        },
        {
            "file": "sheet",
            "collection": "uses",
            "group": True,
            "fields": {
                "calibration.certificate": "Nr",
                "item": "Normal",
                "role": {"value": "force_reference"},
            },
        },
        {
            "file": "sheet",
            "collection": "results",
            "fields": {
                "calibration.certificate": "Nr",
                "point": "Punkt",
                "applied": {"column": "Kraft", "suffix": "kN"},
                "error": {"column": "Abweichung", "scale": "0.001"},
                "unit": {"value": "kN"},
            },
        },
    ],
}


def test_one_sheet_with_a_row_for_each_result_makes_items_certificates_uses_and_results(client):
    answer = send(client, {"sheet": FLAT}, mapping=FLAT_MAPPING)
    assert answer.status_code == 201, answer.text
    assert answer.get_json()["created"] == CREATED | {"calibrations": 2}
    shown = json.loads(client.get("/v1/certificates/C-1").text)
    assert shown["performed_at"] == "2025-03-10T14:00:00+01:00"
    assert [use["item"] for use in shown["uses"]] == ["REF"]
    # 1.5 N and -0.25 N in kN
    assert [(r["applied"], r["error"]) for r in shown["results"]] == [
        ("10", "0.0015"),
        ("20", "-0.00025"),
    ]


def test_rows_of_one_record_that_contradict_each_other_refuse_it(client):
    sheet = FLAT.replace("C-1;CELL;tension_link;10.03.2025 14:00;REF;2", "C-1;LINK;crane;;REF;2")
    found = refused(send(client, {"sheet": sheet}, mapping=FLAT_MAPPING))
    reasons = [one["reason"] for one in found["refused"] if one["row"] == 3]
    assert any(reason.startswith("item differs from sheet row 2") for reason in reasons)
    assert any(reason.startswith("performed_at differs from") for reason in reasons)


def test_rows_are_numbered_as_a_spreadsheet_shows_them_and_lines_as_an_editor_does(client):
    sheet = 'id,kind,note\nA,readout,"two\nlines"\n\nB,hammer,\n'
    mapping = {"tables": [{"file": "f", "collection": "items"}]}
    found = refused(send(client, {"f": sheet}, mapping=mapping))
    entry = next(one for one in found["refused"] if one.get("column") == "kind")
    assert (entry["row"], entry["line"]) == (4, 5)


def test_without_fields_columns_are_named_as_the_fields_are_and_others_are_told(client):
    sheet = (
        "id,kind,channels,properties.shelf,colour,\n"
        '=1+1,readout,A|B,"top, left",red,\n'
        "-860,software,,,,\n"
    )
    mapping = {"tables": [{"file": "f", "collection": "items"}]}
    body = send(client, {"f": sheet}, mapping=mapping).get_json()
    assert body["created"]["items"] == 2
    assert body["files"][0]["unused_columns"] == ["colour"]
    items = client.get("/v1/items").get_json()["items"]
    assert [item["id"] for item in items] == ["-860", "=1+1"]
    assert items[1]["properties"] == {"shelf": "top, left"}


def test_checks_and_holdings_come_from_files_too(client):
    send(client)
    files = {
        "checks": "id,item,at,result,covers\nK-1,REF,2025-03-01,pass,50 kN;20 kN\n",
        "held": "assembly,part,from,until\nCELL,WS,2025-01-01,2025-02-01\n",
    }
    covers = {"column": "covers", "split": ";"}
    mapping = {
        "tables": [
            {
                "file": "checks",
                "collection": "checks",
                "fields": {n: n for n in ("id", "item", "at", "result")} | {"covers": covers},
            },
            {"file": "held", "collection": "composition"},
        ]
    }
    body = send(client, files, mapping=mapping).get_json()
    assert (body["created"]["checks"], body["created"]["composition"]) == (1, 1)
    assert client.get("/v1/checks/K-1").get_json()["covers"] == ["50 kN", "20 kN"]


def test_the_heading_may_stand_below_a_title(client):
    sheet = "Register of equipment;;\n;;\nid;kind;note\nA;readout;\n"
    mapping = {
        "separator": ";",
        "tables": [{"file": "f", "collection": "items", "heading_row": 3}],
    }
    assert send(client, {"f": sheet}, mapping=mapping).get_json()["created"]["items"] == 1


def test_a_byte_order_mark_and_any_line_ends_are_read(client):
    files = {name: b"\xef\xbb\xbf" + file.replace(b"\n", b"\r\n") for name, file in FILES.items()}
    assert send(client, files).get_json()["created"] == CREATED


UNREADABLE = {
    "Latin-1": (ITEMS.replace(b"REF", b"R\xe9F"), "not UTF-8 at the byte 0xE9"),
    "UTF-16": (ITEMS.decode().encode("utf-16"), "UTF-16"),
    "a NUL": (ITEMS.replace(b"REF", b"R\0F"), "NUL"),
    "nothing": (b"", "no heading"),
    "an empty heading": (b",,\nREF,Reference\n", "heading is empty"),
    "another separator": (ITEMS.replace(b",", b";"), "not separated by ','"),
    "an open quotation mark": (ITEMS.replace(b"REF", b'"REF'), "cannot be read"),
    "a quotation mark within": (ITEMS.replace(b"REF", b'"R"EF'), "cannot be read"),
    "old line ends": (ITEMS.replace(b"\n", b"\r"), "line end"),
}


@pytest.mark.parametrize("name", UNREADABLE)
@pytest.mark.parametrize("query", ["", "?refused=skip"])
def test_a_file_that_is_no_csv_of_utf_8_is_refused_with_what_to_do(client, name, query):
    file, said = UNREADABLE[name]
    answer = send(client, FILES | {"items.csv": file}, query)
    assert answer.status_code == 422
    (entry,) = answer.get_json()["errors"]
    assert entry["file"] == "items.csv"
    assert said in entry["detail"]
    assert entry["remedy"]
    assert nothing(client)


def test_rows_columns_and_cells_have_limits(client, monkeypatch):
    monkeypatch.setattr(csv_files, "LONGEST_CELL", 20)
    long = FILES | {"items.csv": ITEMS + b"X" * 21 + b",Working\n"}
    assert "longer than 20" in send(client, long).get_json()["errors"][0]["detail"]
    monkeypatch.setattr(csv_files, "MOST_COLUMNS", 1)
    assert "2 columns" in send(client).get_json()["errors"][0]["detail"]
    monkeypatch.setattr(csv_files, "MOST_COLUMNS", 10)
    monkeypatch.setattr(csv_records, "MOST_ROWS", 10)
    answer = send(client)
    assert answer.status_code == 422
    assert answer.get_json()["detail"] == "The files have more than 10 rows."


def test_a_cell_longer_than_the_reader_takes_is_told_alike(client):
    long = FILES | {"items.csv": ITEMS + b"X" * 140_000 + b",Working\n"}
    entry = send(client, long).get_json()["errors"][0]
    assert "longer than 32767 characters" in entry["detail"]
    assert entry["row"] == 5


BAD_MAPPINGS = {
    "no table": ({"tables": []}, "/tables"),
    "an unknown collection": (table(MAPPING, 0, collection="hammers"), "/tables/0/collection"),
    "an unknown field": (
        table(MAPPING, 0, fields={"id": "Asset", "knd": "Kind"}),
        "/tables/0/fields/knd",
    ),
    "an unknown part": (
        table(MAPPING, 3, fields={"tolerance.middle": "Limit"}),
        "/tables/3/fields/tolerance.middle",
    ),
    "an object as a whole": (
        table(MAPPING, 0, fields={"properties": "Kind"}),
        "/tables/0/fields/properties",
    ),
    "an unknown column": (
        table(MAPPING, 0, fields={"id": "Asset", "kind": "Sort"}),
        "/tables/0/fields/kind",
    ),
    "a file that was not sent": (table(MAPPING, 0, file="others.csv"), "/tables/0/file"),
    "a column and a constant": (
        table(MAPPING, 0, fields={"id": {"column": "Asset", "value": "x"}}),
        "/tables/0/fields/id/value",
    ),
    "a form of no date": (MAPPING | {"format": "%d.%m"}, "/format"),
    "a directive that is not known": (MAPPING | {"format": "%d.%m.%Y %Q"}, "/format"),
    "a zone that is none": (MAPPING | {"zone": "Mars/Base"}, "/zone"),
    "a time zone that is none": (MAPPING | {"time_zone": "Mars/Base"}, "/time_zone"),
    "one mark for two things": (MAPPING | {"thousands": ","}, "/thousands"),
    "an unknown option": (MAPPING | {"sepaator": ";"}, "/sepaator"),
    "one file in two ways": (
        MAPPING | {"tables": [*MAPPING["tables"], {**MAPPING["tables"][0], "separator": ";"}]},
        "/tables/4/file",
    ),
}


@pytest.mark.parametrize("name", BAD_MAPPINGS)
def test_a_fault_of_the_mapping_is_named_by_a_pointer_into_it(client, name):
    mapping, expected = BAD_MAPPINGS[name]
    found = faults(send(client, mapping=mapping))
    assert expected in found
    assert nothing(client)


def test_a_file_that_no_table_reads_is_refused(client):
    assert faults(send(client, FILES | {"more.csv": b"a\n1\n"})) == ["/tables"]


def test_a_column_name_that_stands_twice_is_refused_where_it_is_used(client):
    assert faults(send(client, FILES | {"items.csv": b"Asset,Kind,Kind\nX,Y,Z\n"})) == [
        "/tables/0/fields/kind"
    ]


def test_no_mapping_a_mapping_that_is_no_json_and_another_media_type_are_refused(client):
    none = client.post("/v1/imports/csv", data={}, content_type="multipart/form-data")
    assert (none.status_code, none.get_json()["detail"]) == (422, "The mapping is missing.")
    assert send(client, mapping=b"{").status_code == 400
    assert client.post("/v1/imports/csv", json=MAPPING).status_code == 415


def test_files_of_one_name_are_refused(client):
    parts = [
        ("mapping", (io.BytesIO(json.dumps(MAPPING).encode()), "mapping.json")),
        *(("file", (io.BytesIO(ITEMS), "items.csv")) for _ in range(2)),
    ]
    answer = client.post(
        "/v1/imports/csv",
        data={"mapping": parts[0][1], "file": [part for _, part in parts[1:]]},
        content_type="multipart/form-data",
    )
    assert answer.get_json()["errors"][0]["value"] == "items.csv"


def test_a_file_may_be_named_by_its_part_and_the_mapping_be_a_plain_field(client):
    mapping = {"tables": [{"file": "things", "collection": "items"}]}
    parts = {
        "mapping": json.dumps(mapping),
        "things": (io.BytesIO(b"id,kind\nA,readout\n"), "export 2025.csv"),
    }
    answer = client.post("/v1/imports/csv", data=parts, content_type="multipart/form-data")
    assert answer.get_json()["created"]["items"] == 1


def test_the_refused_rows_come_as_csv_that_a_spreadsheet_does_not_run(client):
    sheet = "id,kind,design_life_cycles\n=1+1,hammer,\nB,readout,-860\n"
    mapping = {"tables": [{"file": "f", "collection": "items"}]}
    query = "?refused=skip"
    answer = send(client, {"f": sheet}, query, mapping, Accept="text/csv")
    assert (answer.status_code, answer.mimetype) == (201, "text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    assert [(row["row"], row["column"], row["value"]) for row in rows] == [
        ("2", "kind", "hammer"),
        ("3", "design_life_cycles", "-860"),
    ]
    counts = json.loads(answer.headers["Tracehold-Summary"])
    assert (counts["stored"], counts["refused"]) == (True, 2)
    twice = "id,kind\n=1+1,readout\n=1+1,readout\n"
    for raw, shown in (("false", "'=1+1"), ("true", "=1+1")):
        query = f"?dry_run=true&raw={raw}"
        answer = send(client, {"f": twice}, query, mapping, Accept="text/csv")
        assert answer.status_code == 200
        (twice_row,) = [
            row for row in csv.DictReader(io.StringIO(answer.text)) if row["dragged"] == "false"
        ]
        assert twice_row["value"] == shown


def test_a_retry_with_the_same_key_is_done_once(client):
    boundary = "frontier"
    body = (
        b"".join(
            f"--{boundary}\r\nContent-Disposition: form-data; ".encode()
            + f'name="{name}"; filename="{name}"\r\n\r\n'.encode()
            + data
            + b"\r\n"
            for name, data in {**FILES, "mapping": json.dumps(MAPPING).encode()}.items()
        )
        + f"--{boundary}--\r\n".encode()
    )
    headers = {
        "Idempotency-Key": "csv-1",
        "Content-Type": f"multipart/form-data; boundary={boundary}",
    }
    first = client.post("/v1/imports/csv", data=body, headers=headers)
    again = client.post("/v1/imports/csv", data=body, headers=headers)
    assert first.status_code == 201
    assert again.get_json() == first.get_json()
    assert again.headers["Idempotency-Replayed"] == "true"


def test_a_key_without_the_scope_may_not_import(client, keys):
    answer = send(client, **keys.headers("read"))
    assert answer.status_code == 403


PINS = b"""Maker;Model;Capacity;Pin;Minus;Drawing
Quill;L-20;20 kip;50.8 mm;0.2 mm;leaf 3
Quill;L-20S;20 kip;50 mm;;leaf 4
Quill;L-25;25 kip;thick;;leaf 5
"""
PIN_LIST = {
    "tables": [
        {
            "file": "pins.csv",
            "collection": "requirements",
            "separator": ";",
            "fields": {
                "id": {"columns": ["Maker", "Model"], "join": "/"},
                "applies_to.make": "Maker",
                "applies_to.model": "Model",
                "pin.diameter": "Pin",
                "pin.tolerance_minus": "Minus",
                "source": "Drawing",
            },
        }
    ]
}


def test_a_pin_list_by_model_comes_from_a_spreadsheet(client):
    answer = send(client, {"pins.csv": PINS}, "?refused=skip", PIN_LIST)
    assert answer.get_json()["created"]["requirements"] == 2, answer.text
    shown = client.get("/v1/requirements/Quill/L-20").get_json()
    assert shown["applies_to"] == {"make": "Quill", "model": "L-20"}
    assert shown["pin"] == {"diameter": "50.8 mm", "tolerance_minus": "0.2 mm"}
    assert [one["value"] for one in answer.get_json()["refused"]] == ["thick"]
