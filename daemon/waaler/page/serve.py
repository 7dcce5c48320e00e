"""Serving the site: on this machine alone, unless a person says where and for whom."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path

import waitress

from waaler.page.beds import Watch
from waaler.page.passwords import Passwords
from waaler.page.site import Rules, Site

__all__ = ["Place", "PlaceError", "make_site", "serve"]

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "[::1]"})
THREADS = 4


class PlaceError(Exception):
    """The page may not be served so; the message is one line for people."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where to serve. names: Host names besides the address itself. proxy: the only address that may connect."""

    address: str
    port: int
    names: tuple[str, ...] = ()
    passwords: Path | None = None
    proxy: str | None = None

    @property
    def is_loopback(self) -> bool:
        return ip_address(self.address).is_loopback

    @property
    def host(self) -> str:
        return f"[{self.address}]" if ":" in self.address else self.address

    @classmethod
    def of(cls, listen: str, names: Sequence[str], passwords: Path | None, proxy: str | None) -> "Place":
        """listen: `127.0.0.1:8080` or `[::1]:8080`. Raises PlaceError."""
        address, _, port = listen.rpartition(":")
        try:
            at = ip_address(address.removeprefix("[").removesuffix("]"))
            number = int(port)
            if not 0 <= number <= 65_535:
                raise ValueError
            known = None if proxy is None else str(ip_address(proxy))
        except ValueError:
            what = f"--listen {listen}" if proxy is None else f"--listen {listen} or --trust-proxy {proxy}"
            raise PlaceError(f"{what} is no address; write 127.0.0.1:8080, and a proxy as 192.0.2.7") from None
        place = cls(str(at), number, tuple(name.lower() for name in names), passwords, known)
        place._check()
        return place

    def _check(self) -> None:
        if not self.is_loopback and self.passwords is None and self.proxy is None:
            raise PlaceError(
                f"{self.address} can be reached from the network: give --password-file, or --trust-proxy with the"
                " address of the proxy that asks for passwords"
            )
        if ip_address(self.address).is_unspecified and not self.names:
            raise PlaceError(f"{self.address} is every address: say with --name which host names are this page's")

    def told(self, beds: Sequence[str]) -> list[str]:
        """What to say at the start."""
        lines = [f"http://{self.host}:{self.port}/ shows {', '.join(beds)}; it only reads"]
        if not self.is_loopback:
            lines.append(
                "This network is readable: there is no TLS here, so whoever is on it can see the page and the"
                " password. Put a proxy with TLS in front."
            )
        return lines


def make_site(watches: Sequence[Watch], place: Place) -> Site:
    """Raises PasswordFileError."""
    own = LOOPBACK_NAMES if place.is_loopback else frozenset({place.host.lower()})
    passwords = None if place.passwords is None else Passwords(place.passwords)
    return Site(watches, Rules(own | set(place.names), passwords, place.proxy), time.time)


def serve(site: Site, place: Place) -> None:
    """Until it is told to stop. Raises OSError where the address is taken or not ours."""
    waitress.serve(
        site,
        host=place.address,
        port=place.port,
        threads=THREADS,
        connection_limit=60,
        channel_timeout=30,
        max_request_header_size=8192,
        max_request_body_size=1024,
        ident=None,
        clear_untrusted_proxy_headers=True,
        _quiet=True,
    )
