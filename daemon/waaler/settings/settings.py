"""A file's settings as the rooms below own them."""

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from waaler.bed.figures import Figures
from waaler.bed.layout import Layout
from waaler.bed.thirst import Thirst
from waaler.bed.tray import Tray
from waaler.bed.wiring import Wiring
from waaler.core.care import Care
from waaler.guard.limits import Limits
from waaler.plan.sensing import Sensing
from waaler.plan.types import Plan
from waaler.settings import build, build_layout, build_site
from waaler.settings.build_care import care
from waaler.settings.build_wiring import wiring
from waaler.settings.crossing import contradictions
from waaler.settings.faults import Fault, SettingsError
from waaler.settings.messages import Messages, messages
from waaler.settings.models import BedFile
from waaler.settings.problems import faults_of
from waaler.settings.text import MOST_BYTES, Source, read

__all__ = ["Mqtt", "Settings", "load", "parse", "varied"]


@dataclass(frozen=True, slots=True)
class Mqtt:
    """The broker. password_file: its first line is the password, so that it stands in no log and no backup."""

    host: str
    port: int
    user: str | None = None
    password_file: Path | None = None
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    has_commands: bool = False


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything a file says, defaults filled in. mqtt None: no messages. text: the file as it was read.

    layout None: no pump curve. thirst None: no window waters by demand. file: the written model and source: where
    everything stands; for warnings.
    """

    id: str
    title: str
    plan: Plan
    limits: Limits
    sensing: Sensing
    figures: Figures
    layout: Layout | None
    tray: Tray | None
    wiring: Wiring
    care: Care
    mqtt: Mqtt | None
    thirst: Thirst | None
    messages: Messages
    is_clock_trusted: bool
    text: str
    file: BedFile
    source: Source


def load(path: Path) -> Settings:
    """The settings of a file. Raises SettingsError for whatever is wrong with it, a missing file included."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise SettingsError(
                (Fault(str(path), 1, 1, "the file is larger than 256 kB", "keep only settings in it"),)
            )
        text = path.read_text(encoding="utf-8")
    except OSError as problem:
        what = f"cannot be read: {problem.strerror or problem}"
        raise SettingsError((Fault(str(path), 1, 1, what, "name a file that exists and may be read"),)) from None
    except UnicodeDecodeError as problem:
        before = problem.object[: problem.start]
        line, column = before.count(b"\n") + 1, problem.start - (before.rfind(b"\n") + 1) + 1
        remedy = "save the file as UTF-8 text"
        raise SettingsError((Fault(str(path), line, column, "this is not UTF-8 text", remedy),)) from None
    return parse(text, str(path))


def parse(text: str, name: str) -> Settings:
    """The settings of a text. Raises SettingsError with every fault."""
    source = read(text, name)
    if not isinstance(source.values, dict):
        raise SettingsError(
            (Fault(name, 1, 1, "there are no settings", "begin with `bed:`, see `waaler example`"),)
        )
    return _validated(source)


def varied(settings: Settings, changes: Mapping[str, str]) -> Settings:
    """The same file with another value for a key of its windows, as a person would write it: `{"cycles": "5"}`.

    Every window that has the key takes it. Raises SettingsError for a value that makes no sense, or where no window
    has the key.
    """
    source = settings.source
    values: Any = deepcopy(source.values)
    for key, value in changes.items():
        windows = [window for window in values["plan"] if key in window]
        if not windows:
            known = ", ".join(sorted({key for window in values["plan"] for key in window}))
            raise SettingsError((source.fault(("plan",), f"no window has '{key}'", f"known here: {known}"),))
        for window in windows:
            window[key] = value
    return _validated(replace(source, values=values))


def _validated(source: Source) -> Settings:
    try:
        file = BedFile.model_validate(source.values)
    except ValidationError as problem:
        raise SettingsError(faults_of(problem, source)) from None
    faults = contradictions(file, source)
    if faults:
        raise SettingsError(faults)
    return _settings(file, source)


def _settings(file: BedFile, source: Source) -> Settings:
    figures = build_layout.figures(file.layout)
    plan = build.plan(file, figures)
    return Settings(
        id=file.bed,
        title=file.title or file.bed,
        plan=plan,
        limits=build.limits(file, plan, figures),
        sensing=build.sensing(file),
        figures=figures,
        layout=build_layout.layout(file.layout),
        tray=build_layout.tray(file.layout),
        wiring=wiring(file),
        care=care(file, figures, plan, Path(source.name).parent),
        mqtt=_mqtt(file),
        thirst=build_site.thirst(file, figures, Path(source.name).parent),
        messages=messages(file),
        is_clock_trusted=file.clock == "trusted",
        text=source.text,
        file=file,
        source=source,
    )


def _mqtt(file: BedFile) -> Mqtt | None:
    section = file.mqtt
    if section is None:
        return None
    files = {
        name: None if getattr(section, name) is None else Path(getattr(section, name))
        for name in ("password_file", "ca_file", "certificate_file", "key_file")
    }
    return Mqtt(section.host, section.port, section.user, **files, has_commands=section.commands == "on")
