"""Batches over HTTP: JSON and CSV in and out."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import requests

from api.errors import InvalidRecord
from api.services.batches import format_csv
from api.services.batches.pieces import ERRORS, RISKS, TEXTS

DEMO = Path(__file__).parents[3] / "fixtures" / "demo_lab" / "results.csv"
PARQUET, ARROW = "application/vnd.apache.parquet", "application/vnd.apache.arrow.stream"
# ILAC-G8:09/2019 (read): limits 9 and 11, U 0.2, w = U accepts from 9.2 to 10.8
ROW = {"id": "0007", "value": "10.8", "U": "0.2", "unit": "kN", "lower": "9", "upper": "11"}
CSV = b"id,value,U,unit,lower,upper\n0007,10.8,0.2,kN,9,11\n0008,10.80001,0.2,kN,9,11\n"


def post_csv(client, data=CSV, query="?rule=guard_U", **headers):
    return client.post(
        f"/v1/batches{query}", data=data, headers={"Content-Type": "text/csv", **headers}
    )


def test_json_rows_come_back_in_order_with_their_answers_and_a_summary(client):
    rows = [ROW, {**ROW, "value": "x"}, {**ROW, "value": 10.9, "rule": "four_state_U"}]
    answer = client.post("/v1/batches", json={"rows": rows, "rule": "guard_U"})
    body = json.loads(answer.text)
    assert answer.status_code == 200
    assert list(body["rows"][0]) == [*ROW, *TEXTS, *RISKS[:2], *ERRORS]
    assert [row["verdict"] for row in body["rows"]] == ["pass", None, "conditional_pass"]
    assert body["rows"][0]["acceptance_upper"] == "10.8"
    assert body["rows"][0]["id"] == "0007"
    assert (body["rows"][1]["error_field"], body["rows"][1]["specific_risk"]) == ("value", None)
    assert body["summary"] == {
        "rows": 3,
        "decided": 2,
        "refused": 1,
        "by_verdict": {
            "pass": 1,
            "conditional_pass": 1,
            "conditional_fail": 0,
            "fail": 0,
            "no_statement": 0,
        },
    }


def test_a_bare_list_of_rows_is_a_batch_too(client):
    body = client.post("/v1/batches", json=[{**ROW, "rule": "simple"}]).get_json()
    assert body["rows"][0]["verdict"] == "pass"


def test_csv_comes_back_as_csv_with_the_summary_in_a_header(client):
    answer = post_csv(client)
    assert answer.mimetype == "text/csv"
    assert [line.split(",")[:7] for line in answer.text.splitlines()[1:]] == [
        ["0007", "10.8", "0.2", "kN", "9", "11", "pass"],
        ["0008", "10.80001", "0.2", "kN", "9", "11", "fail"],
    ]
    assert json.loads(answer.headers["Tracehold-Summary"])["by_verdict"]["pass"] == 1


def test_accept_chooses_the_kind_of_answer(client):
    as_json = post_csv(client, Accept="application/json").get_json()
    assert [row["verdict"] for row in as_json["rows"]] == ["pass", "fail"]
    as_csv = client.post(
        "/v1/batches", json={"rows": [ROW], "rule": "simple"}, headers={"Accept": "text/csv"}
    )
    assert as_csv.text.splitlines()[1].startswith("0007,10.8,0.2,kN,9,11,pass,9,11,")
    assert post_csv(client, Accept="*/*").mimetype == "text/csv"
    assert post_csv(client, Accept="image/png").status_code == 406


def test_single_and_batch_decisions_of_the_demonstration_agree(client):
    body = json.loads(post_csv(client, DEMO.read_bytes(), "", Accept="application/json").text)
    for row in body["rows"]:
        request = {name: row[name] for name in ("value", "U", "k", "unit", "rule")}
        if row["tolerance"]:
            request |= {name: row[name] for name in ("nominal", "tolerance")}
        else:
            limits = {side: row[side] for side in ("lower", "upper") if row[side]}
            request["limits"] = limits
        answer = client.post("/v1/decisions", json={**request, "store": False})
        if row["error"] is not None:
            assert answer.status_code == 422
            assert answer.get_json()["errors"][0]["pointer"] == "/" + row["error_field"]
            continue
        single = json.loads(answer.text)
        assert row["verdict"] == single["verdict"]
        assert row["acceptance_lower"] == single["acceptance"]["lower"]
        assert row["acceptance_upper"] == single["acceptance"]["upper"]
        risk = single["specific_risk"]["consumer"]
        assert row["specific_risk"] == pytest.approx(risk, rel=1e-9, abs=1e-15)


def test_recorded_rules_serve_in_their_latest_version(client):
    for factor in ("1", "0.5"):
        rule = {"id": "ours", "guard": {"basis": "U", "factor": factor}}
        client.post("/v1/decision-rules", json=rule)
    body = client.post("/v1/batches", json=[{**ROW, "value": "10.9", "rule": "ours"}]).get_json()
    assert (body["rows"][0]["verdict"], body["rows"][0]["acceptance_upper"]) == ("pass", "10.90")
    inline = {"rows": [ROW], "rule": {"guard": {"basis": "rds"}}}
    assert client.post("/v1/batches", json=inline).get_json()["summary"]["decided"] == 1


def test_formulas_are_neutralised_unless_raw_is_asked_for(client):
    data = b"id,value,U,upper\n=1+1,1,0,2\n"
    assert post_csv(client, data).text.splitlines()[1].startswith("'=1+1,")
    raw = post_csv(client, data, "?rule=simple&raw=true")
    assert raw.text.splitlines()[1].startswith("=1+1,")


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"rows": 3}, "/rows"),
        ({"rule": "simple"}, "/rows"),
        ({"rows": [1]}, "/rows/0"),
        ({"rows": [], "rule": "no such"}, "/rule"),
        ({"rows": [], "rows2": []}, "/rows2"),
        ({"rows": [{"valu": 1}]}, ""),
    ],
)
def test_a_batch_that_cannot_be_read_is_refused_as_a_whole(client, body, pointer):
    answer = client.post("/v1/batches", json=body)
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_broken_json_and_other_media_types_are_refused(client):
    broken = client.post("/v1/batches", data="[", headers={"Content-Type": "application/json"})
    assert broken.status_code == 400
    other = client.post("/v1/batches", data="a", headers={"Content-Type": "text/plain"})
    assert other.status_code == 415


def test_an_empty_csv_is_refused_and_a_heading_alone_is_not(client):
    assert post_csv(client, b"").status_code == 422
    assert post_csv(client, b"value,U,upper\n").text.count("\n") == 1


def test_parquet_and_arrow_come_and_go_by_their_media_types(client):
    sent = pa.table({"id": ["0007"], "value": [10.8], "U": [0.2], "lower": [9.0], "upper": [11.0]})
    sink = io.BytesIO()
    pq.write_table(sent, sink)
    headers = {"Content-Type": PARQUET}
    answer = client.post("/v1/batches?rule=guard_U", data=sink.getvalue(), headers=headers)
    assert answer.mimetype == PARQUET
    assert pq.read_table(io.BytesIO(answer.data))["verdict"].to_pylist() == ["pass"]
    answer = client.post(
        "/v1/batches?rule=guard_U", data=sink.getvalue(), headers={**headers, "Accept": ARROW}
    )
    assert answer.mimetype == ARROW
    assert pa.ipc.open_stream(answer.data).read_all()["id"].to_pylist() == ["0007"]
    assert json.loads(answer.headers["Tracehold-Summary"])["rows"] == 1


def test_a_file_of_another_kind_than_it_says_is_a_problem_with_its_remedy(client):
    for kind in (PARQUET, ARROW):
        answer = client.post("/v1/batches", data=CSV, headers={"Content-Type": kind})
        assert answer.status_code == 422
        assert answer.get_json()["errors"][0]["remedy"]


def test_ndjson_ends_with_its_totals_and_csv_does_if_asked(client):
    answer = post_csv(client, Accept="application/x-ndjson")
    *rows, last = [json.loads(line) for line in answer.text.splitlines()]
    assert [row["verdict"] for row in rows] == ["pass", "fail"]
    assert last["summary"] == json.loads(answer.headers["Tracehold-Summary"])
    lined = post_csv(client, query="?rule=guard_U&summary=line").text.splitlines()
    assert json.loads(lined[-1].removeprefix("#summary ")) == last["summary"]
    assert post_csv(client, query="?summary=everywhere").status_code == 422


def test_a_long_answer_is_streamed_and_its_file_closed_at_the_end(client, monkeypatch):
    monkeypatch.setattr(format_csv, "BLOCK", 1 << 16)
    monkeypatch.setattr("api.resources.batches._SHORT", 1 << 16)
    lines = b"".join(b"%07d,10.8,0.2,kN,9,11\n" % place for place in range(20_000))
    data = CSV.split(b"\n")[0] + b"\n" + lines
    answer = post_csv(client, data, Accept="application/x-ndjson")
    assert answer.is_streamed
    assert "Tracehold-Summary" not in answer.headers
    *rows, last = answer.text.splitlines()
    assert [json.loads(row)["id"] for row in rows] == [f"{n:07d}" for n in range(20_000)]
    assert json.loads(last)["summary"]["by_verdict"]["pass"] == 20_000
    # What is found out late has no status any more.
    answer = post_csv(client, data + b"\xff\n", Accept="application/x-ndjson")
    *rows, last = answer.text.splitlines()
    assert answer.status_code == 200
    assert json.loads(last)["problem"]["type"] == "/problems/invalid-record"
    with post_csv(client, data + b"\xff\n") as cut, pytest.raises(InvalidRecord, match="UTF-8"):
        cut.get_data()


def test_a_long_answer_comes_over_real_http_though_nobody_reads_it_meanwhile(server, keys):
    lines = b"".join(b"%07d,10.8,0.2,kN,9,11\n" % place for place in range(300_000))
    data = CSV.split(b"\n")[0] + b"\n" + lines
    headers = {"Content-Type": "text/csv", **keys.headers("decide")}
    with requests.post(
        f"{server}/v1/batches?rule=guard_U&summary=line", data, headers=headers, timeout=60
    ) as answer:
        *_, last = answer.iter_lines()
    assert json.loads(last.removeprefix(b"#summary "))["by_verdict"]["pass"] == 300_000


def test_a_batch_needs_the_scope_decide(app, keys):
    for scope, status in (("read", 403), ("decide", 200)):
        answer = app.test_client().post("/v1/batches", json=[], headers=keys.headers(scope))
        assert answer.status_code == status
