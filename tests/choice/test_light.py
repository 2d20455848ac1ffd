"""A light right hand in quick tunes: what it strikes, and what the left hand fills."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from makers.corpus import tunes_of
from makers.left_hands import tune_of, typed
from makers.profiles import examples
from makers.tunes import tunes
from oracles.promises import broken_promises

from harmonise.arranging.job import arrange
from harmonise.arranging.request import Request, arranged
from harmonise.notation.formats import read_tune
from harmonise.rules.table import check
from harmonise.theory.arrangement import (
    Arrangement,
    HarmonicRhythm,
    LeftHand,
    Player,
    Slot,
    SoundingNote,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.tune import Tune, is_quick

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
QUICK = [path for path in TUNES if is_quick(read_tune(path))]
every_quick = pytest.mark.parametrize("path", QUICK, ids=lambda path: path.stem)
BAR = HarmonicRhythm.BAR


def inner(done: Arrangement) -> list[SoundingNote]:
    return [note for note in done.notes if note.voice is Voice.INNER]


def of_tune(done: Arrangement) -> list[SoundingNote]:
    return [note for note in done.notes if note.voice is Voice.TUNE]


def right(done: Arrangement) -> str:
    """Return the inner notes of bar 1: "G4:4", a length after each."""
    end = done.tune.bars[0].end
    return " ".join(f"{n.pitch}:{n.length}" for n in inner(done) if n.onset < end)


STAYS = [
    # Worked out by hand, common practice: under the first note of a bar at 120 the
    # third of the chord, if it can stay for half of the bar within a minor seventh.
    pytest.param("G4.A4 B4.A4 G4.A4 B4.G4", "C", "E4:4", "C3+G3:4", id="third stays"),
    pytest.param("C5.D5 E5.D5 C5.D5 E5.D5", "C", "G4:4", "C3+E3:4", id="octave is far"),
    pytest.param("E5.D5 E5.F5 E5.D5 E5.F5", "C", "C5:4", "C3+G3:4", id="tune has it"),
    pytest.param("B4.C5 D5.C5 B4.A4 G4.A4", "G", "G4:3", "G3+D4:4", id="to the beat"),
    pytest.param("C5.G4 E4.G4 C5.G4 E4.G4", "C", "", "C3+G3:4", id="nothing can stay"),
    pytest.param("G4 - G4.A4 G4.A4", "C", "C4:4 E4:4", "C3:4", id="two when long"),
    pytest.param("G4 - - E4.F4", "C", "C4:3 E4:3", "C3:4", id="both let go together"),
    pytest.param("0.E5 D5.E5 F5.E5 D5.E5", "C", "", "C3+E3+G3:4", id="weak quaver"),
    pytest.param("0 E5.D5 E5.F5 E5.F5", "C", "C5:3", "C3+E3:4", id="after a rest"),
]


@pytest.mark.parametrize(("bar", "chord", "struck", "left_hand"), STAYS)
def test_a_light_hand_strikes_what_can_stay_and_the_left_has_the_rest(
    bar: str, chord: str, struck: str, left_hand: str
) -> None:
    tune = tune_of(f"{bar} | C5 - - -\nChords: {chord} | C", "Tempo: 120")
    done = arrange(tune, Style(1, BAR), explained=False)
    assert (done.style.texture, done.style.left_hand) == (
        Texture.LIGHT, LeftHand.CHORDS,
    )  # fmt: skip
    assert (right(done), typed(done, 1)) == (struck, left_hand)


# Worked out by hand, common practice, at 120. The leading note that the tune has only
# in its last quaver is no third for the whole bar; a bass alone does not end a tune,
# and a third that cannot stay is struck for as long as it can be read.
THIRDS = [
    ("D5.C5 A4.G4 F4.G4 A4.B4", "G", LeftHand.CHORDS, "", "G3+B3+D4:4"),
    ("D5.C5 A4.G4 F4.G4 A4.B4", "G", LeftHand.ROOT_FIFTH, "", "G2:2 D3+B3:2"),
    ("C5.D4 C5.D4 C5.D4 C5.D4", "C", LeftHand.HELD, "E4:1/2", "C3:4"),
    ("C5.D4 C5.D4 C5.D4 C5.D4", "C", LeftHand.DRONE, "E4:1/2", "C3+G3:4"),
]


@pytest.mark.parametrize(("bar", "chord", "pattern", "struck", "low"), THIRDS)
def test_a_quick_note_off_the_beat_does_not_stand_for_the_third(
    bar: str, chord: str, pattern: LeftHand, struck: str, low: str
) -> None:
    tune = tune_of(f"{bar} | C5.C5 C5 C5 -\nChords: {chord} | C", "Tempo: 120")
    done = arrange(tune, Style(1, BAR, left_hand=pattern), explained=False)
    assert (right(done), typed(done, 1)) == (struck, low)
    assert "M18" not in {fault.rule for fault in check(done)}


def test_a_light_close_is_a_whole_chord_and_a_drone_stays_one() -> None:
    tune = tune_of("C5.G4 E5.C5 G4.C5 E5.C5 | C5.C5 C5 C5 -", "Tempo: 120")
    for pattern in (LeftHand.ROOT_FIFTH, LeftHand.REPEATED, LeftHand.WALKING):
        done = arrange(tune, Style(1, BAR, left_hand=pattern), explained=False)
        last = [note for note in done.notes if note.onset >= tune.bars[-1].start]
        assert {str(note.pitch.name) for note in last} == {"C", "E", "G"}
        assert typed(done, 2) == "C3+G3:4"
    drone = arrange(tune, Style(1, BAR, left_hand=LeftHand.DRONE), explained=False)
    assert typed(drone, 1, 2) == "C3+G3:4 C3+G3:4"


def test_a_dance_in_two_minims_is_not_broken_like_a_slow_air() -> None:
    # The minim goes at 60, but eight quavers go to two seconds.
    tune = tune_of("C5.D5.E5.F5 G5.F5.E5.D5 | C5 -", "Time: 2/2", "Tempo: 60")
    assert arrange(tune, Style(3)).style.left_hand is LeftHand.ROOT_FIFTH


WHEN = [
    # 100 crotchets a minute, or three notes and more to a second.
    ("C5.D5 E5 C5 D5 | C5 - - -", ["Tempo: 100"], True),
    ("C5.D5 E5 C5 D5 | C5 - - -", ["Tempo: 99"], False),
    ("C5.D5 E5.D5 C5.D5 E5.D5 | C5 - - -", ["Tempo: 90"], True),
    ("C5.D5 E5.D5 C5.D5 E5.D5 | C5 - - -", ["Tempo: 89"], False),
    ("C5 D5 E5 F5 | C5 - - -", ["Tempo: 200"], False),
    # In dotted beats there are three quavers to one: 60 a minute go to 180.
    ("C5 D5 E5 F5 E5 D5 | C5 - - - - -", ["Time: 6/8", "Tempo: 60"], True),
    ("C5 D5 E5 F5 E5 D5 | C5 - - - - -", ["Time: 6/8", "Tempo: 59"], False),
    # Without a tempo most notes tell.
    ("C5.D5 E5.D5 C5 D5 | C5 - - -", [], True),
    ("C5.D5 E5 F5 G5 | C5 - - -", [], False),
    ("C5.D5 E5.D5 | C5.D5 E5.D5 | C5 -", ["Time: 2/2"], False),
]


@pytest.mark.parametrize(("body", "heads", "quick"), WHEN)
def test_quick_tunes_are_light_by_themselves(
    body: str, heads: list[str], quick: bool
) -> None:
    style = arrange(tune_of(body, *heads), explained=False).style
    assert (style.texture is Texture.LIGHT) is quick


def test_a_tune_with_fermatas_at_its_lines_is_a_chorale_and_not_light() -> None:
    tune = tune_of("C5.D5 E5.D5 C5.D5 E5 | C5.D5 E5.D5 C5 -")
    notes = list(tune.notes)
    for at in (6, -1):
        notes[at] = notes[at]._replace(fermata=True)
    assert is_quick(tune)
    assert not is_quick(tune._replace(notes=tuple(notes)))


def begins(done: Arrangement) -> Iterator[Slot]:
    """Yield the slots at which a chord begins, or a bar."""
    lines = {bar.start for bar in done.tune.bars}
    yield done.slots[0]
    for before, slot in pairwise(done.slots):
        if slot.chord != before.chord or slot.onset in lines:
            yield slot


def in_force(done: Arrangement, onset: Fraction) -> Fraction:
    """Return where the chord over an onset began in its bar."""
    return max(slot.onset for slot in begins(done) if slot.onset <= onset)


@every_quick
@pytest.mark.parametrize("level", [1, 3])
def test_a_light_hand_strikes_once_a_chord_and_lightly(path: Path, level: int) -> None:
    done = arrange(read_tune(path), Style(level), explained=False)
    over = {note.onset: note for note in of_tune(done)}
    struck: dict[Fraction, int] = {}
    for note in inner(done):
        struck[note.onset] = struck.get(note.onset, 0) + 1
    assert struck
    # Once a chord, and one note under a tune note shorter than a beat.
    began = [in_force(done, onset) for onset in struck]
    assert len(began) - len(set(began)) <= len(began) / 20
    for onset, count in struck.items():
        beat = done.tune.bar_at(onset).time.beat
        assert count == 1 or (onset in over and over[onset].length >= beat)


@every_quick
@pytest.mark.parametrize("level", [1, 3])
def test_both_hands_together_have_root_and_third_under_each_chord(
    path: Path, level: int
) -> None:
    done = arrange(read_tune(path), Style(level), explained=False)
    starts = [*begins(done)]
    ends = [*(slot.onset for slot in starts[1:]), done.tune.end]
    for slot, end in zip(starts, ends, strict=True):
        if slot.chord is None:
            continue
        inside = [n for n in done.notes if n.onset < end and n.end > slot.onset]
        names = {note.pitch.pitch_class for note in inside}
        root, third = slot.chord.pitch_classes[:2]
        assert {root, third} <= names, slot.place


@given(tunes(most_notes=40, lowest=3))
@settings(max_examples=examples(60), deadline=None, derandomize=True)
def test_a_light_hand_keeps_the_promise_of_every_page(tune: Tune) -> None:
    for left_hand in (LeftHand.AUTO, LeftHand.HELD, LeftHand.CHORDS):
        style = Style(3, texture=Texture.LIGHT, left_hand=left_hand)
        assert broken_promises(arrange(tune, style, explained=False)) == []


@every_quick
def test_a_beginner_plays_a_quick_tune_alone_over_left_hand_chords(path: Path) -> None:
    request = Request(Style(), player=Player.BEGINNER)
    (done,) = arranged(request, read_tune(path), explained=False)
    assert done.style.left_hand is LeftHand.CHORDS
    # A note under the tune has the third where the left hand has no room for it.
    for note in inner(done):
        slot = next(s for s in done.slots if s.onset <= note.onset < s.end)
        assert slot.chord is not None
        low = {n.pitch.pitch_class for n in done.notes if n.voice is Voice.BASS
               and n.onset <= note.onset < n.end}  # fmt: skip
        assert slot.chord.pitch_classes[1] not in low
    assert len(inner(done)) <= len(done.tune.bars) / 4


def strikes(tune: Tune, texture: Texture) -> int:
    style = Style(1, texture=texture, left_hand=LeftHand.HELD)
    return len({n.onset for n in inner(arrange(tune, style, explained=False))})


def test_block_held_and_light_differ_in_reels() -> None:
    reels = list(tunes_of("ryansMammoth", 60, 6))
    assert len(reels) == 6
    counts = [
        sum(strikes(tune, texture) for tune in reels)
        for texture in (Texture.BLOCK, Texture.HELD, Texture.LIGHT)
    ]
    # A held hand strikes less often than one in blocks, a light one much less.
    assert counts[1] <= 0.95 * counts[0]
    assert counts[2] <= 0.6 * counts[0]


def test_a_chord_that_must_be_let_go_ends_where_it_can_be_read() -> None:
    # Over F and A a C5 comes a semiquaver before beat 3, out of reach of A3: the chord
    # is a dotted crotchet, not one with two dots. Common practice of engraving.
    tune = tune_of(
        "F4 A4.-.-.C5 D5 - | C5 - - -\nChords: F Bb | F", "Tempo: 72", key="F"
    )
    done = arrange(tune, Style(1, texture=Texture.BLOCK), explained=False)
    assert right(done) == "A3:3/2 C4:3/2 F4:2 Bb4:2"
