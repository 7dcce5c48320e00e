"""What the small commands load: each start costs a small Pi as long as its imports take."""

import subprocess
import sys

import pytest

HEAVY = ("pydantic", "yaml", "zoneinfo", "sqlite3", "waaler.bed", "waaler.plan", "waaler.settings.settings")
LOADS = """
import sys
from importlib import import_module
from waaler.cli.main import main
import_module("waaler.cli." + sys.argv[1])
import waaler.settings.places, waaler.notify.asking
print(*sorted(name for name in sys.argv[2:] if name in sys.modules))
"""


@pytest.mark.parametrize("command", ["status", "stop", "water", "pause", "resume", "service", "clear"])
def test_a_command_that_only_asks_the_daemon_loads_no_model_of_the_file(command: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", LOADS, command, *HEAVY], capture_output=True, text=True, check=True, timeout=30
    )

    assert done.stdout.split() == []


def test_the_settings_have_no_other_names() -> None:
    import waaler.settings

    with pytest.raises(AttributeError, match="has no attribute 'lod'"):
        waaler.settings.lod  # noqa: B018
