"""Likely effects as data: the facts of the trade, all of them marked as without source."""

from __future__ import annotations

import json
from decimal import Decimal
from importlib.resources import files

import pytest

from api.rules.fitting.effects import Effect, likely_effect, practice

TABLES = json.loads(files("api.rules.fitting").joinpath("likely_effects.json").read_text("utf-8"))


# Common practice, no source: pin size up to 2 % on tension links; misalignment up to 0.1 % on crane
# scales; a traction dynamometer without roller bearings at least 5 % and up to 8 %.
@pytest.mark.parametrize(
    ("kind", "difference", "low", "high"),
    [
        ("tension_link", "pin_diameter", "0", "0.02"),
        ("crane_scale", "misalignment", "0", "0.001"),
        ("dynamometer", "roller_bearings", "0.05", "0.08"),
        ("traction_dynamometer", "roller_bearings", "0.05", "0.08"),
    ],
)
def test_the_table_has_the_figures_of_the_trade(kind, difference, low, high):
    found = likely_effect(kind, difference)
    assert (found.error_rel_low, found.error_rel_high) == (low, high)
    assert found.source == "common practice, no source"


def test_the_worked_link_lies_within_what_the_table_says():
    # Common practice, no source: 49140 read at 50000 lbf, an error of -860 lbf, -1.72 %.
    error = (Decimal(49140) - Decimal(50000)) / Decimal(50000)
    assert error == Decimal("-0.0172")
    assert abs(error) <= Decimal(likely_effect("tension_link", "pin_diameter").error_rel_high)


def test_what_nobody_knows_has_no_figure_and_no_row():
    assert likely_effect("load_cell", "misalignment").error_rel_high is None
    assert likely_effect("crane_scale", "pin_diameter") is None
    assert likely_effect(None, "pin_diameter") is None


def test_a_row_for_any_type_serves_every_type():
    assert "500,000" in likely_effect("crane_scale", "load_cycles").note
    assert "350,000" in likely_effect(None, "load_cycles").note


def test_what_the_laboratory_measured_outranks_the_table():
    measured = Effect("0.011", "0.013", "set-up comparison 4")
    assert likely_effect("tension_link", "pin_diameter", measured) is measured


def test_practice_asks_for_rollers_under_a_dynamometer_and_against_a_straight_rod():
    assert practice("traction_dynamometer", "roller_bearings").required is True
    assert practice("tension_link", "roller_bearings") is None
    assert practice(None, "rod_thread").avoid == "straight"


def test_every_row_of_the_data_says_where_it_comes_from():
    for row in (*TABLES["effects"], *TABLES["practice"]):
        assert row["source"] == "common practice, no source"


def test_an_effect_without_note_says_nothing_of_it():
    assert Effect("0", "1", "s").to_mapping() == {
        "error_rel_low": "0",
        "error_rel_high": "1",
        "source": "s",
    }
