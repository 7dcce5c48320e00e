"""Takes secrets out of what servers and libraries say: some repeat what they were sent."""

import json
from base64 import b64encode
from collections.abc import Iterable, Iterator
from urllib.parse import quote, quote_plus, unquote, urlsplit

__all__ = ["HIDDEN", "parts_of_address", "redacted"]

HIDDEN = "***"
SHORTEST = 4
"""A shorter piece would be found by chance in any sentence; whole secrets are taken out whatever their length."""


def redacted(text: str, secrets: Iterable[str]) -> str:
    """The text without the secrets, however they are spelled: plain, quoted, escaped, in base 64."""
    spellings = {spelling for secret in secrets if secret for spelling in _spellings(secret)}
    for spelling in sorted(spellings, key=len, reverse=True):
        text = text.replace(spelling, HIDDEN)
    return text


def parts_of_address(url: str) -> Iterator[str]:
    """What of a secret address may come back alone: all of it, its host, user, password, path and query."""
    yield url
    try:
        parts = urlsplit(url)
        who = (parts.netloc, parts.hostname, parts.username, parts.password)
        pieces = [*who, parts.path, parts.query, parts.fragment]
    except ValueError:
        pieces = [url.partition("://")[2]]
    found = {word for piece in pieces if piece for word in (piece, *piece.replace("&", "/").split("/"))}
    yield from (word for word in found if len(word) >= SHORTEST)


def _spellings(secret: str) -> Iterator[str]:
    coded = secret.encode("utf-8", "surrogatepass")
    yield from (secret, unquote(secret), repr(secret)[1:-1], json.dumps(secret)[1:-1])
    yield from (quote(coded), quote(coded, safe=""), quote_plus(coded), repr(coded)[2:-1])
    yield b64encode(coded).decode().rstrip("=")
