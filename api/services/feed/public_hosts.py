"""Which machine is a webhook sent to? A public one, unless the laboratory's own are allowed.

Whoever registers an address could otherwise make this server ask machines that only it can reach
(server-side request forgery). The name is looked up once, every address it has must be public, and
the connection goes to the address that was looked at: a name that means another machine a moment
later (DNS rebinding) changes nothing. Public is what the registries of IANA call globally reachable
(RFC 6890; `ipaddress.is_global`), an IPv4 address inside an IPv6 one included, multicast excluded.

Choice: no proxy is used and no .netrc read, since a proxy would look the name up again.
"""

from __future__ import annotations

import ipaddress
import socket
from typing import Any

import requests
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.util.connection import create_connection

_NAT64 = ipaddress.ip_network("64:ff9b::/96")
_LOCAL_NAMES = ("localhost", "localhost.localdomain")


class PrivateAddress(OSError):
    """The host has an address that is not public."""


def is_public(text: str) -> bool:
    """Whether an IP address is one of the public internet.

    >>> [is_public(a) for a in ("127.0.0.1", "169.254.169.254", "::ffff:10.0.0.1", "1.1.1.1")]
    [False, False, False, True]
    """
    address = ipaddress.ip_address(text.partition("%")[0])
    if isinstance(address, ipaddress.IPv6Address):
        inner = address.ipv4_mapped or address.sixtofour
        if address in _NAT64:
            inner = ipaddress.IPv4Address(int(address) & 0xFFFF_FFFF)
        if address.teredo is not None:
            return False
        if inner is not None:
            return is_public(str(inner))
    return address.is_global and not address.is_multicast


def is_plainly_private(host: str) -> bool:
    """Whether a host is a private address, in any spelling, or a name of this machine."""
    name = host.rstrip(".").lower()
    if name in _LOCAL_NAMES or name.endswith(".localhost"):
        return True
    try:
        return not is_public(name)
    except ValueError:
        pass
    try:
        # What a resolver takes for an IPv4 address too: 127.1, 2130706433, 0x7f000001.
        return not is_public(socket.inet_ntoa(socket.inet_aton(name)))
    except (OSError, UnicodeError):
        return False


def public_addresses(host: str, port: int) -> list[str]:
    """Look a host up; raises ``PrivateAddress`` unless all its addresses are public."""
    found = [str(info[4][0]) for info in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
    if not all(map(is_public, found)):
        raise PrivateAddress("the host has a private address")
    return list(dict.fromkeys(found))


def _connected(connection: Any) -> socket.socket:
    failure: OSError | None = None
    for address in public_addresses(connection._dns_host, connection.port):
        try:
            return create_connection(
                (address, connection.port),
                connection.timeout,
                source_address=connection.source_address,
                socket_options=connection.socket_options,
            )
        except OSError as error:
            failure = error
    raise failure or OSError("the host has no address")


class _Plain(HTTPConnection):
    def _new_conn(self) -> socket.socket:
        return _connected(self)


class _Secure(HTTPSConnection):
    # The certificate is still checked against the name.
    def _new_conn(self) -> socket.socket:
        return _connected(self)


class _PlainPool(HTTPConnectionPool):
    ConnectionCls = _Plain


class _SecurePool(HTTPSConnectionPool):
    ConnectionCls = _Secure


class PublicOnly(HTTPAdapter):
    """Connects to public addresses alone; another one is ``PrivateAddress``."""

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        """Make the pools with our connections."""
        super().init_poolmanager(*args, **kwargs)
        self.poolmanager.pool_classes_by_scheme = {"http": _PlainPool, "https": _SecurePool}


def session(to_private: bool) -> requests.Session:
    """Make a session for deliveries."""
    made = requests.Session()
    # No names and passwords from .netrc for the host.
    made.auth = lambda prepared: prepared
    if not to_private:
        for scheme in ("http://", "https://"):
            made.mount(scheme, PublicOnly())
    return made


def reason(error: Exception) -> str:
    """Say in a word why nothing was sent: the kind of error, the private address it hides."""
    found: BaseException | None = error
    while found is not None:
        if isinstance(found, PrivateAddress):
            return type(found).__name__
        found = found.__context__
    return type(error).__name__
