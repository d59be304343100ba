"""Who could be reached by a fault, before anything is judged: what a recall starts from.

Order of steps: what the faults concern and who met it directly, the windows narrowed by checks, the
suspect uses, and everything that could rest on one. A complete recall
(`api.services.recalls.run`) judges those; `first_list` names them at once, so that work can
be stopped while the recall is still being made. Both ask here, so that one cannot know of a
certificate that the other does not.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from api.services.base.record import Record
from api.services.recalls.curve_faults import completed
from api.services.recalls.faults import Reported, report
from api.services.recalls.not_excluded import missing_roles
from api.services.recalls.reading import Traced
from api.services.recalls.resting import users_beyond
from api.services.recalls.windows import (
    narrowed,
    needs_used_range,
    recalibration_notes,
    role_notes,
    window_answer,
)
from api.store.links import Window
from api.store.records import HeadRow
from api.store.sources import Source
from graph.model import Calibration
from graph.moments import text_of, time_zone
from graph.suspects import SuspectWindow, expose

if TYPE_CHECKING:
    from api.services.recalls.reading_results import Measured


MEANING = (
    "These certificates could be affected. Effects and verdicts are not judged yet: the complete "
    "recall may clear some of them, and says which are here only because the records cannot "
    "exclude them."
)


class Looks(NamedTuple):
    """Numbers of the looks at one fault before, and keys of the revisions that they corrected.

    `notes` say what whoever reports the fault should know of other looks.
    """

    numbers: frozenset[str] = frozenset()
    corrected: frozenset[int] = frozenset()
    notes: tuple[str, ...] = ()


NONE = Looks()


@dataclass(frozen=True, slots=True)
class Asked:
    """The faults of a request, as sent and as resolved."""

    faults: list[Record]
    reported: list[Reported]

    @property
    def methods(self) -> frozenset[str]:
        """Recorded methods that are faulty themselves."""
        return frozenset(one.method for one in self.reported if one.method)


@dataclass(frozen=True, slots=True)
class Gathered:
    """The windows as narrowed, and keys of certificates.

    `direct` ever used what is faulty; `reached` hold a suspect use or could rest on one. `measured`
    read the results of the direct ones, where forces decide who is suspect. `gaps` are, for each
    fault, those whose records name nothing in a role concerned, with the roles; what could rest on
    them is reached, too; they were `sought` in these times.
    """

    cases: list[SuspectWindow]
    windows: list[Record]
    notes: list[str]
    direct: frozenset[int]
    reached: set[int]
    measured: Measured | None
    gaps: list[dict[int, tuple[str, ...]]]
    sought: tuple[Window, ...]


def asked(source: Source, request: Record) -> Asked:
    """Resolve what a request asks.

    Raises
    ------
    UnknownReference
        If what is faulty is not recorded.
    InvalidRecord
        If a fault contradicts itself.
    """
    zone = time_zone(source.time_zone() or "UTC")
    several = "faults" in request
    sent = request["faults"] if several else [request["fault"]]
    places = [f"/faults/{number}" if several else "/fault" for number in range(len(sent))]
    faults = [
        completed(source, fault, zone, place) for fault, place in zip(sent, places, strict=True)
    ]
    reported = [
        report(source, fault, zone, place) for fault, place in zip(faults, places, strict=True)
    ]
    return Asked(faults, reported)


def gather(
    source: Source,
    reported: Sequence[Reported],
    traced: Traced,
    corrected: Collection[int] = (),
) -> Gathered:
    """Narrow the windows and find everyone who could be reached; `traced` has the direct users.

    What rests on a revision that an earlier look `corrected` is reached, too.
    """
    direct = {key for one in reported for key in one.direct}
    traced.read(direct)
    wrong = {key for one in reported for key in one.fault.certificates}
    items = {row.item_id for row in source.heads(sorted(wrong))}
    doubtful = _resting_on(traced, wrong, items)
    direct |= {key for key in doubtful if _holds_part_of(traced, key, wrong)}
    measured: Measured | None = None
    with_points: dict[int, Calibration] = {}
    if any(one.fault.by_points or needs_used_range(source, one) for one in reported):
        # Forces decide about few faults; the rules, by which results are read, load slowly.
        from api.services.recalls.reading_results import Measured

        measured = Measured(traced)
        with_points = {one.key: one for one, _ in measured.in_order(sorted(direct), direct)}
    users = [with_points.get(key, traced.calibrations[key]) for key in direct]
    references = Traced(source)
    cases: list[SuspectWindow] = []
    windows: list[Record] = []
    notes: list[str] = []
    suspects: set[int] = set()
    for one in reported:
        case, considered = narrowed(references, one, users)
        cases.append(case)
        windows.append(window_answer(one, case, considered))
        notes.extend(recalibration_notes(source, one, case))
        notes.extend(role_notes(source, one))
        suspects.update(user.key for user in users if expose(user, case).uses)
    missing = missing_roles(source, reported, cases, users)
    gaps = [one.certificates for one in missing]
    sought = tuple(one.window for one in missing if one.window is not None)
    reached = _everything_downward(traced, suspects.union(doubtful, corrected, *gaps))
    return Gathered(cases, windows, notes, frozenset(direct), reached, measured, gaps, sought)


def _everything_downward(traced: Traced, certificates: Collection[int]) -> set[int]:
    """Read these certificates and all that rest on them or may, through parts and in doubt too."""
    reached = traced.source.everything_downward(certificates)
    frontier = set(reached)
    while frontier:
        traced.read(frontier)
        items = {traced.rows[key].item_id for key in frontier}
        beyond = _resting_on(traced, frontier, items) - reached
        frontier = traced.source.everything_downward(beyond) - reached
        reached |= frontier
    return reached


def _resting_on(traced: Traced, certificates: Collection[int], items: Collection[int]) -> set[int]:
    """Certificates that rest on one of these, which are of these items, through a part, or may."""
    users = users_beyond(traced.source, traced.histories, items)
    traced.read(users)
    return {
        key
        for key in users
        if any(
            link in certificates for use in traced.calibrations[key].uses for link in use.links()
        )
    }


def _holds_part_of(traced: Traced, key: int, certificates: Collection[int]) -> bool:
    """Whether a calibration used an assembly whose part carried the value of one of these."""
    return any(
        held.source in certificates for use in traced.calibrations[key].uses for held in use.held
    )


def first_list(source: Source, request: Record, now_us: int) -> Record:
    """Return the windows and, by number and revision, the issued certificates that are reached.

    These are the issued certificates that hold a suspect use or could rest on one. What the recall
    calls affected or indeterminate is among them, and what it says cannot be excluded; some that it
    clears, or finds without effect, are too.

    Raises as `asked` does.
    """
    question = asked(source, request)
    gathered = gather(source, question.reported, Traced(source, question.methods))
    rows = [row for row in source.heads(sorted(gathered.reached)) if row.status == "issued"]
    rows.sort(key=lambda row: (row.number, row.revision, row.issuer))
    items = source.item_words(sorted({row.item_id for row in rows}))
    customers = source.customer_names(
        {row.customer_id for row in rows if row.customer_id is not None}
    )
    windows = gathered.windows
    return {
        "as_of": text_of(now_us),
        "meaning": MEANING,
        **({"window": windows[0]} if len(windows) == 1 else {"windows": windows}),
        "notes": gathered.notes,
        "count": len(rows),
        "certificates": [
            _entry(row, items[row.item_id][0], customers.get(row.customer_id or 0)) for row in rows
        ],
    }


def _entry(row: HeadRow, item: str, customer: str | None) -> Record:
    made: Record = {"certificate": row.number, "revision": row.revision, "item": item}
    if customer is not None:
        made["customer"] = customer
    if row.external:
        made |= {"external": True, "issuer": row.issuer or None}
    made["performed_at"] = row.performed_at
    return made
