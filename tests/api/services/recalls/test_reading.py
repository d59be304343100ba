"""Certificates and their uses as the engine reads them, before any result is read."""

from __future__ import annotations

from fractions import Fraction

from oracle_cases import cal, lab, ref, row

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.reading import Traced
from api.store.reading import SessionReader
from api.store.sources import Recorded

F = Fraction


def test_weights_and_points_are_read_as_they_were_sent(database):
    results = [row(point=1), row(point="a")]
    use = ref("WS", {"1": "0.5"}, points=[1])
    made = lab(cal("W-1", "WS", "01-10", []), cal("C-1", "A", "02-01", [use], results))
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(made), 0)
        traced = Traced(Recorded(SessionReader(session)))
        traced.read([1, 2])
    (use,) = traced.calibrations[2].uses
    assert use.points == {"1"}
    assert (use.weight_at("1"), use.weight_at("a")) == (F("0.5"), 0)
    assert use.source == 1


def test_nothing_asked_is_nothing_read(database):
    with database.read() as session:
        traced = Traced(Recorded(SessionReader(session)))
        traced.read([])
        assert traced.calibrations == {}
