"""The command line: parses what was typed, calls the job, prints what came of it.

Exit status: 0 done, 1 the job failed, 2 wrong usage. Each command is loaded when it is
called for, so that none waits for another's room.
"""

import errno
import os
import sys
from difflib import get_close_matches
from importlib import import_module
from typing import Any

import click

_HOMES = {
    "arrange": "harmonise.cli.arrange",
    "click": "harmonise.cli.click_track",
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
        # The module of click tracks needs the name of the library for itself.
        name = "click_track" if cmd_name == "click" else cmd_name
        command: click.Command = getattr(import_module(_HOMES[cmd_name]), name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command of a name; one that is misspelt is asked about."""
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError as error:
            meant = get_close_matches(args[0], _HOMES, 1)
            asked = f" Did you mean '{meant[0]}'?" if meant else ""
            raise click.UsageError(f"{error.message}{asked}", ctx) from None

    def main(self, *args: Any, **extra: Any) -> Any:  # noqa: ANN401 (click's own)
        """Run a command, and tell where its words could not be printed."""
        try:
            try:
                return super().main(*args, **extra)
            finally:
                # What is printed may wait in a buffer until now.
                _flush()
        except OSError as error:
            if error.filename is not None:
                raise
            reason = (error.strerror or str(error)).lower()
            click.echo(f"harmonise: standard output fails: {reason}.", err=True)
            sys.exit(1)


def _flush() -> None:
    """Print what waits.

    Raises:
        OSError: If standard output is closed or full.
    """
    if sys.stdout is None:
        raise OSError(errno.EBADF, os.strerror(errno.EBADF))
    try:
        sys.stdout.flush()
    except OSError:
        # Python would try once more at its end, and fail with words of its own.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        raise


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
@click.option(
    "--share",
    is_flag=True,
    help="Serves it on your home network too, for a phone, with a code to scan.",
)
def page(port: int, *, no_browser: bool, share: bool) -> None:
    """Open the page on which tunes are typed, tapped, seen, heard and changed.

    It is served to this machine alone unless it is shared, needs no network, and stops
    with Ctrl-C. Its address stays the same, so a bookmark of it lasts.
    """
    # The server is a third of the house, and no other command needs it.
    from harmonise.cli.options import told  # noqa: PLC0415
    from harmonise.page.serving import serve  # noqa: PLC0415

    with told("harmonise page"):
        serve(port, browser=not no_browser, share=share)
