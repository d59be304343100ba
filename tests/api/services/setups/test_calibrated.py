"""Is what measures the force calibrated, and not overdue, at the instant of the load?"""

from __future__ import annotations

import pytest
from sqlalchemy import inspect, select

from api.services.setups.calibrated import calibration_findings, latest_calibrations
from api.store.tables import Certificate, Item
from graph.moments import instant_us, moment, time_zone

UTC = time_zone("UTC")


def certificate(number="R-1", due=None, **more):
    due_us = None if due is None else moment(due, UTC).start_us
    values = {"revision": 0, "performed_at": "2025-01-10", "assigns_value": True, **more}
    return Certificate(number=number, due_at=due, due_us=due_us, **values)


@pytest.fixture
def ref(piece):
    return piece("REF", type="load_cell")


def found(setup_of, one, last, **more):
    setup = setup_of(references=[one], **more)
    findings = calibration_findings(setup, {} if last is None else {one.item.id: last}, {})
    return {finding["check"]: finding for finding in findings}


def test_an_item_in_force_is_named_by_its_certificate(setup_of, ref):
    in_force = found(setup_of, ref, certificate(due="2025-07-01T00:00:00Z"))
    assert in_force["calibration_in_force"]["outcome"] == "agrees"
    assert in_force["calibration_in_force"]["found"] == "R-1 revision 0"
    assert in_force["calibration_due"]["outcome"] == "agrees"


@pytest.mark.parametrize(
    ("due", "days"),
    [
        ("2025-06-01T12:00:00Z", None),  # due at the instant of the load
        ("2025-06-01T11:59:59Z", 1),  # a second late: a day begun counts
        ("2025-05-31T12:00:00Z", 1),  # 24 hours
        ("2025-05-31T11:59:59Z", 2),
        ("2025-05-30T12:00:00Z", 2),
        ("2024-06-01T12:00:00Z", 365),
    ],
)
def test_days_overdue_are_counted_when_they_begin(setup_of, ref, due, days):
    shown = found(setup_of, ref, certificate(due=due))["calibration_due"]
    if days is None:
        assert shown["outcome"] == "agrees"
        return
    assert shown["outcome"] == "differs"
    assert shown["off_by"] == {"absolute": f"{days} days", "relative": None}
    assert (shown["required"], shown["required_by"]) == (due, "R-1")


def test_a_due_date_that_is_not_stated_is_not_taken_to_be_far_away(setup_of, ref):
    shown = found(setup_of, ref, certificate())["calibration_due"]
    assert (shown["outcome"], shown["missing"]) == ("not_checked", "due_at of the certificate")


def test_due_is_the_value_in_force_whatever_confirmed_it_since(setup_of, ref):
    """As in `grounds`: what is used is the value, which a confirmation of limits does not renew."""
    setup = setup_of(references=[ref])
    confirmed = certificate("R-2", due="2026-06-01", assigns_value=False)
    value = certificate("R-1", due="2025-05-01")
    key = ref.item.id
    in_force, due = calibration_findings(setup, {key: confirmed}, {key: value})
    assert (in_force["outcome"], in_force["found"]) == ("agrees", "R-2 revision 0")
    assert (due["outcome"], due["required_by"]) == ("differs", "R-1")


def test_an_item_without_a_calibration_differs_and_has_no_due_date(setup_of, ref):
    shown = found(setup_of, ref, None)
    assert shown.keys() == {"calibration_in_force"}
    assert shown["calibration_in_force"]["outcome"] == "differs"
    assert shown["calibration_in_force"]["remedy"]


def test_an_item_that_says_why_it_needs_none_is_believed_until_it_has_one(setup_of, piece):
    one = piece("RDO", calibration="calibrated with REF")
    shown = found(setup_of, one, None)["calibration_in_force"]
    assert (shown["outcome"], shown["found"]) == ("agrees", "calibrated with REF")
    late = found(setup_of, one, certificate(due="2025-01-01"))
    assert late["calibration_due"]["outcome"] == "differs"


def test_a_calibration_that_assigns_no_value_says_so(setup_of, ref):
    shown = found(setup_of, ref, certificate(assigns_value=False))["calibration_in_force"]
    assert "assigns no value" in shown["sentence"]


def test_machine_references_and_readouts_are_asked_and_the_instrument_is_not(setup_of, piece):
    one, two, three = piece("FM-1"), piece("REF"), piece("RDO")
    setup = setup_of(piece("PIN"), machine=one, references=[two], readouts=[three])
    asked = [finding["about"] for finding in calibration_findings(setup, {}, {})]
    assert asked == [["FM-1"], ["REF"], ["RDO"]]


def test_a_set_up_without_machine_or_reference_is_not_checked(setup_of, piece):
    readout = piece("RDO", calibration="none needed")
    _, nothing = calibration_findings(setup_of(readouts=[readout]), {}, {})
    assert (nothing["outcome"], nothing["about"]) == ("not_checked", [])
    assert nothing["missing"] == "machine or references in the request"


def test_the_latest_issued_calibration_up_to_the_instant_counts(laboratory):
    items = dict(laboratory.execute(select(Item.code, Item.id)).all())
    issued = laboratory.scalars(select(Certificate).where(Certificate.number == "R-1")).one()
    kept = {
        column.key: getattr(issued, column.key)
        for column in inspect(Certificate).column_attrs
        if column.key not in ("id", "version")
    }

    def add(number, at, **more):
        at_us = instant_us(at, UTC)
        row = kept | {"number": number, "performed_at": at, "performed_us": at_us}
        laboratory.add(Certificate(**row | {"performed_end_us": at_us} | more))

    add("R-2", "2025-02-01T10:00:00Z", status="superseded")
    add("R-3", "2025-03-01T10:00:00Z", status="draft")
    add("R-4", "2025-04-01T10:00:00Z", status="superseded")
    add("R-2", "2025-02-01T10:00:00Z", revision=1)
    add("R-5", "2025-06-02T10:00:00Z")
    laboratory.flush()

    def number(code, at, **more):
        found = latest_calibrations(laboratory, [items[code]], instant_us(at, UTC), **more)
        return [(one.number, one.revision) for one in found.values()]

    assert number("REF", "2025-06-01T12:00:00Z") == [("R-2", 1)]
    assert number("REF", "2025-02-01T10:00:00Z") == [("R-2", 1)]
    assert number("REF", "2025-02-01T09:59:59Z") == [("R-1", 0)]
    assert number("REF", "2024-01-10T09:00:00Z") == []
    assert number("REF", "2025-06-03T00:00:00Z") == [("R-5", 0)]
    add("R-6", "2025-06-04T10:00:00Z", assigns_value=False)
    laboratory.flush()
    assert number("REF", "2025-06-05T00:00:00Z") == [("R-6", 0)]
    assert number("REF", "2025-06-05T00:00:00Z", valued=True) == [("R-5", 0)]
    assert latest_calibrations(
        laboratory, items.values(), instant_us("2025-06-01", UTC)
    ).keys() == {
        items["REF"],
        items["FM-1"],
    }
