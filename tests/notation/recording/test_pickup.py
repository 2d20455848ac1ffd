"""Old tunes, read as if none had a pickup, are asked about where one fits better."""

from fractions import Fraction

import pytest
from makers.corpus import tunes_of

from harmonise.notation.midi.placing import Placed
from harmonise.notation.midi.tracks import PlayedNote
from harmonise.notation.recording.pickup import likely_pickup
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Tune


def placed(tune: Tune) -> list[Placed]:
    return [
        Placed(note.onset, note.end, PlayedNote(0, 1, note.pitch.midi, 0))
        for note in tune.sounding
        if note.pitch
    ]


def test_of_old_tunes_half_the_pickups_are_found_and_few_are_asked_wrongly() -> None:
    pairs = []
    for tune in tunes_of("essenFolksong", 83, 100):
        first, time = tune.bars[0], tune.bars[0].time
        whole = len({bar.time for bar in tune.bars}) == 1 and time.beats < 10
        true = first.length / time.unit if first.offset else Fraction(0)
        starts_at_once = bool(tune.notes and tune.notes[0].pitch)
        if whole and true.denominator == 1 and starts_at_once:
            pairs.append((true, likely_pickup(placed(tune), time)))
    asked = [(true, told) for true, told in pairs if told]
    right = sum(true == told for true, told in asked)
    assert len(pairs) > 50
    assert right >= 0.7 * len(asked)
    assert right >= 0.4 * sum(true > 0 for true, _ in pairs)


@pytest.mark.parametrize("time", [TimeSignature(3, 4), TimeSignature(4, 4)])
def test_even_notes_speak_for_no_pickup(time: TimeSignature) -> None:
    notes = [
        Placed(Fraction(at), Fraction(at + 1), PlayedNote(0, 1, 60, 0))
        for at in range(time.beats * 4)
    ]
    assert likely_pickup(notes, time) == 0
