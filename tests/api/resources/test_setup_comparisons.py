"""Set-up comparisons over HTTP: kept with their readings, found by item and type, made a fault."""

from __future__ import annotations

import copy
import json
from decimal import Decimal

import pytest

from api.schemas.faults import RecallRequestSchema
from api.services.setups.setup_comparisons import measured_effects

# Run by run 860, 858 and 862 lbf lower with the other pin: the tension link of the trade, common
# practice, no source.
SENT = {
    "instrument": {"item": "TL-1"},
    "unit": "lbf",
    "setups": {
        "usual": {"name": "customer's pin", "parts": ["PIN-2"], "pin_diameter": "2 in"},
        "other": {"name": "our pin", "parts": ["CLV-1", "PIN-7"], "pin_diameter": "50 mm"},
    },
    "points": [
        {
            "applied": "50000",
            "usual": ["50000", "50002", "49998"],
            "other": ["49140", "49144", "49136"],
            "usual_U": "30",
            "other_U": "40",
        }
    ],
    "performed_at": "2025-06-10T09:00:00Z",
    "person": "R. Fenn",
    "note": "after the finding",
}
WINDOW = {"last_good_at": "2025-02-01T08:00:00Z", "isolated_at": "2025-06-01T12:00:00Z"}
FAULT = {"item": "PIN-7", **WINDOW}
SAME = ["49999", "50004", "49997"]  # -1, +2 and -1 lbf: no difference to speak of


def sent(**more):
    return copy.deepcopy(SENT) | more


def reading(other, **more):
    made = sent(**more)
    made["points"][0]["other"] = other
    return made


@pytest.fixture
def bench(client):
    """A client of a laboratory with a link, a scale, two pins and a clevis."""
    items = [
        {"id": "TL-1", "kind": "customer_instrument", "type": "tension_link"},
        {"id": "CR-1", "kind": "customer_instrument", "type": "crane_scale", "capacity": "5 tf"},
        {"id": "BARE", "kind": "customer_instrument"},
        {"id": "CLV-1", "kind": "adapter", "type": "clevis"},
        {"id": "PIN-2", "kind": "adapter_part", "type": "pin"},
        {"id": "PIN-7", "kind": "adapter_part", "type": "pin"},
    ]
    assert client.post("/v1/imports", json={"items": items}).status_code == 201
    return client


def post(bench, body, status=201):
    answered = bench.post("/v1/setup-comparisons", json=body)
    assert answered.status_code == status, answered.text
    return answered.get_json()


def fault(bench, key, status=200, **more):
    answered = bench.post(f"/v1/setup-comparisons/{key}/fault", json=FAULT | more)
    assert answered.status_code == status, answered.text
    return answered.get_json()


def test_a_comparison_says_how_much_how_sure_and_what_to_do_with_it(bench):
    made = post(bench, SENT)
    (point,) = made["points"]
    assert (point["usual_mean"], point["other_mean"]) == ("50000", "49140")
    assert (point["difference"], point["difference_rel"]) == ("-860", "-0.0172")
    # s of -860, -858, -862 is 2: u = 2/sqrt(3), t = -860 sqrt(3)/2 = -744.8, and with two degrees
    # of freedom p = 1 - |t|/sqrt(t^2 + 2) = 1/t^2 nearly
    assert (point["method"], point["dof"]) == ("paired_t", "2")
    assert point["standard_uncertainty"] == "1.15470053838"
    assert point["t"] == "-744.781847255"
    assert float(point["p_value"]) == pytest.approx(1 / 744.78185**2, rel=1e-5)
    # 4.302652730 x 2/sqrt(3) = 4.968275 (t at 95 % for two degrees of freedom)
    assert float(point["interval"]["upper"]) == pytest.approx(-860 + 4.968275, abs=1e-6)
    # 860/sqrt(30^2 + 40^2)
    assert point["E_n"] == {"value": "17.2", "exceeds": True}
    assert point["component"]["half_width"] == "430"
    overall = made["overall"]
    assert overall["over_runs"]["t"] == point["t"]
    assert overall["over_points"]["reason"] == "a single value has no scatter"
    component = overall["component"]
    named = {name: component[name] for name in ("name", "distribution", "half_width", "relative")}
    assert named == {
        "name": "adapter",
        "distribution": "rectangular",
        "half_width": "0.86",
        "relative": True,
    }
    assert made["effect"]["instrument_type"] == "tension_link"
    assert made["effect"]["effect_rel"] == "-0.0172"
    # t of 4.52654 for k = 2, u = 2/sqrt(3)/50000
    assert float(made["effect"]["U_delta_rel"]) == pytest.approx(1.04536e-4, rel=1e-5)
    assert len(made["effect"]["U_delta_rel"].lstrip("0.")) == 12
    assert made["effect"]["U_reported"] == "0.00011"
    assert made["differ_in"] == ["pin_diameter"]
    assert "-1.72 %" in made["sentence"]
    assert any("rated capacity of the weakest part" in text for text in made["cautions"])


