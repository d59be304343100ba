"""What a notice says: nothing of another customer, the right sign, and doubt where it is."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from api.schemas.faults import NEEDS
from api.services.casework.dispositions import ACTIONS
from api.services.notices import notice_words as words
from graph.in_force import DOUBTS
from graph.lists import AFFECTED, EXPOSED, INDETERMINATE, NOT_EXCLUDED

SENT = {
    "true_force_relative_error": {"delta_rel": "-0.0007"},
    "indicates_high": {"indication_rel": "0.0006"},
    "wrong_correction_factor": {"factor_applied": "1.0003", "factor_right": "1.0004"},
    "indication_effect_by_type": {"effect_rel": {"dynamometer": "0.001"}},
    "readout_gain": {"gain": "1.01", "channel": "A"},
    "interval": {"bound_rel": "0.002"},
    "unknown": {},
    "linear_drift": {"delta_rel": "0.0005"},
    "understated_uncertainty": {"U_rel_recorded": "0.0002", "U_rel_right": "0.0006"},
    "true_force_offset": {"delta_force": "2", "unit": "N"},
    "wrong_curve": {"coefficients_right": ["0", "100"]},
}


@pytest.mark.parametrize("kind", NEEDS)
def test_every_kind_of_fault_is_told_in_a_sentence_of_its_own(kind):
    told = words.fault_in_words({"item": "REF", "kind": kind} | SENT[kind], "reference_standard")
    assert told.startswith("Our reference standard REF ")
    assert told.endswith(".")
    assert "was found not to be in order." not in told


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        # The true force was 0.07 % less than recorded: -0.0007 x 100 %.
        ({"kind": "true_force_relative_error", "delta_rel": "-0.0007"}, "0.07 % smaller"),
        ({"kind": "true_force_relative_error", "delta_rel": "0.00070"}, "0.07 % larger"),
        ({"kind": "linear_drift", "delta_rel": "-1E-5"}, "0.001 % smaller"),
        ({"kind": "indicates_high", "indication_rel": "0.0006"}, "0.06 % too high"),
        ({"kind": "indicates_high", "indication_rel": "-0.0006"}, "0.06 % too low"),
        ({"kind": "interval", "bound_rel": "0.002"}, "up to 0.2 %"),
        ({"kind": "true_force_relative_error", "segments": []}, "in part of its range"),
        (
            {"kind": "true_force_relative_error", "delta_rel": "0", "U_delta_rel": "0.0005"},
            "less certain than was stated (by 0.05 %)",
        ),
    ],
)
def test_signs_and_percentages_are_those_of_the_fault(fault, told):
    assert told in words.fault_in_words({"item": "REF"} | fault, "force_machine")


def test_an_instrument_of_a_customer_is_neither_named_nor_quoted():
    fault = {"item": "DYN-77", "kind": "unknown", "meaning": "dropped at Alder Rigging"}
    told = words.fault_in_words(fault, "customer_instrument")
    assert "DYN-77" not in told
    assert "Alder" not in told
    assert told.startswith("An instrument that served as a reference ")


def test_what_was_written_about_an_item_of_our_own_is_quoted():
    fault = {"item": "REF", "kind": "unknown", "meaning": "overloaded on 3 March"}
    assert words.fault_in_words(fault, "adapter") == "Our adapter REF: overloaded on 3 March"
    # A fault of a certificate or method names no item.
    assert "None" not in words.fault_in_words({"certificate": "C-1", "kind": "unknown"}, None)


def test_each_action_and_class_has_its_words():
    assert set(words.ACTIONS) == {*ACTIONS, None}
    assert set(words.EFFECTS) == {AFFECTED, INDETERMINATE, EXPOSED, NOT_EXCLUDED}


def test_periods_are_told_in_the_laboratorys_zone():
    # 2025-07-01T10:00Z is 12:00 of summer time in Vienna; 2025-01-01T10:00Z is 11:00 of winter's.
    summer, winter = 1_751_364_000_000_000, 1_735_725_600_000_000
    zone = ZoneInfo("Europe/Vienna")
    assert words.period_in_words(winter, summer, zone) == (
        "from 2025-01-01 11:00 UTC+01:00 to 2025-07-01 12:00 UTC+02:00"
    )
    assert words.period_in_words(None, None, zone) == "from an unknown time to now"
    # Before 1970, and an offset that is not whole hours.
    assert words.local_time(-60_000_000, ZoneInfo("Asia/Kolkata")) == "1970-01-01 05:29 UTC+05:30"


@pytest.mark.parametrize(
    ("shifted", "adjusted", "again", "answer", "said"),
    [
        (True, True, None, "yes", "adjusted to wrong values"),
        (True, False, None, "yes", "was not adjusted"),
        (False, True, None, "no", "do not change"),
        (None, False, None, "unknown", "treat it as if it were"),
        (True, True, "by us", "no", "by us"),
        (None, True, "certificate C-9", "no", "certificate C-9"),
    ],
)
def test_whether_an_item_may_read_wrong_now_is_answered_on_the_safe_side(
    shifted, adjusted, again, answer, said
):
    found, why = words.now_in_words(shifted, adjusted, again)
    assert found == answer
    assert said in why


@pytest.mark.parametrize("reason", DOUBTS)
def test_every_reason_of_doubt_is_told_in_plain_words(reason):
    told = words.effect_in_words(NOT_EXCLUDED, [reason])
    assert "do not exclude" in told
    assert reason not in told
    assert "_" not in told
    assert words.DOUBTS[reason] in told


@pytest.mark.parametrize("action", [*ACTIONS, None])
def test_nobody_is_sent_to_corrected_values_that_are_not_given(action):
    told = words.action_in_words(action, corrected=False)
    assert "corrected values" not in told
    assert "the values given" not in told
    assert told
    assert words.action_in_words(action, corrected=True) == words.ACTIONS[action]


@pytest.mark.parametrize("corrected", [True, False])
def test_nobody_whose_item_fails_reads_that_nothing_need_be_done(corrected):
    told = words.action_in_words("no_action", corrected=corrected, fails=True, reason="Scrapped.")
    assert "no need" not in told
    assert "competent, authorised" in told
    assert told.endswith("Our reason: Scrapped.")


def test_a_result_that_nobody_knows_is_not_said_to_need_nothing():
    assert "no need" not in words.action_in_words("no_action", corrected=False)


def test_a_correction_that_is_withdrawn_is_told_as_one():
    told = words.effect_in_words(AFFECTED, [], given_back=True)
    assert "A correction that we made to this certificate" in told
    none = {"item": "REF", "kind": "true_force_relative_error", "delta_rel": "0"}
    for certain in (none, none | {"U_delta_rel": "0"}, none | {"U_delta_rel": "0.0"}):
        assert words.fault_in_words(certain, "reference_standard") == (
            "Our reference standard REF gave the true force that was recorded: a fault that was "
            "thought of was none."
        )
