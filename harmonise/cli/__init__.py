"""The command line: parses what was typed, calls the job, prints what came of it.

Exit status: 0 done, 1 the job failed, 2 wrong usage. Each command is loaded when it is
called for, so that none waits for another's room.
"""

from importlib import import_module

import click

_HOMES = {
    "arrange": "harmonise.cli.arrange",
    "drill": "harmonise.cli.drill",
    "explain": "harmonise.cli.arrange",
    "listen": "harmonise.cli.listen",
    "mark": "harmonise.cli.mark",
    "page": __name__,
    "voices": "harmonise.cli.voices",
    "worksheet": "harmonise.cli.worksheet",
}
"""Module of each command."""


class _Commands(click.Group):
    """Commands that are loaded when they are called for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        del ctx
        return list(_HOMES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        del ctx
        if cmd_name not in _HOMES:
            return None
        command: click.Command = getattr(import_module(_HOMES[cmd_name]), cmd_name)
        return command


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="harmonise", message="%(prog)s %(version)s")
def main() -> None:
    """Arrange a tune for two hands at the piano and keep the tune on top."""


@click.command()
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    help="Port of this machine to serve on. Default: 8642, or a free one.",
)
@click.option("--no-browser", is_flag=True, help="Prints the address, no more.")
def page(port: int, *, no_browser: bool) -> None:
    """Open the page on which tunes are typed, tapped, seen, heard and changed.

    It is served to this machine alone, needs no network, and stops with Ctrl-C.
    """
    # The server is a third of the house, and no other command needs it.
    from harmonise.cli.options import told  # noqa: PLC0415
    from harmonise.page.serving import serve  # noqa: PLC0415

    with told("harmonise page"):
        serve(port, browser=not no_browser)
