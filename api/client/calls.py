"""One method for each thing that the server can be asked."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

from api.client.recalls import RecallCalls
from api.client.setups import SetupCalls
from api.client.wire import Answer, Json, Upload, encoded, form_of, named, path_part, read

Number = Decimal | int | str
Source = Json | bytes | Path


class Client(RecallCalls, SetupCalls):
    """A connection to one server; a context manager. Not for use by several threads at once.

    Parameters
    ----------
    url, key
        Address and API key; without them ``TRACEHOLD_URL`` (else port 8000 of this machine) and
        ``TRACEHOLD_API_KEY``.
    timeout
        Longest silence of the server, in seconds. A large recall or import may take a while.
    retries
        How often a request that may be repeated is repeated.

    Every method raises a subclass of ``ApiError`` for a request that was not fulfilled, and
    ``TypeError`` for a float in what is to be sent.
    """

    # Laboratory

    def import_laboratory(self, document: Source, dry_run: bool = False) -> Answer:
        """Import a laboratory, all or nothing: an object, JSON text as bytes, or a file."""
        query = {"dry_run": "true"} if dry_run else {}
        body = encoded(document) if isinstance(document, Mapping) else read(document)
        return self._post("/v1/imports", body, query=query)

    def import_lines(
        self,
        lines: Iterable[Json] | bytes | Path,
        dry_run: bool = False,
        seen: Callable[[int], None] | None = None,
    ) -> Answer:
        """Import a laboratory as NDJSON: objects, one for each line, or the text, or a file.

        A file is sent as it is read; ``seen`` is told how many bytes of it are read.
        """
        query = {"dry_run": "true"} if dry_run else {}
        body: bytes | Upload
        if isinstance(lines, Path):
            body = Upload(lines, seen)
        else:
            body = lines if isinstance(lines, bytes) else b"\n".join(map(encoded, lines))
        return self._post("/v1/imports", body, "application/x-ndjson", query)

    def import_csv(
        self,
        files: Mapping[str, bytes | Path],
        mapping: Source,
        dry_run: bool = False,
        skip_refused: bool = False,
    ) -> Answer:
        """Import CSV files, named as the mapping names them.

        The answer tells of every refused row; if they stop the import, ``report`` of the
        ``InvalidRequest`` raised does. ``skip_refused`` leaves them out.
        """
        query = {"dry_run": "true"} if dry_run else {}
        query |= {"refused": "skip"} if skip_refused else {}
        sent = encoded(mapping) if isinstance(mapping, Mapping) else read(mapping)
        parts = {name: (name, read(file), "text/csv") for name, file in files.items()}
        body, content_type = form_of({**parts, "mapping": ("mapping", sent, "application/json")})
        return self._post("/v1/imports/csv", body, content_type, query)

    def laboratory(self) -> Answer:
        """Return what is recorded of the laboratory itself."""
        return self._get("/v1/laboratory")

    def change_laboratory(self, laboratory: Answer, **changes: Any) -> Answer:
        """Change ``name, address, contact`` as they were read; raises ``Stale`` if they changed."""
        return self._patch("/v1/laboratory", laboratory, changes)

    def item(self, item_id: str) -> Answer:
        """Return one item."""
        return self._get(f"/v1/items/{path_part(item_id)}")

    def items(self, **filters: str) -> Iterator[Answer]:
        """Iterate over items; filters are ``kind``, ``type`` and ``owner``."""
        return self._pages("/v1/items", filters)

    def record_item(self, item: Json) -> Answer:
        """Record an item."""
        return self._post("/v1/items", encoded(item))

    def change_item(self, item: Answer, **changes: Any) -> Answer:
        """Change an item as it was read; raises ``Stale`` if it changed since."""
        return self._patch(f"/v1/items/{path_part(item['id'])}", item, changes)

    def compositions(self, **filters: str) -> Iterator[Answer]:
        """Iterate over parts in assemblies; filters are ``assembly`` and ``part``."""
        return self._pages("/v1/compositions", filters)

    def record_composition(self, holding: Json) -> Answer:
        """Record that a part is in an assembly: ``assembly, part, from, until``."""
        return self._post("/v1/compositions", encoded(holding))

    def checks(self, **filters: str) -> Iterator[Answer]:
        """Iterate over intermediate checks; the filter is ``item``."""
        return self._pages("/v1/checks", filters)

    def record_check(self, check: Json) -> Answer:
        """Record an intermediate check or inspection."""
        return self._post("/v1/checks", encoded(check))

    def customers(self) -> Iterator[Answer]:
        """Iterate over customers by name."""
        return self._pages("/v1/customers", {})

    def record_customer(self, customer: Json) -> Answer:
        """Record a customer: ``name, contact, email, note``."""
        return self._post("/v1/customers", encoded(customer))

    # Certificates

    def certificate(
        self, number: str, issuer: str | None = None, revision: int | None = None
    ) -> Answer:
        """Return a certificate: the issued revision unless another is named."""
        return self._get(f"/v1/certificates/{path_part(number)}", named(issuer, revision))

    def certificates(self, **filters: str) -> Iterator[Answer]:
        """Iterate over certificates in short; filters are ``item, customer, status``."""
        return self._pages("/v1/certificates", filters)

    def chain(self, number: str, issuer: str | None = None, revision: int | None = None) -> Answer:
        """Return what a certificate rests on: ``links``, ``roots`` and ``breaks``."""
        return self._get(f"/v1/certificates/{path_part(number)}/chain", named(issuer, revision))

    def record_calibration(self, calibration: Json) -> Answer:
        """Record a calibration with its certificate, uses and results."""
        return self._post("/v1/calibrations", encoded(calibration))

    def record_revision(self, number: str, calibration: Json) -> Answer:
        """Record a new revision that takes the place of the issued one; it says ``amendment``."""
        return self._post(f"/v1/certificates/{path_part(number)}/revisions", encoded(calibration))

    def void(
        self, number: str, reason: str, issuer: str | None = None, revision: int | None = None
    ) -> Answer:
        """Void a certificate for a reason."""
        path = f"/v1/certificates/{path_part(number)}/void"
        return self._post(path, encoded({"reason": reason}), query=named(issuer, revision))

    def issue(
        self, number: str, issued_at: str, issuer: str | None = None, revision: int | None = None
    ) -> Answer:
        """Issue a draft."""
        path = f"/v1/certificates/{path_part(number)}/issue"
        return self._post(path, encoded({"issued_at": issued_at}), query=named(issuer, revision))

    # Decisions

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
        """Decide one result against ``lower`` and ``upper``, or ``nominal`` and ``tolerance``.

        ``more`` are the other fields of ``POST /v1/decisions``: ``k, dof, prior, reading,
        full_scale, resolution, U_rel_pct, results, specification``.
        """
        limits = {n: v for n, v in (("lower", lower), ("upper", upper)) if v is not None}
        sent = {"value": value, "U": U, "unit": unit, "rule": rule, **more}
        sent |= {"limits": limits} if limits else {}
        body = {name: part for name, part in sent.items() if part is not None}
        return self._post("/v1/decisions", encoded(body | {"store": store}))

    def decision(self, decision_id: int) -> Answer:
        """Return a stored decision with the request that it answers."""
        return self._get(f"/v1/decisions/{decision_id}")

    def decisions(self, **filters: str) -> Iterator[Answer]:
        """Iterate over stored decisions in short, the latest first; the filter is ``verdict``."""
        return self._pages("/v1/decisions", filters)

    def batch(
        self,
        rows: Iterable[Json] | None = None,
        *,
        csv: str | bytes | Path | None = None,
        rule: str | Json | None = None,
    ) -> Answer:
        """Decide many results, as objects or as CSV (text, bytes or a file): ``rows, summary``.

        ``rule`` serves rows that name none; with CSV it is the id of one.
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
        """Iterate over the latest version of every decision rule."""
        return self._pages("/v1/decision-rules", {})

    def record_rule(self, rule: Json) -> Answer:
        """Record a decision rule, or the next version of one."""
        return self._post("/v1/decision-rules", encoded(rule))

    def specifications(self) -> Iterator[Answer]:
        """Iterate over the latest version of every specification."""
        return self._pages("/v1/specifications", {})

    def record_specification(self, specification: Json) -> Answer:
        """Record a specification, or the next version of one."""
        return self._post("/v1/specifications", encoded(specification))
