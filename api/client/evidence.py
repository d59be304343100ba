"""What can be asked for as evidence of a recall: files, pictures, sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

from api.client.wire import Answer, Wire, named, path_part

if TYPE_CHECKING:
    import networkx


class EvidenceCalls(Wire):
    """The calls of a client that ask for the evidence of a recall."""

    def export(self, recall_id: int, form: str, **query: str) -> bytes:
        """Return the lists of a recall as a file.

        Parameters
        ----------
        recall_id : int
            Its id.
        form : str
            ``csv``, ``xlsx`` or ``ndjson``.
        **query : str
            ``lists``, joined by commas; of the tables also ``raw``.

        Returns
        -------
        bytes
        """
        return self._file(f"/v1/recalls/{recall_id}/export.{path_part(form)}", query)

    def explanation(
        self,
        recall_id: int,
        number: str,
        issuer: str | None = None,
        revision: int | None = None,
    ) -> Answer:
        """Return why a certificate is where it is, in sentences.

        Parameters
        ----------
        recall_id : int
            Id of the recall.
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
        path = f"/v1/recalls/{recall_id}/explanations/{path_part(number)}"
        return self._get(path, named(issuer, revision))

    def provenance(self, recall_id: int) -> Answer:
        """Return the affected part as W3C PROV-JSON.

        Parameters
        ----------
        recall_id : int
            Id of the recall.

        Returns
        -------
        Answer
        """
        return self._get(f"/v1/recalls/{recall_id}/provenance")

    def graph(self, recall_id: int) -> networkx.MultiDiGraph:
        """Return the affected part as a graph of networkx, for any of its algorithms.

        Nodes have a ``kind`` (fault, item, certificate) and a ``label``; certificates also
        ``number``, ``revision``, ``list``, ``generation`` and what else is known. Edges run from
        cause to effect and have a ``kind`` (concerns, assigned, held, used); each ``used`` one is
        one recorded use with its ``role``, ``at``, ``weight`` (text) and ``channel``.

        Parameters
        ----------
        recall_id : int
            Id of the recall.

        Returns
        -------
        networkx.MultiDiGraph
        """
        import networkx  # slow to import, and wanted by few calls

        return networkx.node_link_graph(
            dict(self._get(f"/v1/recalls/{recall_id}/graph.json")), edges="edges"
        )

    def graphml(self, recall_id: int) -> bytes:
        """Return the affected part as GraphML.

        Parameters
        ----------
        recall_id : int
            Id of the recall.

        Returns
        -------
        bytes
            XML in UTF-8.
        """
        return self._file(f"/v1/recalls/{recall_id}/graph.graphml")

    def figure(self, recall_id: int, form: str = "svg") -> bytes:
        """Return the picture of the affected part.

        Parameters
        ----------
        recall_id : int
            Id of the recall.
        form : str
            ``svg`` or ``png``.

        Returns
        -------
        bytes
        """
        return self._file(f"/v1/recalls/{recall_id}/figure.{path_part(form)}")
