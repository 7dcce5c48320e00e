"""Text from outside (servers, files, the broker, other users), made harmless for a terminal, a title or a log."""

import unicodedata

__all__ = ["has_hidden", "one_line", "visible"]

HIDDEN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
"""Categories of characters that steer a display and show nothing. Source: Unicode Standard, table 4-4."""

JOINERS = frozenset("\u00ad\u200c\u200d")
"""Of those the soft hyphen, and the joiners of Persian, Indic scripts and composed emoji: they steer no more."""

LAYOUT = frozenset("\n\t")


def visible(text: str) -> str:
    """The text with every steering character written out (ESC as `\\x1b`); line ends and tabs stay."""
    if text.isprintable():
        return text
    return "\r\n".join(_written_out(line, LAYOUT) for line in text.split("\r\n"))


def one_line(text: str, most: int = 200) -> str:
    """At most so many characters of it, line ends and tabs written out as well."""
    shown = _written_out(text[: most + 1], frozenset())
    return shown if len(shown) <= most else shown[: most - 3] + "..."


def has_hidden(text: str) -> bool:
    """Whether something in it steers a display; line ends and tabs count."""
    return not text.isprintable() and any(map(_is_hidden, text))


def _written_out(text: str, kept: frozenset[str]) -> str:
    return "".join(_name(letter) if letter not in kept and _is_hidden(letter) else letter for letter in text)


def _is_hidden(letter: str) -> bool:
    return unicodedata.category(letter) in HIDDEN and letter not in JOINERS


def _name(letter: str) -> str:
    return letter.encode("unicode_escape").decode("ascii")
