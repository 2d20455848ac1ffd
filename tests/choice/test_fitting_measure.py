"""How agreement with human chords is measured: labelled tunes, beats, chorales."""

from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import music21  # noqa: TID251 (its corpus is the outside check)
import pytest
from fitting.as_tune import as_tune, key_of, spell
from fitting.chorales import agreement, compare
from fitting.measure import harmonise, share_of_two_best, share_right_where

from harmonise.theory.arrangement import Style
from harmonise.theory.key import parse_key

CHORALES = Path(music21.__file__).parent / "corpus" / "bach"


def beat(at: int, human: tuple[int, str] | None) -> SimpleNamespace:
    return SimpleNamespace(
        start=Fraction(at), position=(at - 1) % 4, human=human, weight=1.0
    )


def labelled() -> SimpleNamespace:
    """Return a pickup and three bars in G with the chords G, D and G."""
    midi = [62, 67, 71, 74, 71, 69, 66, 69, 66, 67, 67, 67, None]
    chords = [None, *[(7, "M")] * 4, *[(2, "M")] * 4, *[(7, "M")] * 4]
    return SimpleNamespace(
        id="own",
        keys=[(Fraction(0), 7, "major")],
        bars=[
            (Fraction(0), Fraction(1), (4, 4), True),
            (Fraction(1), Fraction(4), (4, 4), False),
            (Fraction(5), Fraction(4), (4, 4), False),
            (Fraction(9), Fraction(4), (4, 4), True),
        ],
        notes=[(Fraction(k), Fraction(1), note) for k, note in enumerate(midi)],
        beats=[beat(k, chord) for k, chord in enumerate(chords)],
    )


def test_a_labelled_tune_keeps_notes_bars_and_sections() -> None:
    tune = as_tune(labelled())
    assert [n.pitch.midi if n.pitch else None for n in tune.notes] == [
        note[2] for note in labelled().notes
    ]
    assert [bar.number for bar in tune.bars] == [0, 1, 2, 3]
    assert tune.bars[0].offset == 3
    assert [bar.double for bar in tune.bars] == [False, False, True, False]
    assert str(tune.notes[6].pitch) == "F#4"


@pytest.mark.parametrize(
    ("tonic", "mode", "key"),
    [(1, "major", "Db major"), (8, "minor", "G# minor"), (3, "dorian", "Eb dorian")],
)
def test_a_pitch_class_is_spelled_as_the_key_with_fewest_accidentals(
    tonic: int, mode: str, key: str
) -> None:
    assert str(key_of(tonic, mode)) == key


@pytest.mark.parametrize(
    ("midi", "key", "name"),
    [
        # Common practice: 7 of minor is raised, 7 of major lowered.
        (68, "A minor", "G#4"),
        (66, "A minor", "F#4"),
        (70, "C major", "Bb4"),
        (66, "C major", "F#4"),
        (59, "C major", "B3"),
        (71, "Gb major", "Cb5"),
        # A natural is no sharp or flat of its neighbour: lowered 3, 6 and 2, raised 3.
        (65, "D major", "F4"),
        (72, "E major", "C5"),
        (62, "C# minor", "D4"),
        (64, "C minor", "E4"),
        # The leading note of the 5th stays one.
        (68, "D major", "G#4"),
        (65, "B major", "E#4"),
        (63, "A minor", "D#4"),
        (61, "A minor", "C#4"),
        (61, "D major", "C#4"),
    ],
)
def test_a_midi_number_is_spelled_by_its_key(midi: int, key: str, name: str) -> None:
    assert str(spell(midi, parse_key(key))) == name


def test_chords_are_told_beat_by_beat() -> None:
    found = harmonise(labelled(), Style(1))
    assert len(found.chords()) == 13
    assert found.chords()[1:] == [beat.human for beat in labelled().beats][1:]
    assert share_of_two_best([found]) == 1.0


def test_how_sure_a_choice_is_is_held_against_the_human() -> None:
    found = harmonise(labelled(), Style(1))
    assert share_right_where([found], 0, 1) == 1.0
    # A choice is among the likelier ones, so that none is stated at less than a third.
    assert share_right_where([found], 0, 0.3) == 0.0
    for beat in found.tune.beats:
        beat.human = beat.human and (beat.human[0] + 1, "M")
    assert share_right_where([found], 0, 1) == 0.0


def test_a_chorale_is_compared_beat_by_beat_with_bach() -> None:
    count = compare(CHORALES / "bwv269.mxl")
    assert set(count) <= {"agree", "differ", "undecided"}
    assert count.total() > 40
    assert count["agree"] > count["differ"] > 0


@pytest.mark.slow
def test_our_roots_under_chorale_sopranos_are_often_bachs() -> None:
    # Chance, with seven triads of the key, would be about 0.2; see FIGURES.md.
    same, undecided, chorales = agreement(sorted(CHORALES.glob("bwv*.mxl"))[::40])
    assert chorales >= 10
    assert same > 0.5
    assert undecided < 0.25
