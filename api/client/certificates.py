"""What can be asked about certificates and the calibrations behind them."""

from __future__ import annotations

from collections.abc import Iterator

from api.client.wire import Answer, Json, Wire, encoded, named, path_part


class CertificateCalls(Wire):
    """The calls of a client that speak of certificates."""

    def certificate(
        self, number: str, issuer: str | None = None, revision: int | None = None
    ) -> Answer:
        """Return a certificate.

        Parameters
        ----------
        number : str
            Of the certificate.
        issuer : str, optional
            The laboratory itself unless given, else the only issuer of this number.
        revision : int, optional
            From 0; the issued one unless given, else the newest.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/certificates/{path_part(number)}", named(issuer, revision))

    def certificates(self, **filters: str) -> Iterator[Answer]:
        """Iterate over certificates in short.

        Parameters
        ----------
        **filters : str
            ``item``, ``customer`` and ``status``.

        Yields
        ------
        Answer
        """
        return self._pages("/v1/certificates", filters)

    def chain(self, number: str, issuer: str | None = None, revision: int | None = None) -> Answer:
        """Return what a certificate rests on.

        Parameters
        ----------
        number : str
            Of the certificate.
        issuer : str, optional
            The laboratory itself unless given, else the only issuer of this number.
        revision : int, optional
            From 0; the issued one unless given, else the newest.

        Returns
        -------
        Answer
            ``links``, ``roots`` and ``breaks``.
        """
        return self._get(f"/v1/certificates/{path_part(number)}/chain", named(issuer, revision))

    def curve(
        self,
        number: str,
        issuer: str | None = None,
        revision: int | None = None,
        **asked: str,
    ) -> Answer:
        """Return the curve that a certificate assigns, and what it gives.

        Parameters
        ----------
        number : str
            Of the certificate.
        issuer : str, optional
            The laboratory itself unless given, else the only issuer of this number.
        revision : int, optional
            From 0; the issued one unless given, else the newest.
        **asked
            ``deflection``, which gives the force, or ``force``, which gives the deflection, as
            decimal text; and the ``unit`` of the force.

        Returns
        -------
        Answer
            The curve, with ``force`` and ``deflection`` where one was asked.
        """
        query = named(issuer, revision) | asked
        return self._get(f"/v1/certificates/{path_part(number)}/curve", query)

    def grounds(
        self, number: str, issuer: str | None = None, revision: int | None = None
    ) -> Answer:
        """Return what spoke against a certificate when it was issued, and what does today.

        Parameters
        ----------
        number : str
            Of the certificate.
        issuer : str, optional
            The laboratory itself unless given, else the only issuer of this number.
        revision : int, optional
            From 0; the issued one unless given, else the newest.

        Returns
        -------
        Answer
            ``grounds`` (None where nobody asked), ``today`` and ``override`` if there is one.
        """
        return self._get(f"/v1/certificates/{path_part(number)}/grounds", named(issuer, revision))

    def try_calibration(self, calibration: Json) -> Answer:
        """Return what speaks against a calibration; nothing is stored.

        Parameters
        ----------
        calibration : mapping
            Its fields.

        Returns
        -------
        Answer
            ``grounds``.
        """
        return self._post("/v1/calibrations", encoded(calibration), query={"dry_run": "true"})

    def record_calibration(self, calibration: Json) -> Answer:
        """Record a calibration with its certificate, uses and results.

        Parameters
        ----------
        calibration : mapping
            Its fields.

        Returns
        -------
        Answer
            The certificate as recorded.
        """
        return self._post("/v1/calibrations", encoded(calibration))

    def record_revision(self, number: str, calibration: Json) -> Answer:
        """Record a new revision that takes the place of the issued one.

        Parameters
        ----------
        number : str
            Of the certificate.
        calibration : mapping
            All its fields; ``amendment`` says what was amended.

        Returns
        -------
        Answer
            The certificate as recorded.
        """
        return self._post(f"/v1/certificates/{path_part(number)}/revisions", encoded(calibration))

    def void(
        self,
        number: str,
        reason: str,
        issuer: str | None = None,
        revision: int | None = None,
        *,
        voided_at: str | None = None,
    ) -> Answer:
        """Void a certificate; who used it before stays a user of it.

        Parameters
        ----------
        number : str
            Of the certificate.
        reason : str
            Why.
        issuer : str, optional
            The laboratory itself unless given, else the only issuer of this number.
        revision : int, optional
            From 0; the issued one unless given, else the newest.
        voided_at : str, optional
            Since when, a date or a date-time with a zone; now unless given.

        Returns
        -------
        Answer
            The certificate as it is now.
        """
        body = {"reason": reason} | ({} if voided_at is None else {"voided_at": voided_at})
        path = f"/v1/certificates/{path_part(number)}/void"
        return self._post(path, encoded(body), query=named(issuer, revision))

    def add_use(
        self,
        number: str,
        use: Json,
        by: str,
        reason: str,
        issuer: str | None = None,
        revision: int | None = None,
    ) -> Answer:
        """Add a use that was forgotten.

        Parameters
        ----------
        number : str
            Of the certificate.
        use : mapping
            The use, as a calibration records it.
        by, reason : str
            Who adds it, and why.
        issuer : str, optional
            The laboratory itself unless given, else the only issuer of this number.
        revision : int, optional
            From 0; the issued one unless given, else the newest.

        Returns
        -------
        Answer
            The certificate as it is now.
        """
        body = {"use": use, "by": by, "reason": reason}
        path = f"/v1/certificates/{path_part(number)}/uses"
        return self._post(path, encoded(body), query=named(issuer, revision))

    def correct_use(
        self,
        number: str,
        position: int,
        use: Json | None,
        by: str,
        reason: str,
        issuer: str | None = None,
        revision: int | None = None,
    ) -> Answer:
        """Replace the use at a position, or take it out.

        Parameters
        ----------
        number : str
            Of the certificate.
        position : int
            Of the use, from 0.
        use : mapping or None
            What it should be; None takes it out.
        by, reason : str
            Who corrects it, and why.
        issuer : str, optional
            The laboratory itself unless given, else the only issuer of this number.
        revision : int, optional
            From 0; the issued one unless given, else the newest.

        Returns
        -------
        Answer
            The certificate as it is now.
        """
        body = {"use": use, "by": by, "reason": reason}
        path = f"/v1/certificates/{path_part(number)}/uses/{position}/corrections"
        return self._post(path, encoded(body), query=named(issuer, revision))

    def issue(
        self,
        number: str,
        issued_at: str,
        issuer: str | None = None,
        revision: int | None = None,
        *,
        override: Json | None = None,
        **said: str,
    ) -> Answer:
        """Issue a draft.

        Parameters
        ----------
        number : str
            Of the certificate.
        issued_at : str
            A date, or a date-time with a zone.
        issuer : str, optional
            The laboratory itself unless given, else the only issuer of this number.
        revision : int, optional
            From 0; the issued one unless given, else the newest.
        override : mapping, optional
            Who answers for it (``by``) and why (``reason``), where something speaks against it.
        **said : str
            What the draft does not say yet: ``place``, ``conditions``, ``received_at``, ``order``,
            ``performed_by``, ``authorised_by``.

        Returns
        -------
        Answer
            The certificate as it is now.
        """
        body: dict[str, object] = {"issued_at": issued_at, **said}
        body |= {} if override is None else {"override": override}
        path = f"/v1/certificates/{path_part(number)}/issue"
        return self._post(path, encoded(body), query=named(issuer, revision))
