"""Lists of a client become data frames without losing a digit."""

import doctest
from decimal import Decimal

from api.client import Client, frames


def test_the_example_of_the_docstring_runs():
    assert doctest.testmod(frames).failed == 0
    assert doctest.testmod(frames).attempted


def test_each_record_is_a_row_and_each_field_of_a_field_a_column():
    records = [
        {"id": 1, "acceptance": {"lower": "9.20", "upper": None}, "paths": [["A", "B"]]},
        {"id": 2, "risk": Decimal("0.0250"), "acceptance": {}},
    ]
    frame = Client.frame(iter(records))
    assert list(frame.columns) == [
        "id",
        "acceptance.lower",
        "acceptance.upper",
        "paths",
        "risk",
        "acceptance",
    ]
    assert frame.to_dict("list") == {
        "id": [1, 2],
        "acceptance.lower": ["9.20", None],
        "acceptance.upper": [None, None],
        "paths": [[["A", "B"]], None],
        "risk": [None, Decimal("0.0250")],
        "acceptance": [None, {}],
    }
    assert str(frame["risk"][1]) == "0.0250"


def test_an_empty_list_is_an_empty_frame():
    assert Client.frame([]).shape == (0, 0)
