"""What was a result measured in? Set-up check, run evaluation and budget, each fitting the rest.

A result names them itself, or has those of its calibration; a budget that was made of runs names
these, and runs that were made in a checked set-up name its check. What a result names itself
outranks what its calibration names. Refused is what cannot belong together: another item or type,
another mode, a budget of other runs, runs in another set-up.

Not checked: that runs which name no item were of this one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from api.services.base.record import Record
from api.services.base.recording import ItemFacts, Recording
from api.services.uncertainty import budget_links, run_links, set_up_links
from api.services.uncertainty.run_links import Run
from api.services.uncertainty.uncertainty_budgets import find
from api.store.fitting import SetupCheck
from api.store.uncertainty import UncertaintyBudget

SET_UP, RUN, BUDGET = "set_up_check", "run_evaluation", "budget"


class Source(NamedTuple):
    """What is named (the id of a record), and the pointer to where."""

    id: Any
    place: str


@dataclass(frozen=True, slots=True)
class MeasuredIn:
    """The set-up check, run evaluation and budget of a result, as far as there are any."""

    set_up_check: Source | None = None
    run_evaluation: Source | None = None
    budget: Source | None = None


@dataclass(slots=True)
class Links:
    """Finds what the results of calibrations were measured in, asking for each record once."""

    recording: Recording
    _runs: dict[int, Run | None] = field(default_factory=dict)
    _budgets: dict[str, UncertaintyBudget | None] = field(default_factory=dict)
    _checks: dict[int, SetupCheck | None] = field(default_factory=dict)
    # Faults that were noted: what a calibration names is wrong once, not at each of its results.
    _told: set[tuple[str, str]] = field(default_factory=set)

    def run(self, source: Source | None) -> Run | None:
        """Return the run evaluation that is named; None if none is, or it is not recorded."""
        if source is None:
            return None
        if source.id not in self._runs:
            self._runs[source.id] = run_links.find(self.recording.session, source.id)
        return self._runs[source.id]

    def set_up(self, source: Source | None) -> SetupCheck | None:
        """Return the set-up check that is named; None if none is, or it is not recorded."""
        if source is None:
            return None
        if source.id not in self._checks:
            found = self.recording.session.get(SetupCheck, source.id)
            self._checks[source.id] = found
        return self._checks[source.id]

    def budget(self, source: Source | None) -> UncertaintyBudget | None:
        """Return the budget that is named; None if none is, or it is not recorded."""
        if source is None:
            return None
        if source.id not in self._budgets:
            self._budgets[source.id] = find(self.recording.session, source.id)
        return self._budgets[source.id]

    def of(self, own: Mapping[str, Source], default: MeasuredIn) -> MeasuredIn:
        """Return what a record was measured in: what it names itself, else what `default` has."""
        budget = own.get(BUDGET, default.budget)
        run = own.get(RUN)
        if run is None and BUDGET in own:
            run = self._run_of(budget)
        run = run or default.run_evaluation or self._run_of(budget)
        check = own.get(SET_UP)
        if check is None and own.keys() & {RUN, BUDGET}:
            check = self._check_of(run)
        check = check or default.set_up_check or self._check_of(run)
        return MeasuredIn(check, run, budget)

    def refuse_wrong(self, one: MeasuredIn, calibration: Record, item: ItemFacts) -> None:
        """Note what cannot be: records that are unknown, or do not belong to this calibration."""
        if one.set_up_check is not None:
            self._refuse_set_up(one.set_up_check, item)
        if one.run_evaluation is not None:
            self._refuse_run(one.run_evaluation, one.set_up_check, calibration, item)
        if one.budget is not None:
            self._refuse_budget(one.budget, one.run_evaluation, calibration, item)

    def _run_of(self, budget: Source | None) -> Source | None:
        row = self.budget(budget)
        key = None if row is None else row.request.get(RUN)
        return None if key is None or budget is None else Source(key, budget.place)

    def _check_of(self, run: Source | None) -> Source | None:
        found = self.run(run)
        key = None if found is None else found.said(SET_UP)
        return None if key is None or run is None else Source(key, run.place)

    def _refuse_set_up(self, named: Source, item: ItemFacts) -> None:
        row = self.set_up(named)
        if row is None:
            self._lacks(SET_UP, named, "set-up check", set_up_links.REMEDY)
            return
        wrong = set_up_links.contradiction(row, item.code, item.type)
        if wrong is not None:
            self._refuse(named, wrong, "name the check of the set-up of this item")

    def _refuse_run(
        self, named: Source, check: Source | None, calibration: Record, item: ItemFacts
    ) -> None:
        run = self.run(named)
        if run is None:
            self._lacks(RUN, named, "run evaluation", run_links.REMEDY)
            return
        what = f"run evaluation {named.id}"
        if run.row.item_id not in (None, item.key):
            wrong = f"{what} is of {run.said('item')}, not of {item.code}"
            self._refuse(named, wrong, "name runs of this item")
        mode, own = run.said("mode"), calibration.get("mode")
        if mode is not None and own not in (None, mode):
            wrong = f"{what} was in {mode}, the calibration is in {own}"
            self._refuse(named, wrong, "name runs of this mode, or mend the mode")
        linked = run.said(SET_UP)
        if linked is not None and check is not None and check.id != linked:
            wrong = f"{what} was made in the set-up of check {linked}"
            self._refuse(check, wrong, f"leave {SET_UP} out, or name runs made in that set-up")

    def _refuse_budget(
        self, named: Source, run: Source | None, calibration: Record, item: ItemFacts
    ) -> None:
        row = self.budget(named)
        if row is None:
            self._lacks(BUDGET, named, "budget", budget_links.REMEDY)
            return
        what = f'budget "{named.id}"'
        mode, own = row.request.get("mode"), calibration.get("mode")
        if mode is not None and own not in (None, mode):
            wrong = f"{what} is for {mode}, the calibration is in {own}"
            self._refuse(named, wrong, "name a budget for this mode, or mend the mode")
        kind = row.request.get("instrument_type")
        if kind is not None and item.type not in (None, kind):
            wrong = f"{what} is for a {kind}, {item.code} is a {item.type}"
            self._refuse(named, wrong, "name a budget for this type of instrument")
        linked = row.request.get(RUN)
        if linked is not None and run is not None and run.id != linked:
            wrong = f"{what} is of run evaluation {linked}"
            self._refuse(run, wrong, f"leave {RUN} out, or name the budget of these runs")

    def _lacks(self, kind: str, named: Source, what: str, remedy: str) -> None:
        detail = f'{what} "{named.id}" is not recorded'
        if (named.place, detail) not in self._told:
            self._told.add((named.place, detail))
            self.recording.lacks(f"{kind}s", str(named.id), named.place, detail, remedy)

    def _refuse(self, named: Source, wrong: str, remedy: str) -> None:
        if (named.place, wrong) not in self._told:
            self._told.add((named.place, wrong))
            self.recording.refuse(named.place, wrong, remedy, named.id)
