"""Loaded into both processes under test by a .pth file: hangs the guard or the keeper, or raises, when a file asks for it."""

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


def _patch_keeper():
    from waaler.keeper import keeper, senses

    loop, read = keeper.Keeper._pass_time, senses.Senses._read

    def pass_time(self):
        if _asked("hang-keeper"):
            time.sleep(3600)
        if _asked("raise-keeper"):
            raise RuntimeError("asked to")
        loop(self)

    def sense(self, *arguments):
        if _asked("raise-senses"):
            raise RuntimeError("asked to")
        return read(self, *arguments)

    keeper.Keeper._pass_time, senses.Senses._read = pass_time, sense


def _patch_guard():
    from waaler.guard_process import pump

    look = pump.Pump.look

    def looks(self):
        if _asked("hang-guard"):
            time.sleep(3600)
        if _asked("raise-guard"):
            raise RuntimeError("asked to")
        look(self)

    pump.Pump.look = looks


PATCHES = {"waaler.keeper.daemon": ("keep", _patch_keeper), "waaler.guard_process.loop": ("Guard", _patch_guard)}


class _Late(MetaPathFinder):
    """Patches once a process's own modules are there, from a thread, so that start-up is left alone."""

    def find_spec(self, name, path, target=None):
        if name in PATCHES:
            threading.Thread(target=self._wait, args=(name, *PATCHES.pop(name)), daemon=True).start()

    def _wait(self, module, name, patch):
        while not hasattr(sys.modules.get(module), name):
            time.sleep(0.05)
        patch()


sys.meta_path.insert(0, _Late())
