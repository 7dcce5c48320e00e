"""What `waaler run` loads: a small board keeps it all the year round."""

import subprocess
import sys

PROGRAM = """\
import sys
from waaler.cli.keep import _without
with _without("rich"):
    import structlog
assert "rich" not in sys.modules, "the daemon carries it for nothing"
structlog.get_logger().info("ready")
import rich
"""


def test_the_daemon_s_log_works_without_the_library_that_only_consoles_need() -> None:
    done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, timeout=60)

    assert (done.returncode, done.stderr) == (0, "")
    assert "ready" in done.stdout
