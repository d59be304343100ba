"""What can be asked about a recall: the fault, the lists, the case, notices and evidence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from api.client.wire import Answer, Json, Wire, encoded, named, path_part

LISTS = (
    "affected",
    "exposed_zero_effect",
    "indeterminate",
    "traced_not_recalled",
    "cleared",
    "cannot_be_excluded",
)


class RecallCalls(Wire):
    """The calls of a client that speak of recalls and of what follows from them."""

    def report_fault(
        self,
        fault: Json | Sequence[Json],
        preview: bool = False,
        previous: int | None = None,
        as_of: str | None = None,
    ) -> Answer:
        """Report a fault, or several at once, and return the recall; a preview stores nothing."""
        name = "fault" if isinstance(fault, Mapping) else "faults"
        body: dict[str, Any] = {name: fault, "preview": preview}
        body |= {"previous": previous} if previous is not None else {}
        body |= {"as_of": as_of} if as_of is not None else {}
        return self._post("/v1/recalls", encoded(body))

    def compare_faults(self, first: Json, second: Json) -> Answer:
        """Return how two ways to see a fault differ, windows or effects; stores nothing."""
        return self._post("/v1/recalls/comparisons", encoded({"first": first, "second": second}))

    def draft_fault(
        self, number: str, issuer: str | None = None, revision: int | None = None
    ) -> Answer:
        """Make a ``fault`` of the as-found results of a standard's own calibration, to look at."""
        request = {"certificate": number, "issuer": issuer, "revision": revision}
        body = {name: part for name, part in request.items() if part is not None}
        return self._post("/v1/recalls/fault-drafts", encoded(body))

    def recall(self, recall_id: int) -> Answer:
        """Return a stored recall; a very large one has ``links`` in the place of its lists."""
        return self._get(f"/v1/recalls/{recall_id}")

    def recalls(self) -> Iterator[Answer]:
        """Iterate over stored recalls without their lists, the latest first."""
        return self._pages("/v1/recalls", {})

    def recall_entries(self, recall_id: int, list_name: str, **query: str) -> Iterator[Answer]:
        """Iterate over one of the ``LISTS`` of a recall, in the order and filters of ``query``."""
        return self._pages(f"/v1/recalls/{recall_id}/{path_part(list_name)}", query)

    def totals(self, recall_id: int) -> Answer:
        """Return the totals of a recall by customer, item, generation and change."""
        return self._get(f"/v1/recalls/{recall_id}/totals")

    # The case

    def case(self, recall_id: int) -> Answer:
        """Return where the handling of a recall stands."""
        return self._get(f"/v1/recalls/{recall_id}/case")

    def advance_case(self, case: Answer, state: str, by: str, reason: str) -> Answer:
        """Take the next step of a case as it was read; raises ``Stale`` if it changed since."""
        step = {"state": state, "by": by, "reason": reason}
        return self._patch(f"/v1/recalls/{case['recall']}/case", case, step)

    def resume_work(self, case: Answer, by: str, reason: str) -> Answer:
        """Let work with the item resume, by the word of somebody who did not assess the case."""
        path = f"/v1/recalls/{case['recall']}/resumption"
        return self._post(path, encoded({"by": by, "reason": reason}), read=case)

    def similar_items(self, recall_id: int) -> Answer:
        """Return items that could have the same thing wrong, with the reasons."""
        return self._get(f"/v1/recalls/{recall_id}/similar")

    def dispose(self, recall_id: int, action: str, by: str, **what: Any) -> Answer:
        """Record what is done about certificates: ``certificates`` named, or a ``list``.

        ``action`` is ``withdraw``, ``reissue``, ``recalibrate_free`` or ``no_action``, which needs
        a ``justification``.
        """
        body = encoded({"action": action, "by": by, **what})
        return self._post(f"/v1/recalls/{recall_id}/dispositions", body)

    def dispositions(self, recall_id: int, **filters: str) -> Iterator[Answer]:
        """Iterate over dispositions; filters are ``certificate``, ``action`` and ``history``."""
        return self._pages(f"/v1/recalls/{recall_id}/dispositions", filters)

    # Notices

    def create_notices(self, recall_id: int, by: str, **more: Any) -> Answer:
        """Create one notice a customer: ``items``; ``kept`` counts those that have theirs."""
        return self._post(f"/v1/recalls/{recall_id}/notices", encoded({"by": by, **more}))

    def notices(self, recall_id: int, **filters: str) -> Iterator[Answer]:
        """Iterate over notices; the filter is ``acknowledged``."""
        return self._pages(f"/v1/recalls/{recall_id}/notices", filters)

    def notice(self, recall_id: int, notice_id: int) -> Answer:
        """Return a notice with its content."""
        return self._get(f"/v1/recalls/{recall_id}/notices/{notice_id}")

    def notice_file(self, recall_id: int, notice_id: int, form: str) -> bytes:
        """Return a notice as ``text``, ``html`` or ``pdf``."""
        return self._file(f"/v1/recalls/{recall_id}/notices/{notice_id}", {"format": form})

    def record_delivery(self, recall_id: int, notice_id: int, delivery: Json) -> Answer:
        """Record that a notice was delivered, or its customer reminded."""
        path = f"/v1/recalls/{recall_id}/notices/{notice_id}/deliveries"
        return self._post(path, encoded(delivery))

    def record_acknowledgement(self, recall_id: int, notice_id: int, answer: Json) -> Answer:
        """Record that a customer confirmed a notice."""
        path = f"/v1/recalls/{recall_id}/notices/{notice_id}/acknowledgements"
        return self._post(path, encoded(answer))

    def changes(self, since: int | str = 0, **filters: str) -> Answer:
        """Return changes behind a cursor or since an instant: ``items, cursor, next``.

        Ask again with ``cursor``; ``next`` is null when nothing more waits.
        """
        return self._get("/v1/changes", {"since": str(since), **filters})

    # Evidence

    def export(self, recall_id: int, form: str, **query: str) -> bytes:
        """Return the lists of a recall as a file: ``csv``, ``xlsx`` or ``ndjson``."""
        return self._file(f"/v1/recalls/{recall_id}/export.{path_part(form)}", query)

    def explanation(
        self,
        recall_id: int,
        number: str,
        issuer: str | None = None,
        revision: int | None = None,
    ) -> Answer:
        """Return why a certificate is where it is, in sentences."""
        path = f"/v1/recalls/{recall_id}/explanations/{path_part(number)}"
        return self._get(path, named(issuer, revision))

    def provenance(self, recall_id: int) -> Answer:
        """Return the affected part as W3C PROV-JSON."""
        return self._get(f"/v1/recalls/{recall_id}/provenance")

    def graph(self, recall_id: int) -> bytes:
        """Return the affected part as GraphML."""
        return self._file(f"/v1/recalls/{recall_id}/graph.graphml")

    def figure(self, recall_id: int, form: str = "svg") -> bytes:
        """Return the picture of the affected part: ``svg`` or ``png``."""
        return self._file(f"/v1/recalls/{recall_id}/figure.{path_part(form)}")
