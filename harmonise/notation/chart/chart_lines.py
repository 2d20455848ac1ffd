"""What stands above a chord chart and on its lines, in print as in plain text.

Above stand title, key, time, tempo and the guitar's capo. A line of the chart is a
phrase of the tune; where nothing is sung, as many bars as the score has on a line.
Where a chart has no bar lines to hang repeats and endings on, they are told in words,
on lines of their own.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.notation.score.note_values import value_of
from harmonise.notation.score.printed_labels import clean, format_decimal, new_lines
from harmonise.notation.score.score_plan import is_sign
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, Mode
from harmonise.theory.pitch import LETTERS
from harmonise.theory.transposing import Capo, capo_choices, shape_chord, shape_key
from harmonise.theory.tune import Tempo, Tune

_ALTERS = {-1: " flat", 0: "", 1: " sharp"}
_DOTS = ("", "dotted ", "double-dotted ")
_BEATS = {
    "whole": "semibreve",
    "half": "minim",
    "quarter": "crotchet",
    "eighth": "quaver",
    "16th": "semiquaver",
}
"""British names of MusicXML's note types."""

Namer = Callable[[Chord], str]
"""Gives the symbol of a chord, as text or as print has it."""


class Heading(NamedTuple):
    """What stands above a chart.

    Attributes:
        title: The title, or "Tune".
        origin: Where the tune comes from; "" if unknown.
        composer: Who made it; "" if unknown.
        facts: Key, time and tempo.
        capo: The guitarist's lines, the capo first; () on the pianist's chart.
    """

    title: str
    origin: str
    composer: str
    facts: tuple[str, ...]
    capo: tuple[str, ...] = ()


def chart_heading(
    arrangement: Arrangement, capo: Capo | None, name: Namer = str
) -> Heading:
    """Return what stands above the chart of an arrangement.

    Args:
        arrangement: What was arranged.
        capo: The guitarist's capo; None if the piano's chords are shown.
        name: Names chords.

    Raises:
        OutputError: If the capo is one for another key.
    """
    tune = arrangement.tune
    key = tune.key
    suffix = " major" if key.mode is Mode.MAJOR else ""
    facts = [f"Key: {told_key(key)}{suffix}", f"Time: {tune.bars[0].time}"]
    facts += [
        f"Tempo: {told_tempo(mark)}" for mark in tune.tempos[:1] if not mark.onset
    ]
    return Heading(
        _line(tune.title) or "Tune",
        _line(tune.origin),
        _line(tune.composer),
        tuple(facts),
        tuple(_capo_lines(arrangement, capo, name)) if capo else (),
    )


def _line(text: str) -> str:
    """Return a user's text on one line."""
    return " ".join(clean(text).split())


def told_key(key: Key) -> str:
    """Return a key in words; a major key by its keynote alone.

    >>> from harmonise.theory.key import parse_key
    >>> told_key(parse_key("Eb")), told_key(parse_key("F# minor"))
    ('E flat', 'F sharp minor')
    """
    mode = "" if key.mode is Mode.MAJOR else f" {key.mode.value}"
    return f"{LETTERS[key.tonic.letter]}{_ALTERS[key.tonic.alter]}{mode}"


def told_tempo(tempo: Tempo) -> str:
    """Return a tempo in words and figures: "Slowly, dotted crotchet = 60"."""
    said = [_line(tempo.words)] if tempo.words else []
    value = value_of(tempo.beat)
    beat, speed = "crotchet", tempo.pace
    if value and value.kind in _BEATS:
        beat, speed = _DOTS[value.dots] + _BEATS[value.kind], tempo.per_minute
    if speed is not None:
        said.append(f"{beat} = {format_decimal(speed)}")
    return ", ".join(said)


def _capo_lines(arrangement: Arrangement, capo: Capo, name: Namer) -> list[str]:
    """Return where the capo goes, the shapes, and which other choices there are."""
    key = arrangement.tune.key
    choices = capo_choices(key)
    if capo not in choices:
        offers = "; ".join(map(_told_choice, choices))
        raise OutputError(
            f"This capo does not give {told_key(key)}, the key of the arrangement.",
            remedy=f"Choose from: {offers}.",
        )
    first = "No capo."
    if capo.fret:
        sentence = _told_choice(capo)
        first = f"{sentence[0].upper()}{sentence[1:]}; the piano is in {told_key(key)}."
    shapes = dict.fromkeys(
        name(shape_chord(slot.chord, capo)) for slot in arrangement.slots if slot.chord
    )
    lines = [first, f"Chords you play: {' '.join(shapes)}"] if shapes else [first]
    # Higher up the neck few like to play: it is done, but not proposed.
    near = (other for other in choices if other.fret <= _HIGHEST_PROPOSED)
    others = [_told_choice(other) for other in near if other != capo]
    return [*lines, f"Other choices: {'; '.join(others)}."] if others else lines


def _told_choice(capo: Capo) -> str:
    where = f"capo {capo.fret}" if capo.fret else "no capo"
    return f"{where}, play {told_key(capo.shape)}"


