"""The closed lists of words that records may use, each written once."""

from __future__ import annotations

ITEM_KINDS = (
    "reference_standard",
    "working_standard",
    "force_machine",
    "deadweight_machine",
    "readout",
    "adapter",
    "adapter_part",
    "customer_instrument",
    "environment_monitor",
    "software",
)
STATUSES = ("draft", "issued", "superseded", "voided")
MODES = ("tension", "compression")
DIRECTIONS = ("increasing", "decreasing")
STAGES = ("single", "as_found", "as_left")
CHECK_RESULTS = ("pass", "fail")
EVENT_KINDS = ("proof_load", "overload", "dropped", "shock", "side_load", "damage", "use")
PLACES = ("top", "bottom")
OUTCOMES = ("differs", "agrees", "not_checked")
