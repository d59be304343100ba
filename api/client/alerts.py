"""What can be asked about alerts: what failed, or was used overdue, and how it is answered."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from api.client.wire import Answer, Json, Wire, encoded


class AlertCalls(Wire):
    """The calls of a client that speak of alerts."""

    def alerts(self, **filters: str) -> Iterator[Answer]:
        """Iterate over alerts in the order raised.

        Parameters
        ----------
        **filters : str
            ``state``, ``item``, ``kind``, ``since``, ``failed_before`` and
            ``good_evidence_followed``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/alerts", filters)

    def alert(self, alert_id: int) -> Answer:
        """Return an alert, with the fault that it shows as its ``draft``.

        Parameters
        ----------
        alert_id : int
            Its id.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/alerts/{alert_id}")

    def alert_reach(self, alert_id: int) -> Answer:
        """Work out what the drafted fault of an alert would reach today; nothing is stored.

        Parameters
        ----------
        alert_id : int
            Its id.

        Returns
        -------
        Answer
            ``fault``, ``window`` and ``summary``.
        """
        return self._get(f"/v1/alerts/{alert_id}/reach")

    def answer_alert(self, alert_id: int, by: str, **answer: Any) -> Answer:
        """Answer an alert by the recall of its fault, or with a reason.

        Parameters
        ----------
        alert_id : int
            Its id.
        by : str
            Who answers.
        **answer : Any
            The id of the ``recall``, or the ``reason`` why no fault is reported; ``together``, to
            answer the open alerts of the same failure, too.

        Returns
        -------
        Answer
            The alert as it is now.
        """
        return self._post(f"/v1/alerts/{alert_id}/answers", encoded({"by": by, **answer}))

    def answer_alerts(self, filters: Json, count: int, by: str, **answer: Any) -> Answer:
        """Answer all open alerts that pass a filter.

        Parameters
        ----------
        filters : mapping
            As for ``alerts``, without ``state``.
        count : int
            How many are meant; if there are more or fewer, nothing is stored.
        by : str
            Who answers.
        **answer : Any
            ``recall`` or ``reason``.

        Returns
        -------
        Answer
            How many were ``answered``.
        """
        body = encoded({"filter": filters, "count": count, "by": by, **answer})
        return self._post("/v1/alerts/answers", body)
