"""The plagal Amen: its notes in every key, its minor, its places and its words."""

import music21  # noqa: TID251 (the oracle of the tests)
import pytest
from makers.forms import formed, joints_off, never
from makers.scores import arrange, make_tune
from oracles.music21_reading import foreign, typed
from oracles.promises import broken_promises

from harmonise.form.plan import LastVerse, SongForm
from harmonise.form.verses import amen
from harmonise.theory.arrangement import Arrangement, Hand, HarmonicRhythm, Style, Voice
from harmonise.theory.key import Mode, key_of_signature

RIGHT = (("E4", "G4", "C5"), ("F4", "A4", "C5"), ("E4", "G4", "C5"))
"""The right hand's chords in C, tune on top (common practice)."""
LEFT = ("C3", "F2", "C3")
CHORAL = Style(harmonic_rhythm=HarmonicRhythm.HALF_BAR)


def verse_in(
    key: str, last: str, time: str = "4/4", style: Style = CHORAL
) -> Arrangement:
    """Return a hymn of one note, the keynote."""
    length = {"4/4": "4", "3/4": "3", "2/2": "4", "6/8": "3"}[time]
    tune = make_tune(f"{last}:{length}", key=key, time=time)
    tonic = key.split(maxsplit=1)[0] + ("m" if "minor" in key else "")
    return arrange(tune, f"{tonic}:{length}", style=style)


def sounding(done: Arrangement, hand: Hand) -> list[tuple[str, ...]]:
    """Return what a hand plays or holds at the start of each chord, lowest first."""
    return [
        tuple(
            str(note.pitch)
            for note in sorted(done.notes, key=lambda own: own.pitch.midi)
            if note.hand is hand and note.onset <= slot.onset < note.onset + note.length
        )
        for slot in done.slots
    ]


def test_the_amen_in_c_has_the_notes_of_the_books() -> None:
    done = amen(verse_in("C", "C5"))
    assert tuple(sounding(done, Hand.RIGHT)) == RIGHT
    assert [names for (names,) in sounding(done, Hand.LEFT)] == list(LEFT)
    assert [slot.numeral for slot in done.slots] == ["I", "IV", "I"]


@pytest.mark.parametrize("signature", range(-6, 7))
def test_the_amen_in_every_key_is_that_in_c_transposed_by_music21(
    signature: int,
) -> None:
    tonic = str(key_of_signature(signature, Mode.MAJOR).tonic)
    step = music21.interval.Interval(
        music21.pitch.Pitch("C5"), music21.pitch.Pitch(f"{foreign(tonic)}5")
    )

    def moved(name: str) -> str:
        pitch = music21.pitch.Pitch(name).transpose(step)
        # Keynotes above E5 have their Amen an octave lower.
        down = 1 if step.semitones > 4 else 0
        return f"{typed(pitch.name)}{(pitch.octave or 0) - down}"

    last = f"{tonic}{5 if step.semitones <= 4 else 4}"
    done = amen(verse_in(tonic, last))
    assert sounding(done, Hand.RIGHT) == [tuple(map(moved, row)) for row in RIGHT]
    bass = [names[0].rstrip("0123456789") for names in sounding(done, Hand.LEFT)]
    assert bass == [moved(name).rstrip("0123456789") for name in LEFT]


def test_the_amen_of_a_minor_tune_is_minor() -> None:
    done = amen(verse_in("A minor", "A4"))
    assert [slot.numeral for slot in done.slots] == ["i", "iv", "i"]
    assert sounding(done, Hand.RIGHT)[1] == ("D4", "F4", "A4")


def test_the_last_chord_of_a_minor_amen_can_be_major() -> None:
    done = amen(verse_in("A minor", "A4"), major=True)
    assert [str(slot.chord) for slot in done.slots] == ["Am", "Dm", "A"]
    assert "C#4" in sounding(done, Hand.RIGHT)[2]


def test_the_tune_of_the_amen_stays_on_the_keynote() -> None:
    done = amen(verse_in("G", "B4"))
    sung = [
        (str(note.pitch), note.syllables[0].text)
        for note in done.tune.notes
        if note.syllables[0]
    ]
    assert sung == [("G4", "A"), ("G4", "men.")]


@pytest.mark.parametrize(
    ("time", "rhythm", "lengths"),
    [
        ("4/4", HarmonicRhythm.HALF_BAR, [2, 2, 4]),
        ("4/4", HarmonicRhythm.BAR, [4, 4, 4]),
        ("3/4", HarmonicRhythm.HALF_BAR, [3, 3, 3]),
        ("3/4", HarmonicRhythm.BEAT, [1, 2, 3]),
        ("2/2", HarmonicRhythm.BEAT, [2, 2, 4]),
    ],
)
def test_the_chords_of_the_amen_change_where_the_rhythm_lets_them(
    time: str, rhythm: HarmonicRhythm, lengths: list[int]
) -> None:
    verse = verse_in("C", "C5", time, Style(harmonic_rhythm=rhythm))
    done = amen(verse)
    assert [slot.length for slot in done.slots] == lengths
    assert sum(lengths) == done.tune.end


def test_fingers_are_printed_in_the_amen_where_they_were_asked_for() -> None:
    done = amen(verse_in("C", "C5", style=CHORAL._replace(fingering=True)))
    assert all(note.finger for note in done.notes if note.voice is Voice.INNER)


def test_the_amen_follows_the_last_verse_in_its_new_key() -> None:
    form = SongForm(verses=2, amen=True, last_verse=(LastVerse.TONE,))
    done = formed("old_hundredth", form)
    assert [str(slot.chord) for slot in done.slots[-3:]] == ["A", "D", "A"]
    assert joints_off(done) == []
    assert broken_promises(done, inversions=True) == []
    assert never(done) == []
