"""How much of a write-ahead log can be read: its frames carry a running checksum, which readers do not look at.

Source: the database's file format, https://www.sqlite.org/fileformat2.html#the_write_ahead_log (from memory).
"""

import struct
import sys
from array import array
from pathlib import Path

__all__ = ["whole_frames"]

HEADER, FRAME = 32, 24
MAGIC = 0x377F0682
"""Its last bit says that checksums are reckoned on big-endian words."""

WORD = 0xFFFFFFFF


def whole_frames(path: Path) -> int:
    """How many frames from the first on are undamaged; 0 for a file that is missing, empty or no log."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return 0
    if len(data) < HEADER:
        return 0
    magic, _, page, _ = struct.unpack(">4I", data[:16])
    sums = _sums(data[:24], magic, (0, 0))
    if magic & ~1 != MAGIC or sums != struct.unpack(">2I", data[24:HEADER]) or page < 512:
        return 0
    count = 0
    for begin in range(HEADER, len(data) - FRAME - page + 1, FRAME + page):
        head, body = data[begin : begin + FRAME], data[begin + FRAME : begin + FRAME + page]
        sums = _sums(body, magic, _sums(head[:8], magic, sums))
        if head[8:16] != data[16:24] or sums != struct.unpack(">2I", head[16:]):
            break
        count += 1
    return count


def _sums(data: bytes, magic: int, sums: tuple[int, int]) -> tuple[int, int]:
    words = array("I", data)
    if (sys.byteorder == "big") != bool(magic & 1):
        words.byteswap()
    first, second = sums
    for even, odd in zip(words[::2], words[1::2], strict=True):
        first = (first + even + second) & WORD
        second = (second + odd + first) & WORD
    return first, second
