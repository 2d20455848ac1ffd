"""Laws of tune text: what is written is read back; no text brings a traceback."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples

from harmonise.errors import HarmoniseError, OutputError
from harmonise.notation.tune_text.tune_text import format_tune_text, parse_tune_text
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import Key, Mode
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.tune import (
    Bar,
    ChordAt,
    Grace,
    KeyChange,
    Syllable,
    Tempo,
    Tune,
    TuneNote,
)

TIMES = (
    TimeSignature(2, 4),
    TimeSignature(3, 4),
    TimeSignature(4, 4),
    TimeSignature(2, 2),
    TimeSignature(6, 8),
    TimeSignature(9, 8),
    TimeSignature(5, 4, (2, 3)),
)
TONICS = (PitchName(0), PitchName(4), PitchName(5), PitchName(6, -1))
KEYS = st.builds(Key, st.sampled_from(TONICS), st.sampled_from(Mode))
PITCHES = st.builds(
    Pitch, st.integers(0, 6), st.integers(-2, 2), st.integers(2, 7)
).filter(lambda pitch: 21 <= pitch.midi <= 108)
TEMPOS = (
    Tempo(Fraction(0), Fraction(72), words="Slowly"),
    Tempo(Fraction(0), Fraction(185, 2), Fraction(1, 2), "At 2 paces"),
    Tempo(Fraction(0), None, words="All % – love"),
    Tempo(Fraction(0), Fraction(40), Fraction(3, 2)),
)
SYLLABLES = st.text("abcäß’'.,!?-_*|~%\\é", min_size=1, max_size=6)


@st.composite
def tunes(draw: st.DrawFn) -> Tune:
    """Tunes made note by note, without the reader's help."""
    time = draw(st.sampled_from(TIMES))
    count = draw(st.integers(1, 6))
    pickup = draw(st.integers(0, time.beats - 1)) if count > 1 else 0
    bars = _bars_with_pickup(draw, time, count, pickup)
    if not pickup:
        bars = _with_repeats(draw, bars)
    verses = draw(st.integers(0, 2))
    later = [bar.start for bar in bars[1:]]
    breaks = sorted(draw(st.sets(st.sampled_from(later)))) if later else []
    # A single line of six bars or more would be cut where the tune breathes.
    breaks = breaks or later[2:3] if count > 5 else breaks
    keys = [KeyChange(Fraction(0), draw(KEYS))]
    other = draw(KEYS)
    if breaks and other != keys[0].key:
        keys.append(KeyChange(breaks[0], other))
    mark = draw(st.sampled_from(TEMPOS))
    beat = time.beat if mark.beat == 1 and mark.per_minute else mark.beat
    return Tune(
        title="A tune at 100%",
        notes=tuple(_with_words(draw, _notes(draw, bars), verses)),
        bars=tuple(_with_sections(draw, bars, breaks)),
        keys=tuple(keys),
        tempos=(mark._replace(beat=beat),),
        phrases=(*breaks, bars[-1].end),
        locks=_locks(draw, bars),
        verses=verses,
        origin="own tune, 2026",
        composer=draw(st.sampled_from(["", "M. Müller & 100% friends"])),
    )


def _bars_with_pickup(
    draw: st.DrawFn, time: TimeSignature, count: int, pickup: int
) -> list[Bar]:
    lengths = [time.beats] * count
    if pickup:
        lengths = [pickup, *lengths]
        lengths[-1] -= draw(st.sampled_from([0, pickup]))
    bars: list[Bar] = []
    for index, beats in enumerate(lengths):
        start = bars[-1].end if bars else Fraction(0)
        number = index if pickup else index + 1
        lacks = time.beats - pickup if pickup and not index else 0
        length, offset = beats * time.unit, lacks * time.unit
        bars.append(Bar(number, start, length, time, offset=offset))
    return bars


