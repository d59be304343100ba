"""A value is overdue once its date has passed, in Python and in SQL alike.

That the instant itself is in time is a choice, no source.
"""

from __future__ import annotations

import sqlite3

import pytest

from api.services.records.due import OVERDUE, overdue


@pytest.mark.parametrize(
    ("due_us", "used_us", "late"),
    [(10, 9, False), (10, 10, False), (10, 11, True), (None, 11, False)],
)
def test_a_use_after_the_date_is_late_and_both_forms_agree(due_us, used_us, late):
    assert overdue(due_us, used_us) is late
    statement = (
        f"SELECT {OVERDUE} FROM (SELECT ? AS due_us) AS value, (SELECT ? AS used_us) AS usage"
    )
    ((found,),) = sqlite3.connect(":memory:").execute(statement, (due_us, used_us)).fetchall()
    assert bool(found) is late
