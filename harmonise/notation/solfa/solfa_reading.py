"""Tonic sol-fa, read by the punctuation of the books of the 19th century.

    Title: Old Hundredth
    Doh: G
    :d | d :t, | l, :s, | d :r | m

`Doh:` tells a major key by its doh, `Lah:` a minor one by its lah; `Doh:` between lines
is a change of key. An accent stands before each pulse: `|` strong, `!` medium, `:` weak
(`solfa_metre`); a full stop, commas and inverted commas divide a pulse (`solfa_pulse`).
`-` continues a note, nothing at all is silence. `||` closes a section; `D.C.`, `D.C. al
Fine` and `Fine` stand at the end of a bar. A line of text is a phrase. The first group,
if it is shorter than a bar, is the pickup; `:.s` is one of half a pulse
(`solfa_pickup`). `Title:`, `Origin:`, `Tempo:`, `Time:`, `Words:` and `Chords:` are as
in tune text; in `Chords:` a pulse is a beat.
"""

from harmonise.errors import NotationError, Place, Remark
from harmonise.notation.solfa.pulses import HOLD, SILENCE, Cell, parse_pulse
from harmonise.notation.solfa.solfa_bars import lay_pulses
from harmonise.notation.solfa.solfa_names import (
    SOLFA,
    UNTOLD,
    solfa_name,
    solfa_pitch,
    without_filling,
)
from harmonise.notation.tune_text.bar_sums import pickup_remarks
from harmonise.notation.tune_text.lyrics import align_words
from harmonise.notation.tune_text.tune_text import (
    sung_notes,
    whole_tune,
)
from harmonise.notation.tune_text.typed_bars import TypedBar, TypedWord
from harmonise.notation.tune_text.typed_lines import (
    TypedPassage,
    TypedSheet,
    no_tune,
    parse_sheets,
)
from harmonise.notation.tune_text.typed_notes import (
    BeatReader,
    Typed,
)
from harmonise.notation.tune_text.typed_remarks import (
    TypedTune,
    far_notes,
    octave_slips,
)
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.tune import Tune


def parse_solfa(text: str) -> tuple[Tune, ...]:
    r"""Return the tunes of a text in sol-fa; a second `Title:` begins a second tune.

    Args:
        text: At most 2 MB, 1,000 tunes, and 2,000 bars a tune.

    Raises:
        NotationError: If something cannot be read; bar, beat and line are named.
        MelodyError: If a tune has no notes, or one that no piano has.

    >>> tune = parse_solfa("Doh: G\n:d | d :t, | l, :s, | d :r | m")[0]
    >>> [str(note.pitch) for note in tune.notes][:5]
    ['G4', 'G4', 'F#4', 'E4', 'D4']
    """
    return tuple(_tune(sheet) for sheet in parse_sheets(text, SOLFA))


def _tune(sheet: TypedSheet) -> Tune:
    laid = lay_pulses(sheet.passages)
    if not laid.bars:
        raise no_tune(sheet.passages[0].line, SOLFA.example)
    sheet = sheet._replace(passages=_with_times(sheet.passages, laid.bars))
    passages = sheet.passages
    keys = [passage.key or Key(PitchName(0)) for passage in passages]
    reader = _PulseReader(passages, keys)
    for word in reader.beats(laid.bars):
        reader.take(word)
    typed = reader.notes
    if all(note.pitch is None for note in typed):
        raise no_tune(passages[0].line, SOLFA.example)
    words = align_words(passages, laid.bars, typed)
    notes = sung_notes(typed, words, passages)
    guessed = passages[0].key is None
    typed_tune = TypedTune(sheet, laid.bars, typed, keys)
    remarks = [
        *([_NO_KEY] if guessed else []),
        *laid.remarks,
        *reader.remarks,
        *words.remarks,
        *octave_slips(typed_tune, _spelled),
        *far_notes(typed_tune),
        *pickup_remarks(laid.bars),
    ]
    tune = whole_tune(typed_tune, notes, words.verses, remarks, key_guessed=guessed)
    ends = [(tune.bars[index].end, text) for index, text in laid.jumps]
    return _without_filling(tune._replace(end_text=tuple(ends)))


def _without_filling(tune: Tune) -> Tune:
    """Drop silence that fills up a pickup, and what was told about its length."""
    found = without_filling(tune)
    # What was told of the length of the pickup counted its filling, too.
    if found.bars[0] == tune.bars[0]:
        return found
    remarks = (own for own in found.remarks if own[::2] != ("E11", Place(0)))
    return found._replace(remarks=tuple(remarks))


_NO_KEY = Remark("E13", "No Doh: line.", None, "Doh is read as C. (using C major)")


def _with_times(
    passages: list[TypedPassage], bars: list[TypedBar]
) -> list[TypedPassage]:
    """Return the lines with the time signatures that were counted."""
    found = {
        word.passage: bar.time for bar in reversed(bars) for word in reversed(bar.words)
    }
    counted = bars[0].time
    times = []
    for index, passage in enumerate(passages):
        # A line of words or bar lines alone goes by the time before it.
        counted = found.get(index, counted)
        times.append(counted if passage.time == UNTOLD else passage.time)
    return [
        passage._replace(time=time)
        for passage, time in zip(passages, times, strict=True)
    ]


class _PulseReader(BeatReader):
    """Reads pulses in sol-fa names."""

    def __init__(self, passages: list[TypedPassage], keys: list[Key]) -> None:
        super().__init__(passages)
        self.keys = keys
        self.remarks: list[Remark] = []

    def take(self, word: TypedWord) -> None:
        """Read one pulse."""
        try:
            pulse = parse_pulse(word.text)
        except NotationError as error:
            self.fail(error.what, error.remedy)
        self.remarks += [doubt._replace(place=self.place) for doubt in pulse.doubts]
        onset = self.onset
        for cell in pulse.cells:
            length = self.bar.time.unit * cell.length
            last = self.notes[-1] if self.notes else None
            # Silences in a bar are one silence, however many pulses it lasts.
            silent = last is not None and last.pitch is None and last.bar == self.index
            if cell.name == HOLD and last is None:
                self.fail("a continuation (-) needs a note before it.")
            elif last and (cell.name == HOLD or (cell.name == SILENCE and silent)):
                last.length += length
            else:
                self.strike(onset, length, self._pitch(cell, word))
            onset += length

    def _pitch(self, cell: Cell, word: TypedWord) -> Pitch | None:
        if cell.name == SILENCE:
            return None
        pitch = solfa_pitch(cell.name, cell.octaves, self.keys[word.passage])
        self.assert_on_keyboard(pitch)
        return pitch


def _spelled(tune: TypedTune, pitch: Pitch, note: Typed) -> str:
    return solfa_name(pitch, tune.keys[note.passage])
