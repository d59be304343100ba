"""A little of the endurance run: load without an error, and kills without a loss.

The long runs are commands (tests/bench/endurance.py); here a few seconds of the same.
"""

from __future__ import annotations

import pytest

from tests.bench.endurance import run
from tests.bench.machines import programs

ENGINES = [
    "sqlite",
    pytest.param(
        "postgresql",
        marks=pytest.mark.skipif(programs() is None, reason="PostgreSQL is not installed here"),
    ),
]


@pytest.mark.slow
@pytest.mark.parametrize("engine", ENGINES)
def test_clients_of_every_kind_at_once_meet_no_error_and_lose_nothing(engine):
    told, found = run(engine, clients=12, seconds=4)
    assert found == []
    assert told.decisions
    assert told.laboratories
    assert told.changes
    assert told.requests["GET 200"] > 0


@pytest.mark.slow
@pytest.mark.parametrize("engine", ENGINES)
def test_a_server_killed_again_and_again_loses_nothing_that_was_acknowledged(engine):
    told, found = run(engine, clients=6, seconds=0, kills=3, seed=7)
    assert found == []
    assert told.decisions or told.laboratories
