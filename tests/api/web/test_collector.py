"""The collector of circular garbage is slowed down, not switched off."""

from __future__ import annotations

import gc

from api.web.collector import THRESHOLDS, collect_seldom


def test_the_thresholds_are_set_and_the_collector_stays_on():
    before = gc.get_threshold()
    try:
        collect_seldom()
        assert gc.get_threshold() == THRESHOLDS
        assert gc.isenabled()
    finally:
        gc.set_threshold(*before)
