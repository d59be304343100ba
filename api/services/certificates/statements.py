"""What a certificate states: every result decided by its rule, overall by stage, one statement.

The verdict of a result is what the recorded version of its rule makes of the recorded numbers and
limits, as in a recall. Where that decides nothing, what was reported is told as reported; where
both are there and differ, the statement says so (ISO/IEC 17025:2017, 7.8.6.2: results covered,
specifications met or not, rule applied). A result of which its rule makes no statement is not
covered: the statement names it apart, with the reason, and the stage as a whole has no statement
either, unless another of its points fails (ILAC-G8:09/2019, 4.2, from memory, leaves such rules to
what was agreed). Not checked: that the paper says the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.rules.branches import Branch
from api.rules.rule import NO_STATEMENT
from api.rules.verdicts import worst
from api.rules.wording import describe_rule
from api.services.decisions.specifications import specification_names
from api.services.recalls.reading_results import Statement, judged
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
MET = {
    "fail": "not met",
    "conditional_fail": "not met, on condition",
    "conditional_pass": "met on condition",
    "pass": "met",
}
_RUN = 3  # whole numbers in a row from here on are told by their ends


@dataclass(frozen=True, slots=True)
class Row:
    """One result; numbers as text in `unit` ("%" for relative results), None where not recorded.

    `decided` is the verdict of the rule, `reported` the one that was sent. `rule` names the
    decision rule in words, `specification` the recorded version that its limits came from, `branch`
    which branch of a rule with a precondition decided, `why_open` why its rule decides nothing.
    """

    point: str
    stage: str
    unit: str | None
    applied: str | None
    error: str | None
    U: str | None
    lower: str | None
    upper: str | None
    decided: str | None
    reported: str | None
    rule: str | None
    specification: str | None
    direction: str | None
    branch: Branch | None = None
    why_open: str | None = None

    @property
    def stated(self) -> bool:
        """Whether its rule states something of it."""
        return self.decided not in (None, NO_STATEMENT)

    @property
    def verdict(self) -> str | None:
        """What the result is shown with: the rule's verdict, else the one that was reported."""
        return self.reported if self.decided is None else self.decided

    @property
    def contradicted(self) -> bool:
        """Whether another verdict was reported than the rule gives."""
        return None not in (self.decided, self.reported) and self.decided != self.reported


def rows(session: Session, certificate: int) -> list[Row]:
    """Return the results of one certificate, by its key, in their order."""
    limits = session.execute(
        select(Result.limit_lower, Result.limit_upper, Result.specification_id, Result.rule_id)
        .where(Result.certificate_id == certificate)
        .order_by(Result.position)
    ).all()
    named = specification_names(session, {one.specification_id for one in limits})
    return [
        _row(point, said, limit, named.get(limit.specification_id))
        for (point, said), limit in zip(
            judged(Recorded(SessionReader(session)), [certificate]).get(certificate, ()),
            limits,
            strict=True,
        )
    ]


def _row(point: Point, said: Statement, limit: Any, specification: str | None) -> Row:
    rule = branch = None
    lower, upper = limit.limit_lower, limit.limit_upper
    decided = said.decided(point)
    if said.ruling is not None:
        one = said.ruling.judge.rule
        rule = f"{one.id}, version {one.version}: {describe_rule(one)}"
        branch = said.ruling.branch
    return Row(
        str(point.name),
        point.stage,
        point.unit,
        _text(point.recorded),
        _text(point.error),
        _text(point.U),
        _text(lower),
        _text(upper),
        decided,
        said.reported,
        rule,
        specification,
        point.direction,
        branch,
        None if decided or limit.rule_id is None else _why_open(point, lower, upper),
    )


def _why_open(point: Point, lower: Decimal | None, upper: Decimal | None) -> str | None:
    """Why a rule decides nothing about a result that has limits."""
    if lower is None and upper is None:
        return None
    if point.error is None:
        return "its error is not recorded"
    if point.U is None:
        return "its uncertainty is not recorded"
    if lower is None or upper is None:
        return "its decision rule needs both limits"
    return "its decision rule gives no guard band for it"


def overall(found: Sequence[Row]) -> dict[str, str | None]:
    """Return the verdict of each stage: its worst point (`verdicts.worst`); None while it is open.

    A stage with a result that is not decided is open, unless it fails already.
    """
    verdicts = {}
    for stage, some in _by_stage(found).items():
        decided = [row.decided for row in some if row.decided is not None]
        least = worst(decided) if decided else None
        verdicts[stage] = least if len(decided) == len(some) or least == "fail" else None
    return verdicts


def statement(found: Sequence[Row], agreed: str | None = None) -> str | None:
    """Return the statement of conformity of a certificate; None where it has no results.

    Every stage is told with the points that it covers, then the specifications and decision rules
    of the results that are decided, and in `agreed` what was agreed with the customer.
    """
    if not found:
        return None
    told = [_stage(stage, some) for stage, some in _by_stage(found).items()]
    decided = [row for row in found if row.decided is not None]
    if decided:
        told.append(_named("Specification", decided, lambda row: row.specification, _LIMITS))
        told.append(_named("Decision rule", decided, lambda row: row.rule, ""))
        if agreed is not None:
            told.append(agreed)
    return " ".join(told)


_LIMITS = "the limits recorded with each result"


def _named(
    word: str, some: Sequence[Row], name: Callable[[Row], str | None], otherwise: str
) -> str:
    names = sorted({name(row) or otherwise for row in some})
    return f"{word}{'s' if len(names) > 1 else ''}: {'; '.join(names)}."


