"""Options as values: a class for each group, filled from what was typed.

A group is a NamedTuple whose fields say in `Annotated` how they are typed. Name and
kind of an option follow from the field, so that nothing is written twice:

    class Printing(NamedTuple):
        paper: Annotated[Paper, Typed("Paper of printed pages.")] = Paper.A4

A field without `Annotated` is a group inside the group.
"""

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from enum import Enum
from functools import wraps
from pathlib import Path
from typing import Annotated, NamedTuple, TypeVar, get_args, get_origin

import click

from harmonise.errors import HarmoniseError
from harmonise.notation.paper.blocks import Paper
from harmonise.theory.arrangement import AUTO_LEVEL, HarmonicRhythm

Command = Callable[..., None]
_Group = TypeVar("_Group", bound=tuple[object, ...])
_Value = TypeVar("_Value")


class Typed(NamedTuple):
    """How an option is typed.

    Attributes:
        help: What it does, in a sentence.
        kind: What may be typed; None where the type of the field says it.
        metavar: What stands for the value in the help; None for the usual word.
        names: What it is called; () for the field's name after two hyphens.
    """

    help: str
    kind: click.ParamType[object] | None = None
    metavar: str | None = None
    names: tuple[str, ...] = ()


class Words(click.Choice[_Value]):
    """One of some values, each of which is typed by its word."""

    def __init__(self, words: Mapping[str, _Value]) -> None:
        """Keep the values and their words."""
        super().__init__(words.values())
        self._words: dict[object, str] = {value: word for word, value in words.items()}

    def normalize_choice(self, choice: object, ctx: click.Context | None) -> str:
        """Return the word of a value; a word that was typed stays what it is."""
        del ctx
        return self._words.get(choice, str(choice))


FILE = click.Path(path_type=Path, dir_okay=False)
LEVELS = Words({"auto": AUTO_LEVEL, **{str(level): level for level in (1, 2, 3, 4)}})
Level = Annotated[
    int,
    Typed(
        "Chords: 1 I IV V, 2 adds V7, 3 adds ii and vi, 4 the rest; "
        "auto: the lowest level that keeps every strong rule.",
        LEVELS,
    ),
]
Rhythm = Annotated[HarmonicRhythm, Typed("How often chords may change.")]
Part = Annotated[str, Typed("Name of the part that has the tune.")]
OnPaper = Annotated[Paper, Typed("Paper of printed pages.")]
Landscape = Annotated[bool, Typed("Prints on the paper's long side.")]
LargePrint = Annotated[bool, Typed("Prints larger staves and bold, upright text.")]


def with_options(group: type[_Group]) -> Callable[[Command], Command]:
    """Give a command the options of a group, as one value that is called `options`."""

    def give(command: Command) -> Command:
        @wraps(command)
        def filled(**given: object) -> None:
            options = _filled(group, given)
            command(options=options, **given)

        typed: Command = filled
        # The last option to be added stands first in the help.
        for option in reversed(list(_options(group))):
            typed = option(typed)
        return typed

    return give


def _is_group(kind: object) -> bool:
    return get_origin(kind) is not Annotated


def _filled(group: type[_Group], given: dict[str, object]) -> _Group:
    """Return a group with its values taken out of what was given."""
    return group(
        **{
            name: _filled(kind, given) if _is_group(kind) else given.pop(name)
            for name, kind in group.__annotations__.items()
        }
    )


def _options(group: type[tuple[object, ...]]) -> Iterator[Callable[[Command], Command]]:
    """Yield the options of a group and of the groups inside it, in order."""
    usual: dict[str, object] = getattr(group, "_field_defaults", {})
    for name, kind in group.__annotations__.items():
        if _is_group(kind):
            yield from _options(kind)
        else:
            yield _option(name, kind, usual.get(name))


def _option(name: str, kind: object, usual: object) -> Callable[[Command], Command]:
    """Return the option of one field.

    Args:
        name: The field's name.
        kind: What the field holds, `Annotated`.
        usual: What it holds where nothing is typed.
    """
    value, typed = get_args(kind)
    names = (*(typed.names or (f"--{name.replace('_', '-')}",)), name)
    if value is bool:
        return click.option(
            *names, is_flag=True, default=usual, show_default=bool(usual),
            help=typed.help,
        )  # fmt: skip
    words = typed.kind or _kind_of(value)
    if isinstance(words, Words) and usual is not None:
        usual = words.normalize_choice(usual, None)
    return click.option(
        *names,
        type=words,
        multiple=words is None and get_origin(value) is tuple,
        default=usual,
        show_default=usual not in (None, "", ()),
        metavar=typed.metavar,
        help=typed.help,
    )


def _kind_of(value: object) -> click.ParamType[object] | None:
    """Return how values of a type are typed; None for plain text."""
    # `Paper | None` holds its alternatives as arguments.
    for one in (value, *get_args(value)):
        if one is Path:
            return FILE
        if isinstance(one, type) and issubclass(one, Enum):
            return Words({member.value: member for member in one})
    return None


@contextmanager
def told(source: str) -> Iterator[None]:
    """Tell a failure in a sentence with its source, and end with status 1."""
    try:
        yield
    except HarmoniseError as error:
        where = "standard input" if source == "-" else source
        click.echo(f"{where}: {error}", err=True)
        sys.exit(1)
