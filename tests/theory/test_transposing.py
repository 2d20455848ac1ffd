"""Transposing: the spelling moves along, and the arrangement with it."""

from fractions import Fraction
from functools import lru_cache
from pathlib import Path

import music21  # noqa: TID251 (the outside check of intervals)
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.corpus import abc_blocks
from makers.profiles import examples, spread
from makers.tunes import tunes

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError, NotationError
from harmonise.notation.abc.abc_tune import parse_abc
from harmonise.notation.formats import read_tune
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Style
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import KeyOrder, Mode, keys_of, named_keys, parse_key
from harmonise.theory.transposing import key_moved, transposed
from harmonise.theory.tune import ChordAt, KeyChange, Tune

TUNES = Path(__file__).parents[2] / "tunes"
NAMES = sorted(path.stem for path in TUNES.glob("*.txt"))
FULL = 60
"""C4: from here up the right hand always has room for a whole chord."""


def tune_of(name: str) -> Tune:
    return read_tune(TUNES / f"{name}.txt")


@lru_cache(maxsize=1)
def printed_tunes() -> tuple[Tune, ...]:
    """Every twelfth tune of an 18th-century book that music21's corpus carries."""
    found: list[Tune] = []
    for block in abc_blocks("airdsAirs/book1.abc")[::12]:
        try:
            found += parse_abc(block)
        except HarmoniseError:
            continue
    return tuple(found)


def as_oracle(name: str) -> str:
    return name.replace("b", "-")


@pytest.mark.parametrize("number", range(1, 12))
@pytest.mark.parametrize("name", NAMES)
def test_notes_move_by_the_interval_of_the_keynotes(name: str, number: int) -> None:
    # music21's Interval is built from two notes, by letters and semitones.
    tune = tune_of(name)
    key = keys_of(tune.key.mode, flat=number % 2 == 0)[number]
    moved = transposed(tune, key)
    start = music21.pitch.Pitch(as_oracle(str(tune.sounding[0].pitch)))
    end = music21.pitch.Pitch(as_oracle(str(moved.sounding[0].pitch)))
    interval = music21.interval.Interval(start, end)
    for old, new in zip(tune.sounding, moved.sounding, strict=True):
        pitch = music21.pitch.Pitch(as_oracle(str(old.pitch)))
        assert interval.transposePitch(pitch).nameWithOctave == as_oracle(
            str(new.pitch)
        )


def test_every_mode_has_its_twelve_keys_in_every_order() -> None:
    for mode in Mode:
        for order in KeyOrder:
            keys = keys_of(mode, order)
            assert keys[0].fifths == 0
            assert {key.mode for key in keys} == {mode}
            assert {int(key.tonic.pitch_class) for key in keys} == set(range(12))
            assert max(abs(key.fifths) for key in keys) == 6


def test_names_without_a_mode_take_the_mode_of_the_tune() -> None:
    found = named_keys(["D, Em", "G mixolydian"], mode=Mode.DORIAN)
    assert list(map(str, found)) == ["D dorian", "E minor", "G mixolydian"]
    assert len(named_keys(["all"], mode=Mode.DORIAN)) == 12


def test_all_of_no_mode_is_no_key() -> None:
    with pytest.raises(NotationError) as caught:
        named_keys(["all happy"])
    assert str(caught.value).startswith('"all happy" is not a key.')


# The circle of fifths, common practice.
MOVES = [
    ("C", 1, "Db"), ("C", 2, "D"), ("C", 3, "Eb"), ("C", 4, "E"), ("C", 5, "F"),
    ("C", 6, "F#"), ("C", 7, "G"), ("C", 8, "Ab"), ("C", -3, "A"), ("C", -1, "B"),
    ("G", -2, "F"), ("Eb", 1, "E"), ("A minor", 6, "Eb minor"), ("C#", 12, "C#"),
    ("E minor", 1, "F minor"), ("D dorian", -1, "C# dorian"), ("G", 0, "G"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "semitones", "wanted"), MOVES)
def test_a_key_moved_by_semitones_has_few_signs(
    key: str, semitones: int, wanted: str
) -> None:
    assert key_moved(parse_key(key), semitones) == parse_key(wanted)


def test_g_flat_may_be_taken_for_f_sharp() -> None:
    assert key_moved(parse_key("D"), 4, flat=True) == parse_key("Gb")


def test_locks_and_symbols_move_along() -> None:
    tune = tune_of("auld_lang_syne")
    assert [str(lock.chord) for lock in tune.locks] == ["Bb"]
    moved = transposed(tune, parse_key("E"))
    assert [str(lock.chord) for lock in moved.locks] == ["A"]


