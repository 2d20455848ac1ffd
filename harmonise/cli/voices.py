"""The command `harmonise voices`: groups of singers, and keys that suit them."""

from pathlib import Path

import click

from harmonise.cli.choosing import PART, read_source, told


@click.command()
@click.argument("tune", required=False)
@click.option(
    "--voices",
    multiple=True,
    metavar="GROUP",
    help="The groups that keys are ranked for. Default: all.",
)
@click.option(
    "--voices-table",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A table of singers of your own.",
)
@click.option("--gb", is_flag=True, help="Gb major stands for F# major.")
@PART
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Writes the table that comes along, for you to edit.",
)
@click.option("--force", is_flag=True, help="Overwrites an existing table.")
def voices(tune: str | None, **given: object) -> None:
    """List groups of singers; with TUNE, rank the keys that suit them.

    TUNE is a file of typed text, sol-fa, MusicXML, ABC or MIDI; "-" reads what you
    pipe in.
    """
    with told(tune or "harmonise voices"):
        _voices(tune, given)


def _voices(source: str | None, given: dict[str, object]) -> None:
    from harmonise.theory.singing import (  # noqa: PLC0415  # noqa: PLC0415
        format_ranking,
        rank_keys,
        read_voices,
        voices_named,
    )

    target, path, names = given["output"], given["voices_table"], given["voices"]
    if isinstance(target, Path):
        _write(target, force=bool(given["force"]))
        return
    table = read_voices(path if isinstance(path, Path) else None)
    if isinstance(names, tuple) and names:
        table = tuple(voices_named(str(name), table) for name in names)
    if source is None:
        width = max(len(own.name) for own in table)
        for own in table:
            click.echo(
                f"{own.name:<{width}}  comfortable {own.comfortable}, limits "
                f"{own.limits}: {own.singers}"
            )
        return
    tune = read_source(source, str(given["part"]))[0]
    for number, own in enumerate(table):
        if number:
            click.echo()
        ranked = rank_keys(tune, own, flat=bool(given["gb"]))
        click.echo(format_ranking(tune, own, ranked))


def _write(target: Path, *, force: bool) -> None:
    from harmonise.notation.files import write_whole  # noqa: PLC0415
    from harmonise.theory.singing import own_table  # noqa: PLC0415

    write_whole(target, own_table().encode(), force=force)
    click.echo(f"Written: {target}")
