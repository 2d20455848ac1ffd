"""The command `harmonise singers`: groups of singers, and keys that suit them."""

from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.cli.choosing import RENAMED, read_source
from harmonise.cli.command import Command
from harmonise.cli.options import tell_all_idle, told, with_options
from harmonise.notation.files import write_whole
from harmonise.notation.signed import sign_text
from harmonise.theory.singing import (
    format_ranking,
    own_table,
    rank_keys,
    read_voices,
    voices_named,
)


class SingersOptions(NamedTuple):
    """Options of `harmonise singers`.

    Attributes:
        singers: The groups that keys are ranked for. Default: all.
        output: Writes the table that comes along, for you to edit.
        force: Overwrites an existing table.
    """

    singers: Annotated[tuple[str, ...], "GROUP"] = ()
    singers_table: Path | None = None
    gb: bool = False
    part: str = ""
    output: Path | None = None
    force: bool = False


@click.command(
    cls=Command,
    short_help="Find the keys that suit those who sing.",
    examples=("harmonise singers mytune.txt --singers congregation",),
    once=RENAMED,
)
@click.argument("tune", required=False)
@with_options(SingersOptions)
def singers(tune: str | None, options: SingersOptions) -> None:
    """List groups of singers; with TUNE, rank the keys that suit them.

    TUNE is a file of {formats}; "-" reads what you pipe in.
    """
    with told(tune or "harmonise singers"):
        _rank(tune, options)


def _rank(source: str | None, options: SingersOptions) -> None:
    if options.output:
        content = sign_text(own_table(), "# ").encode()
        write_whole(options.output, content, force=options.force)
        click.echo(f"Written: {options.output}")
        tell_all_idle(" beside {output}", "output", "force")
        return
    table = read_voices(options.singers_table)
    if options.singers:
        table = tuple(voices_named(name, table) for name in options.singers)
    if source is None:
        width = max(len(group.name) for group in table)
        for group in table:
            click.echo(
                f"{group.name:<{width}}  comfortable {group.comfortable}, limits "
                f"{group.limits}: {group.singers}"
            )
        tell_all_idle(" without a tune", "singers", "singers_table")
        return
    tune = read_source(source, options.part)[0]
    for number, group in enumerate(table):
        if number:
            click.echo()
        ranked = rank_keys(tune, group, flat=options.gb)
        click.echo(format_ranking(tune, group, ranked))
