"""Which spellings of a name are one: forms, case and spaces, and nothing else."""

from __future__ import annotations

import pytest

from api.store.spelling import folded


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Alder Rigging", "ALDER RIGGING"),
        ("Alder Rigging", " Alder\u00a0 Rigging\t"),
        # Unicode Standard Annex 15, from memory: the fullwidth A and the ligature have
        # compatibility forms; e with acute is one letter or two.
        ("Alder", "\uff21lder"),
        ("Office", "O\ufb03ce"),
        ("Caf\u00e9", "Cafe\u0301"),
        # CaseFolding.txt, from memory: sharp s folds to ss.
        ("Gro\u00df", "GROSS"),
        ("Alder", "Al\u200bder\u00ad"),  # what is not seen
    ],
)
def test_spellings_of_one_name(one, other):
    assert folded(one) == folded(other)


@pytest.mark.parametrize(
    ("one", "other"), [("Alder", "Elder"), ("PO 7", "PO-7"), ("PO 7", "PO7"), ("Caf\u00e9", "Cafe")]
)
def test_other_names_stay_others(one, other):
    assert folded(one) != folded(other)
