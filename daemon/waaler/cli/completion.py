"""Completion of commands and options in a shell, as a script that needs nothing but the shell."""

from collections.abc import Iterator
from dataclasses import dataclass

import click

__all__ = ["Known", "command", "known", "script"]

SHELLS = ("bash", "zsh", "fish")


@dataclass(frozen=True, slots=True)
class Option:
    """names: `--json`, or two such. has_value: something must follow; choices of it; is_file: a path."""

    names: tuple[str, ...]
    about: str
    has_value: bool
    choices: tuple[str, ...]
    is_file: bool


@dataclass(frozen=True, slots=True)
class Known:
    """A command: its name, its first sentence, its options; what its argument may be, or that it is a file."""

    name: str
    about: str
    options: tuple[Option, ...]
    choices: tuple[str, ...]
    takes_file: bool


@click.command("completion")
@click.argument("shell", type=click.Choice(SHELLS))
def command(shell: str) -> None:
    """Print the completion script of a shell: commands, options, and the files of /etc/waaler.

    systemd/install puts all three where the shells look for them.

    Example: waaler completion bash > ~/.local/share/bash-completion/completions/waaler
    """
    click.echo(script(shell), nl=False)


def script(shell: str) -> str:
    lines = {"bash": _bash, "zsh": _zsh, "fish": _fish}[shell](known())
    return "\n".join(lines) + "\n"


def known() -> list[Known]:
    """Every command of `waaler`."""
    from waaler.cli.main import commands

    return [_known(found, context) for found, context in commands()]


def _known(found: click.Command, context: click.Context) -> Known:
    params = found.get_params(context)
    options = tuple(_option(param) for param in params if isinstance(param, click.Option) and not param.hidden)
    arguments = [param for param in params if isinstance(param, click.Argument)]
    choices = tuple(choice for argument in arguments for choice in _choices(argument))
    about = found.get_short_help_str(limit=70)
    return Known(str(context.info_name), about, options, choices, any(map(_is_file, arguments)))


def _option(param: click.Option) -> Option:
    about = (param.help or "").split(". ")[0].rstrip(".")
    names = (*param.opts, *param.secondary_opts)
    return Option(names, about, not param.is_flag and not param.is_eager, _choices(param), _is_file(param))


def _choices(param: click.Parameter) -> tuple[str, ...]:
    return tuple(map(str, param.type.choices)) if isinstance(param.type, click.Choice) else ()


def _is_file(param: click.Parameter) -> bool:
    return isinstance(param.type, click.Path)


# --- bash -------------------------------------------------------------------------------------


def _bash(commands: list[Known]) -> Iterator[str]:
    yield f"""\
# bash completion of waaler
_waaler() {{
    local cur=${{COMP_WORDS[COMP_CWORD]}} before=${{COMP_WORDS[COMP_CWORD-1]}} words='' files=no each found
    if [ "$COMP_CWORD" -eq 1 ]; then
        words='{" ".join(each.name for each in commands)} --help --version'
    else
        case "${{COMP_WORDS[1]}} $before" in"""
    for each in commands:
        for option in each.options:
            if option.has_value:
                patterns = "|".join(f"'{each.name} {name}'" for name in option.names)
                yield f"            {patterns}) {_bash_words(option.choices, option.is_file)} ;;"
    yield '            *) case "${COMP_WORDS[1]}" in'
    for each in commands:
        names = tuple(name for option in each.options for name in option.names)
        yield f"                {each.name}) {_bash_words((*each.choices, *names), each.takes_file)} ;;"
    yield """\
            esac ;;
        esac
    fi
    case "$cur" in -*) files=no ;; esac
    # $words are ours alone: compgen -W would run what a file name asks for
    mapfile -t COMPREPLY < <(compgen -W "$words" -- "$cur")
    [ "$files" = yes ] || return 0
    for each in /etc/waaler/*.yaml; do
        [ -f "$each" ] && case "$each" in "$cur"*) COMPREPLY+=("$each") ;; esac
    done
    # half of a name of two lines is no file, and readline would expand what it then takes for a variable
    mapfile -t found < <(compgen -f -- "$cur")
    for each in "${found[@]}"; do
        case "$each" in "~"*[\\$\\`]*) continue ;; "~"*) ;; *) [ -e "$each" ] || [ -L "$each" ] || continue ;; esac
        COMPREPLY+=("$each")
    done
}
complete -o filenames -F _waaler waaler"""


def _bash_words(words: tuple[str, ...], has_files: bool) -> str:
    return f"words='{' '.join(words)}'" + (" files=yes" if has_files else "")


# --- zsh --------------------------------------------------------------------------------------


def _zsh(commands: list[Known]) -> Iterator[str]:
    yield "#compdef waaler"
    yield "# zsh completion of waaler"
    yield "local -a commands=("
    yield from (f"    {_quoted(f'{each.name}:{each.about}')}" for each in commands)
    yield ")"
    yield "if (( CURRENT == 2 )); then _describe command commands; return; fi"
    yield "local name=$words[2]"
    yield "shift words; (( CURRENT-- ))"
    yield "case $name in"
    for each in commands:
        yield f"    {each.name}) _arguments \\"
        for option in each.options:
            yield from (f"        {_quoted(_zsh_option(name, option))} \\" for name in option.names)
        follows = "*:file:_files" if each.takes_file else f"*:value:({' '.join(each.choices)})"
        yield f"        {_quoted(follows)} ;;"
    yield "esac"


def _zsh_option(name: str, option: Option) -> str:
    about = option.about.replace("[", "(").replace("]", ")").replace(":", " -")
    if not option.has_value:
        return f"{name}[{about}]"
    return f"{name}[{about}]:value:{'_files' if option.is_file else f'({chr(32).join(option.choices)})'}"


# --- fish -------------------------------------------------------------------------------------


def _fish(commands: list[Known]) -> Iterator[str]:
    yield "# fish completion of waaler"
    yield "complete -c waaler -f"
    for each in commands:
        yield f"complete -c waaler -n __fish_use_subcommand -a {each.name} -d {_quoted(each.about)}"
        inside = f"complete -c waaler -n '__fish_seen_subcommand_from {each.name}'"
        for option in each.options:
            yield f"{inside} {_fish_option(option)} -d {_quoted(option.about)}"
        if each.choices:
            yield f"{inside} -a {_quoted(' '.join(each.choices))}"
        if each.takes_file:
            yield f"{inside} -F -a '/etc/waaler/*.yaml'"


def _fish_option(option: Option) -> str:
    names = " ".join(f"-l {name[2:]}" if name.startswith("--") else f"-s {name[1:]}" for name in option.names)
    if not option.has_value:
        return names
    return f"{names} -r -F" if option.is_file else f"{names} -x -a {_quoted(' '.join(option.choices))}"


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "'\\''") + "'"
