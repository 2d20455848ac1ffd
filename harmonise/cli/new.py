"""The command `harmonise new`: a tune to begin with, in a file to fill in."""

import re
from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.cli.command import Command
from harmonise.cli.options import show, told, with_options
from harmonise.errors import OutputError
from harmonise.notation.files import write_whole

EXAMPLE = """\
Title: {title}
Key: C
Time: 4/4
Tempo: 96
% A line that begins with % is for you. Notes are letters; a bar ends with |.
% A word is a beat: E one beat, E - two, A.G two notes in one beat, 0 a rest.
% Letters are the octave from middle C up; C5 is the next one higher, B3 is below.
C E G E | F A G - |
Words: Type your own tune in-stead of
G F E D | E D C - |
Words: this one, and play with both hands.
% Then: harmonise arrange {name} -o {stem}.pdf --open
% All that can be typed: harmonise help typing
"""
"""Our own tune of two lines, and what a beginner needs to know."""


_USUAL = "mytune"


class NewOptions(NamedTuple):
    """Options of `harmonise new`.

    Attributes:
        shows: Opens it with the program that this machine has for texts.
    """

    shows: Annotated[bool, "--open"] = False


@click.command(
    cls=Command,
    short_help="Write an example tune to fill in.",
    examples=('harmonise new "The Old Mill" --open',),
)
@click.argument("name", default=_USUAL)
@with_options(NewOptions)
def new(name: str, options: NewOptions) -> None:
    """Write an example tune, with comments, to fill in your own.

    NAME is the tune's title, or a file's name; a file that is there stays as it is.
    """
    with told("harmonise new"):
        path = Path(name)
        if path.suffix.lower() != ".txt":
            plain = re.sub(r"[^\w.-]+", "_", path.name.lower()).strip("_.")
            path = path.with_name(f"{plain or _USUAL}.txt")
        words = Path(name).name.removesuffix(".txt").replace("_", " ")
        title = "My Tune" if name == _USUAL else words[:1].upper() + words[1:]
        text = EXAMPLE.format(title=title, name=path, stem=path.with_suffix(""))
        if path.exists():
            what = f'"{path}" is there already, and stays as it is.'
            raise OutputError(what, None, "Give the tune another name.")
        write_whole(path, text.encode(), force=False)
        click.echo(f"Written: {path}")
        if options.shows:
            show(path)
