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
    "page": "harmonise.cli.page",
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
        found: click.Command = getattr(import_module(_HOMES[cmd_name]), cmd_name)
        return found


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="harmonise", message="%(prog)s %(version)s")
def main() -> None:
    """Arrange a tune for two hands at the piano and keep the tune on top."""
