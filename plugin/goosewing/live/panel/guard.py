"""Who may ask the own panel server: the page it serves itself, and nobody else's page.

A browser on board also shows pages of strangers. Such a page can send requests to this
machine, and with a name that it lets point here (DNS rebinding) it could read the answers
too. Hence: the request must name this server as its host, must not come from any other
page, and from another machine it must bring the token.
"""

from __future__ import annotations

import hmac
import ipaddress
import secrets
import socket
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256

from goosewing.errors import InputError

SHORTEST_TOKEN = 16
"""Characters: at 6 bits each, more than can be guessed over a network."""

LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]")

HEADERS: Mapping[str, str] = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "font-src 'self'; connect-src 'self'; manifest-src 'self'; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Server": "goosewing",
}
"""On every answer. None of them lets another origin read."""


class RefusedError(Exception):
    """The request is not answered; `code` is the HTTP status that says so."""

    def __init__(self, code: int, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


@dataclass(frozen=True, slots=True, kw_only=True)
class Guard:
    """What a request must bring.

    Attributes
    ----------
    address : str
        The interface that is listened on.
    port : int
        Its port.
    token : str or None
        Asked for from everybody, if there is one.
    """

    address: str
    port: int
    token: str | None = field(default=None, repr=False)

    def check_host(self, named: Sequence[str]) -> None:
        """Refuse a request that does not name this server, and this server only.

        Raises
        ------
        RefusedError
            403: a name that somebody else lets point here.
        """
        if len(named) != 1 or not self._is_ours(named[0].lower()):
            raise RefusedError(403, "open the panel by the address that was told where it started")

    @property
    def name(self) -> str:
        """Return one name that stands for this server."""
        return self._bare_names()[0]

    def _bare_names(self) -> tuple[str, ...]:
        if is_loopback(self.address):
            return tuple(dict.fromkeys([bracketed(self.address), *LOOPBACK_NAMES]))
        if is_any(self.address):
            here = socket.gethostname().lower().removesuffix(".local")
            return (f"{here}.local", here, *LOOPBACK_NAMES)
        return (bracketed(self.address.lower()),)

    def _is_ours(self, named: str) -> bool:
        names = self._bare_names()
        if named in [f"{name}:{self.port}" for name in names]:
            return True
        if self.port == 80 and named in names:
            return True
        # Where every interface is listened on, its numbers are not known here; a number,
        # unlike a name, can't be pointed elsewhere by a stranger.
        return is_any(self.address) and _is_number(named, self.port)

    def check_origin(self, host: str, headers: Mapping[str, str]) -> None:
        """Refuse a request that a page of another origin caused, reading included.

        Raises
        ------
        RefusedError
            403.
        """
        origin = headers.get("Origin")
        if origin is not None and origin.lower() != f"http://{host.lower()}":
            raise RefusedError(403, "another page may not ask here")
        # "same-site" is another port of this machine: as foreign as any other page.
        if headers.get("Sec-Fetch-Site", "none") not in ("same-origin", "none"):
            raise RefusedError(
                403, "another page may not ask here: type the panel's address instead"
            )

    def check_token(self, headers: Mapping[str, str], cookies: Mapping[str, str]) -> None:
        """Refuse a request without the token, or the cookie that was given for it.

        Raises
        ------
        RefusedError
            401.
        """
        if self.token is None:
            return
        scheme, _, given = headers.get("Authorization", "").partition(" ")
        if scheme.lower() == "bearer" and self.is_token(given.strip()):
            return
        if not same(cookies.get(self.cookie_name, ""), self.cookie_value):
            raise RefusedError(401, "open the panel by the whole address, with its token")

    def is_token(self, given: str) -> bool:
        """Whether it is the token, told in a time that gives nothing away."""
        return self.token is not None and same(given, self.token)

    @property
    def cookie_name(self) -> str:
        """Return a name of its own for each port: cookies are the host's, whatever the port."""
        return f"goosewing_{self.port}"

    @property
    def cookie_value(self) -> str:
        """Return what stands for the token, which itself is not left lying in browsers."""
        return hmac.new((self.token or "").encode(), b"goosewing panel", sha256).hexdigest()


def same(given: str, wanted: str) -> bool:
    """Compare in constant time, whatever characters were given."""
    return secrets.compare_digest(given.encode("utf-8", "replace"), wanted.encode())


def token_for(address: str, token: str | None) -> str | None:
    """Return the token to ask for: another interface is never open without one.

    Raises
    ------
    InputError
        If the one given is too short to be a secret.

    Examples
    --------
    >>> token_for("127.0.0.1", None) is None, len(token_for("192.168.1.7", None)) > 30
    (True, True)
    """
    if token is None:
        return None if is_loopback(address) else secrets.token_urlsafe(32)
    if len(token) < SHORTEST_TOKEN or not all(c.isascii() and c.isprintable() for c in token):
        raise InputError(
            f"token: expected {SHORTEST_TOKEN} characters of plain ASCII or more, "
            f"got {len(token)} characters"
        )
    return token


def is_loopback(address: str) -> bool:
    """Whether only this machine can reach it.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if address == "localhost":
        return True
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def is_any(address: str) -> bool:
    """Whether it stands for all interfaces."""
    return address in ("0.0.0.0", "::")


def bracketed(address: str) -> str:
    """Write an address as it stands in a URL.

    Examples
    --------
    >>> bracketed("::1"), bracketed("127.0.0.1")
    ('[::1]', '127.0.0.1')
    """
    return f"[{address}]" if ":" in address else address


def _is_number(named: str, port: int) -> bool:
    """Whether a `Host` header is an IP address and this port."""
    name, _, given = named.rpartition(":")
    if given != str(port):
        return False
    try:
        ipaddress.ip_address(name.removeprefix("[").removesuffix("]"))
    except ValueError:
        return False
    return True
