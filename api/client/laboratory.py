"""What can be asked about a laboratory: its records, one by one or all at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from api.client.wire import Answer, Json, Source, Upload, Wire, encoded, form_of, path_part, read


class LaboratoryCalls(Wire):
    """The calls of a client that speak of the laboratory, its items and customers."""

    def import_laboratory(self, document: Source, dry_run: bool = False) -> Answer:
        """Import a laboratory, all or nothing.

        Parameters
        ----------
        document : mapping, bytes or Path
            An object, JSON text, or a file of it.
        dry_run : bool
            Whether it is only checked.

        Returns
        -------
        Answer
            What was found and stored.
        """
        query = {"dry_run": "true"} if dry_run else {}
        body = encoded(document) if isinstance(document, Mapping) else read(document)
        return self._post("/v1/imports", body, query=query)

    def import_lines(
        self,
        lines: Iterable[Json] | bytes | Path,
        dry_run: bool = False,
        seen: Callable[[int], None] | None = None,
    ) -> Answer:
        """Import a laboratory as NDJSON, all or nothing.

        Parameters
        ----------
        lines : iterable of mapping, bytes or Path
            Objects, one for each line, or the text, or a file, which is sent as it is read.
        dry_run : bool
            Whether it is only checked.
        seen : callable, optional
            Told how many bytes of a file are read.

        Returns
        -------
        Answer
            What was found and stored.
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
        """Import CSV files.

        Parameters
        ----------
        files : mapping of str to bytes or Path
            The files, named as the mapping names them.
        mapping : mapping, bytes or Path
            Which column is which field; an object, JSON text, or a file of it.
        dry_run : bool
            Whether they are only checked.
        skip_refused : bool
            Whether refused rows are left out; else one stops the import.

        Returns
        -------
        Answer
            What was found and stored, and every refused row.

        Raises
        ------
        InvalidRequest
            If a row is refused; its ``report`` tells of each.
        """
        query = {"dry_run": "true"} if dry_run else {}
        query |= {"refused": "skip"} if skip_refused else {}
        sent = encoded(mapping) if isinstance(mapping, Mapping) else read(mapping)
        parts = {name: (name, read(file), "text/csv") for name, file in files.items()}
        body, content_type = form_of({**parts, "mapping": ("mapping", sent, "application/json")})
        return self._post("/v1/imports/csv", body, content_type, query)

    def laboratory(self) -> Answer:
        """Return what is recorded of the laboratory itself.

        Returns
        -------
        Answer
        """
        return self._get("/v1/laboratory")

    def change_laboratory(self, laboratory: Answer, **changes: Any) -> Answer:
        """Change what is recorded of the laboratory.

        Parameters
        ----------
        laboratory : Answer
            As it was read.
        **changes : Any
            Of ``name``, ``address``, ``contact`` and ``asked_at_issue``.

        Returns
        -------
        Answer
            As it is now.

        Raises
        ------
        Stale
            If it changed since.
        TypeError
            If it was not read by itself.
        """
        return self._patch("/v1/laboratory", laboratory, changes)

    def item(self, item_id: str) -> Answer:
        """Return one item.

        Parameters
        ----------
        item_id : str
            Its id.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/items/{path_part(item_id)}")

    def items(self, **filters: str) -> Iterator[Answer]:
        """Iterate over items.

        Parameters
        ----------
        **filters : str
            ``kind``, ``type`` and ``owner``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/items", filters)

    def record_item(self, item: Json) -> Answer:
        """Record an item.

        Parameters
        ----------
        item : mapping
            Its fields.

        Returns
        -------
        Answer
            The item as recorded.
        """
        return self._post("/v1/items", encoded(item))

    def change_item(self, item: Answer, **changes: Any) -> Answer:
        """Change an item.

        Parameters
        ----------
        item : Answer
            As it was read by itself.
        **changes : Any
            Fields with their new values.

        Returns
        -------
        Answer
            As it is now.

        Raises
        ------
        Stale
            If it changed since.
        TypeError
            If it was not read by itself.
        """
        return self._patch(f"/v1/items/{path_part(item['id'])}", item, changes)

    def compositions(self, **filters: str) -> Iterator[Answer]:
        """Iterate over parts in assemblies.

        Parameters
        ----------
        **filters : str
            ``assembly`` and ``part``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/compositions", filters)

    def record_composition(self, holding: Json) -> Answer:
        """Record that a part is in an assembly.

        Parameters
        ----------
        holding : mapping
            ``assembly``, ``part``, ``from`` and ``until``.

        Returns
        -------
        Answer
            The holding as recorded.
        """
        return self._post("/v1/compositions", encoded(holding))

    def correct_composition(
        self, composition_id: int, by: str, reason: str, **right: Any
    ) -> Answer:
        """Correct a holding; the old record stays readable.

        Parameters
        ----------
        composition_id : int
            Id of the holding.
        by, reason : str
            Who corrects it, and why.
        **right
            `assembly, part, from, until, share, withdrawn` as they should be; `from` is written
            `from_`, None takes a value away.

        Returns
        -------
        Answer
        """
        body = {name.rstrip("_"): value for name, value in right.items()}
        path = f"/v1/compositions/{composition_id}/corrections"
        return self._post(path, encoded(body | {"by": by, "reason": reason}))

    def swap_identities(
        self,
        items: tuple[str, str],
        from_: str,
        until: str | None = None,
        *,
        by: str,
        reason: str,
    ) -> Answer:
        """Exchange two items that were taken for each other, in what is recorded of that time.

        Parameters
        ----------
        items : tuple of str
            Ids of the two items.
        from_, until : str
            When they were taken for each other, dates or date-times; until now unless given.
        by, reason : str
            Who says so, and why.

        Returns
        -------
        Answer
        """
        body = {"items": list(items), "from": from_, "until": until, "by": by, "reason": reason}
        return self._post("/v1/identity-swaps", encoded(body))

    def checks(self, **filters: str) -> Iterator[Answer]:
        """Iterate over intermediate checks.

        Parameters
        ----------
        **filters : str
            ``item``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/checks", filters)

    def record_check(self, check: Json) -> Answer:
        """Record an intermediate check or inspection.

        Parameters
        ----------
        check : mapping
            Its fields.

        Returns
        -------
        Answer
            The check as recorded.
        """
        return self._post("/v1/checks", encoded(check))

    def correct_check(self, check_id: str, by: str, reason: str, **right: Any) -> Answer:
        """Correct any field of a check, or withdraw it; the old record stays readable.

        Parameters
        ----------
        check_id : str
            Id of the check.
        by, reason : str
            Who corrects it, and why.
        **right
            Fields as they should be; `withdrawn=True` takes it out of the evidence.

        Returns
        -------
        Answer
        """
        path = f"/v1/checks/{path_part(check_id)}/corrections"
        return self._post(path, encoded(right | {"by": by, "reason": reason}))

    def agreements(self, **filters: str) -> Iterator[Answer]:
        """Iterate over agreements with customers by id, each in its latest version.

        Parameters
        ----------
        **filters : str
            ``customer``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/agreements", filters)

    def agreement(self, agreement_id: str, version: int | None = None) -> Answer:
        """Return one agreement.

        Parameters
        ----------
        agreement_id : str
            Its id.
        version : int, optional
            Which version; default: the latest.

        Returns
        -------
        Answer
        """
        query = {} if version is None else {"version": str(version)}
        return self._get(f"/v1/agreements/{path_part(agreement_id)}", query)

    def record_agreement(self, agreement: Json, read: Answer | None = None) -> Answer:
        """Record what was agreed with a customer, or the next version of it.

        Parameters
        ----------
        agreement : mapping
            ``id``, ``customer``, at most one of ``order``, ``item`` and ``type``, ``rule``,
            ``specification``, ``from``, ``until``, ``agreed_with``, ``by`` and ``note``. A version
            with ``until`` ends it.
        read : Answer, optional
            The latest version as read before; needed for the next one.

        Returns
        -------
        Answer
            The agreement as recorded, with its version.
        """
        return self._post("/v1/agreements", encoded(agreement), read=read)

    def customers(self) -> Iterator[Answer]:
        """Iterate over customers by name.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/customers", {})

    def record_customer(self, customer: Json) -> Answer:
        """Record a customer.

        Parameters
        ----------
        customer : mapping
            ``name``, ``contact``, ``email`` and ``note``.

        Returns
        -------
        Answer
            The customer as recorded.
        """
        return self._post("/v1/customers", encoded(customer))
