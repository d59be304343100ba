"""Which certificates does a fault touch, and what becomes of each? A slow reference answer.

Test oracle: the obvious reading of DESIGN sections 3, 5, 9 and 10, sharing no code with the
product. Every fault is walked alone; `oracle_entries` then adds the effects of several. Not
checked: whether the laboratory file is lawful.
"""

from __future__ import annotations

from typing import Any

from oracle_doubts import REASONS, Doubt, Doubts
from oracle_entries import entry_class, overall, points
from oracle_laboratory import Laboratory
from oracle_one_fault import CLEARING, Finding, OneFault
from oracle_records import Certificate, Json

PATHS_SHOWN = 50
LISTS = (
    "affected",
    "exposed_zero_effect",
    "indeterminate",
    "traced_not_recalled",
    "cannot_be_excluded",
    "cleared",
)


def recall(laboratory: Json, fault: Json | list[Json]) -> Json:
    """Answer one fault, or several at once.

    Returns window (a list of windows if a list of faults was given), affected,
    exposed_zero_effect, indeterminate, traced_not_recalled, cannot_be_excluded and cleared.
    Raises ValueError for a date-time without zone, a use or a fault that names an unknown
    certificate, an uncertainty that is not understated, or a calibration that rests on itself.
    """
    lab = Laboratory(laboratory)
    faults = fault if isinstance(fault, list) else [fault]
    walks = [OneFault(lab, one) for one in faults]
    asked = [Doubts(walk) for walk in walks]
    windows = [walk.window.as_json() for walk in walks]
    answer: Json = {"window": windows if isinstance(fault, list) else windows[0]}
    lists: dict[str, list[tuple[Any, Json]]] = {name: [] for name in LISTS}
    for certificate in lab.certificates:
        findings = [walk.find(certificate) for walk in walks]
        doubts = [one.of(certificate) for one in asked]
        order = (certificate.number, certificate.revision, certificate.key[1])
        if any(finding.kind for finding in findings):
            generation = min(f.generation for f in findings if f.kind)
            kind = entry_class(findings)
            name = kind if certificate.status == "issued" else "traced_not_recalled"
            shown = entry(certificate, findings, doubts, walks, kind)
            lists[name].append(((generation, *order), shown))
        elif certificate.status == "issued" and any(doubt.reasons for doubt in doubts):
            lists["cannot_be_excluded"].append((order, doubted_entry(certificate, doubts)))
        elif any(finding.cleared for finding in findings):
            lists["cleared"].append((order, cleared_entry(certificate, findings)))
    for name, entries in lists.items():
        answer[name] = [shown for _, shown in sorted(entries, key=lambda pair: pair[0])]
    return answer


def heading(certificate: Certificate, listed: str) -> Json:
    """What every entry begins with."""
    return {
        "certificate": certificate.number,
        "revision": certificate.revision,
        "item": certificate.item,
        "class": listed,
    }


def cleared_entry(certificate: Certificate, findings: list[Finding]) -> Json:
    """Entry of a direct user that no fault reaches."""
    if certificate.status != "issued":
        reason = "status"
    else:
        reason = min((f.cleared for f in findings if f.cleared), key=CLEARING.index)
    return heading(certificate, "cleared") | {"reason": reason}


def reasons_of(doubts: list[Doubt]) -> list[str]:
    """Reasons under all faults together, in the order in which DESIGN gives them."""
    found = {reason for doubt in doubts for reason in doubt.reasons}
    return [reason for reason in REASONS if reason in found]


def in_order(paths: set[tuple[str, ...]]) -> list[list[str]]:
    """Paths by length, then text, capped."""
    return [list(path) for path in sorted(paths, key=lambda path: (len(path), path))][:PATHS_SHOWN]


def doubted_entry(certificate: Certificate, doubts: list[Doubt]) -> Json:
    """Entry of a certificate that cannot be excluded."""
    return heading(certificate, "cannot_be_excluded") | {
        "customer": certificate.customer,
        "reasons": reasons_of(doubts),
        "reason_paths": in_order({path for doubt in doubts for path in doubt.paths}),
    }


def entry(
    certificate: Certificate,
    findings: list[Finding],
    doubts: list[Doubt],
    walks: list[OneFault],
    kind: str,
) -> Json:
    """Entry of a certificate that the faults reach."""
    issued = certificate.status == "issued"
    paths = {path for finding in findings for path in finding.paths}
    shown = heading(certificate, kind if issued else "traced_not_recalled") | {
        "generation": min(f.generation for f in findings if f.kind),
        "reason_paths": in_order(paths),
        "path_count": len(paths),
    }
    if not issued:
        return shown | {"reason": certificate.status}
    if certificate.external:
        shown["external"] = True
    if certificate.date_only:
        shown["date_only"] = True
    if reasons_of(doubts):
        shown["doubts"] = reasons_of(doubts)
    if kind == "indeterminate" and any("shares" in f.reasons for f in findings):
        shown["reason"] = "shares"
    shown["points"] = points(findings, walks, list(certificate.rows), kind)
    shown["overall"] = overall(shown["points"])
    if kind == "indeterminate":
        return shown | {"verdict_changes": None}
    if any(len(p.get("verdicts_possible", [])) > 1 for p in shown["points"]):
        shown["could_change"] = True
    changes = [p["changed"] for p in shown["points"]]
    shown["verdict_changes"] = True if True in changes else (None if None in changes else False)
    return shown


__all__ = ["LISTS", "recall"]
