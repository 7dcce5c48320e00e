"""The grower's YAML file, read whole, into the types that the rooms below own.

Its models take longest to load: whoever only asks where a bed's files stand does without them.
"""

import os
from importlib import import_module
from typing import TYPE_CHECKING

os.environ.setdefault(
    "PYDANTIC_DISABLE_PLUGINS", "__all__"
)  # else it looks through every installed package for some

from waaler.settings.faults import Fault, SettingsError

if TYPE_CHECKING:
    from waaler.settings.settings import Mqtt, Settings, load, load_accepted, parse

__all__ = ["Fault", "Mqtt", "Settings", "SettingsError", "load", "load_accepted", "parse"]


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module("waaler.settings.settings"), name)
