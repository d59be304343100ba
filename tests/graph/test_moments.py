"""Instants and bare dates."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from graph.moments import BadMoment, Moment, check_text, instant_us, moment, text_of, time_zone

UTC = ZoneInfo("UTC")
VIENNA = ZoneInfo("Europe/Vienna")
SECOND = 1_000_000
DAY = 86_400 * SECOND


def test_one_instant_written_in_three_zones_is_one_number():
    # 2025-03-10T16:00:00Z is day 20157 of the epoch (20157 x 86400 s) and 57600 s
    expected = 20_157 * DAY + 57_600 * SECOND
    for text in ("2025-03-10T16:00:00Z", "2025-03-10T17:00+01:00", "2025-03-10 11:00:00.000-05:00"):
        assert moment(text, VIENNA) == Moment(expected, expected)


def test_fractions_of_a_second_are_kept_to_the_microsecond():
    assert moment("1970-01-01T00:00:00.000001Z", UTC).start_us == 1
    assert moment("1969-12-31T23:59:59.5Z", UTC).start_us == -500_000


def test_a_bare_date_is_its_whole_day_in_the_zone():
    day = moment("2025-03-10", UTC)
    assert (day.start_us, day.end_us) == (20_157 * DAY, 20_158 * DAY - 1)
    assert day.date_only
    # Vienna is an hour ahead of UTC in March.
    assert moment("2025-03-10", VIENNA).start_us == day.start_us - 3_600 * SECOND


@pytest.mark.parametrize(("day", "hours"), [("2025-03-30", 23), ("2025-10-26", 25)])
def test_a_day_on_which_clocks_change_has_another_length_and_noon_stays_noon(day, hours):
    whole = moment(day, VIENNA)
    assert whole.end_us + 1 - whole.start_us == hours * 3_600 * SECOND
    assert whole.noon_us == moment(f"{day}T12:00:00+0{2 if hours == 23 else 1}:00", UTC).start_us


def test_noon_of_an_instant_is_the_instant():
    assert Moment(5, 5).noon_us == 5
    assert not Moment(5, 5).date_only


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("2025-03-10T16:00:00", "no time zone"),
        ("10.03.2025", "not a date"),
        ("2025-3-1", "not a date"),
        ("2025-02-30", "not possible"),
        ("2025-01-01T25:00:00Z", "not possible"),
        ("2025-01-01T00:00:00+25:00", "not possible"),
        ("٢٠٢٥-٠٣-١٠", "not possible"),
        ("0001-01-01", "out of range"),
        ("9999-12-31T23:59:59-23:59", "out of range"),
        ("2025-03-10\n", "not a date"),
        ("", "not a date"),
    ],
)
def test_what_is_no_moment_is_refused_with_the_reason(text, says):
    with pytest.raises(BadMoment, match=says):
        check_text(text)


def test_one_end_of_a_day_can_be_asked_for():
    assert instant_us("1970-01-01", UTC) == 0
    assert instant_us("1970-01-01", UTC, end=True) == DAY - 1


@pytest.mark.parametrize("at", [0, 1, -1, 1_741_622_400_000_000, 253_000_000_000_000_000])
def test_text_and_number_say_the_same(at):
    assert moment(text_of(at), UTC).start_us == at


@pytest.mark.parametrize("name", ["Europe/Atlantis", "", "../etc/passwd", "/etc/localtime"])
def test_a_zone_that_is_none_is_refused(name):
    with pytest.raises(BadMoment, match="IANA"):
        time_zone(name)
