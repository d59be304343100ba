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
# What a laboratory may ask of a certificate before it is issued (ISO/IEC 17025:2017, 7.8.2 and
# 7.8.4, from memory), and what it was measured in.
ASKED_AT_ISSUE = (
    "place",
    "conditions",
    "received_at",
    "order",
    "performed_by",
    "authorised_by",
    "customer",
    "method",
    "mode",
    "set_up_check",
    "run_evaluation",
    "budget",
)
