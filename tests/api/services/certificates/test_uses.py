"""Rows of uses: moments, weights and the points they served."""

from __future__ import annotations

from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from api.services.base.recording import ItemFacts, Recording
from api.services.certificates.uses import use_row
from graph.moments import Moment, moment

PERFORMED = Moment(1_000, 1_000)


@pytest.fixture
def recording(database):
    """A recording that knows one item, in service since 1970-01-02."""
    with database.read() as session:
        made = Recording(session, 0)
        made.items["REF"] = ItemFacts(7, "REF", "reference_standard", 86_400_000_000)
        made.items["OLD"] = ItemFacts(8, "OLD", "reference_standard", None)
        yield made


def row(recording, **use):
    made = {"item": "OLD", "role": "force_reference"} | use
    return use_row(recording, made, 0, PERFORMED, {"1", "2"}, "/u")


def pointers(recording):
    return [issue.pointer for issue in recording.issues]


def test_a_use_has_the_moment_of_its_calibration_unless_it_has_its_own(recording):
    assert row(recording)["used_us"] == 1_000
    day = moment("2025-03-10", ZoneInfo("UTC"))
    own = row(recording, performed_at="2025-03-10")
    assert (own["used_us"], own["used_end_us"]) == (day.start_us, day.end_us)
    assert own["performed_at"] == "2025-03-10"


def test_weights_are_kept_with_their_digits(recording):
    assert row(recording)["weight"] is None
    assert row(recording, weight=Decimal("0.50"))["weight"] == "0.50"
    by_point = {"1": Decimal("1.0"), "2": Decimal("0")}
    assert row(recording, weight=by_point)["weight"] == {"1": "1.0", "2": "0"}
    assert pointers(recording) == []


def test_a_mapping_of_weights_names_the_points_that_the_use_served(recording):
    row(recording, weight={"1": Decimal(1)}, points=[1])
    assert pointers(recording) == []
    row(recording, weight={"1": Decimal(1)})
    row(recording, weight={"1": Decimal(1), "2": Decimal(1), "3": Decimal(1)})
    row(recording, points=[9])
    assert pointers(recording) == ["/u/weight", "/u/weight", "/u/points"]
    assert all(issue.remedy for issue in recording.issues)


def test_a_use_before_its_item_was_in_service_is_refused_where_its_instant_stands(recording):
    row(recording, item="REF")
    row(recording, item="REF", performed_at="1970-01-01")
    row(recording, item="REF", performed_at="1970-01-02")
    assert pointers(recording) == ["/u/item", "/u/performed_at"]
    assert "before it existed" in recording.issues[0].detail
