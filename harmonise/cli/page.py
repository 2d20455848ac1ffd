"""The command `harmonise page`: the local page, for those who would rather click."""

import click

from harmonise.cli.choosing import told


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
    with told("harmonise page"):
        from harmonise.page.serving import serve  # noqa: PLC0415

        serve(port, browser=not no_browser)