def test_a_comparison_is_kept_with_its_readings_as_they_were_sent(bench):
    answered = bench.post("/v1/setup-comparisons", json=SENT)
    made = answered.get_json()
    assert answered.headers["Location"] == f"/v1/setup-comparisons/{made['id']}"
    kept = bench.get(answered.headers["Location"]).get_json()
    assert kept.pop("recorded_at").endswith("Z")
    defaults = {"k": "2", "confidence": "0.95", "pairing": "by_run", "weighting": "plain"}
    assert kept.pop("request") == SENT | defaults
    assert kept == made
    assert bench.get("/v1/setup-comparisons/99").status_code == 404


def test_an_unstored_comparison_leaves_nothing_behind(bench):
    made = post(bench, sent(store=False), status=200)
    assert made["id"] is None
    assert bench.get("/v1/setup-comparisons").get_json()["items"] == []
    stored = post(bench, SENT)
    assert {**stored, "id": None} == made


def test_numbers_sent_as_json_numbers_keep_their_digits(bench):
    body = json.dumps(SENT).replace('"49140"', "49140.10")
    answered = bench.post("/v1/setup-comparisons", data=body, content_type="application/json")
    assert answered.status_code == 201, answered.text
    kept = bench.get(answered.headers["Location"]).get_json()["request"]
    assert kept["points"][0]["other"][0] == "49140.10"


def test_comparisons_are_listed_by_item_and_by_type_the_latest_first(bench):
    first = post(bench, SENT)["id"]
    other = {"item": "CR-1"}
    second = post(bench, reading(SAME, instrument=other))["id"]
    third = post(bench, reading(SAME, instrument={"type": "tension_link"}))["id"]

    def listed(query):
        return [one["id"] for one in bench.get(f"/v1/setup-comparisons{query}").get_json()["items"]]

    assert listed("") == [third, second, first]
    assert listed("?type=tension_link") == [third, first]
    assert listed("?item=CR-1") == [second]
    assert listed("?item=PIN-7") == [third, second, first]
    assert listed("?item=GHOST") == []
    page = bench.get("/v1/setup-comparisons?limit=2").get_json()
    assert [one["id"] for one in bench.get(page["next"]).get_json()["items"]] == [first]
    shown = page["items"][1]
    assert shown["instrument"] == {"item": "CR-1", "type": "crane_scale", "capacity": "5 tf"}
    assert shown["significant"] is False


@pytest.mark.parametrize(
    ("change", "pointer", "code"),
    [
        ({"instrument": {"item": "GHOST"}}, "/instrument/item", "unknown-reference"),
        ({"instrument": {"item": "BARE"}}, "/instrument/type", "invalid-record"),
        (
            {"instrument": {"item": "TL-1", "type": "crane_scale"}},
            "/instrument/type",
            "invalid-record",
        ),
        ({"instrument": {"capacity": "5 kN"}}, "/instrument/item", "invalid-request"),
        (
            {"setups": SENT["setups"] | {"other": {"name": "x", "parts": ["PIN-2", "GHOST"]}}},
            "/setups/other/parts/1",
            "unknown-reference",
        ),
        (
            {"points": [*SENT["points"], {"applied": "0", "usual": ["0"], "other": ["0"]}]},
            "/points/1/applied",
            "invalid-record",
        ),
        (
            {"points": [{"applied": "5", "usual": [None], "other": ["5"]}]},
            "/points/0/usual",
            "invalid-record",
        ),
        ({"points": []}, "/points", "invalid-request"),
        ({"unit": "kg"}, "/unit", "invalid-request"),
        ({"confidence": "95"}, "/confidence", "invalid-request"),
        ({"k": "0"}, "/k", "invalid-request"),
        ({"colour": "red"}, "/colour", "invalid-request"),
    ],
)
def test_what_cannot_be_compared_is_refused_with_its_place_and_a_remedy(
    bench, change, pointer, code
):
    for store in (True, False):
        refused = post(bench, sent(store=store, **change), status=422)
        assert refused["type"].endswith(code)
        assert refused["errors"][0]["pointer"] == pointer
        assert refused["errors"][0].get("remedy") or pointer == "/points"


def test_the_type_of_an_item_without_one_may_be_sent_beside_it(bench):
    made = post(bench, sent(instrument={"item": "BARE", "type": "dynamometer"}))
    assert made["effect"]["instrument_type"] == "dynamometer"


