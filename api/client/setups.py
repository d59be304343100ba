"""What can be asked before the load is applied: requirements, set-up checks, load cycles."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from api.client.wire import Answer, Json, Wire, encoded, path_part


class SetupCalls(Wire):
    """The calls of a client that speak of set-ups and parts."""

    def record_requirement(self, requirement: Json) -> Answer:
        """Record what an instrument asks of its set-up, or the next version of it."""
        return self._post("/v1/requirements", encoded(requirement))

    def requirements(self, **filters: str) -> Iterator[Answer]:
        """Iterate over requirements by id; filters are ``item, type, best_for``."""
        return self._pages("/v1/requirements", filters)

    def check_setup(self, setup: Json) -> Answer:
        """Check a planned set-up: ``findings``, ``shelf`` and ``cautions``."""
        return self._post("/v1/setup-checks", encoded(setup))

    def setup_check(self, setup_check_id: int) -> Answer:
        """Return a stored set-up check with the set-up that was asked about."""
        return self._get(f"/v1/setup-checks/{setup_check_id}")

    def setup_checks(self, **filters: str) -> Iterator[Answer]:
        """Iterate over stored set-up checks, the latest first; filters are ``item, outcome``."""
        return self._pages("/v1/setup-checks", filters)

    def record_load_event(self, event: Json) -> Answer:
        """Record a proof load, an overload, a fall or other use of an item."""
        return self._post("/v1/load-events", encoded(event))

    def load_events(self, **filters: str) -> Iterator[Answer]:
        """Iterate over load events; filters are ``item`` and ``kind``."""
        return self._pages("/v1/load-events", filters)

    def cycles(self, item_id: str, **query: str) -> Answer:
        """Return the load cycles of an item; ``at, rate_days, m`` as text."""
        return self._get(f"/v1/items/{path_part(item_id)}/cycles", query)

    def near_life(self, share_from: Decimal | str = "0.9") -> Iterator[Answer]:
        """Iterate over parts that have used this share of their life, the most used first."""
        return self._pages("/v1/cycles", {"share_from": str(share_from)})
