"""The order of the shelf: own, same, nearest, barred; the rule is the project's own."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from api.rules.fitting.choice import CHOICES, Candidate, Wanted, ranked

TWO_INCH = Fraction("50.8")
WANTED = Wanted(TWO_INCH, owner="Hire", minus=Fraction("0.2"))


def order(wanted, *candidates):
    return [(one.candidate.item, one.choice) for one in ranked(wanted, candidates)]


def test_the_customers_own_pin_comes_first_then_the_same_size_then_the_nearest():
    shelf = [
        Candidate("FAR", Fraction(65)),
        Candidate("NEAR", Fraction(50)),
        Candidate("SAME", Fraction("50.7")),
        Candidate("OWN", Fraction(50), owner="Hire"),
        Candidate("SHUT", TWO_INCH, owner="Hire", barred=("isolated by recall 3",)),
    ]
    assert order(WANTED, *shelf) == [
        ("OWN", "own"),
        ("SAME", "same"),
        ("NEAR", "nearest"),
        ("FAR", "nearest"),
        ("SHUT", "barred"),
    ]


def test_an_own_pin_of_another_size_keeps_its_deviation():
    (one,) = ranked(WANTED, [Candidate("OWN", Fraction(50), owner="Hire")])
    assert (one.fit.agrees, one.fit.off_by) == (False, Fraction("-0.8"))


def test_a_part_of_unknown_size_is_the_last_of_the_nearest():
    assert order(WANTED, Candidate("A", None), Candidate("B", Fraction(90))) == [
        ("B", "nearest"),
        ("A", "nearest"),
    ]


def test_a_shackle_needs_the_style_too():
    wanted = Wanted(Fraction(25), "bow")
    shelf = [Candidate("DEE", Fraction(25), "dee"), Candidate("BOW", Fraction(26), "Bow")]
    assert order(wanted, *shelf) == [("BOW", "nearest"), ("DEE", "nearest")]
    assert order(Wanted(None, "bow"), *shelf) == [("BOW", "same"), ("DEE", "nearest")]


def test_nobody_owns_what_has_no_owner():
    assert order(Wanted(TWO_INCH), Candidate("A", TWO_INCH)) == [("A", "same")]


@given(
    st.lists(
        st.builds(
            Candidate,
            item=st.text("abc", min_size=1, max_size=3),
            size=st.none() | st.fractions(40, 60),
            owner=st.sampled_from([None, "Hire"]),
            barred=st.sampled_from([(), ("isolated",)]),
        )
    )
)
def test_nothing_is_lost_and_no_worse_choice_comes_first(shelf):
    found = ranked(WANTED, shelf)
    assert sorted(map(repr, shelf)) == sorted(repr(one.candidate) for one in found)
    places = [CHOICES.index(one.choice) for one in found]
    assert places == sorted(places)
