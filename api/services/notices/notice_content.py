"""What stands in a notice: one customer's certificates, before and after, and what to do.

Everything is taken from the stored recall and from the certificates of this one customer, so that
nobody reads another customer's data (ISO/IEC 17025:2017, 4.2, from memory). Reason paths and
justifications are left out for that reason; a reason that was written for the customer is told.
Numbers keep the unit and digits of the certificate.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import orjson
from sqlalchemy import Row, exists, select
from sqlalchemy.orm import Session, aliased

from api.rules.exact import reported_uncertainty, reported_value
from api.rules.rule import rule_from_mapping
from api.rules.wording import describe_rule
from api.services.base.record import Record
from api.services.casework.no_action import becomes_fail, loses_statement
from api.services.notices import notice_words as words
from api.services.recalls.entries import is_given_back
from api.services.recalls.recall_states import NONE, recall_states
from api.store.casework import Disposition
from api.store.chunks import chunks
from api.store.tables import Certificate, DecisionRule, Item, Recall, RecallEntry, Result
from graph.lists import AFFECTED, INDETERMINATE, NOT_EXCLUDED
from graph.moments import instant_us

IDENTITY = ("manufacturer", "maker", "model", "serial", "serial_number", "asset", "customer_id")
# The stages whose values the item is used with afterwards.
LEFT = ("as_left", "single")
Later, Listed = aliased(Certificate), aliased(Certificate)


@dataclass(frozen=True, slots=True)
class Subject:
    """One certificate of the customer: its row, its entry in the recall, and what is done."""

    certificate: Certificate
    item: Item
    entry: Record
    disposition: Disposition | None


def subjects(
    session: Session, recall_id: int, keys: Iterable[int], decided: Mapping[int, Disposition]
) -> list[Subject]:
    """Return the certificates with these keys, in the order of the recall's lists."""
    found = []
    for some in chunks(sorted(keys)):
        rows = session.execute(
            select(Certificate, Item, RecallEntry.body)
            .join(Item, Item.id == Certificate.item_id)
            .join(RecallEntry, RecallEntry.certificate_id == Certificate.id)
            .where(RecallEntry.recall_id == recall_id, Certificate.id.in_(some))
        )
        found += [
            Subject(certificate, item, orjson.loads(body), decided.get(certificate.id))
            for certificate, item, body in rows
        ]
    return sorted(found, key=lambda one: (one.certificate.performed_us, one.certificate.number))


def certificates(session: Session, recall_id: int, chosen: Sequence[Subject]) -> list[Record]:
    """Return the part of a notice that speaks of each certificate."""
    results = _results(session, [one.certificate.id for one in chosen])
    again = _calibrated_again(session, recall_id, chosen)
    return [
        _certificate(one, results.get(one.certificate.id, []), again.get(one.certificate.id))
        for one in chosen
    ]


def faults(session: Session, recall: Recall) -> list[str]:
    """Return what was wrong, one sentence for each fault."""
    named = {fault["item"] for fault in recall.faults if "item" in fault}
    rows = session.execute(select(Item.code, Item.kind).where(Item.code.in_(named)))
    kinds = {row.code: row.kind for row in rows}
    return [words.fault_in_words(fault, kinds.get(fault.get("item"))) for fault in recall.faults]


def periods(recall: Recall, zone: ZoneInfo) -> list[str]:
    """Return the periods concerned, in words."""
    head = orjson.loads(recall.head)
    windows = head.get("windows") or ([head["window"]] if "window" in head else [])
    found = [
        words.period_in_words(_instant(one.get("start")), _instant(one.get("end")), zone)
        for one in windows
    ]
    return list(dict.fromkeys(found))


def _instant(text: str | None) -> int | None:
    return None if text is None else instant_us(text, ZoneInfo("UTC"))


def _certificate(
    one: Subject, results: Sequence[Row[*tuple[Any, ...]]], again: str | None
) -> Record:
    certificate, entry = one.certificate, one.entry
    # Of what cannot be excluded nothing is known that could be told point by point.
    matched = [] if entry["class"] == NOT_EXCLUDED else _matched(entry, results)
    points = [
        _point(point, row) for point, row in zip(entry.get("points", ()), matched, strict=True)
    ]
    stages = {point["stage"] for point in points}
    reasons = entry.get("reasons", [])
    given_back = is_given_back(entry)
    effect = words.effect_in_words(entry["class"], reasons, given_back=given_back)
    if {"as_found", "as_left"} <= stages:
        effect += f" {words.STAGES['as_found']}"
    may, why = words.now_in_words(_left_shifted(entry), bool(certificate.adjusted), again)
    return {
        "certificate": certificate.number,
        "revision": certificate.revision,
        "performed_at": certificate.performed_at,
        "issued_at": certificate.issued_at,
        "item": _item(one.item),
        "class": entry["class"],
        **({"reasons": reasons} if reasons else {}),
        "effect": effect,
        "verdict_changes": entry.get("verdict_changes"),
        "points": points,
        "may_read_wrong_now": {"answer": may, "words": why},
        "action": _action(one, points),
        "amended_by_revision": certificate.superseded_by,
    }


def _action(one: Subject, points: Sequence[Record]) -> Record:
    made = one.disposition
    action, reason = (made.action, made.reason_for_customer) if made else (None, None)
    said = words.action_in_words(
        action,
        corrected=_all_corrected(points),
        fails=becomes_fail(one.entry),
        silent=loses_statement(one.entry),
        reason=reason,
    )
    return {"action": action, "words": said, **({} if reason is None else {"reason": reason})}


