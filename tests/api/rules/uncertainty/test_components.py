"""Ready components: complete, in known terms, and honest about their sources."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.rules.uncertainty.components import MEMORY, PRACTICE, READY
from api.rules.uncertainty.distributions import FORMS, standard

ALL = list(READY.values())
# Every contribution that the trade names (the list and the w1 to w8 of ISO 376).
NAMED = {
    *("reference", "drift", "resolution", "zero", "repeatability", "reproducibility"),
    *("reversibility", "temperature", "adapter", "misalignment", "machine", "creep"),
    "interpolation",
}


def test_every_contribution_of_a_force_calibration_is_there():
    assert set(READY) == NAMED


@pytest.mark.parametrize("ready", ALL, ids=lambda one: one.kind)
def test_a_ready_component_takes_a_figure_of_its_distribution(ready):
    names = {name for form in FORMS[ready.distribution] for name in form}
    assert any(ready.figure.startswith(name) for name in names)


@pytest.mark.parametrize("ready", ALL, ids=lambda one: one.kind)
def test_a_figure_that_nobody_could_look_up_says_so(ready):
    assert MEMORY in ready.source or PRACTICE in ready.source


@pytest.mark.parametrize("ready", ALL, ids=lambda one: one.kind)
def test_the_divisor_in_words_is_the_one_that_is_used(ready):
    sent = {
        "normal": {"u": Decimal(1)} if ready.divisor == "1" else {"U": Decimal(1), "k": Decimal(2)},
        "rectangular": {"half_width": Decimal(1)},
        "resolution": {"digit": Decimal(1)},
        "readings": {"readings": [Decimal(1), Decimal(2), Decimal(3)]},
    }[ready.distribution]
    divisor = standard(ready.distribution, sent).divisor
    assert ready.divisor in {divisor, "k", "s / sqrt n"}
