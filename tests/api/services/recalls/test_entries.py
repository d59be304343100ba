"""One line of a recall: why it is listed, who is concerned, how precisely it is dated."""

from __future__ import annotations

import pytest
from oracle_cases import row


@pytest.mark.parametrize(
    ("changes", "detail"),
    [
        ({"status": "voided", "void_reason": "typing error"}, "it was voided: typing error"),
        ({"status": "superseded", "superseded_by": 1}, "a later revision took its place (1)"),
        ({"status": "draft"}, "a draft was never issued"),
    ],
)
def test_a_traced_entry_says_why_and_has_no_points(entry, changes, detail):
    made = entry(row(), **changes)
    assert (made["class"], made["reason"]) == ("traced_not_recalled", changes["status"])
    assert made["detail"] == detail
    assert "points" not in made
    assert made["reason_paths"] == [["REF", "C-1"]]


def test_who_is_concerned_and_how_precisely_it_is_dated_stand_in_the_entry(entry):
    made = entry(
        row(), customer="Mine Works", external=True, issuer="Institute", performed_at="2025-02-01"
    )
    assert (made["customer"], made["external"], made["issuer"]) == ("Mine Works", True, "Institute")
    assert made["date_only"] is True