def _all_corrected(points: Sequence[Record]) -> bool:
    """Whether one corrected value is given at every point; two bounds are none to use."""
    return bool(points) and all(isinstance(one["corrected_error"], str) for one in points)


def _item(item: Item) -> Record:
    properties = item.properties or {}
    shown = {"id": item.code, "type": item.type, "capacity": item.capacity}
    shown |= {"make": item.make, "model": item.model}
    shown |= {name: properties[name] for name in IDENTITY if name in properties}
    return {name: value for name, value in shown.items() if value is not None}


def _matched(
    entry: Record, results: Sequence[Row[*tuple[Any, ...]]]
) -> Sequence[Row[*tuple[Any, ...]]]:
    """Results in the order of the points of an entry; both stand in the order of the record."""
    if len(entry.get("points", ())) != len(results):
        raise ValueError(f"results of {entry['certificate']} do not fit its entry")
    return results


def _point(point: Record, row: Row[*tuple[Any, ...]]) -> Record:
    result: Result = row.Result
    relative = point["unit"] == "%"
    error = result.error_rel_pct if relative else result.error
    if error is None and result.indicated is not None and result.applied is not None:
        error = result.indicated - result.applied
    U, U_unit = (result.U_rel_pct, "%") if relative else (result.U, result.unit)
    if U is None:
        U, U_unit = (result.U, result.unit) if relative else (result.U_rel_pct, "%")
    after = Decimal(point["U_after"]) if "U_after" in point else None
    return {
        "point": point["point"],
        "stage": point["stage"],
        "applied": _text(result.applied),
        "indicated": _text(result.indicated),
        "applied_unit": result.unit,
        "unit": point["unit"],
        "reported_error": _text(error),
        "corrected_error": point["corrected_error"],
        "corrected_error_rounded": _rounded(
            point["corrected_error"], after or (U if U_unit == point["unit"] else None)
        ),
        "U": _text(U),
        "U_unit": None if U is None else U_unit,
        "U_after": point.get("U_after"),
        "U_after_rounded": _text(reported_uncertainty(after) if after else after),
        "k": _text(result.k),
        "limits": {"lower": _text(result.limit_lower), "upper": _text(result.limit_upper)},
        "rule": _rule(row),
        "verdict_before": point["verdict_before"],
        # Only where its rule had given another one before the fault, or has several branches.
        **{name: point[name] for name in ("decided_before", "branch_after") if name in point},
        "verdict_after": point["verdict_after"],
        "verdicts_possible": point.get("verdicts_possible"),
        "changed": point["changed"],
    }


def _rounded(value: Any, U: Decimal | None) -> Any:
    """A corrected error, or both its bounds, to the last place of its uncertainty."""
    if isinstance(value, dict):
        return {side: _rounded(bound, U) for side, bound in value.items()}
    return value if value is None or not U else _text(reported_value(Decimal(value), U))


def _text(number: Decimal | None) -> str | None:
    return None if number is None else format(number, "f")


def _rule(row: Row[*tuple[Any, ...]]) -> str | None:
    if row.code is None:
        return None
    definition = {**row.definition, "id": row.code, "version": row.rule_version}
    rule = describe_rule(rule_from_mapping(definition))
    return f"{row.code}, version {row.rule_version}: {rule}"


def _left_shifted(entry: Record) -> bool | None:
    """Whether a value that the item was left with moved; None where that is not known."""
    shifts = [one["shift"] for one in entry.get("points", ()) if one["stage"] in LEFT]
    if entry["class"] in (INDETERMINATE, NOT_EXCLUDED) or None in shifts:
        return None
    return any(shift != "0" for shift in shifts)


def _results(session: Session, keys: Sequence[int]) -> dict[int, list[Row[*tuple[Any, ...]]]]:
    found: dict[int, list[Row[*tuple[Any, ...]]]] = {}
    for some in chunks(sorted(keys)):
        rows = session.execute(
            select(Result, DecisionRule.code, DecisionRule.rule_version, DecisionRule.definition)
            .outerjoin(DecisionRule, DecisionRule.id == Result.rule_id)
            .where(Result.certificate_id.in_(some))
            .order_by(Result.certificate_id, Result.position)
        )
        for row in rows:
            found.setdefault(row.Result.certificate_id, []).append(row)
    return found


def _calibrated_again(
    session: Session, recall_id: int, chosen: Sequence[Subject]
) -> dict[int, str]:
    """How each item was calibrated later by something of which nothing is in doubt, in words.

    A certificate that any recall lists, or may newly reach, is no comfort, nor is a revision that
    corrects one that this recall lists: the calibration is the same.
    """
    listed = exists().where(
        RecallEntry.recall_id == recall_id,
        RecallEntry.list_name.in_((AFFECTED, INDETERMINATE, NOT_EXCLUDED)),
        Listed.id == RecallEntry.certificate_id,
        Listed.item_id == Later.item_id,
        Listed.number == Later.number,
        Listed.issuer == Later.issuer,
    )
    found: dict[int, str] = {}
    for some in chunks(sorted(one.certificate.id for one in chosen)):
        rows = session.execute(
            select(
                Certificate.id,
                Later.id.label("later"),
                Later.number,
                Later.performed_at,
                (Later.customer_id == Certificate.customer_id).label("own"),
            )
            .join(Later, Later.item_id == Certificate.item_id)
            .where(
                Certificate.id.in_(some),
                Later.status == "issued",
                Later.performed_us > Certificate.performed_us,
                ~listed,
            )
            .order_by(Later.performed_us)
        ).all()
        states = recall_states(session, {row.later for row in rows})
        for row in rows:
            if states[row.later] != NONE:
                continue
            found[row.id] = f"certificate {row.number}, {row.performed_at}" if row.own else "by us"
    return found
