"""When should an item be calibrated again? Advice from its history and use; the laboratory decides.

Choice: three methods that ILAC-G24/OIML D 10 names (contents read, body from memory, verify).
`staircase`: after a result within a share of the tolerance the interval grows by a step, outside
the tolerance it shrinks, in between it stays. The step down belongs to the target reliability R:
(1 + up)^R (1 - down)^(1 - R) = 1, so that the steps balance when R of the results conform (simple
response method, from memory, verify). `drift`: the changes between one calibration and the next
give a rate and its scatter; the interval ends where the error, moving at the rate and its one-sided
bound, reaches a limit (control chart; the form of the bound is common practice, no source).
`in_use`: the staircase counts load applications, turned into days at the present rate.

The shortening of worn or heavily used items is common practice, no source. With too little history
nothing is lengthened. Not considered: what a failure costs, transport, environment, or a recall.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction

from api.rules.exact import exact_arithmetic, plain, power, ratio
from api.rules.uncertainty.history import (
    Event,
    changes,
    days_to_limit,
    share_of_tolerance,
    whole_days,
)

# The ways to find an interval that the module describes.
METHODS = ("staircase", "drift", "in_use")
PUBLISHED = "ILAC-G24/OIML D 10, from memory, verify"
PRACTICE = "common practice, no source"
DAYS_PER_YEAR = 365
# A result that conforms may lengthen the interval only with this many behind it.
LEAST_INTERVALS = 2
LEAST_CHANGES = 2
# Drift and use may promise decades; no advice goes beyond this multiple of the present interval.
MOST_GROWTH = 2
# Above the share (first), the interval is multiplied (second).
WEAR_STEPS = ((Decimal("0.8"), Decimal("0.5")), (Decimal("0.5"), Decimal("0.75")))
USE_STEPS = ((Decimal("0.2"), Decimal("0.5")), (Decimal("0.1"), Decimal("0.75")))


@dataclass(frozen=True, slots=True)
class Use:
    """How an item was used and what its last inspection found.

    Parameters
    ----------
    wear_pct, limit_pct : Decimal, optional
        Wear and its limit, both in percent.
    applications_per_year : Decimal, optional
        Load applications at the present rate.
    design_life, applications_so_far : int, optional
        Load applications that it is made for, and has had.
    """

    wear_pct: Decimal | None = None
    limit_pct: Decimal | None = None
    applications_per_year: Decimal | None = None
    design_life: int | None = None
    applications_so_far: int | None = None


@dataclass(frozen=True, slots=True)
class Policy:
    """What the laboratory asks for; intervals in days.

    Parameters
    ----------
    method : str
        One of METHODS.
    present_days : int, optional
        The present interval.
    reliability : Decimal
        Share of results that are to conform, between 0 and 1.
    up : Decimal
        By which share the interval grows.
    down : Decimal, optional
        By which it shrinks; it follows from reliability unless given.
    within : Decimal
        Share of the tolerance within which it grows.
    least_days, most_days : int, optional
        Bounds of the advice.
    """

    method: str = "staircase"
    present_days: int | None = None
    reliability: Decimal = Decimal("0.95")
    up: Decimal = Decimal("0.1")
    down: Decimal | None = None
    within: Decimal = Decimal("0.8")
    least_days: int | None = None
    most_days: int | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """What one consideration did to the interval.

    Attributes
    ----------
    step : str
        Its name.
    days : int or None
        The interval after it.
    reason : str
        Why.
    source : str
        Where it comes from.
    """

    step: str
    days: int | None
    reason: str
    source: str


@dataclass(slots=True)
class Advice:
    """An interval for an item, and how it came about.

    Attributes
    ----------
    days : int or None
        In days; None: none can be given.
    too_little_history : bool
        Whether history was too short to lengthen.
    steps : list of Step
        In their order.
    """

    days: int | None
    too_little_history: bool
    steps: list[Step] = field(default_factory=list)

    def note(self, step: str, days: int | None, reason: str, source: str = PRACTICE) -> None:
        """Set the interval and say why.

        Parameters
        ----------
        step : str
            Name of the consideration.
        days : int or None
            The interval after it.
        reason : str
            Why.
        source : str
            Where it comes from.
        """
        self.days = days
        self.steps.append(Step(step, days, reason, source))


def step_down(reliability: Decimal, up: Decimal) -> Decimal:
    """Return the step down that balances the step up at the target reliability.

    (1 + up)^R (1 - down)^(1 - R) = 1 (ILAC-G24/OIML D 10, from memory, verify).

    Parameters
    ----------
    reliability : Decimal
        R, between 0 and 1.
    up : Decimal
        By which share the interval grows, 0 or more.

    Returns
    -------
    Decimal
        A share.

    Examples
    --------
    >>> format(step_down(Decimal("0.9"), Decimal("0.1")), ".4f")
    '0.5759'
    """
    with exact_arithmetic():
        grown, misses = 1 + up, 1 - reliability
    return 1 - power(grown, -ratio(reliability, misses))


def advise(events: Sequence[Event], use: Use, policy: Policy) -> Advice:
    """Advise an interval from the calibrations of an item and its use.

    ILAC-G24/OIML D 10 names the methods (body from memory, verify); the laboratory decides.

    Parameters
    ----------
    events : sequence of Event
        Calibrations, the oldest first.
    use : Use
        How it was used.
    policy : Policy
        What the laboratory asks for.

    Returns
    -------
    Advice

    Raises
    ------
    KeyError
        If the method is not in METHODS and there is a present interval.
    """
    present = policy.present_days
    if present is None:
        advice = Advice(None, True)
        reason = "no present interval: neither a due date is recorded nor an interval was given"
        advice.note("present interval", None, reason)
        return advice
    advice = Advice(present, False)
    advice.note("present interval", present, "where the advice starts from")
    method = {"staircase": _staircase, "drift": _drift, "in_use": _in_use}[policy.method]
    method(advice, events, use, policy)
    _shorten_worn(advice, use)
    _shorten_used(advice, use)
    _bound(advice, policy)
    return advice


def _staircase(advice: Advice, events: Sequence[Event], use: Use, policy: Policy) -> None:
    factor, reason = _reaction(advice, events, policy)
    advice.note("staircase", _days(advice.days, factor), reason, PUBLISHED)


def _reaction(advice: Advice, events: Sequence[Event], policy: Policy) -> tuple[Decimal, str]:
    """Return by what the interval is multiplied after the last result, and why."""
    # The first calibration ends no interval, so it says nothing of one.
    known = [
        (one, share) for one in events[1:] if (share := share_of_tolerance(one.found)) is not None
    ]
    enough = len(known) >= LEAST_INTERVALS
    if not known or known[-1][0] is not events[-1]:
        advice.too_little_history = True
        return Decimal(1), "the last calibration ended no interval with a result and its limits"
    last, share = known[-1]
    shown = f"{last.label}: as found at {_percent(share)} % of the tolerance"
    if share > 1:
        advice.too_little_history = not enough
        down = policy.down
        how = "by the step that was asked for"
        if down is None:
            down = step_down(policy.reliability, policy.up)
            how = f"by the step for a reliability of {plain(policy.reliability)}"
        return 1 - down, f"{shown}, outside; shortened {how}"
    if not enough:
        advice.too_little_history = True
        text = f"{shown}; {len(known)} interval(s) known, {LEAST_INTERVALS} are needed to lengthen"
        return Decimal(1), text
    if share <= policy.within:
        return 1 + policy.up, f"{shown}, within {_percent(policy.within)} %; lengthened"
    return Decimal(1), f"{shown}, inside but above {_percent(policy.within)} %; kept"


def _in_use(advice: Advice, events: Sequence[Event], use: Use, policy: Policy) -> None:
    rate, last = use.applications_per_year, events[-1] if events else None
    if last is None or not last.applications_before or not rate:
        reason = "no load applications are recorded for the last interval, or none a year"
        _without_numbers(advice, "in use", reason, events, policy)
        return
    factor, why = _reaction(advice, events, policy)
    with exact_arithmetic():
        allowed = factor * last.applications_before
    days = whole_days(Fraction(allowed) / Fraction(rate) * DAYS_PER_YEAR)
    # A quiet year is no evidence that the item would last longer.
    present = advice.days or 1
    days = min(days, present if advice.too_little_history else MOST_GROWTH * present)
    reason = (
        f"{why}; {last.applications_before} load applications in the last interval, "
        f"{plain(rate)} a year now"
    )
    advice.note("in use", max(days, 1), reason, PUBLISHED)


def _without_numbers(
    advice: Advice, step: str, reason: str, events: Sequence[Event], policy: Policy
) -> None:
    """Say that a method has too little to go by; a result outside still shortens."""
    factor, why = _reaction(advice, events, policy)
    advice.too_little_history = True
    if factor < 1:
        advice.note(step, _days(advice.days, factor), f"{reason}; {why}", PUBLISHED)
    else:
        advice.note(step, advice.days, reason, PUBLISHED)


def _drift(advice: Advice, events: Sequence[Event], use: Use, policy: Policy) -> None:
    rates = changes(events)
    found: list[tuple[int, str]] = []
    for reading in events[-1].left if events else ():
        known = rates.get(reading.point, [])
        if (
            len(known) >= LEAST_CHANGES
            and (end := days_to_limit(reading, known, policy.reliability)) is not None
        ):
            found.append((end, reading.point))
    if not found:
        reason = f"no point has limits and {LEAST_CHANGES} changes between calibrations"
        _without_numbers(advice, "drift", reason, events, policy)
        return
    days, point = min(found)
    most = MOST_GROWTH * (advice.days or 1)
    reason = f"point {point} reaches its limit first"
    if days > most:
        days, reason = most, "no point reaches a limit within twice the present interval"
    advice.note("drift", max(days, 1), reason, PUBLISHED)


def _shorten_worn(advice: Advice, use: Use) -> None:
    if use.wear_pct is None or not use.limit_pct:
        advice.note("wear", advice.days, "no inspection with wear and its limit is recorded")
        return
    share = ratio(use.wear_pct, use.limit_pct)
    shown = f"the last inspection found {_percent(share)} % of the wear that is allowed"
    if share >= 1:
        text = f"{shown}; no interval is advised before a competent person has judged the item"
        advice.note("wear", None, text)
        return
    _shorten(advice, "wear", share, WEAR_STEPS, shown)


def _shorten_used(advice: Advice, use: Use) -> None:
    rate, life = use.applications_per_year, use.design_life
    left = None if life is None else life - (use.applications_so_far or 0)
    if left is not None and left <= 0:
        text = "the design life is used up; no interval is advised before a competent person "
        advice.note("use", None, text + "has judged the item")
        return
    if not rate or life is None or left is None:
        reason = "no load applications, or no design life, are recorded"
        advice.note("use", advice.days, reason)
        return
    share = ratio(rate, Decimal(life))
    shown = f"{plain(rate)} load applications a year, {_percent(share)} % of the design life"
    _shorten(advice, "use", share, USE_STEPS, shown)
    days = max(whole_days(Fraction(left) / Fraction(rate) * DAYS_PER_YEAR), 1)
    if advice.days is not None and days < advice.days:
        text = f"{left} load applications are left of the design life at the present rate"
        advice.note("design life", days, text)


def _shorten(
    advice: Advice,
    step: str,
    share: Decimal,
    steps: Sequence[tuple[Decimal, Decimal]],
    shown: str,
) -> None:
    for beyond, factor in steps:
        if share >= beyond:
            text = f"{shown}; shortened to {_percent(factor)} %"
            advice.note(step, _days(advice.days, factor), text)
            return
    advice.note(step, advice.days, f"{shown}; not shortened")


def _bound(advice: Advice, policy: Policy) -> None:
    if advice.days is None:
        return
    if policy.most_days is not None and advice.days > policy.most_days:
        advice.note("longest interval", policy.most_days, "not longer than was asked for")
    if policy.least_days is not None and advice.days < policy.least_days:
        text = f"not shorter than was asked for, although the steps before give {advice.days} days"
        advice.note("shortest interval", policy.least_days, text)


def _days(days: int | None, factor: Decimal) -> int | None:
    return None if days is None else max(whole_days(Fraction(days) * Fraction(factor)), 1)


def _percent(share: Decimal) -> str:
    shown = (share * 100).quantize(Decimal("0.1"), ROUND_FLOOR)
    return format(shown.normalize(), "f")
