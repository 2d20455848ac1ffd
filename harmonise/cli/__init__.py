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
    "new": "harmonise.cli.new",
    "arrange": "harmonise.cli.arrange",
    "explain": "harmonise.cli.arrange",
    "listen": "harmonise.cli.listen",
    "click": "harmonise.cli.click_track",
    "singers": "harmonise.cli.singers",
    "drill": "harmonise.cli.drill",
    "worksheet": "harmonise.cli.worksheet",
    "mark": "harmonise.cli.mark",
    "page": "harmonise.cli.page",
    "help": "harmonise.cli.topics",
}
"""Module of each command, in the order in which they are met."""
_DEFINED = {"click": "click_track", "help": "help_"}
"""Commands whose names a library, or Python, needs for itself."""
_ONCE = {"voices": "singers"}
"""Commands by the names that they had once."""


class _Commands(click.Group):
    """Commands that are loaded when they are called for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        del ctx
        return list(_HOMES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        del ctx
        name = _ONCE.get(cmd_name, cmd_name)
        if name not in _HOMES:
            return None
        if name != cmd_name:
            click.echo(f"{cmd_name} is called {name} now.", err=True)
        module = import_module(_HOMES[name])
        command: click.Command = getattr(module, _DEFINED.get(name, name))
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
    """Arrange a tune for two hands at the piano and keep the tune on top.

    Begin with `harmonise new`; `harmonise help` lists what can be read about. Numbers,
    signs and words of music are those of every school book.
    """
