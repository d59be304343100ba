"""One process at a time does a work that is done for all."""

from __future__ import annotations

import time

from api.store import leases

NOW, MINUTE = 1_750_000_000_000_000, 60_000_000


def take(database, holder, at=NOW):
    return leases.take(database, "recalls", holder, at, MINUTE)


def test_a_lease_is_one_processs_until_it_is_given_back_or_runs_out(database):
    assert leases.is_free(database, "recalls", NOW, MINUTE)
    assert take(database, "one")
    assert not leases.is_free(database, "recalls", NOW, MINUTE)
    assert not take(database, "other")
    assert take(database, "one", NOW + 1)  # renewed
    assert not take(database, "other", NOW + MINUTE)
    assert take(database, "other", NOW + 1 + MINUTE)
    leases.release(database, "recalls", "one")  # no longer its own
    assert not take(database, "one", NOW + 2 + MINUTE)
    leases.release(database, "recalls", "other")
    assert leases.is_free(database, "recalls", NOW + 2 + MINUTE, MINUTE)


def test_works_do_not_hinder_each_other(database):
    assert take(database, "one")
    assert leases.take(database, "something else", "other", NOW, MINUTE)


def test_one_that_ends_later_than_any_could_is_of_another_clock(database):
    assert take(database, "one", NOW + 60 * MINUTE)
    assert leases.is_free(database, "recalls", NOW, MINUTE)
    assert take(database, "other", NOW)
    assert not leases.is_free(database, "recalls", NOW, MINUTE)


def test_it_is_renewed_while_the_work_goes_on_and_then_given_back(database):
    def clock():
        return time.time_ns() // 1000

    short = 2_000_000  # a busy machine may be late by less than this
    with leases.held(database, "recalls", "one", clock, short) as mine:
        assert mine
        for _ in range(3):
            time.sleep(short / 2e6)
            assert not leases.take(database, "recalls", "other", clock(), short)
        with leases.held(database, "recalls", "other", clock, short) as too:
            assert not too
    assert leases.is_free(database, "recalls", clock(), short)