_HIGHEST_PROPOSED = 4
"""Highest fret of a capo that is proposed as another choice (common practice)."""
_TIMES = ("First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth")


class ChartSign(NamedTuple):
    """What is said between two lines.

    Attributes:
        onset: Crotchets from the start.
        text: A few words, without a full stop.
        closing: Whether it belongs to what went before.
    """

    onset: Fraction
    text: str
    closing: bool = False


class ChartStretch(NamedTuple):
    """One line of a chart.

    Attributes:
        start: Crotchets from the start.
        end: Crotchets from the start.
    """

    start: Fraction
    end: Fraction


def chart_lines(
    tune: Tune, capo: Capo | None = None, *, signed: bool = False
) -> list[ChartSign | ChartStretch]:
    """Return the lines of a tune and the signs between them, in order.

    Args:
        tune: The tune.
        capo: The guitarist's capo; None if the piano's chords are shown.
        signed: Whether repeats have signs of their own, `repeat_signs`, and are not
            told in words; the lines begin and end with them all the same.
    """
    signs = sorted(_signs(tune, capo), key=lambda sign: (sign.onset, not sign.closing))
    cuts = {tune.bars[0].start, tune.end, *_line_ends(tune)}
    cuts.update(sign.onset for sign in signs if sign.onset <= tune.end)
    lines: list[ChartSign | ChartStretch] = []
    if signed:
        repeats = set(_repeats(tune))
        signs = [sign for sign in signs if sign not in repeats]
        signs += _times(tune)
    for start, end in pairwise(sorted(cuts)):
        lines += [sign for sign in signs if sign.onset == start]
        lines.append(ChartStretch(start, end))
    return [*lines, *(sign for sign in signs if sign.onset >= tune.end)]


def repeat_signs(tune: Tune, line: ChartStretch) -> tuple[str, str]:
    """Return the signs of repeats and endings before and after a line; "" for none."""
    before = after = ""
    ending: tuple[int, ...] = ()
    for bar in tune.bars:
        if bar.start == line.start:
            before = REPEAT if bar.repeat_start else ""
            if bar.ending != ending:
                before = " ".join([before, *(f"{at}." for at in bar.ending)]).strip()
        if bar.end == line.end and bar.repeat_end > 1:
            after = BACK
        ending = bar.ending
    return before, after


REPEAT, BACK = "‖:", ":‖"
"""The signs around what is repeated."""


def _times(tune: Tune) -> Iterator[ChartSign]:
    """Yield how often a repeat is played, if more than its sign says."""
    for bar in tune.bars:
        if bar.repeat_end > 2:
            text = f"Play {bar.repeat_end} times in all"
            yield ChartSign(bar.end, text, closing=True)


def is_sung(tune: Tune) -> bool:
    """Whether a tune has words."""
    return any(syllable for note in tune.notes for syllable in note.syllables)


def _line_ends(tune: Tune) -> list[Fraction]:
    # Without words the lines are those of the score.
    if is_sung(tune):
        return [onset for onset in tune.phrases if 0 < onset < tune.end]
    return [tune.bars[at].start for at in new_lines(tune)]


def _signs(tune: Tune, capo: Capo | None) -> Iterator[ChartSign]:
    yield from _repeats(tune)
    yield from _changes(tune, capo)
    yield from (ChartSign(b.start, clean(b.section)) for b in tune.bars if b.section)
    for onset, text in tune.end_text:
        yield ChartSign(onset, clean(text), closing=not is_sign(text))


def _repeats(tune: Tune) -> Iterator[ChartSign]:
    """Yield repeats and endings in words: "First and second time"."""
    marked = False
    ending: tuple[int, ...] = ()
    for bar in tune.bars:
        if bar.ending != ending:
            names = [
                _TIMES[number - 1].lower() if number <= len(_TIMES) else str(number)
                for number in bar.ending
            ]
            listed = " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))
            times = f"{listed.capitalize()} time" if names else "Go on"
            yield ChartSign(bar.start, times)
            ending = bar.ending
        if bar.repeat_start:
            marked = True
            yield ChartSign(bar.start, "Repeat from here")
        # A repeat sign without a partner goes back to the start (common practice).
        if bar.repeat_end > 1:
            where = "Go back" if marked else "Go back to the beginning"
            if bar.repeat_end > 2:
                where += f": play {bar.repeat_end} times in all"
            elif not bar.ending:
                where += " and play it again"
            yield ChartSign(bar.end, where, closing=True)


def _changes(tune: Tune, capo: Capo | None) -> Iterator[ChartSign]:
    """Yield changes of key, time and tempo after the beginning."""
    for before, change in pairwise(tune.keys):
        if change.key != before.key:
            played = f", play {told_key(shape_key(change.key, capo))}" if capo else ""
            yield ChartSign(change.onset, f"Key: {told_key(change.key)}{played}")
    for before_bar, bar in pairwise(tune.bars):
        if bar.time != before_bar.time:
            yield ChartSign(bar.start, f"Time: {bar.time}")
    for mark in tune.tempos:
        if mark.onset > 0:
            yield ChartSign(mark.onset, f"Tempo: {told_tempo(mark)}")