def _with_repeats(draw: st.DrawFn, bars: list[Bar]) -> list[Bar]:
    kind = draw(st.sampled_from(["none", "repeat", "endings", "double"]))
    middle = len(bars) // 2
    if kind == "repeat":
        bars[0] = bars[0]._replace(repeat_start=True)
        bars[-1] = bars[-1]._replace(repeat_end=2)
    if kind == "double":
        bars[middle] = bars[middle]._replace(double=True)
    if kind == "endings" and len(bars) > 2:
        bars[0] = bars[0]._replace(repeat_start=True)
        bars[-2] = bars[-2]._replace(repeat_end=2, ending=(1,))
        bars[-1] = bars[-1]._replace(ending=(2,), double=True)
    return bars


def _with_sections(
    draw: st.DrawFn, bars: list[Bar], breaks: list[Fraction]
) -> Iterator[Bar]:
    """Yield the bars; some of those that begin a line begin a section, too."""
    names = st.sampled_from(["", "Chorus", "Verse 2", "A", "“Ta–da” [50%]"])
    for bar in bars:
        begins = bar.start in (0, *breaks)
        yield bar._replace(section=draw(names)) if begins else bar


def _notes(draw: st.DrawFn, bars: list[Bar]) -> list[TuneNote]:
    sealed = {bar.start for before, bar in pairwise(bars) if before.repeat_end > 1}
    notes = [TuneNote(Fraction(0), Fraction(0), Pitch(4, 0, 4))]
    for bar in bars:
        for beat in range(int(bar.length / bar.time.unit)):
            parts = draw(st.integers(1, 5))
            length = bar.time.unit / parts
            for part in range(parts):
                onset = bar.start + bar.time.unit * beat + length * part
                kind = draw(st.sampled_from(["hold", "rest", "note", "note"]))
                if not onset or (kind == "hold" and onset not in sealed):
                    longer = notes[-1].length + length
                    notes[-1] = notes[-1]._replace(length=longer)
                else:
                    pitch = None if kind == "rest" else draw(PITCHES)
                    notes.append(TuneNote(onset, length, pitch))
    return notes


def _with_words(draw: st.DrawFn, notes: list[TuneNote], verses: int) -> list[TuneNote]:
    sung = [index for index, note in enumerate(notes) if note.pitch]
    words: dict[int, list[Syllable | None]] = {i: [None] * verses for i in sung}
    for verse in range(verses):
        last: Syllable | None = None
        for place, index in enumerate(sung):
            if draw(st.booleans()):
                last = Syllable(draw(SYLLABLES), joins=draw(st.booleans()))
                words[index][verse] = last
            elif last and not last.joins and draw(st.booleans()):
                words[sung[place - 1]][verse] = last._replace(extends=True)
                last = None
            else:
                last = None
    return [
        note._replace(syllables=tuple(words[index])) if note.pitch else note
        for index, note in enumerate(notes)
    ]


def _locks(draw: st.DrawFn, bars: list[Bar]) -> tuple[ChordAt, ...]:
    symbols = [draw(st.sampled_from(["", "C", "F#m7", "Bb/D", "G7"])) for _ in bars]
    return tuple(
        ChordAt(bar.start, bar.end, parse_symbol(symbol))
        for bar, symbol in zip(bars, symbols, strict=True)
        if symbol
    )


def without_lines(tune: Tune) -> Tune:
    """Return the tune without what only its text knows."""
    notes = tuple(note._replace(line=0) for note in tune.notes)
    return tune._replace(notes=notes, remarks=())


@given(tunes())
@settings(deadline=None, derandomize=True, max_examples=examples(60))
def test_what_is_written_as_tune_text_is_read_back_the_same(tune: Tune) -> None:
    (read,) = parse_tune_text(format_tune_text(tune))
    assert without_lines(read) == tune


