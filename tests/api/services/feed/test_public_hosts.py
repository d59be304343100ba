"""Which hosts are public: the special-purpose address registries of IANA (RFC 6890), from memory.

The registries are those for IPv4 and IPv6; "globally reachable" is their column of that name.
"""

from __future__ import annotations

import socket
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
import requests

from api.services.feed import public_hosts
from api.services.feed.public_hosts import (
    PrivateAddress,
    is_plainly_private,
    is_public,
    public_addresses,
    reason,
)

NOT_REACHABLE = [
    *("0.0.0.0", "0.255.255.255"),  # this network, RFC 791
    *("10.0.0.0", "10.255.255.255", "172.16.0.0", "172.31.255.255"),  # private use, RFC 1918
    *("192.168.0.0", "192.168.255.255"),
    *("100.64.0.0", "100.127.255.255"),  # shared address space, RFC 6598
    *("127.0.0.1", "127.255.255.255"),  # loopback, RFC 1122
    *("169.254.0.1", "169.254.169.254"),  # link local, RFC 3927
    *("192.0.0.1", "192.0.2.1", "198.51.100.1", "203.0.113.1"),  # protocols; documentation
    *("198.18.0.1", "198.19.255.255"),  # benchmarking, RFC 2544
    *("240.0.0.1", "255.255.255.255"),  # reserved, broadcast
    *("224.0.0.1", "239.255.255.255"),  # multicast, RFC 5771
    *("::", "::1"),  # unspecified, loopback, RFC 4291
    *("fe80::1", "fe80::1%eth0", "fc00::1", "fdff::1"),  # link local; unique local, RFC 4193
    *("100::1", "2001:db8::1"),  # discard only, RFC 6666; documentation, RFC 3849
    *("ff02::1", "ff0e::1"),  # multicast
    *("::ffff:127.0.0.1", "::ffff:10.0.0.1"),  # IPv4 mapped
    *("64:ff9b::10.0.0.1", "2002:a00:1::"),  # 10.0.0.1 by NAT64 (RFC 6052) and 6to4 (RFC 3056)
    "2001:0:4136:e378:8000:63bf:3fff:fdd2",  # Teredo, RFC 4380
]
REACHABLE = [
    *("1.1.1.1", "8.8.8.8", "9.255.255.255", "11.0.0.0", "172.15.255.255", "172.32.0.0"),
    *("100.63.255.255", "100.128.0.0", "169.253.255.255", "192.167.255.255", "223.255.255.255"),
    *("192.0.0.9", "192.0.0.10"),  # anycast for PCP and TURN: globally reachable
    *("2606:4700::1111", "2a00::1"),
    *("::ffff:8.8.8.8", "64:ff9b::8.8.8.8", "2002:808:808::"),  # 8.8.8.8 inside
]


@pytest.mark.parametrize("address", NOT_REACHABLE)
def test_an_address_that_is_not_globally_reachable_is_not_public(address):
    assert not is_public(address)
    assert is_plainly_private(address)


@pytest.mark.parametrize("address", REACHABLE)
def test_the_neighbours_of_special_addresses_are_public(address):
    assert is_public(address)
    assert not is_plainly_private(address)


@pytest.mark.parametrize(
    ("host", "private"),
    [
        # Spellings that inet_aton(3) takes: 127.1, and 127 x 2^24 + 1 as one number.
        *(("127.1", True), ("2130706433", True), ("0x7f000001", True), ("0177.0.0.1", True)),
        *(("10.1", True), ("134744072", False)),  # 8.8.8.8
        # Names of this machine, RFC 6761, 6.3; a full stop at the end changes nothing.
        *(("localhost", True), ("LocalHost.", True), ("a.b.localhost", True)),
        *(("notlocalhost", False), ("localhost.example.org", False)),
        *(("hooks.example.org", False), ("bücher.example", False)),
    ],
)
def test_a_private_host_is_known_in_every_spelling_without_a_look_up(host, private):
    assert is_plainly_private(host) is private


def test_a_number_is_looked_up_as_itself():
    assert public_addresses("1.1.1.1", 443) == ["1.1.1.1"]
    with pytest.raises(PrivateAddress):
        public_addresses("10.0.0.1", 443)


def resolving(monkeypatch, *addresses):
    """Let every name have these addresses."""
    families = [socket.AF_INET6 if ":" in one else socket.AF_INET for one in addresses]
    found = [
        (family, socket.SOCK_STREAM, 6, "", (address, 443))
        for family, address in zip(families, addresses, strict=True)
    ]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: found)


def test_one_private_address_among_public_ones_closes_the_host(monkeypatch):
    resolving(monkeypatch, "1.1.1.1", "10.0.0.1")
    with pytest.raises(PrivateAddress):
        public_addresses("hooks.example.org", 443)
    resolving(monkeypatch, "1.1.1.1", "2606:4700::1111", "1.1.1.1")
    assert public_addresses("hooks.example.org", 443) == ["1.1.1.1", "2606:4700::1111"]


@pytest.fixture
def server():
    """Port of a server on this machine that answers 204 and keeps the headers it got."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            got.append(dict(self.headers))
            self.send_response(204)
            self.end_headers()

        def log_message(self, *args):
            pass

    got = []
    made = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=made.serve_forever, args=(0.02,))
    thread.start()
    yield made.server_port, got
    made.shutdown()
    made.server_close()
    thread.join()


def test_a_session_reaches_this_machine_only_where_that_is_allowed(server):
    port, got = server
    with pytest.raises(requests.ConnectionError) as refused, public_hosts.session(False) as session:
        session.get(f"http://127.0.0.1:{port}/", timeout=5)
    assert reason(refused.value) == "PrivateAddress"
    assert got == []
    with public_hosts.session(True) as session:
        assert session.get(f"http://127.0.0.1:{port}/", timeout=5).status_code == 204


def test_passwords_of_a_netrc_are_not_sent(server, tmp_path, monkeypatch):
    port, got = server
    file = tmp_path / "netrc"
    file.write_text("machine 127.0.0.1 login me password secret\n")
    file.chmod(0o600)
    monkeypatch.setenv("NETRC", str(file))
    assert requests.get(f"http://127.0.0.1:{port}/", timeout=5).status_code == 204
    with public_hosts.session(True) as session:
        session.get(f"http://127.0.0.1:{port}/", timeout=5)
    assert ["Authorization" in one for one in got] == [True, False]


def test_another_reason_is_told_by_its_kind():
    with pytest.raises(requests.ConnectionError) as refused, public_hosts.session(True) as session:
        session.get("http://127.0.0.1:1/", timeout=5)  # nobody listens at tcpmux
    assert reason(refused.value) == "ConnectionError"
