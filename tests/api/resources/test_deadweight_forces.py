"""Deadweight forces over HTTP."""

from __future__ import annotations

import pytest


def sure(value, U="0", **more):
    return {"value": value, "U": U} | more


def mass(value="500", density="7840", basis="true", **more):
    made = {"mass": sure(value, "0.005"), "basis": basis, "density": sure(density, "40")}
    return made | more


STACK = {
    "masses": [mass()],
    "gravity": {"measured": sure("9.80101", "0.00002")},
    "air": {"density": sure("1.2", "0.01")},
    "units": ["lbf", "kgf"],
}
CONDITIONS = {
    "temperature_C": sure("20", "0.2"),
    "pressure_hPa": sure("1013.25", "0.3"),
    "humidity_pct": sure("50", "5"),
}


@pytest.fixture
def weigh(client):
    """Weigh STACK with changes."""

    def post(**changes):
        answer = client.post("/v1/deadweight-forces", json=STACK | changes)
        assert answer.status_code == 200, answer.text
        return answer.get_json()

    return post


def test_a_stack_makes_its_worked_force_in_every_unit(weigh):
    found = weigh()
    assert found["force_N"] == "4899.7549227"  # 500 x 9.80101 x (1 - 1.2/7840)
    by_unit = {one["unit"]: one["force"] for one in found["forces"]}
    assert by_unit["lbf"] == "1101.50872562"  # / 4.4482216152605
    assert by_unit["kgf"] == "499.63595343"  # / 9.80665
    assert found["masses"][0]["buoyancy_ppm"] == "-153.06122449"


def test_the_uncertainty_is_the_root_of_the_contributions(weigh):
    found = weigh()
    parts = {one["quantity"]: float(one["u_N"]) for one in found["contributions"]}
    # u = U/2: mass g (1 - a/r) u, density m g a/r^2 u, gravity m (1 - a/r) u, air m g/r u
    wanted = {
        "mass": 9.80101 * (1 - 1.2 / 7840) * 0.0025,
        "density": 500 * 9.80101 * 1.2 / 7840**2 * 20,
        "gravity": 500 * (1 - 1.2 / 7840) * 0.00001,
        "air_density": 500 * 9.80101 / 7840 * 0.005,
    }
    assert parts == pytest.approx(wanted, rel=1e-10)
    u = sum(value**2 for value in wanted.values()) ** 0.5
    newton = found["forces"][0]
    assert (float(newton["u"]), float(newton["U"])) == pytest.approx((u, 2 * u), rel=1e-10)
    assert newton["U_reported"] == "0.051"
    assert sum(float(one["share_pct"]) for one in found["contributions"]) == pytest.approx(100)


def test_masses_of_one_stack_count_as_correlated_unless_told_otherwise(weigh):
    stack = [mass("250", name="one"), mass("250")]
    together, apart = weigh(masses=stack), weigh(masses=stack, masses_correlated=False)
    of_mass = [float(one["contributions"][0]["u_N"]) for one in (together, apart)]
    assert of_mass[0] == pytest.approx(of_mass[1] * 2**0.5, rel=1e-10)
    assert together["masses"][0]["name"] == "one"
    assert together["force_N"] == apart["force_N"]


def test_gravity_may_be_computed_with_a_stated_uncertainty(weigh):
    computed = {"latitude_deg": "45", "height_m": "0", "U": "0.0005"}
    found = weigh(gravity={"computed": computed})
    assert found["gravity"]["value"] == "9.80619920249"  # GRS 1980, from memory
    assert found["gravity"]["u"] == "0.00025"
    assert "GRS 1980" in found["gravity"]["source"]
    assert any("anomaly" in note for note in found["notes"])
    older = weigh(gravity={"computed": computed | {"formula": "series_1967"}})
    assert older["gravity"]["value"] == "9.8061908532372"
    assert "verify" in older["gravity"]["source"]


def test_air_may_be_computed_from_conditions(weigh):
    found = weigh(air=CONDITIONS)["air_density"]
    assert found["value"] == "1.19929430503"
    # d/dt -0.0044082 x 0.1, d/dp 0.00118874 x 0.15, d/dh -0.00010399 x 2.5, formula 2e-4
    squares = (0.00440823 * 0.1) ** 2 + (0.00118874 * 0.15) ** 2 + (0.00010399 * 2.5) ** 2
    assert float(found["u"]) == pytest.approx((squares + (1.1993 * 2e-4) ** 2) ** 0.5, rel=1e-4)
    assert [one["quantity"] for one in found["parts"]] == [*CONDITIONS, "formula"]


def test_conditions_outside_the_formula_are_named(weigh):
    found = weigh(air=CONDITIONS | {"temperature_C": sure("35", "0.2")})
    assert any("temperature_C is outside the range" in note for note in found["notes"])


def test_masses_may_come_in_pounds_and_as_conventional_ones(weigh):
    found = weigh(masses=[mass("10000", "8000", basis="conventional", unit="lb")])
    assert found["masses"][0]["true_mass_kg"] == "4535.9237"
    assert found["forces"][0]["unit"] == "N"


def test_without_any_uncertainty_there_are_no_shares(weigh):
    exact = {"mass": sure("1"), "basis": "true", "density": sure("8000")}
    found = weigh(masses=[exact], gravity={"measured": sure("9.80665")}, air={"density": sure("0")})
    assert found["forces"][2]["force"] == "1"
    assert found["forces"][0]["U_reported"] == "0"
    assert {one["share_pct"] for one in found["contributions"]} == {None}


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"masses": []}, "/masses"),
        ({"masses": [mass(density="1.1")]}, "/masses/0/density/value"),
        ({"masses": [mass(unit="t")]}, "/masses/0/unit"),
        ({"masses": [mass("0")]}, "/masses/0/mass/value"),
        ({"masses": [{"mass": {"value": "1"}}]}, "/masses/0/mass/U"),
        ({"gravity": {}}, "/gravity"),
        (
            {"gravity": {"computed": {"latitude_deg": "91", "height_m": "0", "U": "0"}}},
            "/gravity/computed/latitude_deg",
        ),
        (
            {"gravity": {"computed": {"latitude_deg": "45", "height_m": "0"}}},
            "/gravity/computed/U",
        ),
        ({"air": {"temperature_C": sure("20")}}, "/air"),
        ({"air": CONDITIONS | {"density": sure("1.2")}}, "/air"),
        (
            {"air": CONDITIONS | {"pressure_hPa": sure("1"), "temperature_C": sure("60")}},
            "/air",
        ),
        ({"units": ["kg"]}, "/units/0"),
        ({"units": ["lbf", "lbf"]}, "/units"),
    ],
)
def test_what_makes_no_force_is_refused_with_its_place(client, changes, pointer):
    answer = client.post("/v1/deadweight-forces", json=STACK | changes)
    assert answer.status_code == 422, answer.text
    assert pointer in {one["pointer"] for one in answer.get_json()["errors"]}
