"""Laws of sol-fa: what is written is read back; no text brings a traceback."""

import re
from fractions import Fraction
from itertools import pairwise

from hypothesis import event, given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.tunes import tunes

from harmonise.errors import HarmoniseError, OutputError
from harmonise.notation.solfa.pulses import parse_pulse
from harmonise.notation.solfa.solfa import format_solfa, parse_solfa
from harmonise.notation.solfa.solfa_names import (
    NAMES,
    solfa_pitch,
    with_filling,
    without_filling,
)
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import (
    Bar,
    ChordAt,
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
    TimeSignature(3, 8),
    TimeSignature(6, 8),
    TimeSignature(9, 8),
    TimeSignature(12, 8),
    TimeSignature(5, 4),
    TimeSignature(5, 4, (2, 3)),
)
HALF, QUARTER, THIRD = Fraction(1, 2), Fraction(1, 4), Fraction(1, 3)
DIVISIONS = (
    (Fraction(1),),
    (HALF, HALF),
    (QUARTER,) * 4,
    (HALF, QUARTER, QUARTER),
    (QUARTER, QUARTER, HALF),
    (THIRD,) * 3,
)
KEYS = st.builds(key_of_signature, st.integers(-7, 7), st.sampled_from(Mode))


@st.composite
def solfa_tunes(draw: st.DrawFn) -> Tune:
    """Tunes of notes that have names, made pulse by pulse without the reader's help."""
    bars = _bars(draw)
    later = [bar.start for bar in bars[1:]]
    breaks = sorted(draw(st.sets(st.sampled_from(later)))) if later else []
    keys = [KeyChange(Fraction(0), draw(KEYS))]
    other = draw(KEYS)
    if breaks and other != keys[0].key:
        keys.append(KeyChange(breaks[0], other))
    plain = Tune("At 100%", (), tuple(bars), tuple(keys), origin="own tune")
    notes = _notes(draw, plain)
    chord = draw(st.sampled_from(["C", "F#m7", "Bb/D"]))
    return plain._replace(
        notes=tuple(notes),
        tempos=(Tempo(Fraction(0), Fraction(72), bars[0].time.beat, "Slowly"),),
        phrases=(*breaks, bars[-1].end),
        locks=(ChordAt(bars[-1].start, bars[-1].end, parse_symbol(chord)),),
        verses=1,
        end_text=((bars[-1].end, "D.C."),) if draw(st.booleans()) else (),
    )


def _bars(draw: st.DrawFn) -> list[Bar]:
    time = draw(st.sampled_from(TIMES))
    count = draw(st.integers(1, 5))
    pickup = draw(st.integers(0, time.beats - 1))
    lengths = [time.beats] * count
    if pickup:
        lengths = [pickup, *lengths]
        lengths[-1] -= draw(st.sampled_from([0, pickup]))
    double = draw(st.integers(0, 6))
    bars: list[Bar] = []
    for index, beats in enumerate(lengths):
        start = bars[-1].end if bars else Fraction(0)
        offset = (time.beats - pickup) * time.unit if pickup and not index else 0
        bars.append(
            Bar(
                index if pickup else index + 1,
                start,
                beats * time.unit,
                time,
                double=index == double and beats == time.beats,
                offset=Fraction(offset),
            )
        )
    return bars


def _notes(draw: st.DrawFn, tune: Tune) -> list[TuneNote]:
    first = _pitch(draw, tune, Fraction(0))
    notes = [TuneNote(Fraction(0), Fraction(0), first, (Syllable("ah"),))]
    for bar in tune.bars:
        for beat in range(int(bar.length / bar.time.unit)):
            onset = bar.start + bar.time.unit * beat
            for part in draw(st.sampled_from(DIVISIONS)):
                length = part * bar.time.unit
                kind = draw(st.sampled_from(["hold", "rest", "note", "note"]))
                if not onset or kind == "hold":
                    longer = notes[-1].length + length
                    notes[-1] = notes[-1]._replace(length=longer)
                else:
                    pitch = _pitch(draw, tune, onset) if kind == "note" else None
                    notes.append(TuneNote(onset, length, pitch, _word(draw, pitch)))
                onset += length
    return notes


def _word(draw: st.DrawFn, pitch: Pitch | None) -> tuple[Syllable | None, ...]:
    if not pitch:
        return ()
    text = draw(st.sampled_from(["", "la", "d:r", "a|b", "50%"]))
    return (Syllable(text, joins=draw(st.booleans())) if text else None,)


def _pitch(draw: st.DrawFn, tune: Tune, onset: Fraction) -> Pitch:
    key: Key = tune.key_at(onset)
    name = draw(st.sampled_from(sorted(NAMES)))
    return solfa_pitch(name, draw(st.integers(-2, 2)), key)


def in_crotchets(tune: Tune) -> tuple[Tempo, ...]:
    """Return the tempos in whole crotchets a minute."""
    return tuple(
        mark._replace(per_minute=Fraction(round(mark.pace)), beat=Fraction(1))
        for mark in tune.tempos
        if mark.pace
    )


def joined(tune: Tune) -> Tune:
    """Return the tune with the silences of each bar joined, as in sol-fa."""
    notes = [tune.notes[0]]
    for note in tune.notes[1:]:
        before = notes[-1]
        bars = [tune.bar_at(own.onset) for own in (before, note)]
        if before.pitch or note.pitch or bars[0] != bars[1]:
            notes.append(note)
        else:
            notes[-1] = before._replace(length=before.length + note.length)
    return tune._replace(notes=tuple(notes))


