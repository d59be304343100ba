"""Run evaluations over HTTP: raw runs in, figures, components and classes out."""

from __future__ import annotations

import json

import pytest


def readings(slope, forces):
    """Readings on a line through zero; the forces are in kN."""
    return [{"applied": f, "indicated": f"{float(f) * slope:.5f}"} for f in forces]


FORCES = [str(force) for force in range(10, 110, 10)]


def series(rotation, slope, **more):
    made = {"rotation_deg": rotation, "zero_before": "0", "zero_after": "0.00004"}
    return made | {"ascending": readings(slope, FORCES)} | more


# mV/V a kN: 0.0200 and 0.0001 % more or less with the rotation; worked below.
RUNS = {
    "item": "TL-1",
    "force_unit": "kN",
    "indication_unit": "mV/V",
    "series": [
        series("0", 0.02),
        series("120", 0.02002),
        series("240", 0.01998, descending=readings(0.02, FORCES[:-1])),
    ],
    "repeated": [series("0", 0.02001)],
    "creep": {"at_30_s": "2.0000", "at_300_s": "2.0002"},
    "resolution": "0.00002",
    "reference": {"U_rel_pct": "0.02", "k": "2"},
    "temperature": {"range_K": "4", "coefficient_pct_per_K": "0.005"},
    "degree": 1,
    "class_tables": ["iso_376_2011", {"id": "astm_e74", "factor": "2.4"}],
}


@pytest.fixture
def bench(client):
    """A client of a laboratory that knows the instrument."""
    client.post("/v1/items", json={"id": "TL-1", "kind": "customer_instrument"})
    return client


@pytest.fixture
def evaluated(bench):
    """The answer to RUNS."""
    answer = bench.post("/v1/run-evaluations", json=RUNS)
    assert answer.status_code == 201, answer.text
    return answer.get_json()


def point_at(answer, applied):
    (found,) = [one for one in answer["points"] if one["applied"] == applied]
    return found


def test_the_figures_of_a_point_are_worked_from_its_readings(evaluated):
    # At 50 kN: deflections 1.00000, 1.00100, 0.99900; repeated 1.00050; down 1.00000.
    figures = point_at(evaluated, "50")["figures"]
    assert figures["reproducibility"] == "0.2"
    assert figures["repeatability"] == "0.0499875031242"  # 0.0005 / 1.00025
    assert figures["reversibility"] == "0.1001001001"  # 0.001 / 0.999
    assert figures["interpolation"] == "0"
    assert figures["zero"] == "0.002"  # 0.00004 of 2.0
    assert figures["creep"] == "0.01"
    assert figures["resolution_ratio"] == "50000"
    assert point_at(evaluated, "50")["mean_deflection"] == "1"


def test_the_uncertainty_of_a_point_is_the_root_of_its_contributions(evaluated):
    found = point_at(evaluated, "50")["uncertainty"]
    # w2: sqrt((0.001^2 + 0.001^2) / 6) of 1; w3: b'/sqrt 3; w4: 0.002/sqrt 6; w5: 0.01/sqrt 3
    wanted = {
        "w1": 0.01,
        "w2": (2e-6 / 6) ** 0.5 * 100,
        "w3": 0.0499875031242 / 3**0.5,
        "w4": 0.002 / 6**0.5,
        "w5": 0.01 / 3**0.5,
        "w6": 0.002,
        "w7": 0.01 / 3**0.5,
        "w8": 0.0,
    }
    sent = {one["label"]: float(one["u_rel_pct"]) for one in found["contributions"]}
    assert sent == pytest.approx(wanted, rel=1e-10)
    w = sum(value**2 for value in wanted.values()) ** 0.5
    assert float(found["u_rel_pct"]) == pytest.approx(w, rel=1e-10)
    assert float(found["U"]) == pytest.approx(2 * w / 100 * 50, rel=1e-10)
    assert found["U_reported"] == "0.066"  # 0.06586 up to two digits
    assert len(found["components"]) == 8
    assert all(one["of"] == "50" and one["relative"] for one in found["components"])


