"""What can be asked about the handling of a recall: the case, dispositions, notices."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from api.client.wire import Answer, Json, Wire, encoded, path_part


class CaseCalls(Wire):
    """The calls of a client that speak of what follows from a recall."""

    def case(self, recall_id: int) -> Answer:
        """Return where the handling of a recall stands.

        Parameters
        ----------
        recall_id : int
            Its id.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/recalls/{recall_id}/case")

    def advance_case(self, case: Answer, state: str, by: str, reason: str) -> Answer:
        """Take the next step of a case.

        Parameters
        ----------
        case : Answer
            As it was read.
        state : str
            The next state.
        by, reason : str
            Who decided, and why.

        Returns
        -------
        Answer
            The case as it is now.

        Raises
        ------
        Stale
            If it changed since.
        TypeError
            If it was not read by itself.
        """
        step = {"state": state, "by": by, "reason": reason}
        return self._patch(f"/v1/recalls/{case['recall']}/case", case, step)

    def resume_work(self, case: Answer, by: str, reason: str) -> Answer:
        """Let work with the item resume, by the word of somebody who did not assess the case.

        Parameters
        ----------
        case : Answer
            As it was read.
        by, reason : str
            Who decided, and why.

        Returns
        -------
        Answer
            The case as it is now.

        Raises
        ------
        Stale
            If it changed since.
        TypeError
            If it was not read by itself.
        """
        path = f"/v1/recalls/{case['recall']}/resumption"
        return self._post(path, encoded({"by": by, "reason": reason}), read=case)

    def record_corrective_step(self, case: Answer, step: str, by: str, **more: Any) -> Answer:
        """Record a step of corrective action.

        Parameters
        ----------
        case : Answer
            As it was read.
        step : str
            ``cause``, ``corrective_action`` or ``effectiveness_review``.
        by : str
            Who found or decided it.
        **more : Any
            ``text``, and of a review whether it was ``effective``.

        Returns
        -------
        Answer
            The case as it is now.

        Raises
        ------
        Stale
            If it changed since.
        TypeError
            If it was not read by itself.
        """
        path = f"/v1/recalls/{case['recall']}/corrective-steps"
        return self._post(path, encoded({"step": step, "by": by, **more}), read=case)

    def except_from_notice(
        self,
        recall_id: int,
        customers: Sequence[str],
        by: str,
        reason: str,
        *,
        certificates: Sequence[Any] = (),
    ) -> Answer:
        """Record why customers are sent no notice, or nobody is told of certificates.

        Parameters
        ----------
        recall_id : int
            Id of the recall.
        customers : sequence of str
            Names of customers that the recall concerns.
        by, reason : str
            Who decided, and why.
        certificates : sequence
            Numbers (or objects with revision and issuer) of certificates without customer.

        Returns
        -------
        Answer
            The case as it is now.
        """
        named = {"customers": list(customers), "certificates": list(certificates)}
        sent = {name: some for name, some in named.items() if some}
        body = encoded({**sent, "by": by, "reason": reason})
        return self._post(f"/v1/recalls/{recall_id}/notice-exceptions", body)

    def similar_items(self, recall_id: int) -> Answer:
        """Return items that could have the same thing wrong, with the reasons.

        Parameters
        ----------
        recall_id : int
            Id of the recall.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/recalls/{recall_id}/similar")

    def dispose(self, recall_id: int, action: str, by: str, **what: Any) -> Answer:
        """Record what is done about certificates.

        Parameters
        ----------
        recall_id : int
            Id of the recall.
        action : str
            ``withdraw``, ``reissue``, ``recalibrate_free`` or ``no_action``, which needs a
            ``justification``.
        by : str
            Who decided.
        **what : Any
            ``certificates`` named, or a ``list`` and its filters with the ``count`` that is meant;
            the ``justification``, and the ``reason_for_customer``.

        Returns
        -------
        Answer
        """
        body = encoded({"action": action, "by": by, **what})
        return self._post(f"/v1/recalls/{recall_id}/dispositions", body)

    def dispositions(self, recall_id: int, **filters: str) -> Iterator[Answer]:
        """Iterate over dispositions.

        Parameters
        ----------
        recall_id : int
            Id of the recall.
        **filters : str
            ``certificate``, ``action`` and ``history``.

        Yields
        ------
        Answer
        """
        return self._pages(f"/v1/recalls/{recall_id}/dispositions", filters)

    def draft_revision(self, recall_id: int, certificate: str, by: str, **more: str) -> Answer:
        """Draft the next revision of a recalled certificate, corrected as the recall says.

        Parameters
        ----------
        recall_id : int
            Id of the recall.
        certificate : str
            Its number.
        by : str
            Who drafts it.
        **more : str
            The ``amendment`` in other words than the usual ones.

        Returns
        -------
        Answer
            The draft; its ``fault_corrections`` say what was taken.
        """
        path = f"/v1/recalls/{recall_id}/revisions/{path_part(certificate)}"
        return self._post(path, encoded({"by": by, **more}))

    def draft_revisions(self, recall_id: int, by: str, **more: Any) -> Answer:
        """Draft the corrected revisions of all that is to be reissued, or of those named.

        Parameters
        ----------
        recall_id : int
            Id of the recall.
        by : str
            Who drafts them.
        **more : Any
            ``certificates``, and the ``amendment`` in other words than the usual ones.

        Returns
        -------
        Answer
            ``items``, the drafts.
        """
        return self._post(f"/v1/recalls/{recall_id}/revisions", encoded({"by": by, **more}))

    def create_notices(self, recall_id: int, by: str, **more: Any) -> Answer:
        """Create one notice a customer.

        Parameters
        ----------
        recall_id : int
            Id of the recall.
        by : str
            Who did it.
        **more : Any
            ``reply_by``, ``wrong`` (in plain words), ``customers`` and ``replace``.

        Returns
        -------
        Answer
            ``items``; ``kept`` counts those that have theirs.
        """
        return self._post(f"/v1/recalls/{recall_id}/notices", encoded({"by": by, **more}))

    def notices(self, recall_id: int, **filters: str) -> Iterator[Answer]:
        """Iterate over notices.

        Parameters
        ----------
        recall_id : int
            Id of the recall.
        **filters : str
            ``acknowledged``.

        Yields
        ------
        Answer
        """
        return self._pages(f"/v1/recalls/{recall_id}/notices", filters)

    def notice(self, recall_id: int, notice_id: int) -> Answer:
        """Return a notice with its content.

        Parameters
        ----------
        recall_id, notice_id : int
            Their ids.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/recalls/{recall_id}/notices/{notice_id}")

    def notice_file(self, recall_id: int, notice_id: int, form: str) -> bytes:
        """Return a notice as a file.

        Parameters
        ----------
        recall_id, notice_id : int
            Their ids.
        form : str
            ``text``, ``html`` or ``pdf``.

        Returns
        -------
        bytes
        """
        return self._file(f"/v1/recalls/{recall_id}/notices/{notice_id}", {"format": form})

    def record_delivery(self, recall_id: int, notice_id: int, delivery: Json) -> Answer:
        """Record that a notice was delivered, or its customer reminded.

        Parameters
        ----------
        recall_id, notice_id : int
            Their ids.
        delivery : mapping
            ``how``, ``by``, and what else is known.

        Returns
        -------
        Answer
        """
        path = f"/v1/recalls/{recall_id}/notices/{notice_id}/deliveries"
        return self._post(path, encoded(delivery))

    def record_acknowledgement(self, recall_id: int, notice_id: int, answer: Json) -> Answer:
        """Record that a customer confirmed a notice.

        Parameters
        ----------
        recall_id, notice_id : int
            Their ids.
        answer : mapping
            ``how``, ``by``, and what else is known.

        Returns
        -------
        Answer
        """
        path = f"/v1/recalls/{recall_id}/notices/{notice_id}/acknowledgements"
        return self._post(path, encoded(answer))