def test_identical_runs_are_answered_without_a_t_and_with_the_reason(bench):
    made = post(bench, reading(["49140"] * 3) | {"store": False, "resolution": "5"}, status=200)
    # The usual readings scatter, the differences too: only identical differences have no t.
    assert made["points"][0]["t"] is not None
    same = sent(store=False, resolution="5")
    same["points"][0] |= {"usual": ["50000"] * 3, "other": ["49140"] * 3}
    made = post(bench, same, status=200)
    (point,) = made["points"]
    assert (point["t"], point["p_value"], point["interval"], point["significant"]) == (None,) * 4
    assert "no scatter" in point["reason"]
    assert (made["overall"]["basis"], made["overall"]["significant"]) == ("resolution", True)


def test_the_fault_is_what_a_recall_takes(bench):
    key = post(bench, SENT)["id"]
    answer = fault(bench, key, discovered_at="2025-06-01", meaning="50 mm is not 2 in")
    loaded = RecallRequestSchema().load(answer)["fault"]
    assert loaded["effect_rel"] == {"tension_link": Decimal("-0.0172")}
    made = answer["fault"]
    note = made.pop("note")
    assert made == {
        "item": "PIN-7",
        "kind": "indication_effect_by_type",
        "effect_rel": {"tension_link": "-0.0172"},
        "U_delta_rel": post(bench, SENT)["effect"]["U_delta_rel"],
        "U_delta_k": "2",
        **WINDOW,
        "discovered_at": "2025-06-01",
        "meaning": "50 mm is not 2 in",
    }
    for said in (f"Comparison {key} of 2025-06-10", "-0.0172", "paired_t over runs", "customer's"):
        assert said in note
    assert bench.post("/v1/recalls", json=answer).status_code == 201


def test_the_sign_is_that_of_the_faulty_set_up(bench):
    key = post(bench, SENT)["id"]
    assert fault(bench, key, item="PIN-2")["fault"]["effect_rel"] == {"tension_link": "0.0172"}
    turned = fault(bench, key, item="TL-1", faulty_setup="usual")["fault"]
    assert turned["effect_rel"] == {"tension_link": "0.0172"}


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"item": "TL-1"}, "/item"),
        ({"item": "GHOST", "faulty_setup": "other"}, "/item"),
        ({"faulty_setup": "usual"}, "/faulty_setup"),
        ({"comparisons": [99]}, "/comparisons/0"),
        ({"isolated_at": "2025-01-01T00:00:00Z"}, "/isolated_at"),
        ({"other_types": "nobody knows"}, "/other_types"),
        ({"insignificant": "maybe"}, "/insignificant"),
    ],
)
def test_a_fault_that_cannot_be_made_is_refused_with_its_place(bench, more, pointer):
    refused = fault(bench, post(bench, SENT)["id"], status=422, **more)
    assert refused["errors"][0]["pointer"] == pointer


def test_a_fault_names_its_window(bench):
    at = f"/v1/setup-comparisons/{post(bench, SENT)['id']}/fault"
    refused = bench.post(at, json={"item": "PIN-7"}).get_json()
    assert {one["pointer"] for one in refused["errors"]} == {"/last_good_at", "/isolated_at"}
    assert bench.post("/v1/setup-comparisons/99/fault", json=FAULT).status_code == 404


def test_two_comparisons_of_one_type_do_not_make_a_fault(bench):
    first, second = post(bench, SENT)["id"], post(bench, SENT)["id"]
    refused = fault(bench, first, status=422, comparisons=[second])
    assert refused["errors"][0]["pointer"] == "/comparisons/0"


def test_a_difference_that_is_not_significant_needs_a_word(bench):
    key = post(bench, reading(SAME))["id"]
    refused = fault(bench, key, status=409)
    assert refused["errors"][0]["pointer"] == "/insignificant"
    assert '"use"' in refused["errors"][0]["remedy"]
    used = fault(bench, key, insignificant="use")["fault"]
    # (-1 + 2 - 1)/3 = 0
    assert used["effect_rel"] == {"tension_link": "0"}
    assert "not significant" in used["note"]
    zero = fault(bench, key, insignificant="zero")["fault"]
    assert "Taken as zero" in zero["note"]
    assert "U_delta_rel" not in zero


