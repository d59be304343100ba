"""The figures of evaluated runs as they are shown: text, with a reason for every null."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest

from api.rules.uncertainty.classes import shipped_tables
from api.rules.uncertainty.run_components import Reference, Temperature
from api.rules.uncertainty.runs import Runs, Series, evaluate_runs
from api.services.uncertainty.run_answers import NOTICE, Asked, report

FORCES = range(10, 110, 10)


def series(rotation, slope, **more):
    ascending = {Decimal(f): (Decimal(f) * Decimal(slope)) for f in FORCES}
    return Series(Decimal(rotation), ascending, Decimal(0), **more)


# mV/V a kN, 0.1 % more or less with the rotation.
SERIES = (
    series(0, "0.02", zero_after=Decimal("0.00004")),
    series(120, "0.02002"),
    series(240, "0.01998"),
)
REPEATED = (series(0, "0.02001"),)


def reported(tables=(), reference=True, temperature=True, **runs):
    values = {"series": SERIES, "repeated": REPEATED, "resolution": Decimal("0.00002"), "degree": 1}
    values |= runs
    found = evaluate_runs(Runs(**values))
    asked = Asked(
        "kN",
        "mV/V",
        1,
        len(SERIES),
        len({one.rotation_deg for one in values["series"]}),
        values["resolution"],
        Reference(Decimal("0.02"), Decimal(2)) if reference else None,
        Temperature(Decimal(4), Decimal("0.005")) if temperature else None,
        [(shipped_tables()[named["id"]], named) for named in tables],
    )
    answer = report(found, asked)
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    return answer


def at(answer, applied):
    (found,) = [one for one in answer["points"] if one["applied"] == applied]
    return found


def test_figures_are_percentages_of_the_deflection_at_the_point():
    point = at(reported(), "50")
    # 1.00000, 1.00100, 0.99900: mean 1, range 0.002 of it; 1.00000 and 1.00050: 0.0005/1.00025
    assert point["mean_deflection"] == "1"
    assert point["figures"]["reproducibility"] == "0.2"
    assert float(point["figures"]["repeatability"]) == pytest.approx(100 * 0.0005 / 1.00025)
    assert [one["deflection"] for one in point["deflections"]] == [
        *("1", "1.001", "0.999", "1.0005"),
    ]
    assert [one["repeated"] for one in point["deflections"]] == [False, False, False, True]


def test_every_figure_that_is_null_has_a_reason_and_no_other_has():
    for point in reported()["points"]:
        nulls = {name for name, one in point["figures"].items() if one is None}
        assert nulls == point["reasons"].keys()
        assert all(point["reasons"].values())
    # Nothing was measured with decreasing forces.
    assert "reversibility" in nulls
    assert "descending" not in point["deflections"][0]


def test_the_expanded_uncertainty_is_twice_the_root_of_the_squares():
    found = at(reported(), "50")["uncertainty"]
    squares = sum(Decimal(one["u_rel_pct"]) ** 2 for one in found["contributions"])
    assert float(found["u_rel_pct"]) == pytest.approx(float(squares.sqrt()), rel=1e-9)
    assert float(found["U_rel_pct"]) == pytest.approx(2 * float(squares.sqrt()), rel=1e-9)
    # of 50 kN
    assert float(found["U"]) == pytest.approx(float(found["U_rel_pct"]) * 0.5, rel=1e-9)
    assert Decimal(found["U_reported"]) >= Decimal(found["U"])
    assert found["k"] == "2"
    assert len(found["components"]) == len(found["contributions"])


def test_what_is_left_out_says_why():
    found = at(reported(reference=False, temperature=False), "50")["uncertainty"]
    left_out = {one["name"]: one["reason"] for one in found["left_out"]}
    assert all(left_out.values())
    whole = at(reported(), "50")["uncertainty"]
    more = {one["name"] for one in whole["contributions"]}
    assert more - {one["name"] for one in found["contributions"]} <= left_out.keys()
    assert len(found["left_out"]) == len(whole["left_out"]) + 2


def test_a_fit_is_shown_with_its_scatter_as_a_force():
    fit = reported()["fit"]
    assert (fit["degree"], fit["readings"]) == (1, len(FORCES) * 3)
    # readings lie on lines of slope 0.02, 0.02002 and 0.01998 kN: mean ratio 50 kN a mV/V
    scatter = float(fit["residual_sd_force"]) / float(fit["residual_sd"])
    assert scatter == pytest.approx(50, rel=1e-4)
    # n - 2 degrees of freedom of a straight line with a constant
    assert fit["dof"] == len(FORCES) * 3 - len(fit["coefficients"])


def test_runs_that_cannot_be_fitted_say_so_and_keep_their_figures():
    few = [
        Series(one.rotation_deg, {Decimal(50): one.ascending[Decimal(50)]}, Decimal(0))
        for one in SERIES
    ]
    answer = reported(series=few, repeated=(), degree=3)
    assert answer["fit"] is None
    assert answer["fit_reason"]
    assert at(answer, "50")["fitted_deflection"] is None
    assert at(answer, "50")["figures"]["reproducibility"] == "0.2"


def test_a_class_table_is_judged_at_every_point_and_begins_somewhere_or_says_why():
    answer = reported([{"id": "iso_376_2011"}])
    (table,) = answer["class_reports"]
    for point in answer["points"]:
        (classes,) = point["classes"]
        assert classes["table"] == "iso_376_2011"
        assert all(one["outcome"] for one in classes["criteria"])
    assert {one["name"] for one in table["ranges"]}
    assert all((one["begins"] is None) == (one["reason"] is not None) for one in table["ranges"])
    # Limits quoted from memory say that they are to be verified.
    assert table["notice"] == NOTICE


def test_lower_limits_take_the_factor_that_is_asked_for():
    (usual,) = reported([{"id": "astm_e74"}])["class_reports"]
    (asked,) = reported([{"id": "astm_e74", "factor": Decimal("4.8")}])["class_reports"]
    scatter = float(reported()["fit"]["residual_sd_force"])
    for table, factor in ((usual, 2.4), (asked, 4.8)):
        limits = table["lower_limits"]
        assert float(limits["factor"]) == factor
        assert float(limits["lower_limit_factor"]) == pytest.approx(factor * scatter, rel=1e-6)
    assert usual["ranges"] == []


def exact_series(*rotations):
    """Readings that equal the force, at these rotations."""
    return tuple(series(rotation, "1") for rotation in rotations)


def test_a_lower_limit_is_not_below_the_resolution():
    # ASTM E74, from memory: an LLF below the resolution is set equal to it. Readings without any
    # scatter by steps of 0.5 kN: AA would begin at 2000 x 0.5 = 1000 kN, A at 400 x 0.5 = 200 kN.
    coarse = {"series": exact_series(0, 120, 240), "repeated": (), "resolution": Decimal("0.5")}
    (table,) = reported([{"id": "astm_e74"}], **coarse)["class_reports"]
    assert table["lower_limits"]["lower_limit_factor"] == "0.5"
    assert [one["begins"] for one in table["lower_limits"]["classes"]] == [None, None]
    (table,) = reported([{"id": "astm_e74"}], **coarse | {"resolution": None})["class_reports"]
    assert all("resolution" in one["reason"] for one in table["lower_limits"]["classes"])


def test_two_rotations_are_not_classed_by_their_reproducibility():
    # ISO 376, from memory: the instrument is turned to three positions.
    named = [{"id": "iso_376_2011", "case": "A"}]
    for rotations, outcome in (((0, 120, 240), "met"), ((0, 120), "not_judged")):
        answer = reported(named, series=exact_series(*rotations), repeated=exact_series(0))
        (classes,) = at(answer, "100")["classes"]
        judged = {one["criterion"]: one for one in classes["criteria"]}
        assert judged["reproducibility"]["outcome"] == outcome
    assert judged["reproducibility"]["reason"] == "3 rotations are needed, there are 2"
    assert all(one["begins"] is None for one in answer["class_reports"][0]["ranges"])


def test_an_answer_says_what_it_does_not_cover():
    notes = reported()["notes"]
    assert any("Reversibility is no part of U" in note for note in notes)
    assert reported()["class_reports"] == []