@given(st.lists(st.sampled_from("1234567"), min_size=4, max_size=4), st.data())
@settings(deadline=None, derandomize=True, max_examples=examples(60))
def test_numbers_keep_their_intervals_in_every_key(
    degrees: list[str], data: st.DataObject
) -> None:
    tonic = data.draw(st.sampled_from(TONICS))
    text = " ".join(degrees)
    (in_c,) = parse_tune_text(f"Key: C\n{text}")
    (moved,) = parse_tune_text(f"Key: {tonic}\n{text}")
    by = tonic.pitch_class
    assert [note.pitch.midi + by for note in in_c.notes if note.pitch] == [
        note.pitch.midi for note in moved.notes if note.pitch
    ]


WORDS = (
    *("C", "D", "E", "F", "G", "A", "B", "C5", "F#", "Bb", "B3", "-", "-", "-", "-.D"),
    *("C.D", "0", "1", "#7", "5,", "1'", ".", "..", "8", "H", "d", "c'", "C2", "z"),
    *("|", "|", "|", "||", "|:", ":|", "[1", "[2", "|C", "?", "%", ":", "\n", "\n"),
    *("\nKey:", "\nTime:", "\nWords:", "\nChords:", "\nTitle:", "\nOctave:", "3/4"),
    *(
        "\nSignature:",
        "\nTempo:",
        "on",
        "5",
        "minor",
        "la-la",
        "_",
        "*",
        "~",
        "V7",
        "Dm",
    ),
)
LIKELY = st.lists(st.sampled_from(WORDS), max_size=60).map(" ".join)
UNLIKELY = st.text("CDE|:[]1.-0 \n%#'", max_size=80)


@given(st.one_of(LIKELY, UNLIKELY, st.text(max_size=80)))
@settings(deadline=None, derandomize=True, max_examples=examples(600))
def test_any_text_is_a_tune_or_a_sentence(text: str) -> None:
    try:
        found = parse_tune_text(text)
    except HarmoniseError as error:
        found = ()
        sentence = str(error)
    else:
        sentence = "A tune."
    assert not sentence[0].islower()
    for tune in found:
        assert_tiles([(bar.start, bar.end) for bar in tune.bars], tune.end)
        assert_tiles([(note.onset, note.end) for note in tune.notes], tune.end)
        assert tune.phrases[-1] == tune.end
        assert all(lock.onset < lock.end <= tune.end for lock in tune.locks)
        assert all(len(note.syllables) == tune.verses for note in tune.sounding)
        assert_read_back(tune)


def assert_read_back(tune: Tune) -> None:
    """Guard that what was read from a text is written so that it is read again."""
    for numbers in (False, True):
        (again,) = parse_tune_text(format_tune_text(tune, numbers=numbers))
        told = without_lines(tune)._replace(key_guessed=False)
        assert without_lines(again) == told


HEADS = (
    ("", "Title: A song", "Title: 100\\% “own”"),
    ("", "Composer: A. – Miller"),
    ("", "Key: g minor", "Key: F-Dur", "Key: D dorian"),
    ("", "Tempo: slow", "Tempo: 1/8 = 120", "Tempo: Gently, 60"),
    ("", "Octave: 5", "Origin: 1802", "% own"),
)
BETWEEN = (
    *("", "", "Section: Chorus", "[Verse 2]", "Refrain:", "Key: A", "Tempo: faster 90"),
    "%",
)
NOTES = {
    "letters": ("C", "D", "E.F", "G5", "A", "Bb3", "F#", "-.B"),
    "small": ("c", "d", "e.f", "g5", "a", "bb3", "f#", "-.b"),
    "numbers": ("1", "2", "3.4", "5'", "8", "b3", "#4,", "-.7"),
    "names": ("do", "re", "mi.fa", "so'", "la", "tib", "fa#,", "-.ti"),
}
WORDS_TO_SING = ("la", "sweet-ly", "rose_", "*", "the~day", "a\\-b", "won’t")
CHORD_BARS = ("C", "F G7", "?", "- Dm", "I", "V7", "")


