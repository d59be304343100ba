"""Decision rules over HTTP."""

from __future__ import annotations

import json
from xml.etree import ElementTree as ET

import pytest

BASES = [
    {"basis": "none"},
    {"basis": "U", "factor": "0.83"},
    {"basis": "U", "factor": "-1"},
    {"basis": "absolute", "width": "0.1"},
    {"basis": "absolute", "width": {"lower": "0.1"}},
    {"basis": "tolerance", "share": "0.2"},
    {"basis": "rds"},
    {"basis": "managed"},
    {"basis": "specific_risk", "target": "0.025"},
    {"basis": "global_risk", "target": "0.001"},
]


def post(client, **rule):
    return client.post("/v1/decision-rules", json=rule)


def shown(answer) -> str:
    """The text of a picture, its lines joined."""
    nodes = ET.fromstring(answer.data).iter("{http://www.w3.org/2000/svg}text")
    return " ".join("".join(node.itertext()).strip() for node in nodes)


def test_the_built_in_rules_are_listed_and_explained_without_being_recorded(client):
    items = client.get("/v1/decision-rules").get_json()["items"]
    assert [rule["id"] for rule in items] == ["four_state_U", "guard_U", "simple"]
    assert all(rule["built_in"] and rule["version"] == 1 for rule in items)
    assert "pass" in items[0]["explanation"]


def test_the_example_of_a_rule_shows_limits_and_the_worst_risk(client):
    answer = json.loads(client.get("/v1/decision-rules/guard_U").text)
    example = answer["example"]
    assert (example["limits"], example["U"], example["k"]) == (
        {"lower": "-1", "upper": "1"},
        "0.2",
        "2",
    )
    assert example["acceptance"] == {"lower": "-0.8", "upper": "0.8"}
    # ILAC-G8:09/2019 (read): w = U keeps the specific risk below 2.5 %; exactly Q(2)
    assert example["worst_specific_risk"] == pytest.approx(0.0227501319481792, rel=1e-12)
    assert answer["versions"] == [1]


NONE, TUR = {"basis": "none"}, {"least_tur": "4"}


def test_a_fallback_stays_as_it_was_when_the_rule_was_recorded(client):
    half = {"basis": "U", "factor": "0.5"}
    assert post(client, id="half", guard=half).status_code == 201
    sent = {"id": "tur", "guard": NONE, "precondition": TUR, "otherwise": "half"}
    made = post(client, **sent).get_json()
    assert made["otherwise"] == {"id": "half", "version": 1, "guard": half, "zones": 2}
    decision = {"value": "0.9", "U": "0.5", "unit": "kN", "limits": {"lower": "-1", "upper": "1"}}
    inline = {name: part for name, part in sent.items() if name != "id"}
    first = client.post("/v1/decisions", json=decision | {"rule": inline})
    assert first.status_code == 201, first.text
    # 1 - 0.5 x 0.5 = 0.75 is accepted, with the next version of the fallback 1 - 0.5 = 0.5
    assert json.loads(first.text)["acceptance"]["upper"] == "0.75"
    assert post(client, id="half", guard={"basis": "U", "factor": "1"}).get_json()["version"] == 2
    assert client.get("/v1/decision-rules/tur").get_json()["otherwise"]["version"] == 1
    again = client.post(f"/v1/decisions/{first.get_json()['id']}/replay", json={})
    assert again.get_json()["identical"] is True
    # Recorded again it takes the version of now, and so is another version itself.
    anew = post(client, **sent).get_json()
    assert (anew["version"], anew["otherwise"]["version"]) == (2, 2)
    older = post(client, **sent | {"otherwise": {"id": "half", "version": 1}}).get_json()
    assert (older["version"], older["otherwise"]["version"]) == (3, 1)


