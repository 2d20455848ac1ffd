"""Options as values: what is typed comes out as a value of its field's kind."""

from enum import Enum
from pathlib import Path
from typing import Annotated, NamedTuple

import click
import pytest
from click.testing import CliRunner

from harmonise.cli import main
from harmonise.cli.options import WordChoice, with_options


class Colour(Enum):
    """Two colours."""

    RED = "deep-red"
    BLUE = "blue"


_LISTED = ("deep-red", "blue")


class Inner(NamedTuple):
    """A group inside another.

    Attributes:
        colour: A colour that is told on
            two lines: with a colon.
        many: Some words.
    """

    colour: Colour = Colour.BLUE
    many: tuple[str, ...] = ()


class Outer(NamedTuple):
    """A group.

    Attributes:
        output: A file.
        number: One of {}.
        light: Light.
    """

    output: Path | None = None
    inner: Inner = Inner()
    number: Annotated[int, WordChoice({"one": 1, "two": 2}), _LISTED] = 1
    light: bool = True
    plain: Annotated[str, "WORD", "--word"] = ""
    part: str = ""


SEEN: list[Outer] = []


@click.command()
@with_options(Outer)
def command(options: Outer) -> None:
    """Keep what was typed."""
    SEEN.append(options)


@pytest.mark.parametrize(
    ("typed", "options"),
    [
        ("", Outer()),
        ("-o a.txt --no-light", Outer(Path("a.txt"), light=False)),
        ("--word a --part b", Outer(plain="a", part="b")),
        ("--colour deep-red", Outer(inner=Inner(Colour.RED))),
        (
            "--many a --many b --number two",
            Outer(inner=Inner(many=("a", "b")), number=2),
        ),
    ],
    ids=[
        "nothing",
        "file and flag",
        "another name",
        "word of an enum",
        "several and a number",
    ],
)
def test_each_option_fills_its_field(typed: str, options: Outer) -> None:
    SEEN.clear()
    assert CliRunner().invoke(command, typed.split()).exit_code == 0
    (seen,) = SEEN
    assert seen == options


def test_a_word_that_is_none_is_wrong_usage_and_the_words_are_told() -> None:
    refused = CliRunner().invoke(command, ["--colour", "RED"])
    assert refused.exit_code == 2
    assert "'RED' is not one of 'deep-red', 'blue'." in refused.output


def test_the_help_shows_words_and_usual_values_in_the_order_of_the_fields() -> None:
    lines = CliRunner().invoke(command, ["--help"]).output.splitlines()
    options = [line.strip() for line in lines if line.startswith("  -")]
    assert [line.partition("  ")[0] for line in options] == [
        "-o, --output FILE",
        "--colour [deep-red|blue]",
        "--many TEXT",
        "--number [one|two]",
        "--light / --no-light",
        "--word WORD",
        "--part TEXT",
        "--help",
    ]


def test_the_help_is_what_the_docstring_says_of_the_field() -> None:
    words = " ".join(CliRunner().invoke(command, ["--help"]).output.split())
    assert "A colour that is told on two lines: with a colon. [default: blue]" in words
    assert "One of deep-red, blue. [default: one]" in words
    assert "Light. [default: light]" in words
    assert "Name of the part that has the tune." in words


def test_a_docstring_may_come_without_its_indentation() -> None:
    class Bare(NamedTuple):
        colour: Colour = Colour.BLUE

    Bare.__doc__ = (
        "A group.\n\nAttributes:\n    colour: A colour on\n        two lines."
    )

    @click.command()
    @with_options(Bare)
    def bare(options: Bare) -> None:
        del options

    (option,) = bare.params
    assert isinstance(option, click.Option)
    assert option.help == "A colour on two lines."


def test_every_option_of_every_command_has_a_help() -> None:
    context = click.Context(main)
    commands = [main.get_command(context, name) for name in main.list_commands(context)]
    options = [
        option
        for each in commands
        if each is not None
        for option in each.params
        if isinstance(option, click.Option)
    ]
    assert len(options) > 100
    assert [option.name for option in options if not option.help] == []
