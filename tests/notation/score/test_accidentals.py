import pytest

from harmonise.notation.score.note_marks import StaffMemory
from harmonise.theory.key import parse_key
from harmonise.theory.pitch import parse_pitch


def signs(key: str, notes: str) -> str:
    """Return what stands before each note; "-" is nothing, brackets are courtesy.

    Bar lines are "|"; "~" in front of a note ties it over the one before.
    """
    memory = StaffMemory()
    memory.enter_key(parse_key(key))
    found = []
    for bar in notes.split(" | "):
        tokens = bar.split()
        memory.enter_bar(parse_pitch(own[1:]) for own in tokens if own[0] == "~")
        for token in tokens:
            sign = memory.strike(parse_pitch(token)) if token[0] != "~" else None
            shown = sign.name if sign else "-"
            found.append(f"({shown})" if sign and sign.courtesy else shown)
    return " ".join(found)


# Common practice.
@pytest.mark.parametrize(
    ("key", "notes", "wanted"),
    [
        pytest.param("G", "F#4 F#5 G4", "- - -", id="in the signature"),
        pytest.param("C", "F#4 F#4 F4", "sharp - natural", id="lasts to the bar line"),
        pytest.param("C", "F#4 F#5", "sharp sharp", id="not in another octave"),
        pytest.param("C", "F#4 F5", "sharp (natural)", id="courtesy across octaves"),
        pytest.param("C", "F#4 | F4", "sharp (natural)", id="courtesy in the next bar"),
        pytest.param("C", "F#4 | G4 | F4", "sharp - -", id="not two bars later"),
        pytest.param("C", "F#4 | F5", "sharp -", id="next bar, other octave"),
        pytest.param("C", "F#4 | F#4", "sharp sharp", id="again in the next bar"),
        pytest.param("C", "F#4 | ~F#4 G4", "sharp - -", id="tied over the line"),
        pytest.param("C", "F#4 | ~F#4 F#4", "sharp - sharp", id="struck after a tie"),
        pytest.param("C", "F#4 | ~F#4 F4", "sharp - (natural)", id="after a tie"),
        pytest.param(
            "C", "F#4 | ~F#4 | ~F#4 F4", "sharp - - (natural)", id="after two ties"
        ),
        pytest.param(
            "A minor", "G#4 A4 | G#4", "sharp - sharp", id="raised 7th in each bar"
        ),
        pytest.param("A minor", "G#4 | G4", "sharp (natural)", id="natural 7th after"),
        pytest.param("G# minor", "F##4 F#4", "double-sharp sharp", id="double sharp"),
        pytest.param("F", "B4 Bb4 | Bb4", "natural flat -", id="flat comes back"),
        pytest.param("F", "B4 | Bb4", "natural (flat)", id="courtesy flat"),
        pytest.param("Cb", "Cb5 C5", "- natural", id="seven flats"),
    ],
)
def test_accidentals_follow_key_bar_and_octave(
    key: str, notes: str, wanted: str
) -> None:
    assert signs(key, notes) == wanted


def test_a_new_key_changes_what_needs_an_accidental() -> None:
    memory = StaffMemory()
    memory.enter_key(parse_key("C"))
    assert memory.strike(parse_pitch("F#4")) is not None
    memory.enter_key(parse_key("G"))
    assert memory.strike(parse_pitch("F#4")) is None
