"""What can be asked about decisions: one result or many, rules and specifications."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from api.client.wire import Answer, Json, Wire, encoded, read

Number = Decimal | int | str


class DecisionCalls(Wire):
    """The calls of a client that speak of decisions."""

    def decide(
        self,
        value: Number,
        *,
        unit: str,
        rule: str | Json,
        U: Number | None = None,
        lower: Number | None = None,
        upper: Number | None = None,
        store: bool = True,
        **more: Any,
    ) -> Answer:
        """Decide one result.

        Limits are ``lower`` and ``upper``, or ``nominal`` and ``tolerance`` among ``more``.

        Parameters
        ----------
        value : Decimal, int or str
            The result, unrounded.
        unit : str
            Of value, U and limits.
        rule : str or mapping
            Id of a decision rule, or a rule.
        U : Decimal, int or str, optional
            Expanded uncertainty; or give ``U_rel_pct``.
        lower, upper : Decimal, int or str, optional
            Tolerance limits.
        store : bool
            Whether the decision is stored.
        **more : Any
            The other fields of ``POST /v1/decisions``, such as ``k, dof, prior, reading,
            full_scale, resolution, U_rel_pct, results, specification``.

        Returns
        -------
        Answer
            The verdict with all that follows from the result.
        """
        limits = {n: v for n, v in (("lower", lower), ("upper", upper)) if v is not None}
        sent = {"value": value, "U": U, "unit": unit, "rule": rule, **more}
        sent |= {"limits": limits} if limits else {}
        body = {name: part for name, part in sent.items() if part is not None}
        return self._post("/v1/decisions", encoded(body | {"store": store}))

    def decision(self, decision_id: int) -> Answer:
        """Return a stored decision with the request that it answers.

        Parameters
        ----------
        decision_id : int
            Its id.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/decisions/{decision_id}")

    def decisions(self, **filters: str) -> Iterator[Answer]:
        """Iterate over stored decisions in short, the latest first.

        Parameters
        ----------
        **filters : str
            ``verdict``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/decisions", filters)

    def batch(
        self,
        rows: Iterable[Json] | None = None,
        *,
        csv: str | bytes | Path | None = None,
        rule: str | Json | None = None,
    ) -> Answer:
        """Decide many results, as objects or as CSV.

        Parameters
        ----------
        rows : iterable of mapping, optional
            The results, each with the fields of `decide`.
        csv : str, bytes or Path, optional
            Text, bytes or a file, in the place of rows.
        rule : str or mapping, optional
            Serves rows that name none; with CSV it is the id of one.

        Returns
        -------
        Answer
            ``rows`` and ``summary``.

        Raises
        ------
        TypeError
            If both or neither of rows and csv are given, or a rule itself with csv.
        """
        if (rows is None) == (csv is None):
            raise TypeError("give rows or csv")
        if csv is None:
            body: dict[str, Any] = {"rows": list(rows or ())}
            return self._post("/v1/batches", encoded(body | ({"rule": rule} if rule else {})))
        if rule is not None and not isinstance(rule, str):
            raise TypeError("with csv a rule is given by its id")
        text = csv.encode() if isinstance(csv, str) else read(csv)
        return self._post("/v1/batches", text, "text/csv", {"rule": rule} if rule else {})

    def decision_rules(self) -> Iterator[Answer]:
        """Iterate over the latest version of every decision rule.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/decision-rules", {})

    def record_rule(self, rule: Json) -> Answer:
        """Record a decision rule, or the next version of one.

        Parameters
        ----------
        rule : mapping
            Its fields: ``id``, ``guard``, and for instance ``zones``, ``precondition`` and what
            decides ``otherwise``.

        Returns
        -------
        Answer
            The rule as recorded.
        """
        return self._post("/v1/decision-rules", encoded(rule))

    def specifications(self) -> Iterator[Answer]:
        """Iterate over the latest version of every specification.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/specifications", {})

    def record_specification(self, specification: Json) -> Answer:
        """Record a specification, or the next version of one.

        Parameters
        ----------
        specification : mapping
            Its fields.

        Returns
        -------
        Answer
            The specification as recorded.
        """
        return self._post("/v1/specifications", encoded(specification))
