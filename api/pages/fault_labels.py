"""Where a fault in the form of a fault is told: by pointer the field, and what it is called."""

from __future__ import annotations

from api.pages import forms

LABELS = {
    "/fault": ("kind", "Fault"),
    "/fault/kind": ("kind", "What is wrong"),
    "/fault/item": ("item", "Item"),
    "/fault/certificate": ("item", "Certificate"),
    "/fault/method": ("item", "Method"),
    "/fault/channel": ("channel", "Channel"),
    "/fault/delta_rel": ("delta_rel", "Error of the true force"),
    "/fault/segments": ("segment-0-delta", "Errors by range of force"),
    "/fault/indication_rel": ("indication_rel", "It reads high by"),
    "/fault/factor_applied": ("factor_applied", "Factor applied"),
    "/fault/factor_right": ("factor_right", "Right factor"),
    "/fault/effect_rel": ("effect-0-type", "Effect by type"),
    "/fault/other_types": ("other_types", "All other types"),
    "/fault/gain": ("gain", "Gain"),
    "/fault/bound_rel": ("bound_rel", "Bound of the error"),
    "/fault/measured_at": ("measured_at", "Measured"),
    "/fault/U_rel_recorded": ("U_rel_recorded", "Uncertainty as it was recorded"),
    "/fault/U_rel_right": ("U_rel_right", "Right uncertainty"),
    "/fault/k_recorded": ("k_recorded", "Its coverage factor"),
    "/fault/k_right": ("k_right", "Coverage factor of the right one"),
    "/fault/delta_force": ("delta_force", "True less recorded force"),
    "/fault/unit": ("unit", "Unit of force"),
    "/fault/U_delta_force": ("U_delta_force", "Its uncertainty"),
    "/fault/coefficients_recorded": ("coefficients_recorded", "Coefficients that were used"),
    "/fault/coefficients_right": ("coefficients_right", "Right coefficients"),
    "/fault/of": ("of", "The polynomial gives"),
    "/fault/range": ("range_from", "Range of the curve"),
    "/fault/U_delta_rel": ("U_delta_rel", "Uncertainty of the error"),
    "/fault/U_delta_k": ("U_delta_k", "Its coverage factor"),
    "/fault/last_good_at": ("last_good_at", "Last good evidence"),
    "/fault/isolated_at": ("isolated_at", "Taken out of use"),
    "/fault/entered_at": ("entered_at", "Wrong factor entered"),
    "/fault/fixed_at": ("fixed_at", "Put right"),
    "/fault/discovered_at": ("discovered_at", "Discovered"),
    "/previous": ("previous", "Earlier recall"),
}


def labels(aside: int) -> forms.Labels:
    """Return the labels of the form, as `forms.load` takes them, with so many faults put aside."""
    if not aside:
        return LABELS
    last = {name.replace("/fault", f"/faults/{aside}", 1): said for name, said in LABELS.items()}
    return last | {f"/faults/{place}": ("aside", "Put aside") for place in range(aside)}