def test_the_class_of_each_point_is_the_worst_of_its_criteria(evaluated):
    found = point_at(evaluated, "50")["classes"]
    assert [one["table"] for one in found] == ["iso_376_2011"]
    classes = {one["criterion"]: one["meets"] for one in found[0]["criteria"]}
    assert classes == {
        "reproducibility": "1",  # 0.2 is at the limit of class 1
        "repeatability": "0.5",
        "interpolation": "00",
        "zero": "00",
        "reversibility": "0.5",
        "creep": "00",
        "reference_uncertainty": "0.5",
        "resolution_ratio": "00",
    }
    assert found[0]["meets"] == "1"


def test_the_report_of_a_table_says_where_each_class_begins_and_that_it_must_be_verified(evaluated):
    iso, e74 = evaluated["class_reports"]
    begins = {one["name"]: one["begins"] for one in iso["ranges"]}
    assert begins == {"00": None, "0.5": None, "1": "10", "2": "10"}
    assert "verify" in iso["notice"]
    assert iso["table"]["source"] == "from memory, verify"
    assert iso["lower_limits"] is None
    assert e74["ranges"] == []


def test_the_lower_limit_is_the_factor_times_the_scatter_as_a_force(evaluated):
    # Residuals +-0.00002 F at two of three rotations, F from 10 to 100: squares sum to
    # 2 x 4e-10 x 38500 = 3.08e-5, over 28 degrees of freedom.
    fit, e74 = evaluated["fit"], evaluated["class_reports"][1]["lower_limits"]
    scatter = (2 * 4e-10 * 38_500 / 28) ** 0.5
    assert float(fit["residual_sd"]) == pytest.approx(scatter, rel=1e-9)
    assert [float(c) for c in fit["coefficients"]] == pytest.approx([0, 0.02], abs=1e-15)
    ratio = (1 / 0.02 + 1 / 0.02002 + 1 / 0.01998) / 3
    assert float(e74["lower_limit_factor"]) == pytest.approx(2.4 * scatter * ratio, rel=1e-9)
    # 2000 times the factor is beyond 100 kN, 400 times is not.
    (aa, a) = e74["classes"]
    assert aa["begins"] is None
    assert "above 100" in aa["reason"]
    assert float(a["begins"]) == pytest.approx(400 * 2.4 * scatter * ratio, rel=1e-9)


def test_a_stored_evaluation_is_shown_with_its_request(bench, evaluated):
    shown = bench.get(f"/v1/run-evaluations/{evaluated['id']}").get_json()
    request = shown.pop("request")
    assert request["class_tables"] == [
        {"id": "iso_376_2011", "version": 2},
        {"id": "astm_e74", "factor": "2.4", "version": 2},
    ]
    assert request["series"] == RUNS["series"]
    del shown["recorded_at"], shown["engine_version"]
    assert shown == evaluated


def test_evaluations_are_listed_by_item_the_latest_first(bench, evaluated):
    other = {name: part for name, part in RUNS.items() if name != "item"}
    bench.post("/v1/run-evaluations", json=other)
    listed = bench.get("/v1/run-evaluations").get_json()["items"]
    assert [one.get("item") for one in listed] == [None, "TL-1"]
    (one,) = bench.get("/v1/run-evaluations?item=TL-1").get_json()["items"]
    assert (one["id"], one["points"], one["force_unit"]) == (evaluated["id"], 10, "kN")


def test_an_evaluation_need_not_be_stored(bench):
    answer = bench.post("/v1/run-evaluations", json=RUNS | {"store": False})
    assert (answer.status_code, answer.get_json()["id"]) == (200, None)
    assert bench.get("/v1/run-evaluations").get_json()["items"] == []


def test_the_same_key_evaluates_once(bench):
    headers = {"Idempotency-Key": "runs-1"}
    first = bench.post("/v1/run-evaluations", json=RUNS, headers=headers)
    second = bench.post("/v1/run-evaluations", json=RUNS, headers=headers)
    assert second.headers["Idempotency-Replayed"] == "true"
    assert first.get_json() == second.get_json()


