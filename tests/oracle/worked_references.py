"""When is a check no evidence because of the standard against which it was made?

DESIGN section 9: not independent is a check that "was made against an item that itself rests on the
faulty one"; section 10: doubt is passed on like a value and ends like one. Each case is decided by
hand in the comment beside it, never by a run of the oracle.
"""

from __future__ import annotations

from copy import deepcopy
from typing import Any

from oracle_cases import OPEN, Json, cal, force_fault, lab, part, ref, row

CHECK: Json = {
    "id": "K-1",
    "item": "REF",
    "at": "2025-06-01T00:00:00Z",
    "result": "pass",
    "acceptance_limit_rel": "0.0002",
    "U_rel": "0.0002",
    "independent": True,
    "covers": "full range",
    "against": "STD",
}
MOVED, KEPT = CHECK["at"], OPEN["last_good_at"]
TENSION, COMPRESSION = {"mode": "tension"}, {"mode": "compression"}
ADAPTER = {"item": "ADP", "role": "adapter"}
# REF bears 10 kN and 20 kN here, so that a check at either covers its used range.
USED = cal("C-1", "CI", "07-01", [ref("REF")], [row("10"), row("20", point=2)])


def by(item: str, number: str, at: str, force: str = "10", of: str = "STD", **more: Any) -> Json:
    """One calibration of the standard (or `of`) by an item, at a force in kN."""
    return cal(number, of, at, [ref(item)], [row(force)], **more)


VOID = {"status": "voided", "void_reason": "invented"}
EARLIER = by("REF", "S-1", "02-01")  # on the faulty item, at 10 kN
CASES: dict[str, tuple[list[Json], Json, str]] = {
    # The value in force is by OTHER; S-1 is over.
    "recalibrated": ([EARLIER, by("OTHER", "S-2", "03-01")], {}, MOVED),
    "by the faulty item": ([EARLIER], {}, KEPT),
    # No value in tension; the one in compression is by the faulty item.
    "other mode only": ([EARLIER | COMPRESSION], TENSION, KEPT),
    "its own mode": (
        [EARLIER | COMPRESSION, by("OTHER", "S-2", "03-01") | TENSION],
        TENSION,
        MOVED,
    ),
    # The check says no mode: had it been in tension, S-1 would be its value.
    "mode not recorded": ([EARLIER | TENSION, by("OTHER", "S-2", "03-01") | COMPRESSION], {}, KEPT),
    # S-2, were it not void, would be the value in force; nobody knows when it was voided.
    "undated void": ([by("OTHER", "S-1", "02-01"), by("REF", "S-2", "03-01") | VOID], {}, KEPT),
    "dated void": (
        [by("OTHER", "S-1", "02-01"), by("REF", "S-2", "03-01", voided_at="2025-04-01") | VOID],
        {},
        MOVED,
    ),
    # Checked at 10 kN, where S-2 (20 kN) says nothing and S-1 does; then at 20 kN.
    "outside its range": (
        [EARLIER, by("OTHER", "S-2", "03-01", force="20")],
        {"covers": ["10"]},
        KEPT,
    ),
    # REF is used at 10 kN, too, which the full range holds.
    "outside its range somewhere": ([EARLIER, by("OTHER", "S-2", "03-01", force="20")], {}, KEPT),
    "inside its range": (
        [EARLIER, by("OTHER", "S-2", "03-01", force="20")],
        {"covers": ["20"]},
        MOVED,
    ),
    # S-1 names nothing as force_reference, the role of REF: in the window, before it, elsewhere.
    "no use in role": ([cal("S-1", "STD", "02-01", [ADAPTER])], {}, KEPT),
    "no use before the window": ([cal("S-1", "STD", "2024-12-01", [ADAPTER])], {}, MOVED),
    "no use elsewhere": ([cal("S-1", "STD", "02-01", [ADAPTER], external=True)], {}, MOVED),
    # A fault of one direction: a certificate all of whose points are of the other one has nothing
    # of it (DESIGN 10: their delta is 0), whatever its record does not name.
    "no use in role, other direction": (
        [cal("S-1", "STD", "02-01", [ADAPTER], [row(direction="increasing")])],
        {},
        MOVED,
    ),
    "no use in role, its direction": (
        [cal("S-1", "STD", "02-01", [ADAPTER], [row(direction="decreasing")])],
        {},
        KEPT,
    ),
    "no use in role, some other direction": (
        [cal("S-1", "STD", "02-01", [ADAPTER], [row(direction="increasing"), row(point=2)])],
        {},
        KEPT,
    ),
    # It rests on the faulty item, if only at zero force, where no relative error shows.
    "at zero force": ([by("REF", "S-1", "02-01", force="0")], {}, KEPT),
    "for a point at zero force": (
        [cal("S-1", "STD", "02-01", [ref("REF", points=[1])], [row("0"), row("10", point=2)])],
        {},
        KEPT,
    ),
    # The doubt is that of MID, one step up.
    "rests on doubt": (
        [cal("M-1", "MID", "02-01", [ADAPTER]), by("MID", "S-1", "03-01")],
        {},
        KEPT,
    ),
    "doubt is over": (
        [
            cal("M-1", "MID", "02-01", [ADAPTER]),
            by("OTHER", "M-2", "02-15", of="MID"),
            by("MID", "S-1", "03-01"),
        ],
        {},
        MOVED,
    ),
    # MID is used at 20 kN, inside its value by OTHER: its earlier certificate is of no matter ...
    "an earlier value is over": (
        [
            by("REF", "M-1", "02-01", of="MID"),
            by("OTHER", "M-2", "02-15", force="20", of="MID"),
            by("MID", "S-1", "03-01", force="20"),
        ],
        {},
        MOVED,
    ),
    # ... used at 10 kN, outside that value and inside the earlier one, it may be.
    "an earlier value reaches further": (
        [
            by("REF", "M-1", "02-01", of="MID"),
            by("OTHER", "M-2", "02-15", force="20", of="MID"),
            by("MID", "S-1", "03-01", force="10"),
        ],
        {},
        KEPT,
    ),
    # A part by the faulty item; a later own value of the assembly is passed on alone.
    "a part of it": ([by("REF", "P-1", "02-01", of="PART")], {}, KEPT),
    "shielded": (
        [by("REF", "P-1", "02-01", of="PART"), by("OTHER", "S-1", "03-01")],
        {},
        MOVED,
    ),
    "a part newer than its own": (
        [by("REF", "P-1", "04-01", of="PART"), by("OTHER", "S-1", "03-01")],
        {},
        KEPT,
    ),
}


def fault(name: str) -> Json:
    """The fault of a case: of all directions, unless the case is about one of them."""
    return force_fault(**({"only": {"directions": ["decreasing"]}} if "direction" in name else {}))


def laboratory(name: str) -> tuple[Json, str]:
    """The laboratory of a case, and the start of the window that was worked out for it.

    It is a copy: whoever changes it changes no other case.
    """
    calibrations, change, start = deepcopy(CASES[name])
    parts = [part("STD", "PART")] if "part" in name or name == "shielded" else []
    kinds = {"ADP": "adapter", "PART": "working_standard", "STD": "working_standard"}
    made = lab(USED, *calibrations, composition=parts, kinds=kinds, checks=[CHECK | change])
    return made, start
