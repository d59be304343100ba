"""A set-up was the wrong one: the comparison becomes the fault of a recall.

Choice: the effect is what the faulty set-up does to the indication. The faulty item stands in one
of the two set-ups, and where it stands in the usual one the sign is turned round. A fault has one
uncertainty for all types of instrument, so the largest of theirs is taken. The answer holds the
fault and nothing else, as POST /v1/recalls takes it; how it was derived is its note, which is kept
with the recall.

Not checked: that the set-up compared is the one that was in use throughout the window.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from textwrap import shorten

from sqlalchemy.orm import Session

from api.errors import Conflict, InvalidRecord, Issue, NotFound, UnknownReference, pointer
from api.services.base.record import Record
from api.services.base.recording import zone_of
from api.services.base.texts import texted
from api.services.recalls.faults import report
from api.services.setups.setup_comparisons import stored
from api.store.comparisons import StoredComparison
from api.store.reading import SessionReader
from api.store.sources import Recorded

# What a recall takes as the note of a fault.
MOST_OF_A_NOTE = 2_000
_TIMES = ("last_good_at", "discovered_at", "isolated_at")


@dataclass(frozen=True, slots=True)
class _ByType:
    """The effect on one type of instrument, and the sentence that says where it comes from."""

    kind: str
    effect: Decimal
    U: Decimal | None
    sentence: str


def fault_of(session: Session, key: int, request: Record) -> Record:
    """Return the fault that a comparison, and further ones on other types, amount to.

    Raises
    ------
    NotFound
        If the comparison is not recorded.
    UnknownReference
        If a further comparison or the faulty item is not.
    Conflict
        If a difference is not significant and the request does not say what to make of it.
    InvalidRecord
        If it is not clear which set-up was faulty, two comparisons are of one type, or the window
        ends before it begins.
    """
    rows = [(stored(session, key), "/item")] + [
        (_further(session, other, place), place)
        for index, other in enumerate(request["comparisons"])
        for place in [pointer("comparisons", index)]
    ]
    _refuse_same_type(rows)
    found = [_by_type(row, request, place) for row, place in rows]
    fault: Record = {
        "item": request["item"],
        "kind": "indication_effect_by_type",
        "effect_rel": {one.kind: one.effect for one in found},
    }
    if request.get("other_types") is not None:
        fault["other_types"] = request["other_types"]
    stated = [one.U for one in found if one.U is not None and one.effect]
    if stated:
        fault |= {"U_delta_rel": max(stated), "U_delta_k": Decimal(2)}
    fault |= {name: request[name] for name in _TIMES if name in request}
    fault["meaning"] = request.get("meaning", f"a set-up with {request['item']} was the wrong one")
    note = " ".join([*(one.sentence for one in found), *_about_U(found, stated)])
    fault["note"] = shorten(note, MOST_OF_A_NOTE, placeholder=" ...")
    # The recall resolves it in the same way: what it would refuse is refused here.
    report(Recorded(SessionReader(session)), fault, zone_of(session), "")
    return {"fault": texted(fault)}


def _further(session: Session, key: int, place: str) -> StoredComparison:
    try:
        return stored(session, key)
    except NotFound as missing:
        remedy = "name a recorded comparison; GET /v1/setup-comparisons lists them"
        issue = Issue(place, missing.detail, remedy, str(key))
        raise UnknownReference("a comparison that is not recorded", [issue]) from missing


def _refuse_same_type(rows: Sequence[tuple[StoredComparison, str]]) -> None:
    first: dict[str, int] = {}
    for row, place in rows:
        if row.instrument_type in first:
            detail = (
                f"comparison {first[row.instrument_type]} gives the effect on "
                f"{row.instrument_type} already"
            )
            issue = Issue(place, detail, "name one comparison for each type", str(row.id))
            raise InvalidRecord("two effects on one type of instrument", [issue])
        first[row.instrument_type] = row.id


def _by_type(row: StoredComparison, request: Record, place: str) -> _ByType:
    answer = row.answer
    effect, wrong = answer["effect"], _faulty_setup(row, request, place)
    value = Decimal(effect["effect_rel"])
    if wrong == "usual" and value:
        value = value.copy_negate()
    names = {name: answer["setups"][name]["name"] for name in ("usual", "other")}
    right = "usual" if wrong == "other" else "other"
    sentence = (
        f'Comparison {row.id} of {answer["performed_at"]}, "{names[wrong]}" against '
        f'"{names[right]}": the indication of a {effect["instrument_type"]} changes by {value:f} '
        f"of the applied force, mean of {len(answer['points'])} point(s), {_tested(answer)}."
    )
    if row.significant is not True:
        if request["insignificant"] == "refuse":
            raise Conflict("the comparison shows no significant difference", [_unproven(row)])
        if request["insignificant"] == "zero":
            return _ByType(row.instrument_type, Decimal(0), None, f"{sentence} Taken as zero.")
        sentence += " Used although it is not significant."
    U = effect["U_delta_rel"]
    return _ByType(row.instrument_type, value, None if U is None else Decimal(U), sentence)


def _unproven(row: StoredComparison) -> Issue:
    return Issue(
        "/insignificant",
        f"comparison {row.id}, {row.instrument_type}: {_tested(row.answer)}",
        'send "use" to recall with the difference as measured, "zero" to take it as no effect, or '
        "record more runs",
        "refuse",
    )


def _tested(answer: Record) -> str:
    """Say which test decided and what it found."""
    overall = answer["overall"]
    judged = {True: "significant", False: "not significant", None: "undecided"}
    said = judged[overall["significant"]]
    test = {"runs": overall["over_runs"], "points": overall["over_points"]}.get(overall["basis"])
    if test is not None and test["t"] is not None:
        return (
            f"{said} by {test['method']} over {overall['basis']}, t = {Decimal(test['t']):.4g}, "
            f"p = {test['p_value']:.2g}"
        )
    return said if overall["basis"] is None else f"{said} by {overall['basis']}"


def _faulty_setup(row: StoredComparison, request: Record, place: str) -> str:
    """Return which of the two set-ups was the faulty one."""
    setups, item = row.answer["setups"], request["item"]
    holding = [name for name in ("usual", "other") if item in setups[name].get("parts", ())]
    said: str | None = request.get("faulty_setup")
    if said is None and len(holding) != 1:
        where = "both set-ups name" if holding else "neither set-up names"
        detail = f'{where} "{item}" as a part in comparison {row.id}'
        issue = Issue(place, detail, 'say which set-up was wrong: "faulty_setup"', item)
        raise InvalidRecord("it is not clear which set-up was faulty", [issue])
    if said is not None and holding and said not in holding:
        detail = f'"{item}" is a part of the {holding[0]} set-up of comparison {row.id}'
        issue = Issue("/faulty_setup", detail, "leave it out, or name the other item", said)
        raise InvalidRecord("the faulty set-up does not hold the item", [issue])
    return said or holding[0]


def _about_U(found: Sequence[_ByType], stated: Sequence[Decimal]) -> list[str]:
    unknown = [one.kind for one in found if one.U is None and one.effect]
    said = []
    if len(stated) > 1:
        said.append("U_delta_rel is the largest of the types'.")
    if unknown:
        said.append(f"Nothing tells the uncertainty of the effect on {', '.join(unknown)}.")
    return said
