"""Names of files before the completion of real shells: nothing of a name is run."""

import random
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.cli.test_completion import BEGIN, HOSTILE, typed

__all__ = ["shells"]

PIECES = (
    "$(touch PWNED)", "`touch PWNED`", ";touch PWNED;", "|touch PWNED|", "&touch PWNED&", "\n", "'", '"', "\\", "${x:=$(touch PWNED)}",
    "$((a[$(touch PWNED)]))", "*", "?", "[a]", "{a,b}", "~", "!", "#", " ", "\t", "\x1b[A", "\x03", "\x04", "(touch PWNED)", "<(touch PWNED)",
    "-x", "=", "%", "^", "\u202e", "a", "b",
)  # fmt: skip


def shells(chance: random.Random, folder: Path) -> Iterator[str | None]:
    """What a folder of hostile names brought a shell to run."""
    found = [shell for shell in BEGIN if shutil.which(shell)]
    while True:
        shell = chance.choice(found)
        home = Path(tempfile.mkdtemp(dir=folder))
        here, etc = home / "here", home / "etc"
        for place in (here, etc):
            place.mkdir()
            for _ in range(chance.choice((1, 3))):
                (place / _name(chance)).write_text("bed: terrace\n")
        before = {path.name for path in here.iterdir()}
        keys = f"waaler check x\t\t\x15waaler check {etc}/\t\t\x15waaler check end\n"
        try:
            typed(shell, home, here, keys, home / "got")
            ran = {path.name for path in here.iterdir()} - before | {path.name for path in home.rglob("PWNED")}
            yield f"{shell}: {before}: made {ran}" if ran else None
        except AssertionError as problem:
            yield f"{shell}: {before}: {problem}"
        shutil.rmtree(home)


def _name(chance: random.Random) -> str:
    if chance.random() < 0.2:
        return chance.choice([*HOSTILE.values()])
    return "x" + "".join(chance.choice(PIECES) for _ in range(chance.randrange(1, 7))).replace("/", "") + ".yaml"
