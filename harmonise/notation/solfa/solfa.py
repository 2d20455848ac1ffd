"""Tonic sol-fa, both ways, by the punctuation of the books of the 19th century.

    Title: Old Hundredth
    Doh: G
    :d | d :t, | l, :s, | d :r | m

`Doh:` tells a major key by its doh, `Lah:` a minor one by its lah; `Doh:` between lines
is a change of key. An accent stands before each pulse: `|` strong, `!` medium, `:` weak
(`solfa_names`); a full stop, commas and inverted commas divide a pulse (`pulses`). `-`
continues a note, nothing at all is silence. `||` closes a section; `D.C.`, `D.C. al
Fine` and `Fine` stand at the end of a bar. A line of text is a phrase. The first group,
if it is shorter than a bar, is the pickup; `:.s` is one of half a pulse. `Title:`,
`Composer:`, `Origin:`, `Tempo:`, `Time:`, `Section:`, `Words:` and `Chords:` are as in
tune text; in `Chords:` a pulse is a beat.

A tune is written one line a phrase, pulses in columns, octaves as printed in the books,
d¹ and d₁, so that reading it again gives the same tune. What sol-fa cannot say (grace
notes, slurs, fermatas, beats in five parts, a silence of a quarter between two notes)
is refused, not dropped. Sol-fa has no repeat dots, so repeats and endings are written
out in full; `D.C.` and `Fine` without repeats stay words. Chord symbols that are not
locked are left out.
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import zip_longest

from harmonise.errors import NotationError, Place, Remark
from harmonise.notation.solfa.pulses import (
    HOLD,
    SILENCE,
    Cell,
    Sounds,
    format_pulse,
    parse_pulse,
)
from harmonise.notation.solfa.solfa_bars import lay_pulses
from harmonise.notation.solfa.solfa_names import (
    SOLFA,
    UNTOLD,
    format_solfa_key,
    pattern_of,
    solfa_name,
    solfa_pitch,
    with_filling,
    without_filling,
)
from harmonise.notation.tune_text.bar_sums import pickup_remarks
from harmonise.notation.tune_text.lyrics import align_words
from harmonise.notation.tune_text.tune_text import sung_notes, whole_tune
from harmonise.notation.tune_text.typed_bars import TypedBar, TypedWord
from harmonise.notation.tune_text.typed_checks import (
    TypedTune,
    far_notes,
    octave_slips,
)
from harmonise.notation.tune_text.typed_lines import (
    TypedPassage,
    TypedSheet,
    no_tune,
    parse_sheets,
)
from harmonise.notation.tune_text.typed_notes import BeatReader
from harmonise.notation.tune_text.written_lines import (
    IN_SOLFA,
    Beat,
    TypedPage,
    assert_lengths,
    assert_plain,
    opening,
    passages_of,
    struck_in,
    typed_bars,
    unsayable,
)
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.play_order import Passage, played
from harmonise.theory.slices import cut_tune, later_tune, one_tune
from harmonise.theory.tune import Bar, Tune, TuneNote

_NO_KEY = Remark("E13", "No Doh: line.", None, "Doh is read as C. (using C major)")
_JUMPS = ("D.C.", "D.C. al Fine", "Fine")


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
        *octave_slips(
            typed_tune,
            lambda tune, pitch, note: solfa_name(pitch, tune.keys[note.passage]),
        ),
        *far_notes(typed_tune),
        *pickup_remarks(laid.bars, " :-"),
    ]
    tune = whole_tune(typed_tune, notes, words.verses, remarks, key_guessed=guessed)
    ends = [(tune.bars[index].end, text) for index, text in laid.jumps]
    return _without_filling(tune._replace(end_text=tuple(ends)))


def _without_filling(tune: Tune) -> Tune:
    """Drop silence that fills up a pickup, and what was told about its length."""
    trimmed = without_filling(tune)
    # What was told of the length of the pickup counted its filling, too.
    if trimmed.bars[0] == tune.bars[0]:
        return trimmed
    remarks = (remark for remark in trimmed.remarks if remark[::2] != ("E11", None))
    return trimmed._replace(remarks=tuple(remarks))


def _with_times(
    passages: list[TypedPassage], bars: list[TypedBar]
) -> list[TypedPassage]:
    """Return the lines with the time signatures that were counted."""
    by_passage = {
        word.passage: bar.time for bar in reversed(bars) for word in reversed(bar.words)
    }
    counted = bars[0].time
    times = []
    for index, passage in enumerate(passages):
        # A line of words or bar lines alone goes by the time before it.
        counted = by_passage.get(index, counted)
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


def played_out(tune: Tune) -> Tune:
    """Return a tune that is played from its first bar to its last.

    Every bar stands where it is played; a bar that a repeat sign had split is whole
    again. All verses stay under each playing: the page does not say which is sung when.
    """
    order = played(tune)
    slices = [
        later_tune(cut_tune(tune, part.start, part.end), part.at) for part in order
    ]
    # The music before a jump back ends a line, too; an ending goes on from it.
    jumps = {part.at for part in order[1:] if not tune.bar_at(part.start).ending}
    whole = one_tune(slices, [False] * len(slices), {*jumps, order[-1].stop})
    return whole._replace(
        notes=_joined_notes(tune, order, slices), bars=_whole_bars(whole), end_text=()
    )


def _whole_bars(tune: Tune) -> tuple[Bar, ...]:
    """Return plain bars; parts that make one bar are joined."""
    bars: list[Bar] = []
    for bar in tune.bars:
        plain = bar._replace(repeat_start=False, repeat_end=1, ending=())
        before = bars[-1] if bars else None
        filled = before.offset + before.length if before else None
        if before and bar.offset and (bar.offset, bar.time) == (filled, before.time):
            length = before.length + bar.length
            bars[-1] = before._replace(length=length, double=bar.double)
        else:
            bars.append(plain)
    return tuple(bars)


def _joined_notes(
    tune: Tune, order: Sequence[Passage], slices: Sequence[Tune]
) -> tuple[TuneNote, ...]:
    """Return the notes as played; one that a jump cuts into is struck again.

    Where the music before the jump ends with the same pitch, the one is tied to it.
    """
    starts = {note.onset for note in tune.notes}
    notes: list[TuneNote] = []
    for place, part in zip(order, slices, strict=True):
        first, *others = part.notes
        if place.start not in starts and notes and notes[-1].pitch == first.pitch:
            longer = notes[-1].length + first.length
            notes[-1] = notes[-1]._replace(length=longer)
        else:
            notes.append(first)
        notes += others
    return tuple(notes)


def format_solfa(tune: Tune) -> str:
    r"""Return a tune as tonic sol-fa; `parse_solfa` reads it back.

    Notes, bars, words, keys, tempos, locked chords and jump words come back as they
    were, repeats written out; silences within a bar are joined. A line ends at each
    phrase end that falls on a beat and where key, time or tempo change.

    Raises:
        OutputError: If the tune holds what sol-fa cannot say; the place is named.

    >>> from harmonise.notation.tune_text.tune_text import parse_tune_text
    >>> print(format_solfa(parse_tune_text("Key: G\nG A.B C5 -.F# | G - - 0 |")[0]))
    Doh: G
    Time: 4/4
    | d :r.m ! f :-.t₁ | d :- ! - : |
    <BLANKLINE>
    """
    if _needs_playing_out(tune):
        tune = played_out(tune)
    tune = with_filling(tune)
    assert_plain(tune, IN_SOLFA, lambda _: {}, _signs_of_bar)
    _assert_bars(tune)
    beats = [
        beat
        for number, bar in enumerate(tune.bars)
        for beat in _beats(tune, number, bar)
    ]
    passages = passages_of(tune, beats, IN_SOLFA)
    rows = _aligned([_columns(tune, passage) for passage in passages])
    page = TypedPage(tune, IN_SOLFA, format_solfa_key)
    return "\n".join([*opening(tune), *page.lines(passages, rows)]) + "\n"


def _needs_playing_out(tune: Tune) -> bool:
    """Whether repeats, or jump words that sol-fa has not, send the player about."""
    repeats = any(
        bar.repeat_start or bar.repeat_end > 1 or bar.ending for bar in tune.bars
    )
    ends = {bar.end for bar in tune.bars}
    plain = all(text in _JUMPS and at in ends for at, text in tune.end_text)
    return repeats or not plain


def _signs_of_bar(bar: Bar, _after: Bar | None) -> dict[str, object]:
    return {f"a bar of {bar.time}": not pattern_of(bar.time)}


def _assert_bars(tune: Tune) -> None:
    """Guard that bars are whole, or short where a reader knows them again."""
    typed = typed_bars(tune)
    for read, bar in zip(typed, tune.bars, strict=True):
        if (read.number, read.offset * bar.time.unit) != (bar.number, bar.offset):
            what = "a bar of this length or number"
            raise unsayable(Place(bar.number), what, IN_SOLFA)
    assert_lengths(tune, typed, IN_SOLFA)


def _beats(tune: Tune, number: int, bar: Bar) -> Iterator[Beat]:
    """Return the pulses of a bar."""
    unit = bar.time.unit
    struck = struck_in(tune, bar.start, bar.end)
    silent = _is_silent(tune, bar.start)
    for count in range(int(bar.length / unit)):
        start = bar.start + unit * count
        inside = [note for note in struck if start <= note.onset < start + unit]
        names = {(note.onset - start) / unit: _name(tune, note) for note in inside}
        text = format_pulse(Sounds(names, silent))
        if text is None:
            raise unsayable(tune.place(start), _what(names), IN_SOLFA)
        yield Beat(number, start, text)
        silent = not inside[-1].pitch if inside else silent


def _is_silent(tune: Tune, onset: Fraction) -> bool:
    """Return whether a silence comes over the bar line."""
    index = bisect_left(tune.notes, onset, key=lambda note: note.onset)
    return index > 0 and tune.notes[index - 1].pitch is None


def _what(names: dict[Fraction, str]) -> str:
    parts = max((at.denominator for at in names), default=1)
    if parts in (1, 2, 3, 4):
        return "this division of a beat"
    return f"a beat in {parts} parts"


def _name(tune: Tune, note: TuneNote) -> str:
    """Return the name of a note, "" for a silence."""
    if not note.pitch:
        return ""
    name = solfa_name(note.pitch, tune.key_at(note.onset))
    if not name:
        what = f"{note.pitch} in {tune.key_at(note.onset)}"
        raise unsayable(tune.place(note.onset), what, IN_SOLFA)
    return name


def _columns(tune: Tune, passage: list[Beat]) -> list[str]:
    """Return the pulses of a line with their accents, and the bar line at its end."""
    columns: list[str] = []
    for beat in passage:
        bar = tune.bars[beat.bar]
        accent = _accent(tune, beat)
        # Two accents in a row would be a silent pulse.
        if columns[-1:] == ["||"] and accent == "| " and beat.text:
            accent = ""  # A double bar is an accent, too.
        columns.append(accent + beat.text)
        if beat.onset + bar.time.unit == bar.end:
            columns[-1] += _jump(tune, bar, columns[-1])
            if bar.double:
                columns.append("||")
            elif bar.end == tune.end:
                columns.append("|")
    return columns


def _accent(tune: Tune, beat: Beat) -> str:
    bar = tune.bars[beat.bar]
    at = int((bar.offset + beat.onset - bar.start) / bar.time.unit)
    accent = pattern_of(bar.time)[at]
    return accent if accent == ":" else f"{accent} "


def _jump(tune: Tune, bar: Bar, pulse: str) -> str:
    """Return the jump word at the end of a bar, with a blank in front."""
    words = [text for onset, text in tune.end_text if onset == bar.end]
    text = " ".join(words)
    # A silent pulse in front of the word would be read as none.
    if len(words) > 1 or (text and pulse == "| "):
        raise unsayable(Place(bar.number), f'"{text}" in this bar', IN_SOLFA)
    return f" {text}" if text else ""


def _aligned(rows: list[list[str]]) -> list[str]:
    """Return the lines with their pulses in columns.

    Lines that begin with the same accent share their columns.
    """
    widths = {
        accent: [
            max(map(len, columns))
            for columns in zip_longest(
                *(row for row in rows if row[0][0] == accent), fillvalue=""
            )
        ]
        for accent in {row[0][0] for row in rows}
    }
    return [" ".join(map(str.ljust, row, widths[row[0][0]])).rstrip() for row in rows]
