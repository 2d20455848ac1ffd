"""The command `harmonise help`: what there is to know of a subject, in a page of text.

Each subject is a file of Markdown beside this one, the only place where it is told.
"""

import re
import shutil
import textwrap
from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path

import click

from harmonise.cli.command import Command

_FOLDER = Path(__file__).parent / "help"
TOPICS = (
    "typing", "chords", "left-hands", "song", "sheets", "singers", "listening",
    "recording", "drills", "worksheets", "marking", "page", "books", "cluster",
    "settings", "python", "changes",
)  # fmt: skip
"""The subjects, in the order in which they are met."""
_TYPED = re.compile(r"(^```\w*\n.*?^```$)", re.DOTALL | re.MULTILINE)
"""What stands as it is typed."""
_WIDEST = 96


def read_topic(name: str) -> str:
    """Return what is told of a subject, as Markdown."""
    return (_FOLDER / f"{name}.md").read_text("utf-8")


def format_topic(markdown: str, width: int) -> str:
    """Return a subject as plain text, in lines no longer than a width.

    Tables become lists; what is typed stands indented, as it is.
    """
    return "\n".join(_lines(markdown, width))


def _lines(markdown: str, width: int) -> Iterator[str]:
    for part in _TYPED.split(markdown):
        if part.startswith("```"):
            yield ""
            yield from (f"    {line}".rstrip() for line in part.splitlines()[1:-1])
            yield ""
            continue
        # A table's headings are parted from its rows by a row of hyphens.
        text = re.sub(r"^\|.*\n\| -.*\n", "", part.strip("\n"), flags=re.MULTILINE)
        for line in text.splitlines():
            yield from _told(line, width)


def _told(line: str, width: int) -> Iterator[str]:
    """Yield a line of Markdown as lines of text."""
    plain = re.sub(r"`([^`]*)`", r"\1", line).replace("\\|", "\0")
    if line.startswith("#"):
        yield plain.lstrip("# ").upper()
    elif line.startswith("|"):
        first, *others = (cell.strip() for cell in plain.strip("| ").split("|"))
        rest = " · ".join(others)
        yield from _wrapped(f"{first}: {rest}".replace("\0", "|"), width, "    ")
    else:
        indent = "  " * line.startswith("- ")
        yield from _wrapped(plain.replace("\0", "|"), width, indent)


def _wrapped(text: str, width: int, indent: str) -> list[str]:
    lines = textwrap.wrap(
        text, width, subsequent_indent=indent, break_on_hyphens=False,
        break_long_words=False,
    )  # fmt: skip
    return lines or [""]


class _Subject(click.Choice[str]):
    """A subject, or a command, whose own help is then shown."""

    def convert(
        self, value: str, param: click.Parameter | None, ctx: click.Context | None
    ) -> str:
        """Return the subject that was typed; one that is misspelt is asked about."""
        known = (*self.choices, *_program(ctx).list_commands(ctx)) if ctx else TOPICS
        if value not in known:
            meant = get_close_matches(value, known, 1)
            asked = (
                f"Did you mean '{meant[0]}'?" if meant else "harmonise help lists all."
            )
            self.fail(f'"{value}" is no subject. {asked}', param, ctx)
        return value


def _program(ctx: click.Context) -> click.Group:
    """Return what holds all commands.

    Raises:
        click.UsageError: If this command was called by itself.
    """
    group = ctx.find_root().command
    if not isinstance(group, click.Group):
        raise click.UsageError("There are no other commands.", ctx)
    return group


def _command_help(name: str, ctx: click.Context) -> str:
    """Return the help of a command."""
    root = ctx.find_root()
    command = _program(ctx).get_command(root, name)
    return click.Context(command, root, name).get_help() if command else ""


@click.command(
    "help",
    cls=Command,
    short_help="Tell of a subject: typing, sheets, drills …",
    examples=("harmonise help typing",),
)
@click.argument("topic", required=False, type=_Subject(TOPICS), metavar="[TOPIC]")
@click.pass_context
def help_(ctx: click.Context, topic: str | None) -> None:
    """Tell of TOPIC: how tunes are typed, which left hands there are, and so on.

    Of a command it lists the options. Without TOPIC it lists the subjects.
    """
    if topic and topic not in TOPICS:
        click.echo(_command_help(topic, ctx))
        return
    if topic:
        width = min(shutil.get_terminal_size().columns, _WIDEST)
        click.echo(format_topic(read_topic(topic), width))
        return
    longest = max(map(len, TOPICS))
    for name in TOPICS:
        heading = read_topic(name).partition("\n")[0].lstrip("# ")
        click.echo(f"harmonise help {name:<{longest}}  {heading}")
