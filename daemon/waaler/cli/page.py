"""The read-only web page."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from waaler.cli.common import echo, refuse

if TYPE_CHECKING:
    from waaler.page.beds import Watch

__all__ = ["command"]


@click.command("page")
@click.option("--listen", default="127.0.0.1:8080", show_default=True, help="Address and port.")
@click.option("--password-file", type=click.Path(path_type=Path, dir_okay=False), help="Who may look; see below.")
@click.option("--trust-proxy", help="The address of the proxy that asks for passwords; only it may connect.")
@click.option("--name", "names", multiple=True, help="A host name that is this page's; more than once.")
@click.option("--make-password", metavar="NAME", help="Ask for a password, print a line for the file, and end.")
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
def command(
    listen: str,
    password_file: Path | None,
    trust_proxy: str | None,
    names: tuple[str, ...],
    make_password: str | None,
    files: tuple[Path, ...],
) -> None:
    """Show the beds of FILES, or of all files in /etc/waaler, in a browser.

    Only this machine can see the page unless --listen says otherwise; a network wants --password-file or
    --trust-proxy. The page reads records and files, asks the daemon nothing, and can move no water. It needs the
    extra `page`: pip install "waaler[page]".

    Example: waaler page --listen 192.0.2.5:8080 --password-file /etc/waaler/page.passwords
    """
    from waaler.page.passwords import PasswordFileError
    from waaler.settings import SettingsError

    if make_password is not None:
        _print_password(make_password)
        return
    try:
        from waaler.page.serve import Place, PlaceError, make_site, serve
    except ImportError:
        refuse('the page needs waitress: pip install "waaler[page]"')
    try:
        place = Place.of(listen, names, password_file, trust_proxy)
        watches = _watches(files)
        site = make_site(watches, place)
    except SettingsError as problem:
        refuse(str(problem), 2)
    except (PlaceError, PasswordFileError) as problem:
        refuse(str(problem), 2)
    for line in place.told([watch.id for watch in watches]):
        echo(line)
    try:
        serve(site, place)
    except OSError as problem:
        refuse(f"{listen} cannot be served: {problem.strerror or problem}")


def _watches(files: tuple[Path, ...]) -> "list[Watch]":
    from waaler.page.beds import Watch
    from waaler.settings.places import ETC, find

    return [Watch(file) for file in files or sorted(ETC.glob("*.yaml")) or [find(None)]]


def _print_password(name: str) -> None:
    from waaler.page.passwords import hash_line

    password = click.prompt("Password", hide_input=True, confirmation_prompt=True, err=True)
    try:
        echo(hash_line(name, password))
    except ValueError as problem:
        raise click.BadParameter(str(problem), param_hint="--make-password") from None
