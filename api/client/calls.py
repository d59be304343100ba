"""One method for each thing that the server can be asked."""

from __future__ import annotations

from api.client.alerts import AlertCalls
from api.client.cases import CaseCalls
from api.client.certificates import CertificateCalls
from api.client.decisions import DecisionCalls
from api.client.evidence import EvidenceCalls
from api.client.frames import FrameCalls
from api.client.laboratory import LaboratoryCalls
from api.client.recalls import RecallCalls
from api.client.setups import SetupCalls


class Client(
    LaboratoryCalls,
    CertificateCalls,
    DecisionCalls,
    RecallCalls,
    CaseCalls,
    AlertCalls,
    EvidenceCalls,
    SetupCalls,
    FrameCalls,
):
    """A connection to one server; a context manager. Not for use by several threads at once.

    Parameters
    ----------
    url, key : str, optional
        Address and API key; without them ``TRACEHOLD_URL`` (else port 8000 of this machine) and
        ``TRACEHOLD_API_KEY``.
    timeout : float
        Longest silence of the server, in seconds. A large recall or import may take a while.
    retries : int
        How often a request that may be repeated is repeated.

    Raises
    ------
    Unauthorized
        If the key holds characters that no key has.

    Notes
    -----
    Every method raises a subclass of `ApiError` for a request that was not fulfilled, and
    `TypeError` for a float in what is to be sent; their own sections name what they add. What is
    iterated over is asked for page by page, so that errors come while iterating.

    Examples
    --------
    >>> with Client("https://tracehold.example/", key="example") as client:
    ...     client.url
    'https://tracehold.example'
    """
