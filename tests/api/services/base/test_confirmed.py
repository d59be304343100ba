"""A number that somebody confirmed is compared with what is meant, and both are named."""

from __future__ import annotations

import pytest

from api.errors import Conflict
from api.services.base.confirmed import refuse_other_count


def test_the_same_number_is_let_through():
    refuse_other_count(3, 3, "certificate")


@pytest.mark.parametrize(("meant", "said"), [(3, 2), (0, 3), (3, 0)])
def test_another_number_is_refused_with_both_and_the_remedy(meant, said):
    with pytest.raises(Conflict) as refused:
        refuse_other_count(meant, said, "alert")
    assert refused.value.detail == f"{meant} alert(s) are meant and not {said}; nothing stored"
    (issue,) = refused.value.issues
    assert (issue.pointer, issue.value) == ("/count", str(said))
    assert issue.remedy.endswith(f"send {meant}")
