"""A comparison becomes the fault of a recall: its sign, size, uncertainty, and what proved it."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.errors import Conflict, InvalidRecord, NotFound, UnknownReference
from api.schemas.faults import RecallRequestSchema
from api.schemas.setup_comparisons import NewSetupComparisonSchema, SetupFaultRequestSchema
from api.services.setups import setup_comparisons
from api.services.setups.comparison_faults import MOST_OF_A_NOTE, fault_of

# Run by run 860, 858 and 862 lbf lower: -860/50000 = -0.0172.
SENT = {
    "instrument": {"type": "tension_link"},
    "unit": "lbf",
    "setups": {
        "usual": {"name": "customer's pin", "parts": ["P-OWN"]},
        "other": {"name": "our pin", "parts": ["TOP", "P-TOP"]},
    },
    "points": [
        {
            "applied": "50000",
            "usual": ["50000", "50002", "49998"],
            "other": ["49140", "49144", "49136"],
        }
    ],
    "performed_at": "2025-06-10T09:00:00Z",
    "person": "R. Fenn",
}
FAULT = {
    "item": "P-TOP",
    "last_good_at": "2025-02-01T08:00:00Z",
    "isolated_at": "2025-06-01T12:00:00Z",
}


def recorded(session, other=None, kind="tension_link", **changes):
    """Record a comparison; its key."""
    sent = {**SENT, "instrument": {"type": kind}, **changes}
    if other is not None:
        sent["points"] = [{**SENT["points"][0], "other": other}]
    return setup_comparisons.record(session, NewSetupComparisonSchema().load(sent), 0)["id"]


def fault(session, key, **changes):
    made = fault_of(session, key, SetupFaultRequestSchema().load(FAULT | changes))
    RecallRequestSchema().load(made)  # as POST /v1/recalls takes it
    return made["fault"]


SAME = ["49999", "50004", "49997"]  # -1, +2 and -1 lbf


def test_the_effect_is_what_the_faulty_set_up_does(laboratory):
    key = recorded(laboratory)
    made = fault(laboratory, key, meaning="50 mm is not 2 in")
    assert made["effect_rel"] == {"tension_link": "-0.0172"}
    assert (made["kind"], made["item"]) == ("indication_effect_by_type", "P-TOP")
    assert (made["U_delta_k"], made["meaning"]) == ("2", "50 mm is not 2 in")
    assert made["isolated_at"] == FAULT["isolated_at"]
    for said in (f"Comparison {key} of 2025-06-10", '"our pin" against "customer\'s pin"', "p = "):
        assert said in made["note"]


def test_the_sign_is_turned_round_where_the_usual_set_up_was_the_faulty_one(laboratory):
    key = recorded(laboratory)
    assert fault(laboratory, key, item="P-OWN")["effect_rel"] == {"tension_link": "0.0172"}
    # Neither set-up names REF, so the request says which it was.
    for wrong, effect in (("usual", "0.0172"), ("other", "-0.0172")):
        made = fault(laboratory, key, item="REF", faulty_setup=wrong)
        assert made["effect_rel"] == {"tension_link": effect}


def test_nothing_is_not_turned_into_minus_nothing(laboratory):
    key = recorded(laboratory, SAME)
    made = fault(laboratory, key, item="P-OWN", insignificant="use")
    assert made["effect_rel"] == {"tension_link": "0"}  # (-1 + 2 - 1)/3


@pytest.mark.parametrize(
    ("changes", "place", "words"),
    [
        ({"item": "REF"}, "/item", "neither set-up names"),
        ({"faulty_setup": "usual"}, "/faulty_setup", "is a part of the other set-up"),
    ],
)
def test_where_it_is_not_clear_which_set_up_was_faulty_it_is_asked(
    laboratory, changes, place, words
):
    with pytest.raises(InvalidRecord) as found:
        fault(laboratory, recorded(laboratory), **changes)
    (issue,) = found.value.issues
    assert (issue.pointer, bool(issue.remedy)) == (place, True)
    assert words in issue.detail


def test_an_item_in_both_set_ups_needs_a_word_too(laboratory):
    both = {name: one | {"parts": ["P-TOP"]} for name, one in SENT["setups"].items()}
    key = recorded(laboratory, setups=both)
    with pytest.raises(InvalidRecord, match="not clear"):
        fault(laboratory, key)
    assert fault(laboratory, key, faulty_setup="usual")["effect_rel"] == {"tension_link": "0.0172"}


def test_a_difference_that_is_not_significant_is_used_only_on_request(laboratory):
    key = recorded(laboratory, ["50003", "50004", "49995"])  # +3, +2 and -3
    with pytest.raises(Conflict) as found:
        fault(laboratory, key)
    assert found.value.issues[0].pointer == "/insignificant"
    used = fault(laboratory, key, insignificant="use")
    # 2/3 of 50000
    assert Decimal(used["effect_rel"]["tension_link"]) == Decimal("0.0000133333333333")
    assert "although it is not significant" in used["note"]
    zero = fault(laboratory, key, insignificant="zero")
    assert zero["effect_rel"] == {"tension_link": "0"}
    assert "U_delta_rel" not in zero


def test_several_types_share_the_largest_uncertainty(laboratory):
    # s of the differences: 2 of the link; 6 of the scale (-50, -44, -56)
    link = recorded(laboratory)
    scale = recorded(laboratory, ["49950", "49958", "49942"], "crane_scale")
    alone = Decimal(fault(laboratory, link)["U_delta_rel"])
    made = fault(laboratory, link, comparisons=[scale], other_types="0.001")
    assert made["effect_rel"] == {"tension_link": "-0.0172", "crane_scale": "-0.001"}
    assert float(Decimal(made["U_delta_rel"]) / alone) == pytest.approx(3, rel=1e-9)
    assert "the largest of the types'" in made["note"]
    assert made["other_types"] == "0.001"


def test_one_type_has_one_effect(laboratory):
    first, second = recorded(laboratory), recorded(laboratory)
    with pytest.raises(InvalidRecord, match="two effects") as found:
        fault(laboratory, first, comparisons=[second])
    assert found.value.issues[0].pointer == "/comparisons/0"


def test_what_is_not_recorded_is_named_where_it_was_sent(laboratory):
    with pytest.raises(NotFound):
        fault(laboratory, 99)
    with pytest.raises(UnknownReference) as found:
        fault(laboratory, recorded(laboratory), comparisons=[99])
    assert (found.value.issues[0].pointer, found.value.issues[0].value) == ("/comparisons/0", "99")


def test_what_the_recall_would_refuse_is_refused_here(laboratory):
    key = recorded(laboratory)
    with pytest.raises(UnknownReference):
        fault(laboratory, key, item="GHOST", faulty_setup="other")
    with pytest.raises(InvalidRecord):
        fault(laboratory, key, isolated_at="2025-01-01T00:00:00Z")  # before it was last good


def test_an_effect_of_unknown_uncertainty_makes_a_fault_without_one(laboratory):
    point = {"applied": "50000", "usual": ["50000"], "other": ["49140"]}
    key = recorded(laboratory, points=[point])
    made = fault(laboratory, key, insignificant="use")
    assert not {"U_delta_rel", "U_delta_k"} & made.keys()
    assert "Nothing tells the uncertainty of the effect on tension_link." in made["note"]


def test_a_long_note_is_cut_at_what_a_recall_takes(laboratory):
    setups = {name: one | {"name": "long " * 39} for name, one in SENT["setups"].items()}
    kinds = [f"type_{place}" for place in range(8)]
    first, *more = [recorded(laboratory, kind=kind, setups=setups) for kind in kinds]
    made = fault(laboratory, first, comparisons=more)
    assert len(made["effect_rel"]) == 8
    assert MOST_OF_A_NOTE - 50 < len(made["note"]) <= MOST_OF_A_NOTE
    assert made["note"].endswith(" ...")
