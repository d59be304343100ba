"""What is too deep, too long or too many is refused with a problem, and quickly."""

from __future__ import annotations

import json
import time

import pytest
from oracle_cases import cal, lab, ref

DECISION = {"value": "1", "U": "0.1", "unit": "N", "limits": {"upper": "2"}, "rule": "simple"}


def sent(client, path, body, content_type="application/json"):
    """Answer to a body; whatever it is, it is there within seconds."""
    begun = time.monotonic()
    answer = client.post(path, data=body, content_type=content_type)
    assert time.monotonic() - begun < 20
    return answer


def problem(answer, status, code):
    assert answer.status_code == status, answer.text[:500]
    assert answer.mimetype == "application/problem+json"
    body = json.loads(answer.text)
    assert body["type"] == f"/problems/{code}"
    return body


DEEP = {
    "lists": b"[" * 2_000_000,
    "closed lists": b"[" * 1_000_000 + b"]" * 1_000_000,
    "objects": b'{"a":' * 500_000,
    "just too deep": b"[" * 65 + b"]" * 65,
}


@pytest.mark.parametrize("body", DEEP.values(), ids=DEEP)
@pytest.mark.parametrize("path", ["/v1/decisions", "/v1/imports", "/v1/items", "/v1/recalls"])
def test_a_nested_bomb_does_not_reach_the_stack(client, path, body):
    found = problem(sent(client, path, body), 422, "limit-exceeded")
    assert "nested deeper than 64 levels" in found["detail"]


@pytest.mark.parametrize("body", DEEP.values(), ids=DEEP)
def test_nor_does_one_in_a_batch(client, body):
    answer = sent(client, "/v1/batches", body)
    assert answer.status_code in (400, 422)
    lines = b'{"value": ' + body[:900_000] + b"}\n"
    answer = sent(client, "/v1/batches", lines, "application/x-ndjson")
    assert answer.status_code == 200
    assert json.loads(answer.text.splitlines()[0])["error"]


@pytest.mark.parametrize(
    "number",
    ["1e999999999", "-1E999999999", "1e-999999999", "1e1000", "9" * 5_000, "1e" + "9" * 40],
)
def test_a_number_that_would_fill_the_memory_is_refused(client, number):
    body = json.dumps(DECISION).replace('"1"', number, 1)
    problem(sent(client, "/v1/decisions", body), 422, "limit-exceeded")
    rule = json.dumps({"rows": [], "rule": {"guard": {"basis": "U", "factor": 1}}})
    answer = sent(client, "/v1/batches", rule.replace('"factor": 1', f'"factor": {number}'))
    assert answer.status_code in (400, 422), answer.text


@pytest.mark.parametrize("text", ["1e999999999", "1e61", "9" * 61, "0." + "0" * 70 + "1"])
def test_the_same_number_as_a_text_is_refused_at_its_field(client, text):
    answer = client.post("/v1/decisions", json=DECISION | {"value": text})
    found = problem(answer, 422, "invalid-request")
    assert found["errors"][0]["pointer"] == "/value"
    for kind, body in (
        ("text/csv", f"value,U,upper\n{text},0.1,2\n"),
        ("application/x-ndjson", json.dumps({"value": text, "U": 1, "upper": 2})),
    ):
        answer = sent(client, "/v1/batches?rule=simple", body, kind)
        assert answer.status_code == 200
        assert '"refused":1' in answer.headers["Tracehold-Summary"], (kind, text)


def test_a_text_too_long_is_refused_at_its_field(client):
    item = {"id": "REF-1", "kind": "reference_standard", "note": "x" * 2_001}
    found = problem(client.post("/v1/items", json=item), 422, "invalid-request")
    assert found["errors"][0]["pointer"] == "/note"
    assert len(json.dumps(found)) < 1_000


