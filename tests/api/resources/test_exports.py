"""Exports of a recall over HTTP: CSV, XLSX and a stream of JSON."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile

import pytest
from openpyxl import load_workbook
from oracle_cases import cal, force_fault, lab, ref, row

from api.services.evidence import exports

EVIL = '=HYPERLINK("http://example.org","x")'


@pytest.fixture
def evil(recall_of):
    """A recall of a certificate whose customer and item are called like formulas."""
    return recall_of(
        lab(cal("C-1", "+I", "02-01", [ref("REF")], [row(error="-0.0040")], customer=EVIL))
    )


def table(recalled, query=""):
    answer = recalled.client.get(f"{recalled.at}/export.csv{query}")
    assert answer.mimetype == "text/csv"
    return list(csv.DictReader(io.StringIO(answer.text, newline="")))


def sheet(recalled, query=""):
    answer = recalled.client.get(f"{recalled.at}/export.xlsx{query}")
    assert answer.status_code == 200
    book = load_workbook(io.BytesIO(answer.data))
    heading, *rows = [list(line) for line in book.worksheets[0].iter_rows()]
    names = [cell.value for cell in heading]
    return answer.data, [dict(zip(names, line, strict=True)) for line in rows]


def test_a_row_of_the_table_says_all_of_one_point(recalled):
    recalled.dispose("reissue", certificates=["C-1"])
    answer = recalled.client.get(f"{recalled.at}/export.csv")
    assert answer.headers["Content-Disposition"] == 'attachment; filename="R-00001.csv"'
    first, *rest = table(recalled)
    assert tuple(first) == exports.COLUMNS
    decided_at = first.pop("disposition_at")
    assert first == {
        "class": "affected",
        "certificate": "C-1",
        "revision": "0",
        "issuer": "",
        "item": "I-1",
        "customer": "Harbour Cranes",
        "generation": "1",
        "path": "REF was used for C-1",
        "path_count": "1",
        "point": "1",
        "stage": "single",
        "applied": "10",
        "applied_unit": "kN",
        "unit": "kN",
        "error": "-0.004",
        "shift": "-0.005",
        "corrected_error": "-0.009",
        "U": "0.002",
        "U_after": "0.00282842712475",
        "verdict_before": "pass",
        "verdict_after": "fail",
        "verdicts_possible": "",
        "changed": "true",
        "reason": "",
        "disposition": "reissue",
        "disposition_by": "Quinn Assessor",
        "justification": "",
        "still_lacks": "draft",
    }
    assert decided_at.endswith("Z")
    assert [one["certificate"] for one in rest] == ["C-2", "C-3", "C-4"]


def test_a_row_says_that_its_certificate_contradicted_its_own_rule_before(recall_of):
    # |0.02| > 0.008 was reported as pass.
    wrong = [row(error="0.02", verdict_reported="pass")]
    (line,) = table(recall_of(lab(cal("C-1", "I", "02-01", [ref("REF")], wrong))))
    assert line["reason"] == (
        "contradicted its own rule before: point 1 was reported as pass, where its rule gave fail"
    )


def test_texts_that_look_like_formulas_are_made_harmless_and_numbers_stay(evil):
    (line,) = table(evil)
    assert (line["customer"], line["item"], line["error"]) == (f"'{EVIL}", "'+I", "-0.0040")
    (line,) = table(evil, "?raw=true")
    assert (line["customer"], line["item"], line["error"]) == (EVIL, "+I", "-0.0040")


@pytest.mark.parametrize(("query", "customer"), [("", f"'{EVIL}"), ("?raw=true", EVIL)])
def test_a_workbook_holds_texts_as_texts_and_numbers_with_their_digits(evil, query, customer):
    data, (line,) = sheet(evil, query)
    assert (line["customer"].value, line["customer"].data_type) == (customer, "s")
    assert line["error"].data_type == line["revision"].data_type == "n"
    assert (line["error"].value, line["error"].number_format) == (-0.004, "0.0000")
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        written = parts.read("xl/worksheets/sheet1.xml").decode()
    assert not re.search(r"<f[ >]", written)


def test_a_number_of_more_digits_than_a_spreadsheet_keeps_is_a_text(recall_of):
    digits = "-0.0040000000000000001"
    made = recall_of(lab(cal("C-1", "I", "02-01", [ref("REF")], [row(error=digits)])))
    _, (line,) = sheet(made)
    assert (line["error"].value, line["error"].data_type) == (digits, "s")


def test_lists_are_chosen_and_certificates_without_points_say_why(recalled):
    recalled.client.post("/v1/certificates/C-2/void", json={"reason": "typing error"})
    recalled.report()
    recalled.at = "/v1/recalls/2"
    rows = table(recalled, "?lists=traced_not_recalled,affected")
    assert [(one["certificate"], one["reason"]) for one in rows] == [
        ("C-2", "it was voided: typing error"),
        ("C-1", ""),
        ("C-3", ""),
    ]
    refused = recalled.client.get(f"{recalled.at}/export.csv?lists=affected,unheard")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["parameter"] == "lists"


def test_the_stream_has_every_entry_and_ends_with_the_summary(recalled):
    recalled.dispose("reissue", certificates=["C-1"])
    answer = recalled.client.get(f"{recalled.at}/export.ndjson")
    assert answer.mimetype == "application/x-ndjson"
    *lines, last = [json.loads(line) for line in answer.text.splitlines()]
    named = {name: recalled.recall[name] for name in ("affected", "indeterminate")}
    without = [
        {name: value for name, value in one.items() if name != "disposition"} for one in lines
    ]
    assert without == named["affected"] + named["indeterminate"]
    assert [one["disposition"] and one["disposition"]["action"] for one in lines] == [
        "reissue",
        None,
        None,
        None,
    ]
    assert last["summary"] == recalled.recall["summary"]
    assert (last["entries"], last["number"]) == (4, "R-00001")
    assert last["result_hash"] == recalled.recall["result_hash"]


def test_lots_join_without_a_seam(recalled, monkeypatch):
    whole = table(recalled)
    monkeypatch.setattr(exports, "LOT", 2)
    assert table(recalled) == whole


def test_a_bounded_shift_is_given_by_both_bounds(client):
    records = lab(cal("C-1", "I-1", "02-01", [ref("REF")], [row(error="-0.004")]))
    fault = {
        "item": "REF",
        "kind": "interval",
        "bound_rel": "0.0005",
        "last_good_at": "2025-01-01T00:00:00Z",
        "isolated_at": None,
    }
    client.post("/v1/imports", json=records)
    assert client.post("/v1/recalls", json={"fault": fault}).status_code == 201
    answer = client.get("/v1/recalls/1/export.csv")
    (line,) = csv.DictReader(io.StringIO(answer.text, newline=""))
    assert line["shift"] == "[-0.005, 0.005]"
    assert line["verdicts_possible"] == "pass or fail"


@pytest.mark.parametrize("form", ["csv", "xlsx", "ndjson"])
def test_only_the_laboratory_exports_and_only_what_exists(recalled, keys, form):
    headers = keys.headers("read", customer="Harbour Cranes")
    assert recalled.client.get(f"{recalled.at}/export.{form}", headers=headers).status_code == 403
    assert recalled.client.get(f"/v1/recalls/9/export.{form}").status_code == 404


def test_an_empty_recall_gives_a_heading_alone(client):
    client.post("/v1/imports", json=lab(cal("C-1", "I-1", "02-01", [ref("REF")])))
    client.post("/v1/recalls", json={"fault": force_fault("I-1")})
    answer = client.get("/v1/recalls/1/export.csv")
    assert answer.text == ",".join(exports.COLUMNS) + "\r\n"
    book = load_workbook(io.BytesIO(client.get("/v1/recalls/1/export.xlsx").data))
    assert [cell.value for cell in next(book.worksheets[0].iter_rows())] == list(exports.COLUMNS)
