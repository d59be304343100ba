"""A calibration as it was sent, and what it takes from its set-up check, its runs and its budget.

Set-up check, run evaluation, budget, results, certificate: each names the one before, and nothing
is written down twice. What is taken is resolved when the calibration is recorded and kept with its
rows; the records it came from are never written again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from api.services.base.record import Record
from api.services.base.recording import ItemFacts, Recording
from api.services.certificates.measured_links import BUDGET, RUN, SET_UP, Links, MeasuredIn, Source
from api.services.certificates.measured_uses import Placed, Served, items_of, uses
from api.services.certificates.measured_values import filled, of_every_force

NAMES = (SET_UP, RUN, BUDGET)
STAGES = ("single", "as_found", "as_left")
# What needs a unit.
ABSOLUTE = ("applied", "indicated", "error", "U", "tolerance")
Place = Callable[..., str]


@dataclass(frozen=True, slots=True)
class Measured:
    """A calibration ready to become rows: its results and uses each with the pointer to it.

    A result has `taken`, the names of what its runs gave, where it has runs.
    """

    calibration: Record
    results: Sequence[tuple[Record, str]]
    uses: Sequence[Placed]


@dataclass(slots=True)
class Flow:
    """Completes calibrations that name what they were measured in."""

    recording: Recording
    _links: Links = field(init=False)

    def __post_init__(self) -> None:
        self._links = Links(self.recording)

    def completed(self, calibration: Record, item: ItemFacts, place: Place) -> Measured:
        """Return a calibration with what it takes; faults are noted.

        `place` makes a pointer into the calibration.
        """
        sent: Sequence[Record] = calibration.get("results", ())
        if not any(name in one for name in NAMES for one in (calibration, *sent)):
            return _as_sent(calibration, place)
        defaults = {
            stage: self._links.of(_named(calibration, stage, place), MeasuredIn())
            for stage in (*_stages(calibration), *(one["stage"] for one in sent))
        }
        typed = calibration.get("performed_at")
        calibration = self._headed(calibration, defaults)
        for default in defaults.values():
            self._links.refuse_wrong(default, calibration, item)
        results = []
        for one, at in self._results(calibration, defaults, place):
            own = {
                name: Source(one[name], f"{at}/{name}")
                for name in NAMES
                if one.get(name) is not None
            }
            measured_in = self._links.of(own, defaults[one["stage"]])
            self._links.refuse_wrong(measured_in, calibration, item)
            results.append((self._filled(one, at, measured_in), at, measured_in))
        if typed is not None:
            everything = [*defaults.values(), *(one for _, _, one in results)]
            self._refuse_other_time(typed, everything, place("performed_at"))
        checks = {one[SET_UP] for one, _, _ in results}
        if calibration.get(SET_UP) is None and len(checks) == 1:
            calibration[SET_UP] = checks.pop()
        served = self._served(results, defaults.values())
        self.recording.know_items(items_of(served))
        placed = _as_sent(calibration, place).uses
        return Measured(
            calibration,
            [(one, at) for one, at, _ in results],
            uses(self.recording, placed, served),
        )

    def _headed(self, calibration: Record, defaults: Mapping[str, MeasuredIn]) -> Record:
        """Return it with its runs, if its budget names them, and the mode and instant they say."""
        found = dict(calibration)
        own = {stage: one.run_evaluation for stage, one in defaults.items()}
        named = {stage: run.id for stage, run in own.items() if run is not None}
        if found.get(RUN) is None and named:
            found[RUN] = named if len(set(named.values())) > 1 else next(iter(named.values()))
        runs = [run for one in own.values() if (run := self._links.run(one)) is not None]
        modes = {run.said("mode") for run in runs}
        if found.get("mode") is None and len(modes) == 1:
            found["mode"] = modes.pop()
        said = [at for run in runs if (at := run.said("performed_at")) is not None]
        if found.get("performed_at") is None and said:
            found["performed_at"] = max(said, key=lambda at: self.recording.moment(at).end_us)
        return found

    def _refuse_other_time(self, typed: str, measured: Iterable[MeasuredIn], place: str) -> None:
        """Note an instant or day outside the time from the first runs until the last.

        Which value was in force, and what had failed by then, hangs on it.
        """
        said = {
            run.row.id: at
            for one in measured
            if (run := self._links.run(one.run_evaluation)) is not None
            and (at := run.said("performed_at")) is not None
        }
        if not said:
            return
        at = self.recording.moment(typed)
        moments = [self.recording.moment(one) for one in said.values()]
        first, last = min(one.start_us for one in moments), max(one.end_us for one in moments)
        if at.end_us < first or at.start_us > last:
            told = (f"run evaluation {key} was performed {one}" for key, one in said.items())
            detail = f"it says {typed}, but {', '.join(told)}"
            remedy = "leave it out, or name the runs of that time"
            self.recording.refuse(place, detail, remedy, typed)

    def _results(
        self, calibration: Record, defaults: Mapping[str, MeasuredIn], place: Place
    ) -> list[tuple[Record, str]]:
        """Return the results that were sent; where none were, one for each force of the runs."""
        sent: Sequence[Record] = calibration.get("results", ())
        if sent:
            return [(one, place("results", number)) for number, one in enumerate(sent)]
        made: list[Record] = []
        for stage, one in defaults.items():
            run = self._links.run(one.run_evaluation)
            if run is not None:
                made += of_every_force(run, stage)
        return [(one, place("results", number)) for number, one in enumerate(made)]

    def _filled(self, result: Record, at: str, one: MeasuredIn) -> Record:
        """Return a result with the ids of what it was measured in and what its runs gave."""
        found = dict(result)
        budget, check = self._links.budget(one.budget), self._links.set_up(one.set_up_check)
        found[BUDGET] = None if budget is None else budget.code
        found[SET_UP] = None if check is None else check.id
        run = self._links.run(one.run_evaluation)
        found[RUN] = None if run is None else run.row.id
        if run is not None:
            found = filled(self.recording, run, found, at, has_budget=one.budget is not None)
        given = [name for name in ABSOLUTE if not isinstance(found.get(name), str | None)]
        if given and found.get("unit") in (None, "%"):
            detail = f"{given[0]} has no unit"
            self.recording.refuse(f"{at}/unit", detail, "add unit, such as kN", found.get("unit"))
        return found

    def _served(
        self,
        results: Sequence[tuple[Record, str, MeasuredIn]],
        defaults: Iterable[MeasuredIn],
    ) -> list[Served]:
        """Return the set-up checks with the points they were for; None where for all."""
        named: dict[Any, Source] = {}
        for one in (*(each for _, _, each in results), *(() if results else defaults)):
            if one.set_up_check is not None:
                named.setdefault(one.set_up_check.id, one.set_up_check)
        every = {str(result["point"]) for result, _, _ in results}
        served = []
        for source in named.values():
            check = self._links.set_up(source)
            if check is None:
                continue
            own = [result["point"] for result, _, _ in results if result[SET_UP] == check.id]
            points = list(dict.fromkeys(own))
            whole = {str(point) for point in points} == every
            served.append(Served(check, source.place, None if whole else points))
        return served


def _as_sent(calibration: Record, place: Place) -> Measured:
    return Measured(
        calibration,
        [(one, place("results", at)) for at, one in enumerate(calibration.get("results", ()))],
        [Placed(one, place("uses", at)) for at, one in enumerate(calibration.get("uses", ()))],
    )


def _named(calibration: Record, stage: str, place: Place) -> dict[str, Source]:
    """Return what a calibration names for the results of a stage, with the pointers to it."""
    found = {}
    for name in NAMES:
        named, at = calibration.get(name), place(name)
        if isinstance(named, Mapping):
            named, at = named.get(stage), place(name, stage)
        if named is not None:
            found[name] = Source(named, at)
    return found


def _stages(calibration: Record) -> list[str]:
    """Return the stages for which a calibration names runs or a budget, else the single one."""
    by_stage = [named for name in NAMES if isinstance(named := calibration.get(name), Mapping)]
    return [stage for stage in STAGES if any(stage in one for one in by_stage)] or [STAGES[0]]
