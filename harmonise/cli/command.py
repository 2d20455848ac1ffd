"""Commands as users meet them: help by headings, old names, settings of their own.

Help lists the options of one purpose together and ends with an example. A name that an
option had before still works, with a remark, until 0.3. What the user's settings say
stands in for options that were not typed.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest
from typing import Any

import click
from click.core import ParameterSource

from harmonise.cli.settings import NAME, read_settings
from harmonise.errors import HarmoniseError

_TUNES = ("tune", "against", "works")
"""Arguments and options that name tunes, or what was written for them."""
_UNTIL = "0.3"
"""The version that knows no old names any more."""

_FILES, _TASK, _CHORDS = "Files", "The task", "Chords and key"
_HANDS, _FORM = "The hands", "From introduction to Amen"
_SINGERS, _PAPER, _SOUND = "Keys and singers", "The printed page", "Sound"
_BOOKS, _MARKS, _SERVED = "Books and classes", "Marks", "Serving the page"
HEADINGS: Mapping[str, tuple[str, ...]] = {
    _FILES: ("output", "sheet", "force", "shows", "write_points", "no_settings"),
    _TASK: (
        "against", "kind", "show_list", "versions", "sheet_version", "exercise",
        "progression", "copies", "depth", "bars", "faults", "seed", "step", "about",
        "questions", "start", "beats",
        "ask", "plan",
    ),
    _CHORDS: (
        "key", "level", "harmonic_rhythm", "chords", "keep_chords", "part", "strict",
    ),
    _HANDS: ("player", "texture", "left_hand", "sections", "promises"),
    _FORM: (
        "introduction", "verses", "gap", "last_verse", "slow_ending", "amen",
        "major_amen",
    ),
    _SINGERS: ("transpose", "singers", "singers_table", "keys", "order", "minor", "gb"),
    _PAPER: (
        "numerals", "fingering", "labels", "keyboards", "capo", "paper", "landscape",
        "large_print",
    ),
    _SOUND: (
        "time", "pickup", "tempo", "speed", "count_in", "hand", "loop", "times",
        "pedal", "walk",
    ),
    _MARKS: ("style", "points", "out_of", "hints", "overrides"),
    _BOOKS: (
        "file_ending", "title", "tunes_by", "again", "workers", "cluster", "names",
        "register",
    ),
    _SERVED: ("port", "no_browser", "share"),
}  # fmt: skip
"""The options of each heading, by their names."""


class Command(click.Command):
    """A command of ours."""

    def __init__(
        self,
        *args: Any,  # noqa: ANN401 (click's own)
        examples: Sequence[str] = (),
        once: Mapping[str, str] | None = None,
        **rest: Any,  # noqa: ANN401 (click's own)
    ) -> None:
        """Keep what is ours; the rest is click's.

        Args:
            args: For click.
            examples: Calls that the help ends with.
            once: Names of options of today, by those that they had once; also by the
                name with a value, such as "--order title", that meant another thing.
            rest: For click.
        """
        super().__init__(*args, **rest)
        self._examples = examples
        self._once = once or {}

    def make_context(
        self,
        info_name: str | None,
        args: list[str],
        parent: click.Context | None = None,
        **extra: Any,  # noqa: ANN401 (click's own)
    ) -> click.Context:
        """Return the context of a call, its old names and the settings read."""
        words = [
            self._renamed(word, following)
            for word, following in zip_longest(args, args[1:], fillvalue="")
        ]
        known = {option.name for option in self.params}
        settings: Mapping[str, str] = {}
        if "no_settings" in known and "--no-settings" not in words:
            try:
                settings = read_settings(self._tunes(words))
            except HarmoniseError as error:
                raise click.UsageError(str(error)) from error
        usual = {
            str(option.name): settings[str(option.name)]
            for option in self.params
            if _takes(option, settings.get(str(option.name)))
        }
        context = super().make_context(
            info_name, words, parent, default_map=usual, **extra
        )
        context.meta[NAME] = settings
        return context

    def _tunes(self, words: Sequence[str]) -> Iterator[str]:
        """Yield what a call names as tunes; its output says nothing of their place."""
        try:
            parser = self.make_parser(click.Context(self))
            typed, _, _ = parser.parse_args(list(words))
        except click.UsageError:
            # The call is refused in a moment, with what is wrong in it.
            return
        for name in _TUNES:
            named = typed.get(name)
            for each in named if isinstance(named, tuple) else (named,):
                if isinstance(each, str):
                    yield each

    def _renamed(self, word: str, following: str) -> str:
        """Return a word with the name that its option has today.

        Args:
            word: The word.
            following: The word after it, which may be the option's value.
        """
        name, sign, value = word.partition("=")
        with_value = f"{name} {value if sign else following}"
        once = with_value if with_value in self._once else name
        if once not in self._once:
            return word
        today = self._once[once]
        click.echo(
            f"{once} is called {today} now; the old name goes with {_UNTIL}.", err=True
        )
        return f"{today}{sign}{value}"

    def format_options(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        """Write the options under their headings, in the order of the command."""
        rows = {}
        for param in self.get_params(ctx):
            row = param.get_help_record(ctx)
            # Arguments stand in the first line, and the text tells of them.
            if row is not None and isinstance(param, click.Option):
                rows[str(param.name)] = row
        for heading, names in HEADINGS.items():
            group = [row for name, row in rows.items() if name in names]
            if group:
                with formatter.section(heading):
                    formatter.write_dl(group)
        listed = {name for names in HEADINGS.values() for name in names}
        others = [row for name, row in rows.items() if name not in listed]
        with formatter.section("Besides"):
            formatter.write_dl(others)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the examples, as they are typed."""
        super().format_epilog(ctx, formatter)
        if self._examples:
            with formatter.section("For example"):
                for example in self._examples:
                    formatter.write(f"{'':{formatter.current_indent}}{example}\n")


def _takes(option: click.Parameter, word: str | None) -> bool:
    """Whether a word of the settings is one that an option knows."""
    known = option.type
    if word is None or not isinstance(known, click.Choice):
        return False
    return word in {known.normalize_choice(choice, None) for choice in known.choices}


def usual_ending() -> str:
    """Return what files end in by the user's settings, such as ".pdf"; "" if unsaid."""
    settings = click.get_current_context().meta.get(NAME, {})
    ending = settings.get("file", "")
    return f".{ending}" if ending else ""


def is_usual(name: str) -> bool:
    """Whether an option has its usual value, or the user's own: it was not typed."""
    source = click.get_current_context().get_parameter_source(name)
    return source is not ParameterSource.COMMANDLINE
