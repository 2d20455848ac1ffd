"""The paper that printed pages are set on: options and what they mean."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from harmonise.notation.sheets.blocks import Page

Command = Callable[..., None]

PAPER = click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Paper of printed pages.",
)
LANDSCAPE = click.option(
    "--landscape", is_flag=True, help="Prints on the paper's long side."
)
LARGE_PRINT = click.option(
    "--large-print", is_flag=True, help="Prints larger staves and bold, upright text."
)


def with_options(command: Command, *options: Callable[[Command], Command]) -> Command:
    """Give a command options, the first to stand first in its help."""
    for option in reversed(options):
        command = option(command)
    return command


def page_of(given: dict[str, object]) -> "Page":
    """Return the page that was asked for; options that the command lacks are off."""
    from harmonise.notation.sheets.blocks import Page, Paper  # noqa: PLC0415

    return Page(
        Paper(given.get("paper", "a4")),
        bool(given.get("landscape")),
        bool(given.get("large_print")),
    )