@st.composite
def typed_texts(draw: st.DrawFn) -> str:
    """Texts as people type them: headers, notes, words, chords and sections."""
    notes = NOTES[draw(st.sampled_from(sorted(NOTES)))]
    size = draw(st.sampled_from([4, 4, 3, 6]))
    time = {4: draw(st.sampled_from(["", "Time: 4/4"])), 3: "Time: 3/4", 6: "Time: 6/8"}
    lines = [draw(st.sampled_from(heads)) for heads in HEADS] + [time[size]]
    for number in range(draw(st.integers(1, 4))):
        lines += [draw(st.sampled_from(BETWEEN))] if number else []
        lines += _typed_line(draw, notes, size)
    return "\n".join(lines)


def _typed_line(draw: st.DrawFn, notes: tuple[str, ...], size: int) -> list[str]:
    """Return a line of notes with what stands under it."""
    count = draw(st.integers(1, 3))
    beats = st.sampled_from([*notes[:-1], *notes, "-", "-", "0"])
    bars = [
        " ".join(
            [draw(st.sampled_from(notes[:-1])), *(draw(beats) for _ in range(1, size))]
        )
        for _ in range(count)
    ]
    line = draw(st.sampled_from([" | ", "|", " || ", " "])).join(bars)
    line = draw(st.sampled_from(["{}", "{} |", "|: {} :|", "|:{}:|", "|{}||"])).format(
        line
    )
    syllables = draw(st.lists(st.sampled_from(WORDS_TO_SING), max_size=count * size))
    chords = draw(st.lists(st.sampled_from(CHORD_BARS), min_size=count, max_size=count))
    words = f"Words: {' '.join(syllables)}"
    under = (("",), (words,), (words, words), ("Chords: " + " | ".join(chords), words))
    return [line, *draw(st.sampled_from(under))]


@given(typed_texts())
@settings(deadline=None, derandomize=True, max_examples=examples(60))
def test_what_is_read_from_a_text_is_written_so_that_it_is_read_again(
    text: str,
) -> None:
    try:
        found = parse_tune_text(text)
    except HarmoniseError:
        return
    for tune in found:
        assert_read_back(tune)


def assert_tiles(stretches: list[tuple[Fraction, Fraction]], end: Fraction) -> None:
    assert stretches[0][0] == 0
    assert stretches[-1][1] == end
    assert all(before[1] == after[0] for before, after in pairwise(stretches))


FIRST = TuneNote(Fraction(0), Fraction(4), Pitch(0, 0, 4))


@pytest.mark.parametrize(
    ("note", "what"),
    [
        (FIRST._replace(fermata=True), "a fermata"),
        (FIRST._replace(slur_starts=1), "a slur"),
        (FIRST._replace(graces=(Grace(Pitch(1, 0, 4)),)), "a grace note"),
    ],
)
def test_what_cannot_be_typed_is_refused_not_dropped(note: TuneNote, what: str) -> None:
    bar = Bar(1, Fraction(0), Fraction(4), TIMES[2])
    tune = Tune("", (note,), (bar,), (KeyChange(Fraction(0), Key(PitchName(0))),))
    with pytest.raises(OutputError) as caught:
        format_tune_text(tune)
    assert str(caught.value) == (
        f"Bar 1, beat 1: {what} cannot be typed in tune text. Write MusicXML instead."
    )


def test_a_jump_is_refused_with_its_bar() -> None:
    bar = Bar(1, Fraction(0), Fraction(4), TIMES[2])
    key = KeyChange(Fraction(0), Key(PitchName(0)))
    jump = (Fraction(4), "D.C. al Fine")
    tune = Tune("", (FIRST,), (bar,), (key,), end_text=(jump,))
    with pytest.raises(OutputError) as caught:
        format_tune_text(tune)
    assert str(caught.value) == (
        "Bar 1: D.C. al Fine cannot be typed in tune text. Write MusicXML instead."
    )
