"""A file's settings as the rooms below own them."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from copy import deepcopy
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from waaler.bed.figures import Figures
from waaler.bed.layout import Layout
from waaler.bed.ledger import SumpBook
from waaler.bed.thirst import Thirst
from waaler.bed.tray import Tray
from waaler.bed.weather import Weather
from waaler.bed.wiring import Wiring
from waaler.core.care import Care
from waaler.guard.limits import Limits
from waaler.plan.sensing import Sensing
from waaler.plan.types import Plan
from waaler.settings import build, build_layout, build_site
from waaler.settings.build_care import book, care
from waaler.settings.build_wiring import wiring
from waaler.settings.crossing import contradictions
from waaler.settings.faults import Fault, SettingsError
from waaler.settings.messages import Messages, messages
from waaler.settings.models import BedFile
from waaler.settings.outside_file import text_of
from waaler.settings.path_keys import SecretFile, odd_files
from waaler.settings.problems import faults_of
from waaler.settings.text import Source, read

__all__ = ["BETWEEN", "Mqtt", "Settings", "load", "load_accepted", "parse", "replanned", "varied"]

BETWEEN = ("sunrise + 30 min", "sunset - 1 h 30 min")
"""Between these a plan that is suggested waters. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Mqtt:
    """The broker. password_file: its first line is the password, so that it stands in no log and no backup."""

    host: str
    port: int
    user: str | None = None
    password_file: SecretFile | None = None
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    has_commands: bool = False


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything a file says, defaults filled in. mqtt None: no messages. text: the file as it was read.

    layout None: no pump curve. thirst None: no window waters by demand. file: the written model and source: where
    everything stands; for warnings. folder: where the file's relative paths begin. weather: of the site.
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
    book: SumpBook
    care: Care
    mqtt: Mqtt | None
    thirst: Thirst | None
    messages: Messages
    is_clock_trusted: bool
    text: str
    file: BedFile
    source: Source
    folder: Path
    weather: Weather = field(compare=False, repr=False)


def load(path: Path) -> Settings:
    """The settings of a file and of what it names.

    Raises SettingsError for whatever is wrong with either, a missing file included.
    """
    return parse(text_of(path), str(path), with_files=True)


def load_accepted(kept: Path, original: Path) -> Settings:
    """The last accepted text of a bed whose own file is not taken; relative paths begin where that file stands.

    Raises SettingsError.
    """
    return parse(text_of(kept), str(kept), original.parent)


def parse(text: str, name: str, folder: Path | None = None, with_files: bool = False) -> Settings:
    """The settings of a text. folder: where its relative paths begin, by default the folder of `name`.

    with_files: what it names is judged too. Without it a weather table that cannot be read counts as none: its loss
    must keep no bed dry.

    Raises SettingsError with every fault, and for anything at all that goes wrong on the way.
    """
    with _told_at(Source(name, text, None)):
        source = read(text, name)
        if not isinstance(source.values, dict):
            raise SettingsError(
                (Fault(name, 1, 1, "there are no settings", "begin with `bed:`, see `waaler example`"),)
            )
        return _validated(source, Path(name).parent if folder is None else folder, with_files)


@contextmanager
def _told_at(source: Source, *path: str) -> Iterator[None]:
    """Whatever is raised becomes a fault of the file: values that nobody thought of must not end a daemon."""
    try:
        yield
    except SettingsError:
        raise
    except Exception as problem:
        where = ".".join(path) or "the file"
        what = f"{where}: these values cannot be worked with ({type(problem).__name__}: {problem})"
        raise SettingsError((source.fault(path, what, "undo the last change here"),)) from problem


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
    return _validated(replace(source, values=values), settings.folder, with_files=False)


def replanned(settings: Settings, cycles: int, seconds: float) -> Settings:
    """The same file with one window in place of its own: so many cycles a day, evenly over the hours of BETWEEN."""
    values: Any = deepcopy(settings.source.values)
    window = {"window": "suggested", "cycles": str(cycles), "between": list(BETWEEN), "water": f"{seconds:.0f} s"}
    values["plan"] = [window | {"fallback": ["06:00", "20:00"]}]
    return _validated(replace(settings.source, values=values), settings.folder, with_files=False)


def _validated(source: Source, folder: Path, with_files: bool) -> Settings:
    try:
        file = BedFile.model_validate(source.values)
    except ValidationError as problem:
        raise SettingsError(faults_of(problem, source)) from None
    faults = (*contradictions(file, source), *(odd_files(file, source, folder) if with_files else ()))
    if faults:
        raise SettingsError(faults)
    try:
        weather = build_site.weather(file, folder)
    except SettingsError:
        if with_files:
            raise
        weather = Weather(build_site.USUAL_MONTHS)
    return _settings(file, source, folder, weather)


def _settings(file: BedFile, source: Source, folder: Path, weather: Weather) -> Settings:
    with _told_at(source, "layout"):
        figures = build_layout.figures(file)
    plan = build.plan(file, figures)
    found = book(file, figures, plan, weather)
    return Settings(
        id=file.bed,
        title=file.title or file.bed,
        plan=plan,
        limits=build.limits(file, plan, figures),
        sensing=build.sensing(file),
        figures=figures,
        layout=build_layout.layout(file),
        tray=build_layout.tray(file.layout),
        wiring=wiring(file),
        book=found,
        care=care(file, found),
        mqtt=_mqtt(file, folder),
        thirst=build_site.thirst(file, figures, weather),
        messages=messages(file, folder),
        is_clock_trusted=file.clock == "trusted",
        text=source.text,
        file=file,
        source=source,
        folder=folder,
        weather=weather,
    )


def _mqtt(file: BedFile, folder: Path) -> Mqtt | None:
    section = file.mqtt
    if section is None:
        return None
    files = {
        name: None if getattr(section, name) is None else folder / getattr(section, name)
        for name in ("ca_file", "certificate_file", "key_file")
    }
    password = SecretFile.beside(folder, section.password_file)
    return Mqtt(section.host, section.port, section.user, password, **files, has_commands=section.commands == "on")
