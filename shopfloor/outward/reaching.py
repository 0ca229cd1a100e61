"""One POST to an address that somebody typed: no way into the shop's own machines unless the shop says so.

The name is resolved once, every address that it stands for is judged, and the connection goes to the judged one, so
that a name cannot answer differently the second time. Redirects are not followed.
"""

from __future__ import annotations

import http.client
import ipaddress
import socket
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

TIMEOUT_SECONDS = 10.0
MOST_ANSWER_BYTES = 500
LONGEST_ADDRESS = 500


class NotReached(Exception):
    """No answer came, or none may be asked for. The text says why."""


@dataclass(frozen=True)
class Answer:
    status: int
    words: str


def address_wrong(address: str) -> str:
    """Why an address cannot be one of a webhook; empty where it can. Nothing is looked up."""
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError:
        return "It is no web address."
    if parts.scheme not in ("http", "https") or not parts.hostname:
        return "It must begin with https:// or http:// and name a host."
    if parts.username or parts.password:
        return "It must not hold a user name or password."
    if len(address) > LONGEST_ADDRESS or not address.isascii() or not address.isprintable() or " " in address:
        return f"It can have {LONGEST_ADDRESS} plain characters."
    return "" if port is None or port else "Its port cannot be 0."


def post(address: str, *, body: bytes, headers: Mapping[str, str], is_private_allowed: bool) -> Answer:
    """Send the body and read the beginning of the answer.

    raises  NotReached
    """
    parts = urlsplit(address)
    port = parts.port or (443 if parts.scheme == "https" else 80)
    there = _judged(parts.hostname or "", port, is_private_allowed)
    connection = _Connection(parts.hostname, port, there, is_tls=parts.scheme == "https")
    target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    try:
        connection.request("POST", target, body=body, headers=dict(headers))
        answer = connection.getresponse()
        words = answer.read(MOST_ANSWER_BYTES).decode(errors="replace")
        return Answer(answer.status, " ".join("".join(c if c.isprintable() else " " for c in words).split()))
    except ssl.SSLError as error:
        raise NotReached(f"The certificate or the encryption failed: {error.reason or error}.") from error
    except TimeoutError as error:
        raise NotReached(f"No answer within {TIMEOUT_SECONDS:g} s.") from error
    except (OSError, http.client.HTTPException) as error:
        raise NotReached(f"No answer: {error.strerror or type(error).__name__}." if isinstance(error, OSError)
                         else f"No answer that can be read: {type(error).__name__}.") from error  # fmt: skip
    finally:
        connection.close()


def _judged(host: str, port: int, is_private_allowed: bool) -> str:
    """The first address of the host, once all of them have been judged."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise NotReached(f"There is no host {host}.") from error
    texts = list(dict.fromkeys(entry[4][0] for entry in found))
    for text in texts:
        if not is_private_allowed and not _is_public(text):
            raise NotReached(
                f"{host} is {text}, inside the shop's network. SHOPFLOOR_WEBHOOKS_PRIVATE=1 allows such addresses."
            )
    return texts[0]


def _is_public(text: str) -> bool:
    address = ipaddress.ip_address(text.partition("%")[0])
    mapped = getattr(address, "ipv4_mapped", None)
    address = mapped or address
    return address.is_global and not address.is_multicast


class _Connection(http.client.HTTPConnection):
    """To a given address, under the name of the host."""

    def __init__(self, host: str | None, port: int, there: str, *, is_tls: bool):
        super().__init__(host or "", port, timeout=TIMEOUT_SECONDS)
        self._there, self._is_tls = there, is_tls
        self.default_port = 443 if is_tls else 80  # so that the Host header leaves the usual one out

    def connect(self) -> None:
        self.sock = socket.create_connection((self._there, self.port), self.timeout)
        if self._is_tls:
            self.sock = ssl.create_default_context().wrap_socket(self.sock, server_hostname=self.host)
