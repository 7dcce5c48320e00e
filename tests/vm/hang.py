"""Loaded into the daemon under test by a .pth file: hangs a thread, or raises in one, when a file asks for it."""

import sys
import threading
import time
from importlib.abc import MetaPathFinder
from pathlib import Path

ASKED = Path("/run/waaler/terrace")


def _asked(what):
    path = ASKED / f"test-{what}"
    if not path.exists():
        return False
    path.unlink()
    return True


def _patch():
    from waaler.keeper import guard_thread, keeper, senses

    keeper_loop, guard_turn, read = keeper.Keeper._pass_time, guard_thread.GuardThread._turn, senses.Senses._read

    def pass_time(self):
        if _asked("hang-keeper"):
            time.sleep(3600)
        if _asked("raise-keeper"):
            raise RuntimeError("asked to")
        keeper_loop(self)

    def turn(self):
        if _asked("hang-guard"):
            time.sleep(3600)
        if _asked("raise-guard"):
            raise RuntimeError("asked to")
        return guard_turn(self)

    def sense(self, *arguments):
        if _asked("raise-senses"):
            raise RuntimeError("asked to")
        return read(self, *arguments)

    keeper.Keeper._pass_time, guard_thread.GuardThread._turn, senses.Senses._read = pass_time, turn, sense


class _Late(MetaPathFinder):
    """Patches once the daemon's modules are there, from a thread, so that start-up is left alone."""

    started = False

    def find_spec(self, name, path, target=None):
        if name == "waaler.keeper.daemon" and not _Late.started:
            _Late.started = True
            threading.Thread(target=self._wait, daemon=True).start()
        return

    def _wait(self):
        while "waaler.keeper.daemon" not in sys.modules or not hasattr(sys.modules["waaler.keeper.daemon"], "run"):
            time.sleep(0.05)
        _patch()


sys.meta_path.insert(0, _Late())
