"""What every command that chooses chords takes and prints."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click
from click.core import ParameterSource

from harmonise.arranging.request import Request
from harmonise.cli.options import Command, form_of, with_options
from harmonise.errors import HarmoniseError
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    Arrangement,
    HarmonicRhythm,
    Labels,
    LeftHand,
    Player,
    Section,
    Style,
    Texture,
)
from harmonise.theory.key import Key, KeyOrder, parse_key
from harmonise.theory.tune import Tune

if TYPE_CHECKING:
    from harmonise.theory.singing import Voices

LEVELS = ("auto", "1", "2", "3", "4")
RHYTHMS = tuple(rhythm.value for rhythm in HarmonicRhythm)
_TEXTURES = click.Choice([texture.value for texture in Texture])
_LEFT_HANDS = click.Choice([own.value for own in LeftHand])
_PLAYERS = click.Choice([own.value for own in Player])


class _KeyType(click.ParamType[Key]):
    """A key as typed: "G", "F# minor", "D dorian"."""

    name = "key"

    def convert(
        self,
        value: object,
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Key:
        if isinstance(value, Key):
            return value
        try:
            return parse_key(str(value))
        except HarmoniseError as error:
            self.fail(str(error), param, ctx)


class Job(NamedTuple):
    """What one call asks for.

    Attributes:
        source: The file or folder; "-" for what is piped in.
        asked: What is asked of the tune.
        given: Every option as it was given.
    """

    source: str
    asked: Request
    given: dict[str, object]

    @property
    def target(self) -> Path | None:
        """Where the result goes; None where none was named."""
        found = self.given.get("output")
        return found if isinstance(found, Path) else None

    @property
    def part(self) -> str:
        """Name of the part that has the tune; "" for none."""
        return str(self.given.get("part", ""))

    @property
    def force(self) -> bool:
        """Whether existing files are replaced."""
        return bool(self.given.get("force"))


LEVEL = click.option(
    "--level",
    type=click.Choice(LEVELS),
    default="1",
    show_default=True,
    help="Chords: 1 I IV V, 2 adds V7, 3 adds ii and vi, 4 the rest; "
    "auto: the lowest level that keeps every strong rule.",
)
HARMONIC_RHYTHM = click.option(
    "--harmonic-rhythm",
    type=click.Choice(RHYTHMS),
    default="auto",
    show_default=True,
    help="How often chords may change.",
)
PART = click.option("--part", default="", help="Name of the part that has the tune.")
CHOOSING = (
    click.option("--key", type=_KeyType(), help='Overrides the key: "G", "E minor" …'),
    LEVEL,
    HARMONIC_RHYTHM,
    click.option(
        "--texture",
        type=_TEXTURES,
        default="auto",
        show_default=True,
        help="A chord under every tune note of a beat, or held under the moving tune.",
    ),
    click.option(
        "--left-hand",
        type=_LEFT_HANDS,
        default="auto",
        show_default=True,
        help="What the left hand does with the chords; auto: by metre, tempo and "
        "level, at levels 1 and 2 held roots.",
    ),
    click.option(
        "--sections",
        default="",
        metavar='"9-16 broken"',
        help="Parts of the tune, bars or named sections, with a left hand or a texture "
        "of their own, with commas between.",
    ),
    click.option(
        "--player",
        type=_PLAYERS,
        help="Whom the page is for: sets level, reach, left hand and fingering, and "
        "tells where that cannot be kept.",
    ),
    click.option(
        "--chords",
        default="",
        metavar='"C | G7 | ? | C"',
        help="Locks chords bar by bar: one a bar, two for the halves, or one a beat; "
        "? leaves the choice, - goes on.",
    ),
    click.option(
        "--keep-chords",
        is_flag=True,
        help="Locks the chord symbols that the file carries.",
    ),
    PART,
    click.option("--strict", is_flag=True, help="Refuses a tune that no chord fits."),
)
MOVING = (
    click.option(
        "--transpose",
        default="",
        metavar='"Eb" or "+2"',
        help="Moves the tune to a key, or by semitones up (+) or down (-).",
    ),
    click.option(
        "--voices",
        default="",
        metavar="GROUP",
        help="Moves the tune to the key that suits singers best, such as "
        "congregation; harmonise voices lists them.",
    ),
    click.option(
        "--voices-table",
        type=click.Path(path_type=Path, dir_okay=False),
        help="A table of singers of your own.",
    ),
    click.option("--gb", is_flag=True, help="Gb major stands for F# major."),
)


def choosing(command: Command) -> Command:
    """Give a command the options of every command that chooses chords."""
    return with_options(command, *CHOOSING, *MOVING)


def run(source: str, given: dict[str, object], work: Callable[[Job], None]) -> None:
    """Do what one call asks for; a failure is told and ends with status 1."""
    with told(source):
        work(job_of(source, given))


@contextmanager
def told(source: str) -> Iterator[None]:
    """Tell a failure in a sentence with its source, and end with status 1."""
    try:
        yield
    except HarmoniseError as error:
        click.echo(f"{shown(source)}: {error}", err=True)
        sys.exit(1)


def shown(source: str) -> str:
    """Return what messages call the source."""
    return "standard input" if source == "-" else source


def job_of(source: str, given: dict[str, object]) -> Job:
    """Return what one call asks for; options that the command lacks are off.

    Raises:
        HarmoniseError: If the singers are none.
    """
    key = given["key"]
    asked = Request(
        _style(given),
        key if isinstance(key, Key) else None,
        str(given["chords"]),
        bool(given["keep_chords"]),
        str(given["transpose"]),
        str(given.get("keys", "")),
        KeyOrder(given.get("order", "fifths")),
        bool(given["gb"]),
        _voices(given),
        Player(given["player"]) if given["player"] else None,
        form_of(given),
        # Only the command line can tell a typed level from the usual one.
        click.get_current_context().get_parameter_source("level")
        is not ParameterSource.DEFAULT,
    )
    return Job(source, asked, given)


def _style(given: dict[str, object]) -> Style:
    return Style(
        level=level_of(given),
        harmonic_rhythm=HarmonicRhythm(given["harmonic_rhythm"]),
        texture=Texture(given["texture"]),
        numerals=bool(given.get("numerals")),
        fingering=bool(given.get("fingering")),
        strict=bool(given["strict"]),
        labels=Labels(given.get("labels", "none")),
        keyboards=bool(given.get("keyboards")),
        left_hand=LeftHand(given["left_hand"]),
        sections=_sections(str(given["sections"])),
    )


def _sections(typed: str) -> tuple[Section, ...]:
    if not typed:
        return ()
    from harmonise.left_hand.sections import parse_sections  # noqa: PLC0415

    return parse_sections(typed)


def level_of(given: dict[str, object]) -> int:
    """Return the level that was asked for."""
    level = str(given["level"])
    return AUTO_LEVEL if level == "auto" else int(level)


def _voices(given: dict[str, object]) -> "Voices | None":
    if not given["voices"]:
        return None
    from harmonise.theory.singing import read_voices, voices_named  # noqa: PLC0415

    table = given["voices_table"]
    groups = read_voices(table if isinstance(table, Path) else None)
    return voices_named(str(given["voices"]), groups)


def read_source(source: str, part: str = "") -> tuple[Tune, ...]:
    """Return the tunes of a file, or of what is piped in.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    from harmonise.notation.formats import parse_tunes, read_tunes  # noqa: PLC0415

    if source == "-":
        return parse_tunes(sys.stdin.buffer.read(), part=part)
    return read_tunes(Path(source), part=part)


