"""Does the oracle agree with the laboratories that were worked by hand for DESIGN section 10?"""

from __future__ import annotations

import pytest
from oracle_cases import Json
from recall_oracle import recall
from worked_laboratories import LABORATORIES, differences, request


@pytest.mark.parametrize("worked", LABORATORIES, ids=[w["id"] for w in LABORATORIES])
def test_the_oracle_agrees_with_what_was_worked_by_hand(worked: Json) -> None:
    answer = recall(worked["laboratory"], request(worked))
    assert differences(worked, answer) == []


def test_a_difference_is_found_where_there_is_one() -> None:
    worked = next(w for w in LABORATORIES if w["id"] == "V1")
    answer = recall(worked["laboratory"], worked["fault"] | {"delta_rel": "0.0004"})
    assert differences(worked, answer | {"cleared": answer["affected"][:1]}) != []
    assert any("C-1 point 1 delta_rel" in words for words in differences(worked, answer))
