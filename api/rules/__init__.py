"""Decision and uncertainty maths: pure functions on frozen values, no framework and no storage.

Reads the standard library, NumPy and scipy.special only. Start at `decide` for one result, at
`decide_columns` for columns of results. `decide_frame` (`api.frames`) is for a data frame in a
script what `tracehold evaluate` is for a file. Budgets and what they are made of are in
`api.rules.uncertainty`, the fit of a set-up in `api.rules.fitting`.

>>> from decimal import Decimal
>>> from api.rules import BUILT_IN, Limits, decide
>>> limits = Limits(Decimal(9), Decimal(11))
>>> decide(Decimal("10.8"), Decimal("0.2"), limits, BUILT_IN["guard_U"]).verdict
'pass'
"""

from typing import TYPE_CHECKING

from api.rules.lazy import give

if TYPE_CHECKING:
    from api.frames import decide_frame
    from api.rules.acceptance import Acceptance, Prior, acceptance
    from api.rules.at_95 import uncertainty_ratio
    from api.rules.branches import Branch, Check, choose
    from api.rules.decide import Decision, decide
    from api.rules.exact import FieldError, Number, plain, reported_uncertainty, reported_value
    from api.rules.guard import BASES, Guard
    from api.rules.judge import Judge, Ruling
    from api.rules.limits import Limits, LimitsError
    from api.rules.precondition import Precondition
    from api.rules.reliability import prior_from_observed
    from api.rules.risk import (
        GlobalRisk,
        Posterior,
        conformance_probability,
        global_risk,
        posterior,
        specific_risk,
    )
    from api.rules.rule import BUILT_IN, NO_STATEMENT, Rule, rule_from_mapping
    from api.rules.rule_parts import RuleError
    from api.rules.settling import RowError
    from api.rules.solve import band_for_global_risk, band_for_specific_risk, prior_from_reliability
    from api.rules.units import (
        FORCE_UNITS,
        UnknownUnit,
        convert,
        is_force,
        parse_quantity,
        to_newton,
    )
    from api.rules.vector import COLUMNS, decide_columns, decide_rows
    from api.rules.verdicts import VERDICTS, breakpoints, reachable, verdict, worst
    from api.rules.wording import describe_guard, describe_rule, statement

__all__ = [
    "BASES",
    "BUILT_IN",
    "COLUMNS",
    "ENGINE_VERSION",
    "FORCE_UNITS",
    "NO_STATEMENT",
    "VERDICTS",
    "Acceptance",
    "Branch",
    "Check",
    "Decision",
    "FieldError",
    "GlobalRisk",
    "Guard",
    "Judge",
    "Limits",
    "LimitsError",
    "Number",
    "Posterior",
    "Precondition",
    "Prior",
    "RowError",
    "Rule",
    "RuleError",
    "Ruling",
    "UnknownUnit",
    "acceptance",
    "band_for_global_risk",
    "band_for_specific_risk",
    "breakpoints",
    "choose",
    "conformance_probability",
    "convert",
    "decide",
    "decide_columns",
    "decide_frame",
    "decide_rows",
    "describe_guard",
    "describe_rule",
    "global_risk",
    "is_force",
    "parse_quantity",
    "plain",
    "posterior",
    "prior_from_observed",
    "prior_from_reliability",
    "reachable",
    "reported_uncertainty",
    "reported_value",
    "rule_from_mapping",
    "specific_risk",
    "statement",
    "to_newton",
    "uncertainty_ratio",
    "verdict",
    "worst",
]

# Stored with every decision and recall: which maths gave the answer.
ENGINE_VERSION = "0.4.0"

# The module of each name: a rule alone needs neither NumPy nor SciPy.
give(
    __name__,
    {
        "exact": "FieldError Number plain reported_uncertainty reported_value",
        "units": "FORCE_UNITS UnknownUnit convert is_force parse_quantity to_newton",
        "limits": "Limits LimitsError",
        "guard": "BASES Guard",
        "precondition": "Precondition",
        "rule_parts": "RuleError",
        "rule": "BUILT_IN NO_STATEMENT Rule rule_from_mapping",
        "branches": "Branch Check choose",
        "acceptance": "Acceptance Prior acceptance",
        "at_95": "uncertainty_ratio",
        "verdicts": "VERDICTS breakpoints reachable verdict worst",
        "judge": "Judge Ruling",
        "decide": "Decision decide",
        "wording": "describe_guard describe_rule statement",
        "settling": "RowError",
        "vector": "COLUMNS decide_columns decide_rows",
        # Above this package; scripts look for it here, and get it when they ask.
        "api.frames": "decide_frame",
        "risk": "GlobalRisk Posterior conformance_probability global_risk posterior specific_risk",
        "solve": "band_for_global_risk band_for_specific_risk prior_from_reliability",
        "reliability": "prior_from_observed",
    },
)
