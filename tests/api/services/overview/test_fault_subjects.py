"""What a fault may be reported of: found by a text, with the time in which it could have acted."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref

from api.errors import NotFound
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.overview import fault_subjects
from api.services.overview.fault_subjects import find, of_certificate, of_item, of_method
from graph.moments import instant_us, time_zone


def at(day):
    return instant_us(f"2025-{day}T10:00:00Z", time_zone("UTC"))


# WS was calibrated three times; W-2 confirmed its limits only, so that W-1 stayed in force.
LABORATORY = lab(
    cal("W-1", "WS", "01-10", [ref("REF")], method="MP-1"),
    cal("W-2", "WS", "03-10", [ref("REF")], assigns_value=False),
    cal("W-V", "WS", "03-15", [ref("REF")], status="voided"),
    cal("W-3", "WS", "05-10", [ref("REF")]),
    cal("C-1", "A", "02-01", [ref("WS")], method="MP-2 50%_of range"),
    cal("C-2", "B", "04-01", [ref("WS")], method="MP-2 50%_of range"),
    cal("C-3", "B", "06-01", [ref("WS")], method="MP-2 other range"),
)


@pytest.fixture
def session(database):
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        yield session


def methods(session, text):
    return {one["method"]: one["calibrations"] for one in find(session, text)["methods"]}


def test_items_certificates_and_methods_are_found_by_a_part_of_their_name(session):
    found = find(session, " w ")
    assert "WS" in [one["id"] for one in found["items"]]
    assert {one["certificate"] for one in found["certificates"]} == {"W-1", "W-2", "W-V", "W-3"}
    assert methods(session, "mp-") == {
        "MP-1": 1, "MP-2 50%_of range": 2, "MP-2 other range": 1
    }  # fmt: skip


def test_marks_that_a_pattern_would_read_are_taken_as_they_are(session):
    assert set(methods(session, "50%_of")) == {"MP-2 50%_of range"}
    assert methods(session, "%o") == methods(session, "2%range") == {}
    assert methods(session, "MP_1") == {}


def test_an_item_comes_with_its_history_and_its_last_good_calibration(session):
    told = of_item(session, "WS")
    assert [one["certificate"] for one in told["history"]["calibrations"]] == [
        *("W-1", "W-2", "W-V", "W-3")
    ]
    assert told["last_good_at"] == "2025-05-10T10:00:00Z"
    assert of_item(session, "REF")["last_good_at"] is None
    with pytest.raises(NotFound):
        of_item(session, "NOBODY")


def test_a_certificate_is_in_force_until_the_next_that_assigns_a_value(session):
    assert of_certificate(session, "W-1", None, None)["in_force"] == (at("01-10"), at("05-10"))
    assert of_certificate(session, "W-3", None, None)["in_force"] == (at("05-10"), None)


@pytest.mark.parametrize("number", ["W-2", "W-V"])
def test_a_certificate_that_gave_no_value_was_never_in_force(session, number):
    told = of_certificate(session, number, None, None)
    assert (told["in_force"], told["use_count"], told["history"]["uses"]) == (None, 0, [])


def test_users_of_a_certificate_are_those_that_took_their_value_from_it(session):
    told = of_certificate(session, "W-1", None, None)
    assert (told["certificate"]["certificate"], told["item"]["id"]) == ("W-1", "WS")
    assert told["use_count"] == 2
    assert [(one["at_us"], one["certificate"]) for one in told["history"]["uses"]] == [
        *((at("02-01"), "C-1"), (at("04-01"), "C-2"))
    ]


def test_users_are_told_in_stretches_that_count_all_in_order_of_time(session, monkeypatch):
    monkeypatch.setattr(fault_subjects, "STRETCHES", 1)
    assert of_certificate(session, "W-1", None, None)["history"]["uses"] == [
        {"at_us": at("02-01"), "many": 2, "certificate": "C-1"}
    ]


def test_a_method_is_known_by_its_whole_name_alone(session):
    told = of_method(session, "MP-2 50%_of range")
    assert (told["use_count"], len(told["history"]["uses"])) == (2, 2)
    assert told["history"]["calibrations"] == []
    with pytest.raises(NotFound, match="MP-2"):
        of_method(session, "MP-2")
