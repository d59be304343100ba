"""What a certificate states: its results with their limits and verdicts, and the sentence of each.

The verdict is the one that was reported, else what the recorded rule says of the recorded numbers,
as in a recall. Not checked: that the paper says the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.rules.verdicts import worst
from api.rules.wording import describe_guard
from api.services.recalls.reading import Traced
from api.services.recalls.reading_results import Measured, Statement
from api.store.reading import SessionReader
from api.store.sources import Recorded
from api.store.tables import Result
from graph.exact import Exact, text
from graph.model import Point

STAGES = {"single": "", "as_found": "As found: ", "as_left": "As left: "}
OUTCOMES = {
    "pass": "every result meets its specification",
    "conditional_pass": "at least one result meets its specification on condition only",
    "conditional_fail": "at least one result does not meet its specification, on condition",
    "fail": "at least one result does not meet its specification",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One result; numbers as text in `unit` ("%" for relative results), None where not recorded.

    `rule` names the decision rule in words.
    """

    point: str
    stage: str
    unit: str | None
    applied: str | None
    error: str | None
    U: str | None
    lower: str | None
    upper: str | None
    verdict: str | None
    rule: str | None


def rows(session: Session, certificate: int) -> list[Row]:
    """Return the results of one certificate, by its key, in their order."""
    traced = Traced(Recorded(SessionReader(session)))
    traced.read({certificate})
    limits = session.execute(
        select(Result.limit_lower, Result.limit_upper)
        .where(Result.certificate_id == certificate)
        .order_by(Result.position)
    ).all()
    found = []
    for calibration, statements in Measured(traced).in_order([certificate], {certificate}):
        for point, said, limit in zip(calibration.points, statements, limits, strict=True):
            found.append(_row(point, said, limit.limit_lower, limit.limit_upper))
    return found


def _row(point: Point, said: Statement, lower: Decimal | None, upper: Decimal | None) -> Row:
    verdict, rule = said.reported, None
    if said.ruling is not None:
        one = said.ruling.judge.rule
        rule = f"{one.id}, version {one.version}: {describe_guard(one.guard)}"
        if verdict is None and point.error is not None:
            verdict = said.ruling.verdict(point.error)
    return Row(
        str(point.name),
        point.stage,
        point.unit,
        _text(point.recorded),
        _text(point.error),
        _text(point.U),
        _text(lower),
        _text(upper),
        verdict,
        rule,
    )


def sentences(found: Sequence[Row]) -> list[str]:
    """Return the statement of conformity of each stage, with results covered and rules applied."""
    stages: dict[str, list[Row]] = {}
    for row in found:
        stages.setdefault(row.stage, []).append(row)
    return [_sentence(stage, some) for stage, some in stages.items()]


def by_place(found: Sequence[Row], points: Sequence[Mapping[str, Any]]) -> list[Row | None]:
    """Return the result that each point of a recall's entry moved: both are in recorded order."""
    matched = len(found) == len(points) and all(
        row.point == str(one["point"]) and row.stage == one["stage"]
        for row, one in zip(found, points, strict=False)
    )
    return list(found) if matched else [None] * len(points)


def _sentence(stage: str, some: Sequence[Row]) -> str:
    verdicts = [row.verdict for row in some if row.verdict is not None]
    units = {row.unit for row in some}
    unit = next(iter(units)) if len(units) == 1 and units != {"%"} else None
    applied = [row.applied for row in some if row.applied is not None]
    covered = f"{len(verdicts)} of {len(some)} results are judged" if verdicts else ""
    if len(verdicts) == len(some):
        covered = "1 result" if len(some) == 1 else f"{len(some)} results"
        if len(applied) > 1 and unit:
            covered += f" at {applied[0]} to {applied[-1]} {unit}"
    if not verdicts:
        said = f"no statement of conformity is made for its {len(some)} result(s)."
        return _upper(f"{STAGES.get(stage, '')}{said}")
    rules = sorted({row.rule for row in some if row.verdict is not None and row.rule is not None})
    applied_rules = f" Decision rule {'; '.join(rules)}." if rules else ""
    told = f"{STAGES.get(stage, '')}{OUTCOMES[worst(verdicts)]} ({covered}).{applied_rules}"
    return _upper(told)


def _upper(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _text(value: Exact | None) -> str | None:
    return None if value is None else text(value)
