"""What can be asked about a recall: the fault, the lists, what has changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from api.client.wire import Answer, Json, Wire, encoded, path_part

# The lists of a recall.
LISTS = (
    "affected",
    "exposed_zero_effect",
    "indeterminate",
    "traced_not_recalled",
    "cleared",
    "cannot_be_excluded",
)


class RecallCalls(Wire):
    """The calls of a client that speak of faults and recalls."""

    def report_fault(
        self,
        fault: Json | Sequence[Json],
        preview: bool = False,
        previous: int | None = None,
    ) -> Answer:
        """Report a fault, or several at once, and return the recall.

        Parameters
        ----------
        fault : mapping or sequence of mapping
            The fault, or faults whose effects add up.
        preview : bool
            Whether nothing is stored.
        previous : int, optional
            Id of the recall that this is a second look at.

        Returns
        -------
        Answer
        """
        name = "fault" if isinstance(fault, Mapping) else "faults"
        body: dict[str, Any] = {name: fault, "preview": preview}
        body |= {"previous": previous} if previous is not None else {}
        return self._post("/v1/recalls", encoded(body))

    def compare_faults(self, first: Json, second: Json) -> Answer:
        """Return how two ways to see a fault differ, windows or effects; stores nothing.

        Parameters
        ----------
        first, second : mapping
            The fault as seen in the two ways.

        Returns
        -------
        Answer
            ``first``, ``second`` and ``differences``.
        """
        return self._post("/v1/recalls/comparisons", encoded({"first": first, "second": second}))

    def draft_fault(
        self, number: str, issuer: str | None = None, revision: int | None = None
    ) -> Answer:
        """Make a ``fault`` of the as-found results of a standard's own calibration, to look at.

        Parameters
        ----------
        number : str
            Of the certificate of that calibration.
        issuer : str, optional
            The laboratory itself unless given, else the only issuer of this number.
        revision : int, optional
            From 0; the issued one unless given, else the newest.

        Returns
        -------
        Answer
            Nothing is stored.
        """
        request = {"certificate": number, "issuer": issuer, "revision": revision}
        body = {name: part for name, part in request.items() if part is not None}
        return self._post("/v1/recalls/fault-drafts", encoded(body))

    def recall(self, recall_id: int, exact: bool = False) -> Answer:
        """Return a stored recall, and whether it still holds (``stale``).

        Parameters
        ----------
        recall_id : int
            Its id.
        exact : bool
            Whether ``stale`` is worked out first where it would be ``"checking"``.

        Returns
        -------
        Answer
            A very large one has ``links`` in the place of its lists.
        """
        query = {"exact": "true"} if exact else {}
        return self._get(f"/v1/recalls/{recall_id}", query)

    def recalls(self, stale: bool | str | None = None, reopen: bool = False) -> Iterator[Answer]:
        """Iterate over stored recalls without their lists, the latest first.

        Parameters
        ----------
        stale : bool or "checking", optional
            Only those of which ``stale`` is that.
        reopen : bool
            Only closed cases that are stale and were not looked at again since.

        Yields
        ------
        Answer
        """
        query = {} if stale is None else {"stale": str(stale).lower()}
        query |= {"reopen": "true"} if reopen else {}
        return self._pages("/v1/recalls", query)

    def recall_entries(self, recall_id: int, list_name: str, **query: str) -> Iterator[Answer]:
        """Iterate over one list of a recall.

        Parameters
        ----------
        recall_id : int
            Its id.
        list_name : str
            One of ``LISTS``.
        **query : str
            Order and filters: ``sort``, ``verdict_changes``, ``customer``, ``item``,
            ``generation``, ``min_shift_over_U``.

        Yields
        ------
        Answer
        """
        return self._pages(f"/v1/recalls/{recall_id}/{path_part(list_name)}", query)

    def totals(self, recall_id: int) -> Answer:
        """Return the totals of a recall by customer, item, generation and change.

        Parameters
        ----------
        recall_id : int
            Its id.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/recalls/{recall_id}/totals")

    def changes(self, since: int | str = 0, **filters: str) -> Answer:
        """Return changes behind a cursor or since an instant.

        Ask again with ``cursor``; ``next`` is null when nothing more waits.

        Parameters
        ----------
        since : int or str
            Cursor of the last answer, or a date or date-time.
        **filters : str
            ``events``, joined by commas, and ``limit``.

        Returns
        -------
        Answer
            ``items``, ``cursor`` and ``next``.
        """
        return self._get("/v1/changes", {"since": str(since), **filters})
