"""What stands above a chord chart: title, key, time, tempo, and the guitar's capo."""

from collections.abc import Callable
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.notation.writing.directions import format_decimal
from harmonise.notation.writing.durations import value_of
from harmonise.notation.writing.xml_text import clean
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.capo import Capo, capo_choices, shape_chord
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, Mode
from harmonise.theory.pitch import LETTERS
from harmonise.theory.tune import Tempo

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
        facts: Key, time and tempo.
        capo: The guitarist's lines, the capo first; () on the pianist's chart.
    """

    title: str
    origin: str
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
    facts += [f"Tempo: {told_tempo(own)}" for own in tune.tempos[:1] if not own.onset]
    return Heading(
        _line(tune.title) or "Tune",
        _line(tune.origin),
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
    value = value_of(tempo.beat)
    if value and value.kind in _BEATS:
        beat, speed = _DOTS[value.dots] + _BEATS[value.kind], tempo.per_minute
    else:
        beat, speed = "crotchet", tempo.per_minute * tempo.beat
    words = f"{_line(tempo.words)}, " if tempo.words else ""
    return f"{words}{beat} = {format_decimal(speed)}"


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
        told = _told_choice(capo)
        first = f"{told[0].upper()}{told[1:]}; the piano is in {told_key(key)}."
    shapes = dict.fromkeys(
        name(shape_chord(slot.chord, capo)) for slot in arrangement.slots if slot.chord
    )
    lines = [first, f"Chords you play: {' '.join(shapes)}"] if shapes else [first]
    others = [_told_choice(own) for own in choices if own != capo]
    return [*lines, f"Other choices: {'; '.join(others)}."] if others else lines


def _told_choice(capo: Capo) -> str:
    where = f"capo {capo.fret}" if capo.fret else "no capo"
    return f"{where}, play {told_key(capo.shape)}"