def tell_tune(done: Arrangement) -> None:
    """Print the title, what was read, and how chords were chosen."""
    from harmonise.theory.tune import format_readback  # noqa: PLC0415

    if done.tune.title:
        click.echo(done.tune.title)
    click.echo(format_readback(done.tune))
    click.echo(f"Level {done.style.level}, {OFTEN[done.style.harmonic_rhythm]}")
    click.echo()


OFTEN = {
    HarmonicRhythm.AUTO: "chords where they suit",
    HarmonicRhythm.BAR: "a chord a bar at most",
    HarmonicRhythm.HALF_BAR: "a chord a half-bar at most",
    HarmonicRhythm.BEAT: "a chord a beat at most",
}


def tell_keys(asked: Request, tune: Tune) -> None:
    """Print the keys that suit the singers, if any were named."""
    from harmonise.arranging.request import ranking  # noqa: PLC0415

    ranked = ranking(asked, tune)
    if asked.voices is None or not ranked:
        return
    from harmonise.theory.singing import format_ranking  # noqa: PLC0415

    click.echo(format_ranking(tune, asked.voices, ranked))
    if abs(ranked[0].semitones) > 11:
        click.echo("  The piano plays the tune in a higher or lower octave.")
    click.echo()


def tell_remarks(done: Arrangement) -> None:
    """Print the remarks, after an empty line if there are any."""
    if done.remarks:
        click.echo()
    for remark in done.remarks:
        click.echo(str(remark))
