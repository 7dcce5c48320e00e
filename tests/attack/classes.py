"""The classes of attack by their names. Each yields, input by input, what did not hold, or None."""

import random
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.attack.bytes_in import journals, orders, remote_orders, shown, sockets
from tests.attack.readers import readers
from tests.attack.running import running
from tests.attack.servers import servers
from tests.attack.shells import shells
from tests.attack.starts import starts
from tests.attack.written import settings_files, tables

__all__ = ["CLASSES", "Attack"]

Attack = Callable[[random.Random, Path], Iterator[str | None]]

CLASSES: dict[str, Attack] = {
    "records-at-a-start": starts,
    "records-before-readers": readers,
    "records-under-a-daemon": running,
    "journal": journals,
    "control-socket": sockets,
    "orders": orders,
    "orders-over-mqtt": remote_orders,
    "servers": servers,
    "settings": settings_files,
    "tables": tables,
    "completion": shells,
    "terminal": shown,
}
