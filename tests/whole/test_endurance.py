"""A little of the endurance run: load without an error, and kills without a loss.

The long runs, each on both engines, are commands (tests/bench/endurance.py); here a few seconds.
"""

from __future__ import annotations

import pytest

from tests.bench.endurance import run
from tests.bench.machines import programs


@pytest.mark.long
def test_clients_of_every_kind_at_once_meet_no_error_and_lose_nothing():
    told, found = run("sqlite", clients=12, seconds=4)
    assert found == []
    assert told.decisions
    assert told.laboratories
    assert told.changes
    assert told.requests["GET 200"] > 0


@pytest.mark.long
@pytest.mark.skipif(programs() is None, reason="PostgreSQL is not installed here")
def test_servers_and_a_database_killed_again_and_again_lose_nothing_that_was_acknowledged():
    told, found = run("postgresql", clients=6, seconds=0, kills=3, seed=7)
    assert found == []
    assert told.decisions or told.laboratories
