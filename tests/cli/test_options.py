"""Options as values: what is typed comes out as a value of its field's kind."""

from enum import Enum
from pathlib import Path
from typing import Annotated, NamedTuple

import click
import pytest
from click.testing import CliRunner

from harmonise.cli.options import Typed, Words, with_options


class Colour(Enum):
    """Two colours."""

    RED = "deep-red"
    BLUE = "blue"


class Inner(NamedTuple):
    """A group inside another."""

    colour: Annotated[Colour, Typed("A colour.")] = Colour.BLUE
    many: Annotated[tuple[str, ...], Typed("Some words.")] = ()


class Outer(NamedTuple):
    """A group."""

    target: Annotated[Path | None, Typed("A file.", names=("-o", "--output"))] = None
    inner: Inner = Inner()
    number: Annotated[int, Typed("A number.", Words({"one": 1, "two": 2}))] = 1
    light: Annotated[bool, Typed("Light.", names=("--light/--dark",))] = True


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
        ("-o a.txt --dark", Outer(Path("a.txt"), light=False)),
        ("--colour deep-red", Outer(inner=Inner(Colour.RED))),
        (
            "--many a --many b --number two",
            Outer(inner=Inner(many=("a", "b")), number=2),
        ),
    ],
    ids=["nothing", "file and flag", "word of an enum", "several and a number"],
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
        "--light / --dark",
        "--help",
    ]
    assert "[default: blue]" in options[1]
    assert "[default: one]" in options[3]
    assert "[default: light]" in options[4]
