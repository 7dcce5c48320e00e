"""What comes from outside is shown and never obeyed by a terminal, a title or a log."""

import ast
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from waaler.visible import has_hidden, one_line, visible

CLI = Path(__file__).parents[1] / "daemon" / "waaler" / "cli"
OWN_TEXT_ALONE = {"common.py", "completion.py", "example.py", "manual.py", "main.py"}
ELSEWHERE = {"run.py", "off.py"}


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b]0;title\x07", "\\x1b]0;title\\x07"),
        ("\x9b31m red", "\\x9b31m red"),
        ("overwritten\rline", "overwritten\\rline"),
        ("left\u202eright", "left\\u202eright"),
        ("\ud800", "\\ud800"),
        ("two\nlines\tof\r\ntext", "two\nlines\tof\r\ntext"),
        ("Terrasse \u00e4\u00f6\u00fc \u6c34 \u0645\u06cc\u200c\u0631\u0648\u062f", None),
    ],
)
def test_a_character_that_steers_is_written_out_and_text_stays_text(text: str, shown: str | None) -> None:
    assert visible(text) == (text if shown is None else shown)


@given(st.text(max_size=400))
def test_nothing_that_steers_is_left(text: str) -> None:
    kept = visible(text).replace("\r\n", "").replace("\n", "").replace("\t", "")

    assert not has_hidden(kept)
    assert not has_hidden(one_line(text))
    assert len(one_line(text)) <= 200


def test_a_long_line_says_that_it_was_cut() -> None:
    assert one_line("x" * 200) == "x" * 200
    assert one_line("x" * 201) == "x" * 197 + "..."


@pytest.mark.parametrize("path", sorted(set(CLI.glob("*.py"))), ids=lambda path: path.name)
def test_no_command_prints_past_the_door_that_makes_text_harmless(path: Path) -> None:
    if path.name in OWN_TEXT_ALONE | ELSEWHERE:
        return
    calls = [node.func for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Call)]
    printed = [ast.unparse(call) for call in calls if ast.unparse(call) in ("print", "click.echo", "click.secho")]

    assert printed == (["click.echo"] if path.name == "history.py" else []), "history paints what it made harmless"