def test_a_later_key_with_too_many_sharps_is_spelled_with_flats() -> None:
    tune = tune_of("morning_steps")
    half = tune.bars[4].start
    locks = (ChordAt(half, half + 2, parse_symbol("E")),)
    two = tune._replace(keys=(*tune.keys, KeyChange(half, parse_key("E"))), locks=locks)
    moved = transposed(two, parse_key("F#"))
    assert [str(change.key) for change in moved.keys] == ["F# major", "Bb major"]
    assert [str(lock.chord) for lock in moved.locks] == ["Bb"]
    steps = {
        new.pitch.midi - old.pitch.midi
        for old, new in zip(two.sounding, moved.sounding, strict=True)
        if old.pitch and new.pitch
    }
    assert len(steps) == 1
    # A4 in E major, its fourth, is Eb in Bb major.
    at_half = next(note for note in moved.sounding if note.onset == half)
    assert at_half.pitch is not None
    assert str(at_half.pitch.name) == "Eb"


@given(tunes(), st.integers(-11, 11))
def test_no_note_ever_gets_more_than_two_signs(tune: Tune, semitones: int) -> None:
    if not tune.sounding:
        return
    moved = transposed(tune, key_moved(tune.key, semitones), semitones)
    for old, new in zip(tune.sounding, moved.sounding, strict=True):
        assert old.pitch is not None
        assert new.pitch is not None
        assert abs(new.pitch.alter) <= 2
        assert new.pitch.midi == old.pitch.midi + semitones


@given(tunes(), st.integers(-11, 11))
@settings(max_examples=examples(50))
def test_there_and_back_gives_the_tune_again(tune: Tune, semitones: int) -> None:
    away = key_moved(tune.key, semitones)
    there = transposed(tune, away, semitones)
    back = transposed(there, tune.key, -semitones)
    if all(abs(note.pitch.alter) < 2 for note in there.sounding if note.pitch):
        assert back == tune


def hand(done: Arrangement, which: Hand) -> list[SoundingNote]:
    return [note for note in done.notes if note.hand is which]


def semitones_between(old: Tune, new: Tune) -> int:
    before, after = old.sounding[0].pitch, new.sounding[0].pitch
    assert before is not None
    assert after is not None
    return after.midi - before.midi


def lowest(tune: Tune) -> int:
    return min(note.pitch.midi for note in tune.sounding if note.pitch)


def assert_moved(plain: Arrangement, moved: Arrangement) -> None:
    """Check that an arrangement is another one moved: chords, hands, reasons aside."""
    shift = semitones_between(plain.tune, moved.tune)
    assert [slot.numeral for slot in moved.slots] == [s.numeral for s in plain.slots]
    assert [slot.onset for slot in moved.slots] == [s.onset for s in plain.slots]
    assert moved.cost == plain.cost
    if min(lowest(plain.tune), lowest(moved.tune)) < FULL:
        return  # A low right hand has room for fewer notes.
    right = [
        (note.onset, note.length, note.pitch.midi + shift, note.voice)
        for note in hand(plain, Hand.RIGHT)
    ]
    assert right == [
        (note.onset, note.length, note.pitch.midi, note.voice)
        for note in hand(moved, Hand.RIGHT)
    ]
    # The left hand lies where the key has room for it, a chord in any order.
    left = [
        (note.onset, note.length, (note.pitch.midi + shift) % 12)
        for note in hand(plain, Hand.LEFT)
    ]
    assert sorted(left) == sorted(
        (note.onset, note.length, note.pitch.midi % 12)
        for note in hand(moved, Hand.LEFT)
    )


@pytest.mark.parametrize("level", [1, 2, 3, 4])
@pytest.mark.parametrize("name", NAMES)
def test_transposing_then_arranging_is_arranging_then_transposing(
    name: str, level: int
) -> None:
    tune, style = tune_of(name), Style(level=level)
    plain = arrange(tune, style, explained=False)
    for key in spread(list(keys_of(tune.key.mode)), 6, NAMES.index(name)):
        moved = arrange(transposed(tune, key), style, explained=False)
        assert_moved(plain, moved)


@pytest.mark.slow
def test_printed_tunes_keep_their_chords_in_every_key() -> None:
    found = printed_tunes()
    assert len(found) >= 15
    for turn, tune in enumerate(found):
        plain = arrange(tune, Style(level=3), explained=False)
        for key in spread(list(keys_of(tune.key.mode)), 5, turn):
            moved = arrange(transposed(tune, key), Style(level=3), explained=False)
            assert_moved(plain, moved)


def test_an_octave_up_changes_nothing_but_the_octave() -> None:
    tune = tune_of("water_of_tyne")
    up = transposed(tune, tune.key, 12)
    assert semitones_between(tune, up) == 12
    plain = arrange(tune, explained=False)
    assert_moved(plain, arrange(up, explained=False))
    assert up.end == tune.end
    assert up.sounding[0].onset >= Fraction(0)
