"""Tables in and out: order, text, totals and every format; a bad row harms no other."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from api.errors import Conflict, InvalidRecord
from api.rules.rule import BUILT_IN, RuleError
from api.schemas.batches import row_fault
from api.services.batches.batches import Batch, Deciding, rules_from
from api.services.batches.formats import CSV, KINDS, NDJSON, read_pieces, writer_of
from api.services.batches.pieces import ERRORS, RISKS, TEXTS, check_columns, check_heading

ROOT = Path(__file__).parents[4]
DEMO = ROOT / "fixtures" / "demo_lab" / "results.csv"
ENDINGS = [kind.suffix for kind in KINDS]


def rows_of(data: bytes, ending: str) -> list[dict]:
    """Rows of an answer, the line of totals of NDJSON left out."""
    if ending == ".csv":
        return pl.read_csv(data, infer_schema=False).to_dicts()
    if ending == ".ndjson":
        return [json.loads(line) for line in data.splitlines()][:-1]
    if ending == ".json":
        return json.loads(data)["rows"]
    source = io.BytesIO(data)
    if ending == ".parquet":
        return pq.read_table(source).to_pylist()
    return pa.ipc.open_stream(source).read_all().to_pylist()


def totals_of(data: bytes, ending: str) -> dict:
    if ending == ".csv":
        return json.loads(data.splitlines()[-1].removeprefix(b"#summary "))
    if ending == ".ndjson":
        return json.loads(data.splitlines()[-1])["summary"]
    if ending == ".json":
        return json.loads(data)["summary"]
    source = io.BytesIO(data)
    if ending == ".parquet":
        return json.loads(pq.ParquetFile(source).metadata.metadata[b"tracehold_summary"])
    *_, (empty, last) = pa.ipc.open_stream(source).iter_batches_with_custom_metadata()
    assert empty.num_rows == 0
    return json.loads(last[b"tracehold_summary"])


@pytest.mark.parametrize("goes", ENDINGS)
@pytest.mark.parametrize("comes", ENDINGS)
def test_every_format_becomes_every_other_with_the_same_answers(through, comes, goes):
    sent = DEMO.read_bytes()
    expected = rows_of(through(sent, rule=None), ".csv")
    if comes != ".csv":
        sent = through(sent, ".csv", comes, rule=None)
        sent = _without_answers(sent, comes)
    got = rows_of(through(sent, comes, goes, rule=None), goes)
    numbers = (*RISKS, "error_line")

    def plain(row: dict) -> dict:
        found = {name: row[name] for name in ("id", "value", *TEXTS, *ERRORS[1:])}
        found |= {name: row[name] and float(row[name]) for name in RISKS if name in row}
        return {name: None if cell == "" else cell for name, cell in found.items()}

    assert [plain(row) for row in got] == [plain(row) for row in expected]
    assert list(got[0])[-len(ERRORS) :] == list(ERRORS)
    assert {type(got[0][name]) for name in numbers if name in got[0]} <= {str, float, type(None)}


def _without_answers(data: bytes, ending: str) -> bytes:
    """The same rows in the same format without what they were answered."""
    names = pl.read_csv(DEMO, n_rows=0).columns
    rows = [{name: row[name] for name in names} for row in rows_of(data, ending)]
    table = pa.Table.from_pylist(rows, pa.schema([(name, pa.string()) for name in names]))
    sink = io.BytesIO()
    if ending == ".parquet":
        pq.write_table(table, sink)
    elif ending == ".arrow":
        with pa.ipc.new_stream(sink, table.schema) as writer:
            writer.write_table(table, max_chunksize=7)
    elif ending == ".ndjson":
        sink.writelines(json.dumps(row).encode() + b"\n" for row in rows)
    else:
        sink.write(json.dumps({"rows": rows}).encode())
    return sink.getvalue()


@pytest.mark.parametrize("goes", ENDINGS)
def test_the_totals_stand_at_the_end_of_every_format(through, goes):
    answer = through(DEMO.read_bytes(), ".csv", goes, rule=None, summary_line=True)
    found = totals_of(answer, goes)
    assert (found["rows"], found["decided"], found["refused"]) == (40, 38, 2)
    assert sum(found["by_verdict"].values()) == 38


@pytest.mark.parametrize("goes", ENDINGS)
def test_a_heading_without_rows_makes_an_answer_without_rows(through, goes):
    answer = through(b"id,value,U,upper\n", ".csv", goes, summary_line=True)
    assert totals_of(answer, goes)["rows"] == 0
    if goes != ".csv":
        assert rows_of(answer, goes) == []
    else:
        assert answer.startswith(b"id,value,U,upper,verdict,")


def test_csv_has_no_line_of_totals_unless_it_is_asked_for(through):
    assert b"#summary" not in through(DEMO.read_bytes(), rule=None)


@pytest.mark.parametrize("comes", [".csv", ".ndjson"])
def test_rows_keep_their_order_over_many_pieces(through, monkeypatch, comes):
    monkeypatch.setattr("api.services.batches.format_csv.BLOCK", 1 << 10)
    monkeypatch.setattr("api.services.batches.format_json.ROWS", 50)
    lines = [f"{place:05d},{place % 7},1,3,{'x' * (place % 40)}" for place in range(2_000)]
    data = ("id,value,U,upper,note\n" + "\n".join(lines) + "\n").encode()
    expected = rows_of(through(data), ".csv")
    if comes == ".ndjson":
        data = _without(through(data, ".csv", ".ndjson"))
    got = rows_of(through(data, comes, ".csv"), ".csv")
    assert [row["id"] for row in got] == [f"{place:05d}" for place in range(2_000)]
    assert got == expected


def _without(lines: bytes) -> bytes:
    names = ("id", "value", "U", "upper", "note")
    rows = [json.loads(line) for line in lines.splitlines()[:-1]]
    return b"\n".join(json.dumps({n: row[n] for n in names}).encode() for row in rows)


def test_no_more_pieces_are_read_than_are_worked_on(through):
    read = []

    def pieces():
        for piece in read_pieces(io.BytesIO(b"value,U,upper\n1,1,2\n"), CSV, NDJSON):
            for place in range(50):
                read.append(place)
                yield piece

    deciding = Deciding(row_fault, BUILT_IN, BUILT_IN["simple"])
    parts = iter(Batch(pieces(), deciding, writer_of(NDJSON)))
    next(parts)
    assert len(read) < 8
    parts.close()


def test_progress_is_told_by_rows(through):
    seen = []
    pieces = read_pieces(io.BytesIO(DEMO.read_bytes()), CSV, CSV)
    list(Batch(pieces, Deciding(row_fault, BUILT_IN), writer_of(CSV), seen.append))
    assert seen[-1] == 40


def test_the_two_bad_rows_of_the_demonstration_say_where_they_are(through):
    rows = rows_of(through(DEMO.read_bytes(), rule=None), ".csv")
    wrong = [(row["id"], row["error_line"], row["error_field"]) for row in rows if row["error"]]
    assert wrong == [("R-013", "14", "U"), ("R-027", "28", "value")]
    on_the_limit = [row["verdict"] for row in rows if row["id"] in ("R-005", "R-018")]
    assert on_the_limit == ["pass", "conditional_pass"]


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (["value", "U", "value"], "stands twice"),
        (["value", "U", "verdict"], "is an answer"),
        (["value", "U", "uper"], "looks misspelt"),
        (["Value", "U"], "looks misspelt"),
        (["value", "U", "tolerence"], "looks misspelt"),
    ],
)
def test_headings_that_would_be_misread_are_refused(names, words):
    with pytest.raises(InvalidRecord, match=words):
        check_columns(names)


def test_a_heading_without_a_needed_column_is_refused_with_what_was_found():
    with pytest.raises(InvalidRecord, match="no column 'U'") as refused:
        check_heading(["id", "value", "upper"])
    assert "id, value, upper" in refused.value.issues[0].remedy


def test_other_headings_are_passed_through():
    check_columns(["id", "value", "U", "upper", "serial number", "operator", "range", "x"])


def test_rules_of_a_file_stand_beside_the_built_in_ones(through):
    ours = {"id": "ours", "guard": {"basis": "U", "factor": "0.5"}}
    rules = rules_from([ours])
    answer = through(
        b"value,U,upper,rule\n0.95,0.1,1,ours\n0.95,0.1,1,guard_U\n", rule=None, rules=rules
    )
    assert [row["verdict"] for row in rows_of(answer, ".csv")] == ["pass", "fail"]
    with pytest.raises(Conflict):
        rules_from([ours, ours])
    with pytest.raises(RuleError):
        rules_from([{"id": "x"}])


TUR = {"guard": {"basis": "none"}, "precondition": {"least_tur": "4"}}


def test_rules_of_a_file_fall_back_on_one_another_in_any_order():
    half = {"id": "half", "guard": {"basis": "U", "factor": "0.5"}}
    rules = rules_from([{"id": "tur", **TUR, "otherwise": "half"}, half])
    assert rules["tur"].otherwise == rules["half"]
    assert list(rules)[-2:] == ["tur", "half"]


def test_rules_of_a_file_do_not_fall_back_in_a_circle():
    circle = [{"id": "a", **TUR, "otherwise": "b"}, {"id": "b", **TUR, "otherwise": "a"}]
    with pytest.raises(RuleError, match="'a' comes back to itself; name another rule"):
        rules_from(circle)


@pytest.mark.parametrize("named", [False, True])
@pytest.mark.parametrize("ending", [".csv", ".ndjson", ".json", ".parquet", ".arrow"])
def test_every_format_says_which_branch_decided_and_why(through, ending, named):
    # 0.2 / (2 x 0.02) = 5 and 0.2 / (2 x 0.05) = 2
    rules = rules_from([{"id": "tur", **TUR}])
    csv = b"value,U,lower,upper,rule\n0.05,0.02,-0.1,0.1,tur\n0.05,0.05,-0.1,0.1,tur\n"
    csv += b"0.05,0.05,-0.1,0.1,simple\n0.05,0.02,,0.1,tur\n"
    if not named:  # no column names a rule
        csv = csv.replace(b",rule", b"").replace(b",tur", b"").replace(b",simple", b"")
    answer = through(csv, goes=ending, rule="tur", rules=rules)
    rows = rows_of(answer, ending)
    told = [(row["verdict"] or None, row["rule_branch_reason"] or None) for row in rows]
    silent = ("no_statement", "TUR 2 is below 4")
    plain = ("pass", None) if named else silent
    assert told == [("pass", "TUR 5 is at least 4"), silent, plain, (None, None)]
    assert [str(row["rule_branch"] or "") for row in rows] == ["1", "2", "" if named else "2", ""]
    assert "needs both limits" in rows[3]["error"]


def test_without_such_a_rule_nothing_is_added(through):
    rules = rules_from([{"id": "tur", **TUR}])
    # Known, but no column could name it.
    answer = through(b"value,U,upper\n0.95,0.1,1\n", rules=rules)
    assert "rule_branch" not in rows_of(answer, ".csv")[0]


def test_deciding_a_file_needs_no_database_and_no_web():
    code = "import api.services.batches.batches, sys, json; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert not {"sqlalchemy", "flask", "marshmallow"} & set(json.loads(done.stdout))
