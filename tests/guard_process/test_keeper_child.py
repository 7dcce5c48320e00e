"""The keeper as a child: begun, watched, ended, begun again, and nothing of it waited for."""

import os
import resource
import sys
from collections.abc import Iterator

import pytest
from tests.keeper.process import until

from waaler.guard_process.keeper_child import HANGS_AFTER_LOOKS, KeeperChild

SLEEPS = [sys.executable, "-c", "import time; time.sleep(60)"]
ENDS = [sys.executable, "-c", "raise SystemExit(7)"]


@pytest.fixture
def child(request: pytest.FixtureRequest) -> Iterator[KeeperChild]:
    found = KeeperChild(request.param)
    found.begin(0.0)
    yield found
    found.kill()
    until(lambda: found.has_ended(0.0) or not found.is_there, "the child's end")


def test_s8_looks_are_counted_not_seconds_so_that_a_long_sleep_is_one_look() -> None:
    child = KeeperChild(SLEEPS)
    child.begin(0.0)
    child.is_ready = True
    quiet = [child.look() for _ in range(HANGS_AFTER_LOOKS)]
    child.heard()
    again = [child.look() for _ in range(HANGS_AFTER_LOOKS + 1)]
    child.kill()
    until(lambda: child.has_ended(0.0), "its end")

    assert quiet == [None] * HANGS_AFTER_LOOKS
    assert again == [None] * HANGS_AFTER_LOOKS + [f"it said nothing for {HANGS_AFTER_LOOKS + 1} s"]


@pytest.mark.parametrize("child", [SLEEPS], indirect=True)
def test_a_keeper_that_still_loads_is_given_more_time(child: KeeperChild) -> None:
    assert not any(child.look() for _ in range(3 * HANGS_AFTER_LOOKS))


@pytest.mark.parametrize("child", [ENDS], indirect=True)
def test_one_that_ended_tells_its_status_once_and_is_begun_again_ever_later(child: KeeperChild) -> None:
    until(lambda: child.has_ended(10.0), "its end")

    assert (child.status, child.is_there, child.pipe, child.has_ended(11.0)) == (7, False, None, False)
    assert child.begin_at_s == 11.0
    child.begin(11.0)
    until(lambda: child.has_ended(11.5), "its second end")
    assert child.begin_at_s == 13.5


def test_without_a_free_file_handle_it_is_tried_again_later() -> None:
    child = KeeperChild(SLEEPS)
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    used = max(int(name) for name in os.listdir("/proc/self/fd")) + 1
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(used, soft), hard))
    try:
        spare = []
        while True:
            try:
                spare.append(os.dup(0))
            except OSError:
                break
        child.begin(5.0)
    finally:
        for handle in spare:
            os.close(handle)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))

    assert not child.is_there
    assert child.begin_at_s == 6.0


def test_it_has_a_process_group_of_its_own_and_no_word_for_the_service_manager(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", "/run/nobody")
    look = "import os; assert os.getpgid(0) == os.getpid(); assert 'NOTIFY_SOCKET' not in os.environ"
    child = KeeperChild([sys.executable, "-c", look])
    child.begin(0.0)
    until(lambda: child.has_ended(0.0), "its end")

    assert child.status == 0
