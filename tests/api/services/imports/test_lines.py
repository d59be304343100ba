"""A laboratory line by line: what a line may be, and where in which line a fault is.

NDJSON: UTF-8, one JSON value a line, each by RFC 8259; line ends LF or CRLF.
"""

from __future__ import annotations

import io
import json

import pytest

from api.errors import InvalidRecord, Issue
from api.services.imports import lines as module
from api.services.imports.imports import COLLECTIONS
from api.services.imports.lines import InvalidLines, Lines, MalformedLines, read_lines

ITEM = {"id": "REF", "kind": "reference_standard"}
CHECK = {"id": "K", "item": "REF", "at": "2025-01-01", "result": "pass"}
CALIBRATION = {"certificate": "C-1", "item": "REF", "performed_at": "2025-01-01"}
PART = {"assembly": "A", "part": "REF", "from": "2025-01-01"}


def load(piece):
    """Take a piece as it is, unless one of its items has no kind."""
    missing = [place for place, one in enumerate(piece.get("items", ())) if "kind" not in one]
    return piece, [Issue(f"/items/{place}/kind", "it is missing", "say it") for place in missing]


@pytest.fixture
def lines():
    with Lines() as made:
        yield made


def read(lines, *sent):
    text = b"".join(
        (one if isinstance(one, bytes) else json.dumps(one).encode()) + b"\n" for one in sent
    )
    read_lines(io.BytesIO(text), lines, json.loads, load)
    return {name: [one for lot in lines.lots(name) for one in lot] for name in COLLECTIONS}


def faults(lines, *sent, kind=InvalidLines):
    with pytest.raises(kind) as found:
        read(lines, *sent)
    assert all(issue.remedy for issue in found.value.issues)
    return [(issue.at["line"], issue.pointer) for issue in found.value.issues]


@pytest.mark.parametrize(
    "line",
    [
        {"items": [ITEM]},
        {"items": ITEM},
        {"collection": "items", "record": ITEM},
        ITEM,
    ],
)
def test_a_record_may_stand_in_a_list_alone_beside_its_collection_or_by_itself(lines, line):
    assert read(lines, line)["items"] == [ITEM]


@pytest.mark.parametrize(
    ("record", "collection"),
    [(ITEM, "items"), (CHECK, "checks"), (CALIBRATION, "calibrations"), (PART, "composition")],
)
def test_a_record_by_itself_is_known_by_the_fields_that_it_must_have(lines, record, collection):
    # A check has an id and, with the kind of check, all that an item must have.
    sent = {**record, "kind": "inspection"} if record is CHECK else record
    found = read(lines, sent)
    assert {name: len(one) for name, one in found.items() if one} == {collection: 1}


def test_lines_of_all_collections_may_stand_in_any_order(lines):
    found = read(lines, CALIBRATION, {"items": [ITEM, {**ITEM, "id": "WS"}]}, PART, {"items": ITEM})
    assert [one["id"] for one in found["items"]] == ["REF", "WS", "REF"]
    assert (len(found["calibrations"]), len(found["composition"])) == (1, 1)
    assert [lines.numbered("items", number) for number in range(3)] == [
        "line 2",
        "line 2",
        "line 4",
    ]
    assert lines.numbered("composition", 0) == "line 3"


def test_records_come_in_lots_and_as_often_as_they_are_asked_for(lines, monkeypatch):
    monkeypatch.setattr(module, "LOT", 2)
    read(lines, *[{**ITEM, "id": f"I-{place}"} for place in range(5)])
    for _ in range(2):
        assert [len(lot) for lot in lines.lots("items")] == [2, 2, 1]


def test_empty_lines_and_either_line_end_are_passed_over_and_counted(lines):
    found = read(
        lines, b"", json.dumps(ITEM).encode() + b"\r", b"  ", {"items": {**ITEM, "id": "B"}}
    )
    assert [one["id"] for one in found["items"]] == ["REF", "B"]
    assert lines.numbered("items", 1) == "line 4"


