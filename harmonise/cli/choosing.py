"""What every command that chooses chords takes and prints."""

import re
import sys
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import click

from harmonise.arranging.effects import Making, without_effect
from harmonise.arranging.request import Request, TuneOrder, ranking
from harmonise.cli.command import is_usual
from harmonise.cli.options import Level, asked_options, option_called
from harmonise.errors import HarmoniseError, NotationError, Remark, shorten
from harmonise.form.plan import Gap, Introduction, LastVerse, SongForm
from harmonise.left_hand.sections import parse_sections
from harmonise.notation.formats import LARGEST_SOUND, parse_tunes, read_tunes
from harmonise.notation.outputs import Sheet
from harmonise.notation.recording.click import FREE, Click
from harmonise.theory.arrangement import (
    Arrangement,
    HarmonicRhythm,
    LeftHand,
    Player,
    Style,
    Texture,
)
from harmonise.theory.key import Key, parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Tune, format_readback

if TYPE_CHECKING:
    from harmonise.theory.singing import Voices


class _KeyType(click.ParamType[Key]):
    """A key as typed: "G", "F# minor", "D dorian"."""

    name = "key"

    def convert(
        self,
        value: object,
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Key:
        """Return the key; a word that is none is wrong usage."""
        if isinstance(value, Key):
            return value
        try:
            return parse_key(str(value))
        except HarmoniseError as error:
            self.fail(str(error), param, ctx)


class _TimeType(click.ParamType[TimeSignature]):
    """A time signature as typed: "3/4"."""

    name = "time"

    def convert(
        self,
        value: object,
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> TimeSignature:
        """Return the time signature; a word that is none is wrong usage."""
        if isinstance(value, TimeSignature):
            return value
        typed = re.fullmatch(r"\s*(\d{1,2})\s*/\s*(1|2|4|8|16)\s*", str(value))
        if not typed or not 0 < int(typed[1]) <= 32:
            self.fail(f'"{value}" is not a time signature such as 3/4.', param, ctx)
        return TimeSignature(int(typed[1]), int(typed[2]))


TIME = _TimeType()
RENAMED = {"--voices": "--singers", "--voices-table": "--singers-table"}
"""What options of those who sing were called once."""


class Choosing(NamedTuple):
    """Options of every command that chooses chords.

    Attributes:
        key: Overrides the key: "G", "E minor" …
        texture: A chord under every tune note of a beat, held under the moving tune, or
            light: the tune with a note here and there, for quick tunes.
        left_hand: What the left hand does with the chords; auto: by metre, tempo and
            level, at levels 1 and 2 held roots, or chords under a quick tune.
        sections: Parts of the tune, bars or named sections, with a left hand or a
            texture of their own, with commas between.
        player: Whom the page is for: sets level, reach, left hand and fingering, and
            tells where that cannot be kept.
        chords: Locks chords bar by bar: one a bar, two for the halves, or one a beat; ?
            leaves the choice, - goes on.
        keep_chords: Locks the chord symbols that the file carries.
        strict: Refuses a tune that no chord fits.
        transpose: Moves the tune to a key, or by semitones up (+) or down (-).
        singers: Moves the tune to the key that suits singers best, such as
            congregation; harmonise singers lists them.
    """

    key: Annotated[Key | None, _KeyType()] = None
    level: Level = 1
    harmonic_rhythm: HarmonicRhythm = HarmonicRhythm.AUTO
    texture: Texture = Texture.AUTO
    left_hand: LeftHand = LeftHand.AUTO
    sections: Annotated[str, '"9-16 broken"'] = ""
    player: Player | None = None
    chords: Annotated[str, '"C | G7 | ? | C"'] = ""
    keep_chords: bool = False
    part: str = ""
    strict: bool = False
    transpose: Annotated[str, '"Eb" or "+2"'] = ""
    singers: Annotated[str, "GROUP"] = ""
    singers_table: Path | None = None
    gb: bool = False
    no_settings: bool = False


_ENDINGS = click.Choice(
    sorted({ending[1:] for sheet in Sheet for ending in sheet.row.endings})
)
_LAST_VERSES = tuple(way.value for way in LastVerse)


class Forming(NamedTuple):
    """Options of every command that plays a tune from beginning to end.

    Attributes:
        introduction: What is played before the first verse: the last line of the tune,
            its last two bars, or two bars of the left hand.
        verses: How many verses are sung. Default: those of the words.
        gap: A bar of the keynote's chord between verses.
        last_verse: Varies the last verse: {}.
        slow_ending: Slows the last bar and holds.
        amen: A plagal Amen at the end.
        major_amen: The same, ending major in a minor key.
    """

    introduction: Introduction = Introduction.NONE
    verses: Annotated[int | None, click.IntRange(1, 20)] = None
    gap: Gap = Gap.NONE
    last_verse: Annotated[str, '"left-octaves, up-a-tone"', _LAST_VERSES] = ""
    slow_ending: bool = False
    amen: bool = False
    major_amen: bool = False


class BookOptions(NamedTuple):
    """Options for a folder, or a file, of many tunes.

    Attributes:
        file_ending: What each file of a folder of tunes ends in. Default: the sheet's
            first.
        workers: Tunes of a book that are worked on at once. Default: one a core.
        cluster: Address of a dask scheduler whose workers work on a book.
        again: Makes every page of a book anew; else only what is missing or changed.
        title: Title of a booklet. Default: the name of its folder.
        tunes_by: Order of the tunes of a booklet.
        force: Overwrites a file of somebody else.
    """

    file_ending: Annotated[str | None, _ENDINGS] = None
    workers: Annotated[int | None, click.IntRange(1, 64)] = None
    cluster: Annotated[str, "ADDRESS"] = ""
    again: bool = False
    title: str = ""
    tunes_by: TuneOrder = TuneOrder.FOLDER
    force: bool = False


def form_of(typed: Forming) -> SongForm | None:
    """Return the form that was asked for; None for the tune as it is.

    Raises:
        NotationError: If the last verse cannot be varied so.
    """
    if typed == Forming():
        return None
    return SongForm(
        typed.introduction,
        typed.gap,
        typed.verses or 0,
        typed.amen or typed.major_amen,
        typed.slow_ending,
        _last_verse(typed.last_verse),
        typed.major_amen,
    )


def _last_verse(typed: str) -> tuple[LastVerse, ...]:
    known = {way.value: way for way in LastVerse}
    words = [word.strip() for word in typed.split(",") if word.strip()]
    for word in words:
        if word not in known:
            raise NotationError(
                f'A last verse cannot be varied by "{word}".',
                None,
                f"Choose from: {', '.join(known)}.",
            )
    return tuple(known[word] for word in words)


def request_of(options: Choosing, forming: Forming | None = None) -> Request:
    """Return what is asked of a tune.

    Raises:
        HarmoniseError: If the sections or the last verse cannot be read, or the singers
            are none.
    """
    return Request(
        Style(
            options.level,
            options.harmonic_rhythm,
            options.texture,
            numerals=False,
            strict=options.strict,
            left_hand=options.left_hand,
            sections=parse_sections(options.sections) if options.sections else (),
        ),
        options.key,
        options.chords,
        options.keep_chords,
        options.transpose,
        flat=options.gb,
        voices=_singers(options),
        player=options.player,
        form=form_of(forming) if forming else None,
        # A level that was typed is stronger than the player's.
        keeps_level=not is_usual("level"),
    )


def _singers(options: Choosing) -> "Voices | None":
    if not options.singers:
        return None
    # The table of singers needs a reader of TOML, which is slow to load.
    from harmonise.theory.singing import read_voices, voices_named  # noqa: PLC0415

    return voices_named(options.singers, read_voices(options.singers_table))


class CountedBy(NamedTuple):
    """Options for a recording of one sung, whistled or played line.

    Attributes:
        tempo: Beats a minute of the click that a recording was sung to. Default: free,
            the rhythm is a marked guess.
        time: Time signature of a recording. Default: 4/4.
        pickup: Beats of a recording before its first full bar.
    """

    tempo: Annotated[int | None, click.IntRange(20, 300)] = None
    time: Annotated[TimeSignature | None, TIME] = None
    pickup: Annotated[str, "BEATS"] = ""


def click_of(hearing: CountedBy) -> Click:
    """Return what was heard while a recording was made, as typed.

    Raises:
        NotationError: If the pickup is no number of beats, or fills a bar.
    """
    tempo = None if hearing.tempo is None else Fraction(hearing.tempo)
    heard = Click(tempo, hearing.time)
    if not hearing.pickup:
        return heard
    most = heard.metre.beats
    typed = re.fullmatch(r"\s*(\d{1,2}(?:[.]\d{1,2}|/[1-9])?)\s*", hearing.pickup)
    beats = Fraction(typed[1]) if typed else Fraction(-1)
    if not 0 <= beats < most or beats * 4 % 1:
        what = f'A pickup of "{shorten(hearing.pickup)}" beats cannot be read.'
        remedy = f"Write beats of {heard.metre}: less than {most}, such as 1 or 1/2."
        raise NotationError(what, None, remedy)
    return heard._replace(pickup=beats)


def read_source(source: str, part: str = "", heard: Click = FREE) -> tuple[Tune, ...]:
    """Return the tunes of a file, or of what is piped in.

    Args:
        source: The file; "-" for what is piped in.
        part: Name of the part that has the tune; "" for the first.
        heard: What was heard while a recording was made.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    if source == "-":
        return parse_tunes(_piped_in(), part=part, click=heard)
    return read_tunes(Path(source), part=part, click=heard)


def _piped_in() -> bytes:
    # Python has no standard input at all where it was closed for it.
    if sys.stdin is None:
        what, remedy = "It is closed.", "Pipe a tune into it, or name a file."
        raise NotationError(what, None, remedy)
    try:
        return sys.stdin.buffer.read(LARGEST_SOUND + 1)
    except OSError as error:
        what, remedy = f"It cannot be read: {error.strerror}.", "Name a file."
        raise NotationError(what, None, remedy) from error


OFTEN = {
    HarmonicRhythm.AUTO: "chords where they suit",
    HarmonicRhythm.BAR: "a chord a bar at most",
    HarmonicRhythm.HALF_BAR: "a chord a half-bar at most",
    HarmonicRhythm.BEAT: "a chord a beat at most",
}


def tell_tune(arrangement: Arrangement) -> None:
    """Print the title, what was read, and how chords were chosen."""
    if arrangement.tune.title:
        click.echo(arrangement.tune.title)
    click.echo(format_readback(arrangement.tune))
    style = arrangement.style
    click.echo(f"Level {style.level}, {OFTEN[style.harmonic_rhythm]}")
    click.echo()


def tell_keys(request: Request, tune: Tune) -> None:
    """Print the keys that suit the singers, if any were named."""
    ranked = ranking(request, tune)
    if request.voices is None or not ranked:
        return
    from harmonise.theory.singing import format_ranking  # noqa: PLC0415 (few ask)

    click.echo(format_ranking(tune, request.voices, ranked))
    if abs(ranked[0].semitones) > 11:
        click.echo("  The piano plays the tune in a higher or lower octave.")
    click.echo()


def idle_options(
    request: Request, page: tuple[Sheet | None, str], tune: Tune, keys: Sequence[Key]
) -> tuple[Remark, ...]:
    """Return what is to be told of typed options that change nothing.

    Args:
        request: What is asked of the tune.
        page: Sheet and ending of what is made; None and "" where nothing is written.
        tune: The tune.
        keys: Keys of its pages.
    """
    made = Making(*page, request, tune, tuple(keys))
    return without_effect(asked_options(), made, option_called)


def tell_remarks(remarks: Sequence[Remark]) -> None:
    """Print remarks, after an empty line if there are any."""
    if remarks:
        click.echo()
    for remark in remarks:
        click.echo(str(remark))


def broken_promises(arrangement: Arrangement) -> tuple[Remark, ...]:
    """Return what a page tells of promises that something typed has broken."""
    codes = ("PLAYER", "VOICES")
    return tuple(remark for remark in arrangement.remarks if remark.code in codes)
