"""What the page asks a learner to play, against MIDI files and against the marker."""

import io
from fractions import Fraction
from typing import Any

import mido
import pytest
from makers.scripts import script_of
from makers.visitor import Visitor, names, tune
from oracles.full_marks import assert_full

from harmonise.lessons.drills import DRILLS
from harmonise.marking.mark import mark
from harmonise.marking.tasks import task_of_tune
from harmonise.notation.formats import parse_tunes
from harmonise.page.practice import steps
from harmonise.theory.arrangement import Hand, Style
from harmonise.theory.pitch import HIGHEST


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


def struck(content: bytes) -> dict[float, list[int]]:
    """Return when keys go down in a MIDI file, in crotchets, and which."""
    file = mido.MidiFile(file=io.BytesIO(content))
    found: dict[float, list[int]] = {}
    for track in file.tracks:
        now = 0
        for event in track:
            now += event.time
            if event.type == "note_on" and event.velocity:
                found.setdefault(now / file.ticks_per_beat, []).append(event.note)
    return {at: sorted(keys) for at, keys in sorted(found.items())}


def wanted(practice: Any) -> dict[float, list[int]]:  # noqa: ANN401 - JSON
    return {
        step["at"]: sorted(key["wanted"] for key in step["down"])
        for step in practice["steps"]
    }


def near(found: dict[float, list[int]]) -> list[tuple[float, list[int]]]:
    return [(round(at, 2), keys) for at, keys in found.items()]


@pytest.mark.parametrize("name", names())
def test_what_is_asked_of_a_tune_is_what_its_midi_file_plays(
    visitor: Visitor, name: str
) -> None:
    asked = {**tune(name), "settings": {"level": "3"}}
    played = struck(visitor.ask("/file", {**asked, "kind": "midi"}).content)
    practice = visitor.told("/practice", asked)
    if "|:" in str(tune(name)) or ":|" in str(tune(name)):
        # A file plays repeats out, and practice goes once through the page.
        first = min(len(played), len(practice["steps"]) // 2)
        assert near(wanted(practice))[: first // 2] == near(played)[: first // 2]
    else:
        assert near(wanted(practice)) == near(played)


@pytest.mark.parametrize("drill", [row.name for row in DRILLS])
def test_what_is_asked_of_a_drill_is_what_its_midi_file_plays(
    visitor: Visitor, drill: str
) -> None:
    key = "C minor" if drill == "D3" else "Eb"
    asked = {"names": [drill], "keys": [key], "kind": "midi"}
    played = struck(visitor.ask("/drill", asked).content)
    practice = visitor.told("/practice-drill", {"drill": drill, "key": key})
    assert near(wanted(practice)) == near(played)
    # README: the practice plan goes from 60 to 92 in steps of 6.
    assert practice["tempos"] == [60, 66, 72, 78, 84, 90, 92]
    drawn = "".join(line["markup"] for line in practice["svg"])
    heads = [name for step in practice["steps"] for key in step["down"]
             for name in key["ids"]]  # fmt: skip
    assert all(f'id="{name}"' in drawn for name in heads)


@pytest.mark.parametrize("name", ["ferry_steps", "kitchen_clock", "boat_round"])
def test_the_marker_hears_no_fault_in_keys_that_are_right_here(name: str) -> None:
    """The whole left hand an octave lower: right here, and full marks there."""
    body: Any = tune(name)
    task = task_of_tune(parse_tunes(body["source"]["text"].encode())[0], Style(level=2))
    accepted = {
        (step.at, key.wanted): key.keys
        for step in steps(task.model, ((),) * len(task.model.notes))
        for key in step.down
    }
    low = []
    for note in task.model.notes:
        keys = accepted[float(note.onset), note.pitch.midi]
        if note.hand is Hand.LEFT:
            assert note.pitch.midi - 12 in keys
            pitch = note.pitch._replace(octave=note.pitch.octave - 1)
            low.append(note._replace(pitch=pitch))
        else:
            # Of the tune and the right hand no other octave is right.
            assert keys == (note.pitch.midi,)
            low.append(note)
    script = script_of(task.model._replace(notes=tuple(low)))
    assert_full(mark(script, task))


def test_the_left_hand_stays_below_and_its_bass_at_the_bottom(
    visitor: Visitor,
) -> None:
    asked = {**tune("kitchen_clock"), "settings": {"leftHand": "waltz"}}
    for practice in (
        visitor.told("/practice", asked),
        visitor.told("/practice-drill", {"drill": "D9", "key": "G"}),
    ):
        held: list[tuple[float, int]] = []
        for step in practice["steps"]:
            left = [key for key in step["down"] if key["hand"] == "left"]
            right = [key for key in step["down"] if key["hand"] == "right"]
            if right:
                lowest = min(key["wanted"] for key in right)
                assert all(one < lowest for key in left for one in key["keys"])
            held.append((step["at"], len(left)))
            bass = [key["wanted"] for key in left if key["bass"]]
            if len(left) > 1:
                assert bass == [min(key["wanted"] for key in left)]
            else:
                assert bass == []
            for key in left:
                assert {one % 12 for one in key["keys"]} == {key["wanted"] % 12}
                assert all(21 <= one <= HIGHEST for one in key["keys"])
        assert any(count > 1 for _, count in held)


def test_common_tones_stay_where_the_hand_has_them(visitor: Visitor) -> None:
    """I–IV–I–V–I in C from root position, as every method has it (common practice)."""
    practice = visitor.told("/practice-drill", {"drill": "D1", "key": "C"})
    first = practice["steps"][:5]
    stays = [[key["name"] for key in step["down"] if key["stays"]] for step in first]
    assert stays == [[], ["C4"], ["C4"], ["G4"], ["G4"]]
    assert [step["chord"] for step in first] == ["C", "F", "C", "G", "C"]
    assert [(step["bar"], step["beat"]) for step in first] == [
        (1, "1"), (1, "3"), (2, "1"), (2, "3"), (3, "1"),
    ]  # fmt: skip
    assert practice["names"][:2] == ["C", "C#"]
    assert Fraction(practice["beat"]) * practice["beats"] == 4


def test_a_drill_that_there_is_not_is_told(visitor: Visitor) -> None:
    error = visitor.refused("/practice-drill", {"drill": "D3", "key": "C major"}, 422)
    assert "is a drill for minor keys" in str(error["sentence"])
