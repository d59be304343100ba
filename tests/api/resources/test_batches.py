"""Batches over HTTP: JSON and CSV in and out."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from api.services import batches

DEMO = Path(__file__).parents[3] / "fixtures" / "demo_lab" / "results.csv"
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
    assert list(body["rows"][0]) == [*ROW, *batches.TEXTS, *batches.RISKS[:2], *batches.ERRORS]
    assert [row["verdict"] for row in body["rows"]] == ["pass", None, "conditional_pass"]
    assert body["rows"][0]["acceptance_upper"] == "10.8"
    assert body["rows"][0]["id"] == "0007"
    assert (body["rows"][1]["error_field"], body["rows"][1]["specific_risk"]) == ("value", None)
    assert body["summary"] == {
        "rows": 3,
        "decided": 2,
        "refused": 1,
        "by_verdict": {"pass": 1, "conditional_pass": 1, "conditional_fail": 0, "fail": 0},
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


def test_a_batch_needs_the_scope_decide(app, keys):
    for scope, status in (("read", 403), ("decide", 200)):
        answer = app.test_client().post("/v1/batches", json=[], headers=keys.headers(scope))
        assert answer.status_code == status