def test_more_values_than_a_record_can_have_are_refused_before_they_are_looked_at(client):
    for body in ({"items": [0] * 100_001}, [[{}] * 50_000, [{}] * 50_001]):
        found = problem(sent(client, "/v1/decisions", json.dumps(body)), 422, "limit-exceeded")
        assert "more than 100000 values" in found["detail"]
    # Commas in a text are no values.
    item = {"id": "REF-1", "kind": "reference_standard", "note": "," * 2_000}
    assert client.post("/v1/items", json=item).status_code == 201


def test_a_laboratory_file_has_a_bounded_number_of_records(app, client):
    app.config["MAX_IMPORT_RECORDS"] = 5
    laboratory = lab(cal("C-1", "I-1", "02-01", [ref("REF")]))
    records = sum(len(value) for value in laboratory.values() if isinstance(value, list))
    assert records <= 5
    assert client.post("/v1/imports", json=laboratory).status_code == 201
    laboratory["items"] += [{}] * (6 - records)
    found = problem(client.post("/v1/imports", json=laboratory), 413, "body-too-large")
    assert "more than 5 records" in found["detail"]


def test_a_list_within_a_record_of_a_laboratory_file_is_bounded(client):
    laboratory = lab(cal("C-1", "I-1", "02-01", [ref("REF")]))
    laboratory["calibrations"][0]["uses"] *= 10_001
    problem(client.post("/v1/imports", json=laboratory), 422, "limit-exceeded")


CSV_ROW, LINE = "1,0.1,2\n", '{"value": 1, "U": 0.1, "upper": 2}\n'
BATCHES = {
    "text/csv": lambda count: "value,U,upper\n" + CSV_ROW * count,
    "application/x-ndjson": lambda count: LINE * count,
    "application/json": lambda count: json.dumps({"rows": [json.loads(LINE)] * count}),
}


@pytest.mark.parametrize("kind", BATCHES)
def test_a_batch_has_a_bounded_number_of_rows(app, client, kind):
    app.config["MAX_BATCH_ROWS"] = 3
    answer = sent(client, "/v1/batches?rule=simple", BATCHES[kind](3), kind)
    assert answer.status_code == 200, answer.text
    found = problem(sent(client, "/v1/batches", BATCHES[kind](4), kind), 413, "body-too-large")
    assert "more than 3 rows" in found["detail"]


def test_line_ends_of_an_old_kind_are_rows_too(app, client):
    app.config["MAX_BATCH_ROWS"] = 3
    body = BATCHES["text/csv"](4).replace("\n", "\r")
    problem(sent(client, "/v1/batches?rule=simple", body, "text/csv"), 413, "body-too-large")


def test_a_batch_has_a_bounded_number_of_columns(client):
    names = [f"x{place}" for place in range(498)]
    heading = ",".join(["value", "U", "upper", *names])
    bodies = {
        "text/csv": f"{heading}\n",
        "application/x-ndjson": json.dumps(dict.fromkeys(heading.split(","), 1)),
        "application/json": json.dumps([dict.fromkeys(heading.split(","), 1)]),
    }
    for kind, body in bodies.items():
        found = problem(sent(client, "/v1/batches", body, kind), 422, "invalid-record")
        assert "501 columns, more than 500" in found["detail"], kind


def test_a_heading_of_a_million_columns_is_refused_at_once(client):
    body = ",".join(map(str, range(1_000_000)))
    problem(sent(client, "/v1/batches", body, "text/csv"), 422, "invalid-record")


def test_rows_that_each_have_a_name_of_their_own_make_no_table(client):
    body = "".join(json.dumps({f"n{place}": 1}) + "\n" for place in range(20_000))
    problem(sent(client, "/v1/batches", body, "application/x-ndjson"), 422, "invalid-record")


def test_a_heading_alone_is_still_a_batch(client):
    answer = sent(client, "/v1/batches", "value,U,upper\n", "text/csv")
    assert answer.status_code == 200
    assert answer.text.startswith("value,U,upper,verdict")
