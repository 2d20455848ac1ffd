"""The paper that printed pages are set on: options and what they mean.

Introduction, verses and ending: options and what they mean.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

import click

from harmonise.errors import NotationError

if TYPE_CHECKING:
    from harmonise.form.plan import LastVerse, SongForm
    from harmonise.notation.paper.blocks import Page

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
    from harmonise.notation.paper.blocks import Page, Paper  # noqa: PLC0415

    return Page(
        Paper(given.get("paper", "a4")),
        bool(given.get("landscape")),
        bool(given.get("large_print")),
    )


_VARIED = (
    "left-octaves", "tune-octaves", "walking-bass", "richer-chords", "tonic-pedal",
    "dominant-pedal", "up-a-semitone", "up-a-tone",
)  # fmt: skip
FORMING = (
    click.option(
        "--introduction",
        type=click.Choice(["none", "last-line", "two-bars", "vamp"]),
        default="none",
        show_default=True,
        help="What is played before the first verse: the last line of the tune, its "
        "last two bars, or two bars of the left hand.",
    ),
    click.option(
        "--verses",
        type=click.IntRange(1, 20),
        help="How many verses are sung. Default: those of the words.",
    ),
    click.option(
        "--gap",
        type=click.Choice(["none", "bar"]),
        default="none",
        show_default=True,
        help="A bar of the keynote's chord between verses.",
    ),
    click.option(
        "--last-verse",
        default="",
        metavar='"left-octaves, up-a-tone"',
        help=f"Varies the last verse: {', '.join(_VARIED)}.",
    ),
    click.option("--slow-ending", is_flag=True, help="Slows the last bar and holds."),
    click.option("--amen", is_flag=True, help="A plagal Amen at the end."),
    click.option(
        "--major-amen", is_flag=True, help="The same, ending major in a minor key."
    ),
)
"""Options of every command that plays a tune from beginning to end."""


def form_of(given: dict[str, object]) -> "SongForm | None":
    """Return the form that was asked for; None for the tune as it is.

    Raises:
        NotationError: If the last verse cannot be varied so.
    """
    usual = {"introduction": "none", "gap": "none"}
    names = (
        "introduction", "verses", "gap", "last_verse", "slow_ending", "amen",
        "major_amen",
    )  # fmt: skip
    if not any(
        given.get(name) not in (None, "", False, usual.get(name)) for name in names
    ):
        return None
    from harmonise.form.plan import Gap, Introduction, SongForm  # noqa: PLC0415

    major = bool(given["major_amen"])
    return SongForm(
        Introduction(given["introduction"]),
        Gap(given["gap"]),
        int(str(given["verses"] or 0)),
        bool(given["amen"]) or major,
        bool(given["slow_ending"]),
        _last_verse(str(given["last_verse"])),
        major,
    )


def _last_verse(typed: str) -> "tuple[LastVerse, ...]":
    from harmonise.form.plan import LastVerse  # noqa: PLC0415

    words = [word.strip() for word in typed.split(",") if word.strip()]
    for word in words:
        if word not in _VARIED:
            raise NotationError(
                f'A last verse cannot be varied by "{word}".',
                None,
                f"Choose from: {', '.join(_VARIED)}.",
            )
    return tuple(map(LastVerse, words))
