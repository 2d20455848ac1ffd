"""The command `harmonise page`: the local page in the browser."""

import click

from harmonise.cli.command import Command
from harmonise.cli.options import told
from harmonise.cli.settings import NAME


@click.command(
    cls=Command,
    short_help="Open the page in the browser.",
    examples=("harmonise page --share",),
)
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
@click.option(
    "--no-settings",
    is_flag=True,
    help="Leaves harmonise.toml alone, by which new work begins.",
)
def page(port: int, *, no_browser: bool, share: bool, no_settings: bool) -> None:
    """Open the page on which tunes are typed, tapped, seen, heard and changed.

    It is served to this machine alone unless it is shared, needs no network, and stops
    with Ctrl-C. Its address stays the same, so a bookmark of it lasts.
    """
    del no_settings  # It was heeded before the settings were read.
    usual = click.get_current_context().meta.get(NAME, {})
    # The server is a third of the house, and no help needs it.
    from harmonise.page.serving import serve  # noqa: PLC0415

    with told("harmonise page"):
        serve(port, browser=not no_browser, share=share, usual=usual)
