"""Tables in and out: text stays text, and only what a spreadsheet would run is changed."""

from __future__ import annotations

import json
import subprocess
import sys
from decimal import Decimal
from pathlib import Path

import pytest

from api.errors import Conflict, InvalidRecord
from api.rules.rule import BUILT_IN, RuleError
from api.services import batches

ROOT = Path(__file__).parents[3]
DEMO = ROOT / "fixtures" / "demo_lab" / "results.csv"
HEADING = b"id,value,U,upper\n"


def evaluated(data: bytes, rule: str | None = "simple", raw: bool = False) -> list[str]:
    """Lines of the CSV that comes out for a CSV that goes in."""
    frame, refused = batches.read_csv(data)
    default = BUILT_IN[rule] if rule else None
    decided = batches.decide_table(frame, BUILT_IN, default, refused)
    return batches.write_csv(decided, raw).splitlines()


def test_columns_come_back_in_their_order_with_the_answers_behind_them():
    heading, row = evaluated(b"upper,remark,U,value,id\n1.0,ok,0.10,0.50,007\n")
    assert heading == (
        "upper,remark,U,value,id,verdict,acceptance_lower,acceptance_upper,"
        "conformance_probability,specific_risk,error_field,error"
    )
    assert row.startswith("1.0,ok,0.10,0.50,007,pass,,1.0,1.0,")


def test_an_id_that_looks_like_a_number_or_like_nothing_stays_as_it_is():
    lines = evaluated(HEADING + b"007,0,1,2\nNA,0,1,2\nNone,0,1,2\n1e5,0,1,2\n,0,1,2\n")
    assert [line.split(",")[0] for line in lines[1:]] == ["007", "NA", "None", "1e5", ""]


def test_the_batch_of_the_demonstration_is_decided_but_for_its_two_bad_rows():
    frame, refused = batches.read_csv(DEMO.read_bytes())
    decided = batches.decide_table(frame)
    found = batches.summary(decided)
    assert (refused, found["rows"], found["decided"], found["refused"]) == ({}, 40, 38, 2)
    assert sum(found["by_verdict"].values()) == 38
    wrong = decided[decided["error"] != ""]
    assert wrong[["id", "error_field"]].to_numpy().tolist() == [["R-013", "U"], ["R-027", "value"]]
    on_the_limit = decided[decided["id"].isin(["R-005", "R-018"])]
    assert on_the_limit["verdict"].tolist() == ["pass", "conditional_pass"]


def test_cells_that_a_spreadsheet_would_run_are_neutralised():
    data = b"id,value,U,upper,=cmd\n=1+1,-1,0.1,+2.0,@x\n-,+1,0.1,2,\t=2\n"
    heading, first, second = evaluated(data)
    assert heading.startswith("id,value,U,upper,'=cmd,")
    assert first.startswith("'=1+1,-1,0.1,+2.0,'@x,pass,")
    assert second.startswith("'-,+1,0.1,2,'\t=2,pass,")
    assert evaluated(data, raw=True)[1].startswith("=1+1,-1,0.1,+2.0,@x,pass,")


def test_quoted_cells_with_commas_quotes_and_line_breaks_come_through():
    frame, refused = batches.read_csv(b'id,note,value\n"a,b","say ""x""\nthen","1"\n')
    assert refused == {}
    assert frame.to_numpy().tolist() == [["a,b", 'say "x"\nthen', "1"]]


@pytest.mark.parametrize("data", [b"\xef\xbb\xbfid,value\r\n1,2\r\n", b"id,value\n\n1,2\n\n"])
def test_byte_order_mark_line_ends_and_empty_lines_make_no_difference(data):
    frame, refused = batches.read_csv(data)
    assert (list(frame.columns), frame.to_numpy().tolist(), refused) == (
        ["id", "value"],
        [["1", "2"]],
        {},
    )


def test_a_row_that_is_too_short_or_too_long_is_refused_and_not_guessed_at():
    # Decided by its upper limit alone, the second row would pass unseen.
    lines = evaluated(b"value,U,upper,lower\n5,1,9,1\n5,1,9\n5,1,9,1,7\n")
    assert ",pass," in lines[1]
    assert lines[2].endswith('lower,"the row has 3 cells, the heading 4"')
    assert lines[3].endswith('lower,"the row has 5 cells, the heading 4"')


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\n\n", "empty"),
        (b"id,value\n\xff,1\n", "not UTF-8 at byte 9"),
        (b'id,value\n"1,2\n', "unexpected end"),
        (b"id,value\n\0,1\n", "NUL"),
    ],
)
def test_what_is_no_csv_is_refused_with_the_reason(data, words):
    with pytest.raises(InvalidRecord, match=words) as refused:
        batches.read_csv(data)
    assert refused.value.issues[0].remedy


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
        batches.check_columns(names)


def test_other_headings_are_passed_through():
    batches.check_columns(["id", "value", "U", "upper", "serial number", "operator", "range", "x"])


def test_json_rows_keep_their_own_values_and_get_null_where_there_is_no_answer():
    rows = [
        {"id": 7, "value": Decimal("0.50"), "U": "0.1", "upper": 1, "tags": ["a"]},
        {"value": True, "lower": {"x": 1}},
    ]
    decided = batches.decide_table(batches.read_rows(rows), default_rule=BUILT_IN["simple"])
    first, second = batches.write_rows(decided, rows)
    assert {name: first[name] for name in rows[0]} == rows[0]
    assert (first["verdict"], first["acceptance_lower"], first["acceptance_upper"]) == (
        "pass",
        None,
        "1",
    )
    assert (first["error"], second["verdict"], second["specific_risk"]) == (None, None, None)
    assert (second["error_field"], second["error"]) == ("value", "'true' is not a number")


def test_a_row_that_is_no_object_is_refused_at_its_place():
    with pytest.raises(InvalidRecord) as refused:
        batches.read_rows([{"value": 1}, 3])
    assert [issue.pointer for issue in refused.value.issues] == ["/rows/1"]


def test_no_rows_make_an_empty_answer():
    decided = batches.decide_table(batches.read_rows([]))
    assert batches.write_rows(decided, []) == []
    assert batches.summary(decided)["rows"] == 0
    assert len(evaluated(HEADING)) == 1


def test_rules_of_a_file_stand_beside_the_built_in_ones():
    ours = {"id": "ours", "guard": {"basis": "U", "factor": "0.5"}}
    rules = batches.rules_from([ours])
    frame, _ = batches.read_csv(b"value,U,upper,rule\n0.95,0.1,1,ours\n0.95,0.1,1,guard_U\n")
    assert batches.decide_table(frame, rules)["verdict"].tolist() == ["pass", "fail"]
    with pytest.raises(Conflict):
        batches.rules_from([ours, ours])
    with pytest.raises(RuleError):
        batches.rules_from([{"id": "x"}])


def test_a_table_may_be_decided_piece_by_piece():
    frame, _ = batches.read_csv(DEMO.read_bytes())
    whole = batches.decide_table(frame)
    parts = [batches.decide_table(frame.iloc[start : start + 7]) for start in range(0, 40, 7)]
    assert [row for part in parts for row in batches.write_rows(part)] == batches.write_rows(whole)


def test_deciding_a_file_needs_no_database_and_no_web():
    code = "import api.services.batches, sys, json; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert not {"sqlalchemy", "flask", "marshmallow"} & set(json.loads(done.stdout))
