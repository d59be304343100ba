"""Random laboratories: the product's recall equals a slow, independent reference implementation.

The oracle (tests/oracle) shares no code with the product, works in exact fractions and scans the
whole laboratory; it reproduces the worked laboratories of fixtures/scenarios by itself. The gate
takes the same seeds each time; `python tests/whole/test_recall_against_oracle.py 1000 2000` tries
the laboratories of other seeds, prints each that differs, and fails if one does.
"""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest

if __name__ == "__main__":  # as a command it finds the oracle by itself
    sys.path[:0] = [str(Path(__file__).parents[1] / "oracle"), str(Path(__file__).parents[2])]

from laboratories import of_seed
from recall_oracle import recall as oracle

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.run import recall
from api.store import migrate
from api.store.database import Database
from graph.lists import LISTS

NOW_US = 1_893_456_000_000_000  # 2030-01-01, after everything that the laboratories did
LOT = 20


def product(database: Database, laboratory: dict[str, Any], request: dict[str, Any]) -> Any:
    """Import and recall in one transaction that is rolled back."""
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(laboratory), NOW_US)
        answer = recall(session, RecallRequestSchema().load(request), NOW_US)
        session.rollback()
    return answer.head, {
        name: [json.loads(one.text) for one in answer.lists[name]] for name in LISTS
    }


def differences(expected: Any, found: Any, place: str = "") -> list[str]:
    """Where `found` lacks or contradicts what is expected; more keys than expected are allowed."""
    if isinstance(expected, dict) and isinstance(found, dict):
        return [
            line
            for key, value in expected.items()
            if value not in (None, []) or key in found  # what is absent is null
            for line in differences(value, found.get(key, "absent"), f"{place}/{key}")
        ]
    if isinstance(expected, list | tuple) and isinstance(found, list):
        if len(expected) != len(found):
            return [f"{place}: expected {expected!r}, found {found!r}"]
        return [
            line
            for index, pair in enumerate(zip(expected, found, strict=True))
            for line in differences(*pair, f"{place}/{index}")
        ]
    # An interval that is one value may be written either way.
    if isinstance(expected, str) and found == {"lower": expected, "upper": expected}:
        return []
    return [] if expected == found else [f"{place}: expected {expected!r}, found {found!r}"]


def compared(database: Database, seed: int) -> list[str]:
    """Differences between product and oracle on the laboratory of a seed."""
    laboratory, fault = of_seed(seed)
    several = isinstance(fault, list)
    expected = oracle(laboratory, fault)
    head, lists = product(database, laboratory, {"faults" if several else "fault": fault})
    windows = [head["window"]] if "window" in head else head["windows"]
    found = differences(expected["window"] if several else [expected["window"]], windows, "window")
    for name in LISTS:
        found += differences(expected[name], lists[name], name)
    return found


@pytest.mark.slow
@pytest.mark.parametrize("lot", range(10))
def test_a_recall_gives_windows_and_lists_of_the_oracle(database: Database, lot: int) -> None:
    # The second engine sees every tenth: what decides is the same code.
    for seed in range(lot * LOT, (lot + 1) * LOT, 1 if database.is_sqlite else 10):
        assert compared(database, seed) == [], f"seed {seed}"


def main(first: int, last: int) -> int:
    """Try the laboratories of seeds, from the first until before the last; 1 if any differs."""
    differ = 0
    with tempfile.TemporaryDirectory() as folder:
        database = Database(f"sqlite:///{folder}/oracle.db")
        migrate.upgrade(database)
        for seed in range(first, last):
            found = compared(database, seed)
            differ += bool(found)
            for line in found[:3]:
                print(f"seed {seed}: {line[:200]}")
        database.dispose()
    print(f"{last - first} laboratories, {differ} differ")
    return int(differ > 0)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