@pytest.mark.parametrize(
    ("changes", "pointer", "detail", "remedy"),
    [
        ({"precondition": {}}, "/precondition", "no ratio", "least_tur"),
        ({"precondition": TUR | {"greatest_U_over_T": "1"}}, "/precondition", "two", "send one"),
        ({"precondition": {"tur": "4"}}, "/precondition/tur", "unknown field", "least_tur"),
        ({"precondition": {"least_tur": "0"}}, "/precondition/least_tur", "0 is no", "above 0"),
        ({"precondition": {"least_tur": "-1/3"}}, "/precondition/least_tur", "-1/3", "quotient"),
        ({"otherwise": "tur"}, "/otherwise", "comes back to itself", "name another rule"),
        ({"otherwise": "mine"}, "/otherwise", "'mine' is not known", "record it first"),
        ({"otherwise": {"id": "simple", "version": 3}}, "/otherwise", "version 3", "record it"),
        ({"otherwise": {"zones": 2}}, "/otherwise/zones", "unknown field", "known here"),
        ({"precondition": None, "otherwise": "simple"}, "/precondition", "null", ""),
        ({"id": "no_statement"}, "/id", "built in", "another id"),
    ],
)
def test_a_precondition_that_cannot_be_used_is_refused(client, changes, pointer, detail, remedy):
    refused = post(client, **{"id": "tur", "guard": NONE, "precondition": TUR} | changes)
    assert refused.status_code in (409, 422), refused.text
    places = {error["pointer"]: error for error in refused.get_json()["errors"]}
    assert pointer in places, refused.text
    assert detail in places[pointer]["detail"]
    assert remedy in places[pointer].get("remedy", "")


def test_a_fallback_without_precondition_is_refused(client):
    refused = post(client, id="tur", guard=NONE, otherwise="simple")
    (error,) = refused.get_json()["errors"]
    assert (refused.status_code, error["pointer"]) == (422, "/otherwise")
    assert "never reached" in error["detail"]


def test_a_decision_with_one_limit_names_the_precondition(client):
    sent = {"value": "1", "U": "0.1", "unit": "kN", "limits": {"upper": "2"}}
    refused = client.post(
        "/v1/decisions", json=sent | {"rule": {"guard": NONE, "precondition": TUR}}
    )
    (error,) = refused.get_json()["errors"]
    assert (refused.status_code, error["pointer"]) == (422, "/rule/precondition/least_tur")
    assert error["detail"] == "a precondition on TUR needs both limits, and one is absent"
    assert error["remedy"].startswith("give the other one too (0 for what cannot be negative)")
    assert error["value"] == "4"


@pytest.mark.parametrize("guard", BASES, ids=lambda guard: "-".join(map(str, guard.values())))
def test_every_kind_of_rule_can_be_recorded_and_explains_itself(client, guard):
    made = post(client, id="ours", guard=guard)
    assert made.status_code == 201
    body = json.loads(made.text)
    assert body["guard"]["basis"] == guard["basis"]
    assert body["explanation"]
    assert 0 < body["example"]["worst_specific_risk"] < 1


def test_a_rule_that_accepts_nothing_in_the_example_says_why(client):
    body = post(client, id="wide", guard={"basis": "absolute", "width": "2"}).get_json()
    assert body["example"]["worst_specific_risk"] is None
    assert "no result can pass" in body["example"]["acceptance"]["reason"]


def test_a_new_version_leaves_the_old_one_as_it_was(client):
    first = post(client, id="a/b", guard={"basis": "U", "factor": "1"}, agreed_with="Client Q")
    second = post(client, id="a/b", guard={"basis": "U", "factor": "0.5"}, agreed_at="2026-01-01")
    assert (first.status_code, second.status_code) == (201, 201)
    assert second.headers["Location"] == "/v1/decision-rules/a%2Fb?version=2"
    latest = client.get("/v1/decision-rules/a/b").get_json()
    assert (latest["version"], latest["agreed_at"], latest["versions"]) == (2, "2026-01-01", [1, 2])
    assert "agreed_with" not in latest
    old = client.get(first.headers["Location"]).get_json()
    assert (old["guard"]["factor"], old["agreed_with"]) == ("1", "Client Q")


def test_the_same_content_again_is_returned_unchanged(client):
    rule = {"id": "ours", "guard": {"basis": "U", "factor": "1.0"}, "note": "per contract"}
    first = post(client, **rule)
    again = post(client, **{**rule, "guard": {"basis": "U", "factor": "1"}})
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.get_json() == first.get_json()
    assert post(client, **{**rule, "note": "per order"}).get_json()["version"] == 2


