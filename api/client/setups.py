"""From the set-up to the budget: requirements, set-up checks, load cycles, runs, uncertainty."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from api.client.wire import Answer, Json, Wire, encoded, path_part


class SetupCalls(Wire):
    """The calls of a client that speak of set-ups, parts, and what was measured in them."""

    def record_requirement(self, requirement: Json) -> Answer:
        """Record what an instrument asks of its set-up, or the next version of it.

        Parameters
        ----------
        requirement : mapping
            Its fields.

        Returns
        -------
        Answer
            The requirement as recorded.
        """
        return self._post("/v1/requirements", encoded(requirement))

    def requirements(self, **filters: str) -> Iterator[Answer]:
        """Iterate over requirements by id.

        Parameters
        ----------
        **filters : str
            ``item``, ``type`` and ``best_for``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/requirements", filters)

    def check_setup(self, setup: Json) -> Answer:
        """Check a planned set-up.

        Parameters
        ----------
        setup : mapping
            The set-up.

        Returns
        -------
        Answer
            ``findings``, ``shelf`` and ``cautions``.
        """
        return self._post("/v1/setup-checks", encoded(setup))

    def setup_check(self, setup_check_id: int) -> Answer:
        """Return a stored set-up check with the set-up that was asked about.

        Parameters
        ----------
        setup_check_id : int
            Its id.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/setup-checks/{setup_check_id}")

    def setup_checks(self, **filters: str) -> Iterator[Answer]:
        """Iterate over stored set-up checks, the latest first.

        Parameters
        ----------
        **filters : str
            ``item`` and ``outcome``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/setup-checks", filters)

    def record_load_event(self, event: Json) -> Answer:
        """Record a proof load, an overload, a fall or other use of an item.

        Parameters
        ----------
        event : mapping
            Its fields.

        Returns
        -------
        Answer
            The event as recorded.
        """
        return self._post("/v1/load-events", encoded(event))

    def load_events(self, **filters: str) -> Iterator[Answer]:
        """Iterate over load events.

        Parameters
        ----------
        **filters : str
            ``item`` and ``kind``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/load-events", filters)

    def cycles(self, item_id: str, **query: str) -> Answer:
        """Return the load cycles of an item.

        Parameters
        ----------
        item_id : str
            Its id.
        **query : str
            ``at`` (now unless given), ``rate_days`` and ``m``, as text.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/items/{path_part(item_id)}/cycles", query)

    def near_life(self, share_from: Decimal | str = "0.9") -> Iterator[Answer]:
        """Iterate over parts that have used this share of their life, the most used first.

        Parameters
        ----------
        share_from : Decimal or str
            The share from which a part is listed.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/cycles", {"share_from": str(share_from)})

    def evaluate_runs(self, runs: Json) -> Answer:
        """Evaluate raw runs of an instrument.

        Parameters
        ----------
        runs : mapping
            The fields of ``POST /v1/run-evaluations``.

        Returns
        -------
        Answer
            The evaluation; its ``id`` can be named by a budget and a calibration.
        """
        return self._post("/v1/run-evaluations", encoded(runs))

    def run_evaluation(self, run_evaluation_id: int) -> Answer:
        """Return a stored run evaluation with the runs that were sent.

        Parameters
        ----------
        run_evaluation_id : int
            Its id.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/run-evaluations/{run_evaluation_id}")

    def evaluate_budget(self, budget: Json) -> Answer:
        """Evaluate an uncertainty budget.

        Parameters
        ----------
        budget : mapping
            The fields of ``POST /v1/uncertainty-budgets``.

        Returns
        -------
        Answer
            The budget; its ``id`` can be named by a decision and a calibration.
        """
        return self._post("/v1/uncertainty-budgets", encoded(budget))

    def budget(self, budget_id: str) -> Answer:
        """Return a stored budget with its request.

        Parameters
        ----------
        budget_id : str
            Its id.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/uncertainty-budgets/{path_part(budget_id)}")
