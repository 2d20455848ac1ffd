"""Options as values: a class for each group, filled from what was typed.

A group is a NamedTuple. Its fields are the options: the name, the kind and the usual
value of an option are the field's, and its help is what the docstring of the group says
of the field under `Attributes`, so that nothing is written twice:

    class Sheets(NamedTuple):
        paper: Paper = Paper.A4
        number: Annotated[int, click.IntRange(1, 99)] = 1

`Annotated` adds what the type does not say: what may be typed, the words that stand for
a value in the help, another name (a text with hyphens), or texts that the help lists at
its `{}`. A field that holds a group is a group inside the group.
"""

import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from enum import Enum
from functools import wraps
from inspect import cleandoc
from pathlib import Path
from typing import Annotated, NamedTuple, TypeVar, get_args, get_origin

import click
from click.core import ParameterSource

from harmonise.arranging.effects import idle_remarks
from harmonise.errors import HarmoniseError
from harmonise.notation.files import READ, THE_TUNE, inputs_kept, keep_file
from harmonise.notation.formats import FORMATS
from harmonise.notation.outputs import Sheet
from harmonise.notation.paper.blocks import Paper
from harmonise.theory.arrangement import AUTO_LEVEL, HarmonicRhythm

Command = Callable[..., None]
_Group = TypeVar("_Group", bound=tuple[object, ...])
_Value = TypeVar("_Value")
_Member = TypeVar("_Member", bound=Enum)
_TARGETS = ("output", "write_points", "register")
"""Options that name what is written; a file that any other one names is kept."""
_SCREENS = ("DISPLAY", "WAYLAND_DISPLAY")
"""What says on Linux that there is a screen to show files on."""
_ENTRY = re.compile(r"^ {4}(\w+): (.*(?:\n {8}.*)*)", re.MULTILINE)
"""A field and what is said of it, in a docstring without its indentation."""


class WordChoice(click.Choice[_Value]):
    """One of some values, each of which is typed by its word."""

    def __init__(self, words: Mapping[str, _Value]) -> None:
        """Keep the values and their words."""
        super().__init__(words.values())
        self._words: dict[object, str] = {value: word for word, value in words.items()}

    def normalize_choice(self, choice: object, ctx: click.Context | None) -> str:
        """Return the word of a value; a word that was typed stays what it is."""
        del ctx
        return self._words.get(choice, str(choice))


LEVELS = WordChoice(
    {"auto": AUTO_LEVEL, **{str(level): level for level in (1, 2, 3, 4)}}
)


def words_of(values: Iterable[_Member]) -> WordChoice[_Member]:
    """Return members of an enum as they are typed: by their values."""
    return WordChoice({member.value: member for member in values})