def without_rests(tune: Tune) -> Tune:
    """Return the tune without silences and without what only its text knows."""
    notes = tuple(note._replace(line=0) for note in tune.sounding)
    return tune._replace(notes=notes, remarks=(), tempos=in_crotchets(tune))


def written(tune: Tune) -> str:
    """Return the text of a tune, or why there is none."""
    try:
        return format_solfa(tune)
    except OutputError as error:
        return str(error)


@given(solfa_tunes())
@settings(deadline=None, derandomize=True, max_examples=examples(250))
def test_what_is_written_as_sol_fa_is_read_back_the_same(tune: Tune) -> None:
    text = written(tune)
    # A silence of a quarter after a half cannot be written, nor can one alone before a
    # jump word: nothing of it would stand there.
    event("written" if text.startswith("Title:") else "refused")
    if not re.search(r"(division of a beat|\"D\.C\.\" in this bar) cannot be w", text):
        (read,) = parse_solfa(text)
        assert without_rests(read) == without_rests(without_filling(joined(tune)))


@given(tunes(lowest=3))
@settings(deadline=None, derandomize=True, max_examples=examples(200))
def test_any_tune_is_refused_or_read_back_the_same(tune: Tune) -> None:
    text = written(tune)
    if text.startswith("Title:"):
        (read,) = parse_solfa(text)
        # Silence that only fills up the pulse of a pickup is no part of a tune.
        plain = without_filling(joined(with_filling(tune)))
        assert without_rests(read) == without_rests(plain)
        event(f"written, pickup {tune.bars[0].length if tune.bars[0].offset else 0}")
    else:
        assert text.startswith(("Bar ", "The pickup"))
        assert text.endswith(" cannot be written in sol-fa. Write MusicXML instead.")


SIGNS = (
    *("|", "|", "|", ":", ":", ":", "!", "||", "d", "r", "m", "d", "r", "s,", "d'"),
    *("t₁", "d²", "-", "-", "-", ".", ",", "‘", "`", "’", ".,", "fe", "ba", "ra", "H"),
    *("\n", "\n", "D", "do", "0", "#", "%", "Fine", "D.C.", "D.S.", " ", " ", "\nDoh:"),
    *("\nDoh: G\n", "\nLah: A\n", "\nTime: 3/4\n", "\nWords: la la\n", "\nTitle: A\n"),
    *("\nKey: C\n", "\nChords: C\n", "\nTempo: 60\n", "\nOctave: 3\n", "Fine\n"),
)
LIKELY = st.lists(st.sampled_from(SIGNS), max_size=60).map("".join)
PULSES = st.sampled_from(
    (
        *(
            "d",
            "r",
            "m",
            "s,",
            "d'",
            "t₁",
            "-",
            "",
            "",
            "d.r",
            "-.m",
            "d.,r",
            "d,r.m,f",
        ),
        *("d‘r‘m", "d,r", "s,,l,.d", "d'r'm", "d.", ".d", ",d.r", "d ,.r", "fe.ba"),
    )
)
BARS = st.tuples(PULSES, PULSES).map(lambda two: f"| {two[0]} :{two[1]} ")
BREAKS = st.sampled_from(
    ["", "", "", "\n", "|\n", "||\n", "\nWords: la\n", "\nDoh: G\n", "Fine\n", ":m\n"]
)
LINES = st.lists(st.one_of(BARS, BARS, BREAKS), max_size=30).map("".join)
UNLIKELY = st.text("drmfslteab|:!.,-'‘ \n", max_size=80)


@given(st.one_of(LINES, LINES, LIKELY, UNLIKELY, st.text(max_size=80)))
@settings(deadline=None, derandomize=True, max_examples=examples(1200))
def test_any_text_is_a_tune_or_a_sentence(text: str) -> None:
    try:
        found = parse_solfa(text)
    except HarmoniseError as error:
        found = ()
        sentence = str(error)
        event("refused")
    else:
        sentence = "A tune."
        event("read")
    assert not sentence[0].islower()
    assert sentence.strip()[-1] in ".?)|:"
    for tune in found:
        assert_tiles([(bar.start, bar.end) for bar in tune.bars], tune.end)
        assert_tiles([(note.onset, note.end) for note in tune.notes], tune.end)
        assert tune.phrases[-1] == tune.end
        assert all(lock.onset < lock.end <= tune.end for lock in tune.locks)
        assert all(len(note.syllables) == tune.verses for note in tune.sounding)


def assert_tiles(stretches: list[tuple[Fraction, Fraction]], end: Fraction) -> None:
    assert stretches[0][0] == 0
    assert stretches[-1][1] == end
    assert all(before[1] == after[0] for before, after in pairwise(stretches))


@given(st.text("drmfe.,-'’‘`¹₁ ", max_size=12))
@settings(deadline=None, derandomize=True, max_examples=examples(600))
def test_the_cells_of_a_pulse_fill_it(text: str) -> None:
    try:
        pulse = parse_pulse(text)
    except HarmoniseError:
        return
    assert sum(cell.length for cell in pulse.cells) == 1
    assert len({doubt.code for doubt in pulse.doubts}) == len(pulse.doubts)