def test_one_series_gives_no_guess(bench):
    sent = {
        "force_unit": "lbf",
        "indication_unit": "lbf",
        "series": [{"rotation_deg": "0", "zero_before": "0", "ascending": readings(1, ["10"])}],
        "class_tables": ["iso_376_2011"],
    }
    found = bench.post("/v1/run-evaluations", json=sent).get_json()
    (point,) = found["points"]
    assert set(point["figures"].values()) == {None}
    assert set(point["reasons"]) == set(point["figures"])
    assert point["uncertainty"]["U"] is None
    assert "w1 (calibration force) is missing" in point["uncertainty"]["reason"]
    assert (point["classes"][0]["meets"], point["classes"][0]["worst_judged"]) == (None, None)
    assert found["fit"] is None
    assert "different forces" in found["fit_reason"]


def test_a_case_asks_for_its_criteria_alone(bench):
    sent = {name: part for name, part in RUNS.items() if name != "creep"}
    tables = ["iso_376_2011", {"id": "iso_376_2011", "case": "D"}]
    answer = bench.post("/v1/run-evaluations", json=sent | {"class_tables": tables}).get_json()
    every, case_d = point_at(answer, "50")["classes"]
    assert (every["meets"], every["reason"]) == (None, "not judged: creep")
    assert case_d["meets"] == "1"
    # The largest force has no descending reading by nature.
    assert point_at(answer, "100")["classes"][1]["meets"] == "1"


def test_a_laboratorys_own_table_judges_in_the_version_that_was_named(bench):
    table = {
        "id": "ours",
        "source": "our copy",
        "classes": ["only"],
        "criteria": [{"criterion": "reproducibility", "at_most": ["0.3"]}],
    }
    bench.post("/v1/class-tables", json=table)
    narrow = [{"criterion": "reproducibility", "at_most": ["0.1"]}]
    bench.post("/v1/class-tables", json=table | {"criteria": narrow})
    sent = RUNS | {"class_tables": ["ours", {"id": "ours", "version": 1}]}
    found = bench.post("/v1/run-evaluations", json=sent).get_json()
    assert [one["meets"] for one in found["points"][0]["classes"]] == [None, "only"]
    assert [one["table"]["version"] for one in found["class_reports"]] == [2, 1]
    assert found["class_reports"][0]["notice"] is None


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"item": "nobody"}, "/item"),
        ({"force_unit": "kg"}, "/force_unit"),
        ({"degree": 4}, "/degree"),
        ({"degree": "3"}, "/degree"),
        ({"series": []}, "/series"),
        ({"resolution": "0"}, "/resolution"),
        ({"series": [series("0", 0.02), series("360", 0.02)]}, "/series/1/rotation_deg"),
        ({"repeated": [series("45", 0.02)]}, "/repeated/0/rotation_deg"),
        (
            {"series": [series("0", 0.02, ascending=readings(1, ["5", "5.0"]))], "repeated": []},
            "/series/0/ascending/1/applied",
        ),
        (
            {"series": [series("0", 0.02, ascending=readings(1, ["0"]))]},
            "/series/0/ascending/0/applied",
        ),
        ({"class_tables": ["none"]}, "/class_tables/0"),
        ({"class_tables": [{"id": "astm_e74", "case": "A"}]}, "/class_tables/0/case"),
        ({"class_tables": [{"id": "iso_376_2011", "case": "Z"}]}, "/class_tables/0/case"),
        ({"class_tables": [7]}, "/class_tables/0"),
    ],
)
def test_runs_that_cannot_be_evaluated_are_refused_with_their_place(bench, changes, pointer):
    answer = bench.post("/v1/run-evaluations", json=RUNS | changes)
    assert answer.status_code == 422, answer.text
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_digits_never_pass_through_a_binary_float(bench):
    text = json.dumps(RUNS | {"store": False}).replace('"0.02000"', "0.2000000000000000001")
    sent = json.loads(text)
    sent["series"][0]["ascending"][0]["indicated"] = "0.2000000000000000001"
    found = bench.post("/v1/run-evaluations", json=sent).get_json()
    assert found["points"][0]["deflections"][0]["deflection"] == "0.2000000000000000001"


def test_an_unknown_evaluation_is_not_found(bench):
    assert bench.get("/v1/run-evaluations/99").status_code == 404