class TypedPath(click.Path):
    """A path that has at least one letter; an empty one would be where one stands."""

    def convert(
        self,
        value: str | os.PathLike[str],
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> str | bytes | os.PathLike[str]:
        """Return the path that was typed."""
        if not str(value):
            self.fail("The name is empty.", param, ctx)
        return super().convert(value, param, ctx)


ANYWHERE = TypedPath(path_type=Path)
FILE = TypedPath(path_type=Path, dir_okay=False)
*_FIRST, _LAST = (row.name for row in reversed(FORMATS))
_READ = f"{', '.join(_FIRST)} or {_LAST}"
Level = Annotated[int, LEVELS]


class Shared(NamedTuple):
    """What several groups have; they need not say again what it does.

    Attributes:
        level: Chords: 1 I IV V, 2 adds V7, 3 adds ii and vi, 4 the rest; auto: the
            lowest level that keeps every strong rule.
        harmonic_rhythm: How often chords may change.
        part: Name of the part that has the tune.
        gb: Gb major stands for F# major.
        singers_table: A table of singers of your own.
        paper: Paper of printed pages.
        landscape: Prints on the paper's long side.
        large_print: Prints larger staves and bold, upright text.
        force: Overwrites a file of somebody else.
        shows: Shows the result with the program that this machine has for such files.
        no_settings: Leaves harmonise.toml alone.
    """

    level: Level = 1
    harmonic_rhythm: HarmonicRhythm = HarmonicRhythm.AUTO
    part: str = ""
    gb: bool = False
    singers_table: Path | None = None
    paper: Paper = Paper.A4
    landscape: bool = False
    large_print: bool = False
    force: bool = False
    shows: Annotated[bool, "--open"] = False
    no_settings: bool = False


def with_options(group: type[_Group]) -> Callable[[Command], Command]:
    """Give a command the options of a group, as one value that is called `options`."""

    def give(command: Command) -> Command:
        @wraps(command)
        def filled(**given: object) -> None:
            named = {name: own for name, own in given.items() if name not in _TARGETS}
            if given.get("tune") == "":
                # An empty word is most often a variable of the shell without a value;
                # as a path it would be the folder where the user stands.
                raise click.UsageError('TUNE is empty. Name a file, or "-" for a pipe.')
            options = _filled(group, given)
            with inputs_kept():
                _keep_named(named)
                command(options=options, **given)

        # What can be read is said by the rows of formats, and never typed again.
        filled.__doc__ = (command.__doc__ or "").replace("{formats}", _READ)
        typed: Command = filled
        # The last option to be added stands first in the help.
        for option in reversed(list(_options(group))):
            typed = option(typed)
        return typed

    return give


def _keep_named(named: Mapping[str, object]) -> None:
    """Keep the files that a call names, also those that it may never come to read."""
    for name, own in named.items():
        for one in own if isinstance(own, tuple) else (own,):
            if isinstance(one, str | Path):
                keep_file(Path(one), THE_TUNE if name == "tune" else READ)


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
    helps = _helps(Shared) | _helps(group)
    usual: dict[str, object] = getattr(group, "_field_defaults", {})
    for name, kind in group.__annotations__.items():
        if _is_group(kind):
            yield from _options(kind)
        else:
            yield _option(name, kind, usual[name], helps.get(name, ""))


def _is_group(kind: object) -> bool:
    # A value that is annotated with how it is typed is one option, fields or not.
    return isinstance(kind, type) and hasattr(kind, "_fields")


def _helps(group: type) -> dict[str, str]:
    """Return what a docstring says of each field."""
    # From Python 3.13 on docstrings come without their indentation.
    entries = _ENTRY.findall(cleandoc(group.__doc__ or ""))
    return {name: " ".join(text.split()) for name, text in entries}


def _option(
    name: str, kind: object, usual: object, help_text: str
) -> Callable[[Command], Command]:
    """Return the option of one field.

    Args:
        name: The field's name.
        kind: What the field holds, and how it is typed.
        usual: What it holds where nothing is typed.
        help_text: What it does.
    """
    value, *how = get_args(kind) if get_origin(kind) is Annotated else (kind,)
    flag = f"--{name.replace('_', '-')}"
    names = ["-o", flag] if name == "output" else [flag]
    words, metavar = _kind_of(value), None
    for each in how:
        if isinstance(each, click.ParamType):
            words = each
        elif isinstance(each, tuple):
            help_text = help_text.format(", ".join(each))
        elif str(each).startswith("--"):
            names = [str(each)]
        else:
            metavar = str(each)
    if value is bool:
        names = [f"{flag}/--no-{flag[2:]}"] if usual else names
        return click.option(
            *names, name, is_flag=True, default=usual, show_default=bool(usual),
            help=help_text,
        )  # fmt: skip
    if isinstance(words, WordChoice) and usual is not None:
        usual = words.normalize_choice(usual, None)
    if hasattr(usual, "_fields"):
        # A value of parts, such as a time signature, is shown as it is typed.
        usual = str(usual)
    return click.option(
        *names,
        name,
        type=words,
        multiple=words is None and get_origin(value) is tuple,
        default=usual,
        show_default=usual not in (None, "", ()),
        metavar=metavar,
        help=help_text,
    )


def _kind_of(value: object) -> click.ParamType[object] | None:
    """Return how values of a type are typed; None for plain text."""
    # `Paper | None` holds its alternatives as arguments.
    for one in (value, *get_args(value)):
        if one is Path:
            return FILE
        if isinstance(one, type) and issubclass(one, Enum):
            return words_of(one)
    return None


def asked_options() -> dict[str, str]:
    """Return the options that were typed, by their names, as they were typed."""
    context = click.get_current_context()
    asked = {}
    for option in context.command.params:
        name = str(option.name)
        typed = context.get_parameter_source(name) is ParameterSource.COMMANDLINE
        if typed and isinstance(option, click.Option):
            value = context.params[name]
            asked[name] = _as_typed(option, value)
    return asked


def _as_typed(option: click.Option, value: object) -> str:
    if option.is_flag:
        return (option.opts if value else option.secondary_opts)[0]
    if isinstance(option.type, WordChoice):
        value = option.type.normalize_choice(value, None)
    # A time signature is a tuple too, and one value.
    many = value if isinstance(value, tuple) and option.multiple else (value,)
    words = [str(one.value) if isinstance(one, Enum) else str(one) for one in many]
    shown = " ".join(f'"{word}"' if " " in word else word for word in words)
    return f"{option.opts[-1]} {shown}"


def option_called(name: str) -> str:
    """Return what is typed for an option, or for a kind of page, of a name."""
    if name in {sheet.value for sheet in Sheet}:
        return f"--sheet {name}"
    return f"--{name.replace('_', '-')}"


def tell_idle(reasons: Mapping[str, str]) -> None:
    """Print which of the options that were typed have a reason to change nothing."""
    for remark in idle_remarks(asked_options(), reasons, option_called):
        click.echo(str(remark))


def tell_all_idle(why: str, *used: str) -> None:
    """Print that all options that were typed, but for some, change nothing.

    Args:
        why: Words after "has no effect", other options in braces.
        used: Names of the options that have one.
    """
    tell_idle({name: why for name in asked_options() if name not in used})


def show(path: Path) -> None:
    """Show a file with the program that this machine has for such files."""
    # There the launcher of the desktop is often installed, and fails unseen.
    unseen = sys.platform == "linux" and not any(map(os.environ.get, _SCREENS))
    if unseen or click.launch(str(path)):
        click.echo(f"No program opened it: open {path} yourself.", err=True)


@contextmanager
def told(source: str) -> Iterator[None]:
    """Tell a failure in a sentence with its source, and end with status 1."""
    try:
        yield
    except HarmoniseError as error:
        where = "standard input" if source == "-" else source
        click.echo(f"{where}: {error}", err=True)
        sys.exit(1)