def test_several_types_share_one_fault_with_the_largest_uncertainty(bench):
    link = post(bench, SENT)
    scale = post(bench, reading(["49950", "49958", "49942"], instrument={"item": "CR-1"}))
    made = fault(bench, link["id"], comparisons=[scale["id"]], other_types="0.001")["fault"]
    assert made["effect_rel"] == {
        "tension_link": "-0.0172",
        "crane_scale": scale["effect"]["effect_rel"],
    }
    assert made["other_types"] == "0.001"
    # s of -50, -44 and -56 lbf is 6, that of the link 2
    of_scale, of_link = (Decimal(one["effect"]["U_delta_rel"]) for one in (scale, link))
    assert Decimal(made["U_delta_rel"]) == of_scale
    assert of_scale / of_link == pytest.approx(Decimal(3), rel=Decimal("1e-10"))
    assert "largest" in made["note"]


def test_an_effect_of_unknown_uncertainty_makes_a_fault_without_one(bench):
    same = sent()
    same["points"] = [
        {"applied": "50000", "usual": ["50000"], "other": ["49140"]},
        {"applied": "10000", "usual": ["10000"], "other": ["9828"]},
    ]
    made = fault(bench, post(bench, same)["id"], insignificant="use")["fault"]
    assert "U_delta_rel" not in made
    assert "Nothing tells the uncertainty" in made["note"]


def test_a_long_story_still_fits_the_note_of_a_recall(bench):
    setups = copy.deepcopy(SENT["setups"])
    for one in setups.values():
        one["name"] = "long " * 39
    keys = [post(bench, sent(setups=setups))["id"]]
    for number in range(5):
        keys.append(post(bench, sent(setups=setups, instrument={"type": f"type {number}"}))["id"])
    answer = fault(bench, keys[0], comparisons=keys[1:])
    assert bench.post("/v1/recalls", json=answer | {"preview": True}).status_code == 200
    assert answer["fault"]["note"].endswith("...")


def test_long_numbers_make_a_fault_that_a_recall_can_read(bench):
    body = sent()
    body["points"][0]["applied"] = f"50000.{'0' * 40}1"
    body["points"].append(
        {"applied": "1e-30", "usual": ["1e20", "1.5e20", "0"], "other": ["2e20", "4e20", "7e20"]}
    )
    answer = fault(bench, post(bench, body)["id"], insignificant="use")
    assert bench.post("/v1/recalls", json=answer).status_code == 201
    ends = sent()
    ends["points"][0] |= {"applied": str(2**150), "other": ["49140." + "7" * 40] * 3}
    answer = fault(bench, post(bench, ends)["id"], insignificant="use")
    assert bench.post("/v1/recalls", json=answer).status_code == 201


def test_the_latest_significant_effect_of_a_type_outranks_a_table(bench, database):
    def latest(instrument_type):
        with database.read() as session:
            return measured_effects(session, instrument_type)

    assert latest("tension_link") == {}
    post(bench, reading(SAME))
    assert latest("tension_link") == {}
    newest = post(bench, SENT)
    post(bench, reading(["49000", "49002", "48998"], performed_at="2024-06-10"))
    found = latest("tension_link")
    assert list(found) == ["pin_diameter"]
    (effect,) = found.values()
    assert (effect.comparison, effect.effect_rel) == (newest["id"], "-0.0172")
    assert (effect.U_delta_rel, effect.U_delta_k) == (newest["effect"]["U_delta_rel"], "2")
    assert latest("crane_scale") == {}


def test_an_effect_of_two_differences_is_laid_to_neither(bench, database):
    both = sent()
    both["setups"]["usual"]["roller_bearings"] = True
    both["setups"]["other"]["roller_bearings"] = False
    assert post(bench, both)["differ_in"] == ["pin_diameter", "roller_bearings"]
    with database.read() as session:
        assert measured_effects(session, "tension_link") == {}


def test_each_step_needs_its_scope(bench, keys):
    key = post(bench, SENT)["id"]
    at = f"/v1/setup-comparisons/{key}/fault"
    for scope, address, body in (("read", "/v1/setup-comparisons", SENT), ("record", at, FAULT)):
        assert bench.post(address, json=body, headers=keys.headers(scope)).status_code == 403


def test_a_repeated_request_records_one_comparison(bench):
    headers = {"Idempotency-Key": "pins"}
    answers = [bench.post("/v1/setup-comparisons", json=SENT, headers=headers) for _ in range(2)]
    assert answers[0].get_json() == answers[1].get_json()
    assert len(bench.get("/v1/setup-comparisons").get_json()["items"]) == 1


def test_one_diameter_in_two_units_is_no_difference(bench):
    same = sent()
    same["setups"]["usual"]["pin_diameter"] = "2 in"
    same["setups"]["other"]["pin_diameter"] = "50.8 mm"  # 25.4 mm to the inch, NIST SP 811
    assert post(bench, same)["differ_in"] == []
