"""What each kind of fault needs and may carry: tables alone, so that reading them loads nothing."""

from __future__ import annotations

# What each kind needs, and what else it may carry.
NEEDS: dict[str, tuple[str, ...]] = {
    "true_force_relative_error": (),
    "indicates_high": ("indication_rel",),
    "wrong_correction_factor": ("factor_applied", "factor_right"),
    "indication_effect_by_type": ("effect_rel",),
    "readout_gain": ("gain",),
    "interval": ("bound_rel",),
    "unknown": (),
    "linear_drift": ("delta_rel", "measured_at"),
    "understated_uncertainty": ("U_rel_recorded", "U_rel_right"),
    "true_force_offset": ("delta_force", "unit"),
    "wrong_curve": ("coefficients_right",),
}
MAY: dict[str, tuple[str, ...]] = {
    "true_force_relative_error": ("delta_rel", "segments"),
    "indication_effect_by_type": ("other_types",),
    "readout_gain": ("formula",),
    "understated_uncertainty": ("k_recorded", "k_right"),
    "true_force_offset": ("U_delta_force",),
    "wrong_curve": ("coefficients_recorded", "of", "unit", "range"),
}
# Numbers that every kind may carry save those which state their uncertainty in other terms.
STATES_ITS_OWN_U = {
    "understated_uncertainty": ("U_delta_rel", "U_delta_k"),
    "true_force_offset": ("U_delta_rel",),
}
OWN = {name for names in (*NEEDS.values(), *MAY.values()) for name in names}
DATA_FAULTS = ("wrong_correction_factor",)


def bounds_of(kind: str) -> tuple[str, str]:
    """Fields that bound the window of a kind of fault on an item."""
    return ("entered_at", "fixed_at") if kind in DATA_FAULTS else ("last_good_at", "isolated_at")
