"""Uncertainty of measurement: from components to a stated expanded uncertainty, pure functions.

A budget: `standard` makes a figure a standard uncertainty, `combine` adds components up,
`student_factor` finds k, `rounded_up` writes U. Beside it the force of a deadweight, the figures
and classes of calibration runs, the comparison of two set-ups and the advice on intervals.

The contributions w1 to w8 of calibration runs have a `combine` of their own in the module
`run_components`, and what a capability allows is asked of the module `cmc`.

>>> from decimal import Decimal
>>> from api.rules.uncertainty import Component, combine, correlations, rounded_up, standard
>>> parts = [
...     Component("reference", standard("normal", {"U": Decimal("0.006"), "k": Decimal(2)})),
...     Component("resolution", standard("rectangular", {"half_width": Decimal("0.005")})),
... ]
>>> rounded_up(2 * combine(parts, correlations([one.name for one in parts], [])).u)
Decimal('0.0084')
"""

from typing import TYPE_CHECKING

from api.rules.lazy import give

if TYPE_CHECKING:
    from api.rules.uncertainty.air import AirDensity, air_density
    from api.rules.uncertainty.budget import Combined, Component, combine, effective_dof, relative
    from api.rules.uncertainty.classes import (
        CRITERIA,
        ClassTable,
        Judged,
        LowerLimit,
        LowerLimits,
        PointClass,
        class_begins,
        classify,
        lower_limits,
        shipped_tables,
        table_from_mapping,
    )
    from api.rules.uncertainty.cmc import Capability, Cmc, capability
    from api.rules.uncertainty.comparison import (
        NormalizedError,
        PointComparison,
        Readings,
        SetupComparison,
        compare,
        normalized_error,
    )
    from api.rules.uncertainty.components import READY, Ready
    from api.rules.uncertainty.correlation import Correlations, correlations
    from api.rules.uncertainty.coverage import (
        Dominated,
        Trapezoid,
        dominant,
        dominated_factor,
        half_interval,
        named_trapezoid,
        student_factor,
    )
    from api.rules.uncertainty.deadweight import (
        MASS_UNITS,
        Deadweight,
        Measured,
        Part,
        Piece,
        PieceForce,
        deadweight_force,
    )
    from api.rules.uncertainty.distributions import DISTRIBUTIONS, FORMS, Standard, standard
    from api.rules.uncertainty.gravity import FORMULAS, computed_gravity
    from api.rules.uncertainty.history import (
        NEVER,
        Event,
        Reading,
        changes,
        days_to_limit,
        share_of_tolerance,
    )
    from api.rules.uncertainty.interpolation import Fit, NotEnoughReadings, fit_polynomial
    from api.rules.uncertainty.intervals import (
        METHODS,
        Advice,
        Policy,
        Step,
        Use,
        advise,
        step_down,
    )
    from api.rules.uncertainty.machines import (
        MACHINE_FIGURES,
        MachinePoint,
        MachineReading,
        MachineSeries,
        evaluate_machine,
    )
    from api.rules.uncertainty.rounding import is_rounding_of, rounded_up, to_match
    from api.rules.uncertainty.runs import (
        Deflection,
        Figure,
        PointFigures,
        RunFigures,
        Runs,
        Series,
        evaluate_runs,
    )
    from api.rules.uncertainty.setup_effect import U_DELTA_K, SetupEffect, setup_effect
    from api.rules.uncertainty.t_tests import TTest, coverage_factor, paired_t, welch_t

__all__ = [
    "CRITERIA",
    "DISTRIBUTIONS",
    "FORMS",
    "FORMULAS",
    "MACHINE_FIGURES",
    "MASS_UNITS",
    "METHODS",
    "NEVER",
    "READY",
    "U_DELTA_K",
    "Advice",
    "AirDensity",
    "Capability",
    "ClassTable",
    "Cmc",
    "Combined",
    "Component",
    "Correlations",
    "Deadweight",
    "Deflection",
    "Dominated",
    "Event",
    "Figure",
    "Fit",
    "Judged",
    "LowerLimit",
    "LowerLimits",
    "MachinePoint",
    "MachineReading",
    "MachineSeries",
    "Measured",
    "NormalizedError",
    "NotEnoughReadings",
    "Part",
    "Piece",
    "PieceForce",
    "PointClass",
    "PointComparison",
    "PointFigures",
    "Policy",
    "Reading",
    "Readings",
    "Ready",
    "RunFigures",
    "Runs",
    "Series",
    "SetupComparison",
    "SetupEffect",
    "Standard",
    "Step",
    "TTest",
    "Trapezoid",
    "Use",
    "advise",
    "air_density",
    "capability",
    "changes",
    "class_begins",
    "classify",
    "combine",
    "compare",
    "computed_gravity",
    "correlations",
    "coverage_factor",
    "days_to_limit",
    "deadweight_force",
    "dominant",
    "dominated_factor",
    "effective_dof",
    "evaluate_machine",
    "evaluate_runs",
    "fit_polynomial",
    "half_interval",
    "is_rounding_of",
    "lower_limits",
    "named_trapezoid",
    "normalized_error",
    "paired_t",
    "relative",
    "rounded_up",
    "setup_effect",
    "share_of_tolerance",
    "shipped_tables",
    "standard",
    "step_down",
    "student_factor",
    "table_from_mapping",
    "to_match",
    "welch_t",
]

give(
    __name__,
    {
        "distributions": "DISTRIBUTIONS FORMS Standard standard",
        "components": "READY Ready",
        "correlation": "Correlations correlations",
        "budget": "Combined Component combine effective_dof relative",
        "coverage": (
            "Dominated Trapezoid dominant dominated_factor half_interval named_trapezoid "
            "student_factor"
        ),
        "rounding": "is_rounding_of rounded_up to_match",
        "cmc": "Capability Cmc capability",
        "gravity": "FORMULAS computed_gravity",
        "air": "AirDensity air_density",
        "deadweight": "Deadweight MASS_UNITS Measured Part Piece PieceForce deadweight_force",
        "runs": "Deflection Figure PointFigures RunFigures Runs Series evaluate_runs",
        "machines": ("MACHINE_FIGURES MachinePoint MachineReading MachineSeries evaluate_machine"),
        "interpolation": "Fit NotEnoughReadings fit_polynomial",
        "classes": (
            "CRITERIA ClassTable Judged LowerLimit LowerLimits PointClass class_begins classify "
            "lower_limits shipped_tables table_from_mapping"
        ),
        "t_tests": "TTest coverage_factor paired_t welch_t",
        "comparison": (
            "NormalizedError PointComparison Readings SetupComparison compare normalized_error"
        ),
        "setup_effect": "SetupEffect U_DELTA_K setup_effect",
        "history": "Event NEVER Reading changes days_to_limit share_of_tolerance",
        "intervals": "Advice METHODS Policy Step Use advise step_down",
    },
)