def test_a_last_line_needs_no_end_and_nothing_at_all_is_an_empty_laboratory(lines):
    read_lines(io.BytesIO(json.dumps(ITEM).encode()), lines, json.loads, load)
    assert [one for lot in lines.lots("items") for one in lot] == [ITEM]
    with Lines() as empty:
        read_lines(io.BytesIO(b""), empty, json.loads, load)
        assert list(empty.lots("items")) == []


def test_the_heading_may_stand_anywhere_and_be_repeated_but_not_contradicted(lines):
    read(lines, {"time_zone": "Europe/Vienna"}, ITEM, {"time_zone": "Europe/Vienna", "title": "t"})
    assert lines.heading == {"time_zone": "Europe/Vienna", "title": "t"}
    with Lines() as other, pytest.raises(InvalidLines, match="the first on line 3") as found:
        read(other, {"title": "a"}, ITEM, {"title": "b"})
    (issue,) = found.value.issues
    assert (issue.pointer, issue.at, issue.detail) == (
        "/title",
        {"line": 3},
        "title is another on line 1",
    )


@pytest.mark.parametrize(
    ("line", "pointer"),
    [
        ({"items": [ITEM, {"id": "X"}]}, "/items/1/kind"),
        ({"items": {"id": "X"}}, "/items/kind"),
        ({"collection": "items", "record": {"id": "X"}}, "/record/kind"),
    ],
)
def test_a_fault_is_placed_in_the_line_as_it_was_sent(lines, line, pointer):
    assert faults(lines, ITEM, line) == [(2, pointer)]


@pytest.mark.parametrize("line", [[ITEM], "REF", 7, None])
def test_a_line_that_is_no_object_is_refused(lines, line):
    assert faults(lines, line) == [(1, "")]


@pytest.mark.parametrize("name", ["item", 7, ["items"]])
def test_a_collection_that_there_is_not_is_refused(lines, name):
    assert faults(lines, {"collection": name, "record": ITEM}) == [(1, "/collection")]


def test_what_is_no_json_goes_before_what_breaks_the_schema(lines):
    found = faults(lines, {"items": {"id": "X"}}, b"{broken", ITEM, b"{", kind=MalformedLines)
    assert found == [(2, ""), (4, ""), (1, "/items/kind")]


def test_reading_ends_with_more_faults_than_anybody_reads(lines):
    found = faults(lines, *[b"{"] * (module.MOST_ISSUES + 50), kind=MalformedLines)
    assert len(found) == module.MOST_ISSUES


def test_a_line_longer_than_a_record_can_be_is_refused_at_once(lines, monkeypatch):
    monkeypatch.setattr(module, "LONGEST_LINE", 1 << 20)
    with pytest.raises(MalformedLines, match="Line 2 is longer than 1 MiB"):
        read(lines, ITEM, b'{"title": "' + b"x" * (1 << 20) + b'"}')


def test_an_error_of_the_import_is_led_back_to_its_line(lines):
    read(lines, {"title": "t"}, ITEM, {"items": [ITEM, ITEM]}, {"items": ITEM})
    error = InvalidRecord(
        "wrong",
        [
            Issue("/items/0/uses/1", "a", "b", "v"),  # by itself
            Issue("/items/2", "a", "b"),  # second of a list
            Issue("/items/3/id", "a", "b"),  # under its name alone
            Issue("/title", "a", "b"),
            Issue("/elsewhere", "a", "b"),
        ],
    )
    found = lines.located(error)
    assert type(found) is InvalidRecord
    assert [(issue.pointer, issue.at) for issue in found.issues] == [
        ("/uses/1", {"line": 2}),
        ("/items/1", {"line": 3}),
        ("/items/id", {"line": 4}),
        ("/title", {"line": 1}),
        ("/elsewhere", None),
    ]
    assert found.issues[0].value == "v"


def test_its_files_are_gone_when_it_is_closed():
    with Lines() as lines:
        read(lines, ITEM)
    with pytest.raises(ValueError, match="closed"):
        list(lines.lots("items"))
