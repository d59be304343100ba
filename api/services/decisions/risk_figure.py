"""The risks that a rule leaves, drawn against the test uncertainty ratio.

Choice: the tolerance stays and U shrinks from twice its half-width (TUR 0.5) to a twentieth
(TUR 20), at k = 2. The worst specific risk is that of a result on an acceptance limit. Global
risks need a prior: stated, or derived at each TUR from an observed in-tolerance rate, which says
something else of the items for each uncertainty it was observed with. Both axes are logarithmic.

Not checked: whether the prior describes the items that arrive.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import groupby
from math import nan
from typing import Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator
from numpy.typing import NDArray

from api.errors import InvalidRecord, Issue
from api.rules.acceptance import Acceptance, Prior, acceptance
from api.rules.branches import branches, choose
from api.rules.decide import nothing_stated
from api.rules.exact import FieldError, difference_over, from_float, plain, ratio
from api.rules.limits import Limits
from api.rules.reliability import prior_from_observed
from api.rules.risk import Floats, global_risk, specific_risk
from api.rules.rule import Rule
from api.rules.wording import describe_rule
from api.services.base import figures
from api.services.base.figures import GREY, INK, SMALL
from api.services.decisions.rule_words import EXAMPLE_PRIOR

TURS = tuple(Decimal(f"{tur:.6g}") for tur in np.geomspace(0.5, 20.0, 121))
_K = Decimal(2)
_WIDTH, _PLOT = 504.0, 190.0
_LEAST, _MOST = 1e-5, 1.0
_SHARES = ("0.001", "0.01", "0.1", "1", "2", "5", "10", "50", "100")
_SHOWN_TURS = ("0.5", "1", "2", "3", "4", "5", "10", "20")
# Name of each curve, its words, line style and marker.
_CURVES = (
    ("worst-specific-risk", "worst specific risk of an accepted result", "-", "o"),
    ("consumer-risk", "global consumer's risk (false accept)", (0, (5, 2)), "s"),
    ("producer-risk", "global producer's risk (false reject)", (0, (1, 1.5)), "^"),
)


# A field that the rules refuse, and the query parameter that it came from.
_PARAMETERS = {"/mean": "/prior_mean", "/sd": "/prior_sd"}


@dataclass(frozen=True, slots=True)
class Curves:
    """Risks at each of `TURS`, NaN where there are none; the global ones are None without prior.

    `closed` says where the rule accepts no result, `prior` is in words, empty without one.
    """

    specific: Floats
    consumer: Floats | None
    producer: Floats | None
    closed: NDArray[np.bool_]
    prior: str


class _Point(NamedTuple):
    """One ratio: the acceptance, None where a prior is missing, the prior and u."""

    accepted: Acceptance | None
    prior: Prior | None
    u: float


def risk_figure(rule: Rule, query: Mapping[str, Any], kind: str) -> bytes:
    """Return the picture of a rule's risks as an SVG or PNG file.

    `query` may hold `lower` and `upper` (default -1 and 1) and `prior_sd` or `reliability`, each
    with an optional `prior_mean`. A rule that needs a prior takes that of the examples, mean 0 and
    standard deviation 0.5, if the limits are theirs too.

    Raises InvalidRecord for limits, a prior or a rule that no risk can be worked out with.
    """
    try:
        limits = Limits(query.get("lower", Decimal(-1)), query.get("upper", Decimal(1)))
        curves = risk_curves(rule, limits, query)
    except FieldError as error:
        place = _PARAMETERS.get(error.field, error.field)
        detail, _, remedy = str(error).partition("; ")
        issue = Issue(place, detail, remedy or "check the query parameters")
        raise InvalidRecord(f"{place or 'the query'}: {detail}", [issue]) from None
    title = f"Risks of decision rule {rule.id}, version {rule.version}"
    return figures.drawn(kind, title, lambda: _draw(rule, limits, curves))


def risk_curves(rule: Rule, limits: Limits, query: Mapping[str, Any]) -> Curves:
    """Return the risks of a rule at `TURS`; raise FieldError."""
    lower, upper = limits.lower, limits.upper
    if lower is None or upper is None or lower == upper:
        raise FieldError("/lower", "a test uncertainty ratio needs two limits that differ")
    ends = float(lower), float(upper)
    words, points = _prior_words(query, rule, limits), []
    for tur in TURS:
        U = from_float(float(difference_over(upper, lower, Decimal(1), 2 * tur)))
        prior = _prior(query, rule, limits, U)
        accepted = _accepted(rule, limits, U, prior, words)
        points.append(_Point(accepted, prior, float(U) / 2))
    specific = np.array([_worst(point, ends) for point in points])
    closed = np.array([point.accepted is not None and point.accepted.empty for point in points])
    if not words:
        return Curves(specific, None, None, closed, words)
    consumer, producer = _global(points, ends)
    if any(point.prior is None for point in points):
        first = next((t for t, p in zip(TURS, points, strict=True) if p.prior is not None), None)
        words += ", which no prior explains"
        words += f" below TUR {first:.2g}" if first else ""
    return Curves(specific, consumer, producer, closed, words)


def _accepted(
    rule: Rule, limits: Limits, U: Decimal, prior: Prior | None, words: str
) -> Acceptance | None:
    """Return what the branch that decides at this U accepts; None where its prior is missing."""
    branch = choose(rule, limits, U, k=_K)
    if branch.rule is None:
        return nothing_stated(branch)
    if prior is None and branch.rule.guard.basis == "global_risk" and words != "":
        return None
    return acceptance(limits, U, branch.rule, k=_K, prior=prior)


def _prior(query: Mapping[str, Any], rule: Rule, limits: Limits, U: Decimal) -> Prior | None:
    """Return the prior at one U; None where there is none, or none explains the observed rate."""
    mean = query.get("prior_mean")
    if "reliability" in query:
        try:
            return prior_from_observed(query["reliability"], limits, U, _K, mean)
        except FieldError as error:
            if error.field == "/reliability":
                return None
            raise
    if "prior_sd" in query:
        return Prior(_middle(limits) if mean is None else mean, query["prior_sd"])
    return EXAMPLE_PRIOR if _as_in_the_examples(query, rule) else None


def _prior_words(query: Mapping[str, Any], rule: Rule, limits: Limits) -> str:
    if "reliability" in query:
        return f"prior from an observed in-tolerance rate of {plain(query['reliability'])}"
    if "prior_sd" in query:
        mean = plain(query.get("prior_mean", _middle(limits)))
        return f"prior with mean {mean} and standard deviation {plain(query['prior_sd'])}"
    if _as_in_the_examples(query, rule):
        return "prior of the examples, with mean 0 and standard deviation 0.5"
    return ""


def _middle(limits: Limits) -> Decimal:
    lower, upper = (Fraction(end) for end in (limits.lower, limits.upper) if end is not None)
    return ratio(lower + upper, Decimal(2))


def _as_in_the_examples(query: Mapping[str, Any], rule: Rule) -> bool:
    needed = any(one.guard.basis == "global_risk" for one in rule.chain())
    return needed and "lower" not in query and "upper" not in query


def _worst(point: _Point, ends: tuple[float, float]) -> float:
    found = point.accepted
    if found is None or found.empty:
        return nan
    edges = [float(edge) for edge in (found.lower, found.upper) if edge is not None]
    return float(specific_risk(edges, point.u, *ends).max())


def _global(points: Sequence[_Point], ends: tuple[float, float]) -> tuple[Floats, Floats]:
    consumer, producer = [], []
    for accepted, prior, u in points:
        if accepted is None or prior is None:
            consumer.append(nan)
            producer.append(nan)
            continue
        low, high = 1.0, -1.0
        if not accepted.empty and accepted.lower is not None and accepted.upper is not None:
            low, high = float(accepted.lower), float(accepted.upper)
        found = global_risk(*ends, low, high, float(prior.mean), float(prior.sd), u)
        consumer.append(float(found.consumer))
        producer.append(float(found.producer))
    return np.array(consumer), np.array(producer)


def _draw(rule: Rule, limits: Limits, curves: Curves) -> Figure:
    lower, upper = (plain(limit) for limit in (limits.lower, limits.upper) if limit is not None)
    words = f"Version {rule.version}: {describe_rule(rule)}; limits {lower} and {upper}"
    words += f"; {curves.prior}" if curves.prior else ""
    lines = figures.lines_of(words, _WIDTH - 32, most=3)
    entries = (1 if curves.consumer is None else 3) + int(curves.closed.any())
    top = 26 + 12 * len(lines) + 14 * entries + 10
    height = top + _PLOT + 40
    figure = figures.blank(_WIDTH, height)
    name = figures.cut(f"Risks of decision rule {figures.drawable(rule.id)}", _WIDTH - 60, 10)
    figure.text(16 / _WIDTH, 1 - 20 / height, name, size=10, weight="bold")
    for row, line in enumerate(lines):
        figure.text(16 / _WIDTH, 1 - (35 + 12 * row) / height, line, size=SMALL)
    axes = figure.add_axes((60 / _WIDTH, 40 / height, 426 / _WIDTH, _PLOT / height))
    _axes(axes)
    _lines(axes, curves)
    _nothing_passes(axes, curves.closed, None in branches(rule))
    axes.legend(
        loc="lower left",
        bbox_to_anchor=(-0.02, 1.01),
        frameon=False,
        fontsize=SMALL,
        handlelength=4,
        borderaxespad=0,
    )
    return figure


def _axes(axes: Axes) -> None:
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_xlim(0.5, 20)
    axes.set_ylim(_LEAST, _MOST)
    axes.xaxis.set_major_locator(FixedLocator([float(tur) for tur in _SHOWN_TURS]))
    axes.xaxis.set_major_formatter(FixedFormatter(_SHOWN_TURS))
    axes.yaxis.set_major_locator(FixedLocator([float(share) / 100 for share in _SHARES]))
    axes.yaxis.set_major_formatter(FixedFormatter([f"{share} %" for share in _SHARES]))
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_minor_locator(NullLocator())
    axes.tick_params(labelsize=SMALL)
    axes.grid(color="#d0d0d0", linewidth=0.5)
    axes.set_xlabel("Test uncertainty ratio TUR", fontsize=SMALL)
    axes.set_ylabel("Risk", fontsize=SMALL, labelpad=2)


def _lines(axes: Axes, curves: Curves) -> None:
    turs = [float(tur) for tur in TURS]
    risks = (curves.specific, curves.consumer, curves.producer)
    for (gid, words, style, marker), risk in zip(_CURVES, risks, strict=True):
        if risk is None:
            continue
        (line,) = axes.plot(
            turs,
            np.where(risk >= _LEAST, risk, nan),
            color=INK,
            linestyle=style,
            linewidth=1.4,
            marker=marker,
            markevery=10,
            markersize=4.5,
            markerfacecolor="white",
            label=words,
        )
        line.set_gid(gid)


def _nothing_passes(axes: Axes, closed: NDArray[np.bool_], silent: bool) -> None:
    """Hatch the ratios at which the rule accepts no result."""
    also = ", or no statement is made" if silent else ""
    label = f"no result can pass{also}"
    # Branches of a rule may leave more than one gap.
    for empty, run in groupby(zip(TURS, closed, strict=True), lambda pair: bool(pair[1])):
        if not empty:
            continue
        turs = [float(tur) for tur, _ in run]
        span = axes.axvspan(
            turs[0], turs[-1], facecolor="none", edgecolor=GREY, hatch="\\\\\\\\", linewidth=0
        )
        span.set_gid("no-result-can-pass")
        span.set_label(label)
        label = "_nolegend_"
