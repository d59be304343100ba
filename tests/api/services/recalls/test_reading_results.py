"""Rows of results as the engine reads them: exact numbers, the right unit, the right U."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from oracle_cases import cal, lab, percent, ref, row
from sqlalchemy import select

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.reading import Traced
from api.services.recalls.reading_results import Measured
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import Certificate

F = Fraction


@pytest.fixture
def traced(database):
    """Import results of one calibration and read them as the engine does."""

    def found(*results):
        made = lab(
            cal("W-1", "WS", "01-10", []),
            cal("C-1", "A", "02-01", [ref("WS")], list(results)),
        )
        with database.write() as session:
            import_laboratory(session, LaboratorySchema().load(made), 0)
            key = session.scalars(select(Certificate.id).where(Certificate.number == "C-1")).one()
            source = session.scalars(
                select(Certificate.id).where(Certificate.number == "W-1")
            ).one()
            traced = Traced(Recorded(SessionReader(session)))
            traced.read([key])
            ((calibration, statements),) = Measured(traced).in_order([key], {key})
        assert calibration.uses[0].source == source
        return calibration, statements

    return found


def test_an_absolute_result_stays_in_its_unit_and_its_force_is_in_newton(traced):
    calibration, (statement,) = traced(row("1000", "0.3", unit="lbf", tolerance="0.5"))
    (point,) = calibration.points
    # 1 lbf = 4.4482216152605 N exactly (the pound and standard gravity, from memory)
    assert point.force_n == F("4448.2216152605")
    assert (point.unit, point.relative, point.applied, point.error) == (
        "lbf",
        False,
        1000,
        F("0.3"),
    )
    ruling = statement.ruling
    assert (ruling.lower, ruling.upper) == (Decimal("-0.5"), Decimal("0.5"))
    assert (ruling.judge.rule.id, ruling.judge.rule.version) == ("guard_U", 1)


def test_a_relative_result_is_in_percentage_points(traced):
    calibration, _ = traced(percent("0.05", applied="10", unit="kN"))
    (point,) = calibration.points
    assert (point.unit, point.relative, point.applied) == ("%", True, 100)
    assert (point.error, point.U, point.force_n) == (F("0.05"), F("0.02"), 10_000)


def test_the_error_is_the_indication_less_the_applied_force_where_it_is_not_given(traced):
    result = {"point": 1, "unit": "kN", "applied": "10", "indicated": "10.004"}
    calibration, _ = traced(result, {"point": 2, "unit": "kN", "indicated": "5"})
    assert [point.error for point in calibration.points] == [F("0.004"), None]


@pytest.mark.parametrize(
    ("result", "U"),
    [
        # 0.1 % of 20 kN, and of -20 kN
        ({"unit": "kN", "applied": "20", "error": "0", "U_rel_pct": "0.1"}, "0.02"),
        ({"unit": "kN", "applied": "-20", "error": "0", "U_rel_pct": "0.1"}, "0.02"),
        # 0.001 of 3 kN: one third of a tenth of a percent
        ({"unit": "kN", "applied": "3", "error_rel_pct": "0", "U": "0.001"}, "1/30"),
        # given in its own terms, that holds
        ({"unit": "kN", "applied": "20", "error": "0", "U": "0.5", "U_rel_pct": "0.1"}, "0.5"),
        # nothing to refer it to
        ({"unit": "kN", "error": "0", "U_rel_pct": "0.1"}, None),
        ({"unit": "kN", "applied": "0", "error": "0", "U_rel_pct": "0.1"}, None),
        ({"error_rel_pct": "0"}, None),
    ],
)
def test_an_uncertainty_in_the_other_terms_is_converted_exactly(traced, result, U):
    calibration, _ = traced({"point": 1} | result)
    expected = None if U is None else F(U)
    assert expected == calibration.points[0].U


def test_k_is_two_unless_it_is_given(traced):
    bare = {name: value for name, value in row().items() if name != "k"}
    calibration, _ = traced(bare, row(point=2, k="2.13"))
    assert [point.k for point in calibration.points] == [2, F("2.13")]


def test_points_are_read_only_where_they_are_asked_for(database):
    with database.write() as session:
        made = lab(cal("W-1", "WS", "01-10", []), cal("C-1", "A", "02-01", [ref("WS")]))
        import_laboratory(session, LaboratorySchema().load(made), 0)
        traced = Traced(Recorded(SessionReader(session)))
        traced.read([1, 2])
        read = list(Measured(traced).in_order([2, 1], {1}))
    assert [(one.number, len(one.points)) for one, _ in read] == [("C-1", 0), ("W-1", 1)]
