"""The grower's YAML file, read whole, into the types that the rooms below own."""

import os

os.environ.setdefault(
    "PYDANTIC_DISABLE_PLUGINS", "__all__"
)  # else it looks through every installed package for some

from waaler.settings.faults import Fault, SettingsError
from waaler.settings.settings import Mqtt, Settings, load, load_accepted, parse

__all__ = ["Fault", "Mqtt", "Settings", "SettingsError", "load", "load_accepted", "parse"]