@pytest.mark.parametrize("code", ["simple", "guard_U", "four_state_U", "inline"])
def test_a_built_in_rule_cannot_be_redefined(client, code):
    answer = post(client, id=code, guard={"basis": "none"})
    assert answer.status_code == 409
    assert answer.get_json()["errors"][0]["pointer"] == "/id"


@pytest.mark.parametrize(
    ("rule", "pointer"),
    [
        ({"id": "x"}, "/guard"),
        ({"id": "x", "guard": {"basis": "U"}}, "/guard/factor"),
        ({"id": "x", "guard": {"basis": "none"}, "zones": 3}, "/zones"),
        ({"id": "x", "guard": {"basis": "none"}, "version": 4}, "/version"),
        ({"id": "x", "guard": {"basis": "U", "factor": "-1"}, "zones": 4}, "/guard/factor"),
        ({"id": "x", "guard": {"basis": "absolute", "width": {"low": "1"}}}, "/guard/width/low"),
        ({"guard": {"basis": "none"}}, "/id"),
    ],
)
def test_a_rule_that_cannot_be_used_is_refused_at_its_place(client, rule, pointer):
    answer = client.post("/v1/decision-rules", json=rule)
    assert answer.status_code == 422
    assert client.get("/v1/decision-rules/x").status_code == 404
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_what_is_not_recorded_is_not_found_and_the_answer_says_what_is(client):
    answer = client.get("/v1/decision-rules/none-such")
    assert answer.status_code == 404
    assert "guard_U" in answer.get_json()["detail"]
    assert "known versions: 1" in client.get("/v1/decision-rules/simple?version=2").text


def test_rules_come_in_pages_in_the_order_of_their_ids(client):
    post(client, id="house", guard={"basis": "none"})
    first = client.get("/v1/decision-rules?limit=2").get_json()
    rest = client.get(first["next"]).get_json()
    ids = [rule["id"] for rule in first["items"] + rest["items"]]
    assert ids == ["four_state_U", "guard_U", "house", "simple"]
    assert rest["next"] is None
    foreign = client.get("/v1/decision-rules?cursor=WzFd")  # [1]
    assert foreign.status_code == 422


def test_recording_a_rule_needs_the_scope_admin(app, keys):
    rule = {"id": "x", "guard": {"basis": "none"}}
    for scope, status in (("record", 403), ("admin", 201)):
        answer = app.test_client().post(
            "/v1/decision-rules", json=rule, headers=keys.headers(scope)
        )
        assert answer.status_code == status


def test_the_risks_of_a_rule_are_drawn_in_the_version_asked_for(client):
    post(client, id="a/b", guard={"basis": "U", "factor": "1"})
    post(client, id="a/b", guard={"basis": "rds"})
    latest = client.get("/v1/decision-rules/a/b/risk.svg?reliability=0.95")
    first = client.get("/v1/decision-rules/a/b/risk.svg?version=1&prior_sd=0.5&prior_mean=0.1")
    assert (latest.status_code, latest.mimetype) == (200, "image/svg+xml")
    assert "root difference of squares" in latest.text
    assert "observed in-tolerance rate of 0.95" in shown(latest)
    assert "w = U" in first.text
    assert "mean 0.1 and standard deviation 0.5" in shown(first)
    png = client.get("/v1/decision-rules/simple/risk.png")
    assert (png.mimetype, png.data[:8]) == ("image/png", b"\x89PNG\r\n\x1a\n")


@pytest.mark.parametrize(
    ("query", "place"),
    [
        ("lower=2&upper=1", {"pointer": "/lower"}),
        ("reliability=0.9&prior_sd=1", {"parameter": "prior_sd"}),
        ("reliability=0.9&prior_mean=3", {"pointer": "/prior_mean"}),
        ("sd=1", {"parameter": "sd"}),
        ("prior_sd=-1", {"parameter": "prior_sd"}),
    ],
)
def test_a_picture_that_cannot_be_drawn_is_refused_at_its_place(client, query, place):
    answer = client.get(f"/v1/decision-rules/simple/risk.svg?{query}")
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0].items() >= place.items()
    assert client.get("/v1/decision-rules/none-such/risk.svg").status_code == 404