def by_place(found: Sequence[Row], points: Sequence[Mapping[str, Any]]) -> list[Row | None]:
    """Return the result that each point of a recall's entry moved: both are in recorded order."""
    matched = len(found) == len(points) and all(
        row.point == str(one["point"]) and row.stage == one["stage"]
        for row, one in zip(found, points, strict=False)
    )
    return list(found) if matched else [None] * len(points)


def _by_stage(found: Sequence[Row]) -> dict[str, list[Row]]:
    stages: dict[str, list[Row]] = {}
    for row in found:
        stages.setdefault(row.stage, []).append(row)
    return stages


def _stage(stage: str, some: Sequence[Row]) -> str:
    """What one stage states, with every point named once as decided, as reported or as open."""
    some = _told_apart(some)
    decided = [row for row in some if row.decided is not None]
    stated = [row for row in some if row.stated]
    unstated = [row for row in decided if not row.stated]
    reported = [row for row in some if row.decided is None and row.reported is not None]
    silent = [row for row in some if row.verdict is None]
    told = []
    if stated:
        told.append(_outcome(stated, whole=len(stated) == len(some)) + _by_branch(stated))
    if unstated:
        because = _grouped(unstated, lambda row: row.branch.reason if row.branch else "")
        which = _points(unstated)
        told.append(f"by its rule no statement of conformity is made for {which}: {because}.")
    if reported:
        as_told = _grouped(reported, lambda row: (row.reported or "").replace("_", " "))
        told.append(f"reported, and decided by no recorded rule: {as_told}.")
    for why, open_for_it in _by_reason(silent).items():
        reason = "" if why is None else f": {why}"
        told.append(f"no statement of conformity is made for {_points(open_for_it)}{reason}.")
    differing = [row for row in decided if row.contradicted]
    if differing:
        as_told = _grouped(differing, lambda row: (row.reported or "").replace("_", " "))
        told.append(f"reported otherwise than the rule decides: {as_told}.")
    heading = STAGES.get(stage, f"{stage}: ")
    first, *others = told
    return " ".join([_upper(heading + first), *map(_upper, others)])


def _by_reason(silent: Sequence[Row]) -> dict[str | None, list[Row]]:
    groups: dict[str | None, list[Row]] = {}
    for row in silent:
        groups.setdefault(row.why_open, []).append(row)
    return groups


def _outcome(decided: Sequence[Row], *, whole: bool) -> str:
    """The worst of the results that are decided, in words, and the points of each verdict."""
    least = worst([row.decided for row in decided if row.decided is not None])
    said = OUTCOMES[least]
    if least == "pass":
        if not whole:
            said = "the results judged meet their specification"
            if len(decided) == 1:
                said = "the result judged meets its specification"
        return f"{said} ({_points(decided)}{_range(decided)})."
    if whole and all(row.decided == "fail" for row in decided):
        said = "no result meets its specification"
    order = [verdict for verdict in MET if any(row.decided == verdict for row in decided)]
    covered = "; ".join(
        f"{MET[verdict]} at {_points([row for row in decided if row.decided == verdict])}"
        for verdict in order
    )
    return f"{said} ({covered}{_range(decided)})."


def _by_branch(stated: Sequence[Row]) -> str:
    """Say by which branch of its rule each result was decided, where rules have several."""
    chosen = [row for row in stated if row.branch is not None]
    if not chosen:
        return ""
    as_told = _grouped(chosen, lambda row: f"by branch {row.branch.number if row.branch else 1}")
    return f" Decided {as_told}."


def _grouped(some: Sequence[Row], name: Callable[[Row], str]) -> str:
    groups: dict[str, list[Row]] = {}
    for row in some:
        groups.setdefault(name(row), []).append(row)
    return "; ".join(f"{said} at {_points(rows)}" for said, rows in groups.items())


def _points(some: Sequence[Row]) -> str:
    """Name points, each once, whole numbers in a row by their ends."""
    names = list(dict.fromkeys(row.point for row in some))
    spans: list[list[str]] = []
    for name in names:
        if spans and name.isdecimal() and _follows(spans[-1][-1], name):
            spans[-1].append(name)
        else:
            spans.append([name])
    parts = [
        part
        for span in spans
        for part in ([f"{span[0]} to {span[-1]}"] if len(span) >= _RUN else span)
    ]
    listed = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"point{'s' if len(names) > 1 else ''} {listed}"


def _told_apart(some: Sequence[Row]) -> Sequence[Row]:
    """Give points of one name their direction, where they have one."""
    if len({row.point for row in some}) == len(some):
        return some
    return [
        row if row.direction is None else replace(row, point=f"{row.point} ({row.direction})")
        for row in some
    ]


def _follows(before: str, name: str) -> bool:
    return before.isdecimal() and int(name) == int(before) + 1


def _range(some: Sequence[Row]) -> str:
    """From which force to which they reach, where they share a unit of force."""
    units = {row.unit for row in some}
    forces = [Decimal(row.applied) for row in some if row.applied is not None]
    if len(units) != 1 or units & {"%", None} or len(forces) < 2:
        return ""
    least, most = min(forces), max(forces)
    reach = f"{least:f}" if least == most else f"{least:f} to {most:f}"
    return f", {reach} {units.pop()}"


def _upper(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _text(value: Exact | None) -> str | None:
    return None if value is None else text(value)
