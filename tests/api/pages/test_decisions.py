"""The decision page says what the API says, and stores only when asked."""

from __future__ import annotations

from html import unescape
from urllib.parse import urlencode

ENTERED = {
    "value": "10.012",
    "U": "0.004",
    "k": "2",
    "unit": "kN",
    "upper": "10.015",
    "rule": "guard_U",
}


def test_verdict_limits_and_sentence_are_those_of_the_api(visitor, keys):
    page = unescape(visitor.get(f"/decide?{urlencode(ENTERED)}").text)
    body = {
        "value": "10.012",
        "U": "0.004",
        "unit": "kN",
        "limits": {"upper": "10.015"},
        "rule": "guard_U",
        "store": False,
    }
    answer = visitor.client.post("/v1/decisions", json=body, headers=keys.headers()).get_json()
    assert answer["verdict"] == "fail"  # accepted up to 10.015 - 0.004 = 10.011
    assert "<span>fail</span>" in page
    assert answer["statement"] in page
    assert answer["acceptance"]["upper"] in page


def test_a_nominal_and_a_tolerance_do_as_well_and_a_prior_asks_for_global_risks(visitor):
    query = {
        **{"value": "50.012", "U": "0.020", "unit": "kN", "nominal": "50", "tolerance": "0.05"},
        **{"rule": "simple", "prior_mean": "50", "prior_sd": "0.02"},
    }
    page = visitor.get(f"/decide?{urlencode(query)}").text
    assert "<span>pass</span>" in page
    assert "Global risk" in page


def test_what_is_missing_or_wrong_is_said_beside_its_field(visitor):
    page = visitor.get("/decide?value=ten&unit=kN&rule=simple").text
    assert '<a href="#value">Result</a>: not a decimal number' in page
    assert "Verdict:" not in page
    page = visitor.get("/decide?value=10&unit=kN&rule=simple").text
    assert '<a href="#U">Expanded uncertainty U</a>: required field is missing' in page
    page = visitor.get("/decide?value=10&U=1&unit=kn&upper=11&rule=simple").text
    assert '<a href="#unit">Unit</a>' in page


def test_the_form_begins_without_complaints(visitor):
    page = visitor.get("/decide").text
    assert "to mend" not in page
    assert 'value="guard_U"' in page


def test_the_picture_is_drawn_from_the_same_address(visitor):
    answer = visitor.get(f"/decide/figure.svg?{urlencode(ENTERED)}")
    assert answer.mimetype == "image/svg+xml"
    assert "10.011" in answer.text
    assert visitor.get("/decide/figure.svg?value=ten").status_code == 422


def test_nothing_is_stored_until_the_button_is_pressed_and_then_once(visitor, keys):
    page = f"/decide?{urlencode(ENTERED)}"

    def stored() -> list[dict]:
        return visitor.client.get("/v1/decisions", headers=keys.headers()).get_json()["items"]

    visitor.get(page)
    assert stored() == []
    answer = visitor.send(page, "/decide", **ENTERED, once="the-same-form")
    again = visitor.send(page, "/decide", **ENTERED, once="the-same-form")
    assert answer.status_code == again.status_code == 303
    assert answer.headers["Location"] == again.headers["Location"]
    assert [one["verdict"] for one in stored()] == ["fail"]
    assert "Stored as decision 1." in visitor.get(answer.headers["Location"]).text
    counted = 'tracehold_decisions_total{kind="stored",verdict="fail"} 1.0'
    assert counted in visitor.client.get("/metrics").text


def test_a_form_without_the_token_of_the_session_stores_nothing(visitor):
    assert visitor.client.post("/decide", data=ENTERED).status_code == 403
