"""The manual, the examples of `--help`, and the shells' completion are those of the commands that there are."""

import shlex
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from waaler.cli.completion import known, script
from waaler.cli.main import commands
from waaler.cli.manual import manual
from waaler.settings import models
from waaler.settings.meanings import MEANINGS
from waaler.settings.reference import parts
from waaler.settings.schema import schema

PAGE = Path(__file__).parents[2] / "config" / "manual.md"
COMMANDS = [pytest.param(command, context, id=str(context.info_name)) for command, context in commands()]


def test_the_manual_is_the_one_that_this_version_prints() -> None:
    assert PAGE.read_text() == manual(), "write it anew: .venv/bin/waaler manual > config/manual.md"


@pytest.mark.parametrize(("command", "context"), COMMANDS)
def test_every_command_s_help_has_an_example_that_it_takes(command: click.Command, context: click.Context) -> None:
    text = command.get_help(context)

    assert "Example:" in text
    example = " ".join(text.split("Example:")[1].split("Options:")[0].split())
    words = shlex.split(example.split(">")[0].split("|")[0])
    assert words[:2] == ["waaler", context.info_name]
    command.make_context(str(context.info_name), words[2:], parent=context.parent)


@pytest.mark.parametrize(("command", "context"), COMMANDS)
def test_every_command_s_help_fits_80_columns(command: click.Command, context: click.Context) -> None:
    assert [line for line in command.get_help(context).splitlines() if len(line) > 80] == []


def test_a_meaning_is_given_to_no_key_that_is_not_there() -> None:
    made = schema()
    sections = {**made["$defs"], models.BedFile.__name__: made}

    assert [name for name in MEANINGS if name.split(".")[1] not in sections[name.split(".")[0]]["properties"]] == []


def test_the_manual_tells_defaults_and_limits_in_the_units_that_people_write() -> None:
    limits = next(part for part in parts() if part.path == "limits")
    told = {key.name: (key.limits, key.default) for key in limits.keys}

    assert told["settle_sump"] == ("1 to 240 min", "20 min")
    assert told["confirm"] == ("0.1 to 5 s", "0.3 s")


def test_a_section_that_stands_in_two_places_is_told_once() -> None:
    told = {part.path: {key.name: key.below for key in part.keys} for part in parts()}

    assert told["plan[]"]["on_demand"] == "plan[].on_demand"
    assert told["layout.line.legs[]"]["header"] == "layout.hose"
    assert told["pins"]["tray_high"] == "pins.sump_low"


# --- completion -------------------------------------------------------------------------------


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_every_command_and_option_can_be_completed(shell: str) -> None:
    text = script(shell)

    for command in known():
        assert command.name in text
        for name in (name for option in command.options for name in option.names if name.startswith("--")):
            assert (f"-l {name[2:]}" if shell == "fish" else name) in text


def in_bash(script: Path, words: list[str]) -> list[str]:
    line = " ".join(shlex.quote(word) for word in words)
    program = (
        f'. {script}; COMP_WORDS=({line}); COMP_CWORD={len(words) - 1}; _waaler; printf "%s\\n" "${{COMPREPLY[@]}}"'
    )
    return _lines(["bash", "--norc", "-c", program], script.parent)


def in_fish(script: Path, words: list[str]) -> list[str]:
    program = f"source {script}; complete -C {shlex.quote(' '.join(words))}"
    return [line.split("\t")[0] for line in _lines(["fish", "--no-config", "-c", program], script.parent)]


def _lines(command: list[str], folder: Path) -> list[str]:
    if shutil.which(command[0]) is None:
        pytest.skip(f"{command[0]} is not installed")
    environment = {"HOME": str(folder), "PATH": "/usr/bin:/bin"}
    done = subprocess.run(command, capture_output=True, text=True, cwd=folder, env=environment, timeout=30)
    assert done.stderr == ""
    return sorted(done.stdout.split("\n"))


@pytest.mark.parametrize(("shell", "ask"), [("bash", in_bash), ("fish", in_fish)])
@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["waaler", "ref"], {"refill"}),
        (["waaler", "history", "--si"], {"--since"}),
        (["waaler", "refill", "60L", "--of", ""], {"water", "solution"}),
        (["waaler", "completion", "z"], {"zsh"}),
        (["waaler", "check", "terr"], {"terrace.yaml"}),
        (["waaler", "budget", "--days", ""], set()),
    ],
)
def test_a_shell_completes_what_was_begun(
    shell: str, ask: Callable[[Path, list[str]], list[str]], words: list[str], expected: set[str], tmp_path: Path
) -> None:
    (tmp_path / "terrace.yaml").write_text("bed: terrace\n")
    path = tmp_path / "completion"
    path.write_text(script(shell))

    assert set(ask(path, words)) - {""} == expected


def test_zsh_can_read_its_script(tmp_path: Path) -> None:
    path = tmp_path / "_waaler"
    path.write_text(script("zsh"))

    assert _lines(["zsh", "-n", str(path)], tmp_path) == [""]
