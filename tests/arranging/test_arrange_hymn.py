"""A hymn on the page: two voices on each staff, stems apart, as music21 reads them."""

from pathlib import Path

import pytest
from music21 import converter  # noqa: TID251 (the outside check)

from harmonise.arranging.job import arrange
from harmonise.notation.formats import read_tune
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.spoken.spoken_reading import parse_spoken
from harmonise.notation.spoken.spoken_score import format_spoken
from harmonise.rules.score_view import Grade
from harmonise.rules.table import check
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    Arrangement,
    Hand,
    HarmonicRhythm,
    Style,
    Texture,
    Voice,
)

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
PARTS = {
    ("1", "up"): (Hand.RIGHT, Voice.TUNE),
    ("2", "down"): (Hand.RIGHT, Voice.INNER),
    ("4", "up"): (Hand.LEFT, Voice.INNER),
    ("5", "down"): (Hand.LEFT, Voice.BASS),
}


def hymn(path: Path, level: int = 4) -> Arrangement:
    return arrange(read_tune(path), Style(level, texture=Texture.HYMN))


def printed(arrangement: Arrangement) -> dict[tuple[str, str], list[tuple[float, str]]]:
    """Return onset and name of every struck note by voice and stem."""
    score = converter.parseData(format_musicxml(arrangement), format="musicxml")
    found: dict[tuple[str, str], list[tuple[float, str]]] = {}
    for voice in score.recurse().getElementsByClass("Voice"):
        for note in voice.notes:
            if note.tie is None or note.tie.type == "start":
                onset = float(note.getOffsetInHierarchy(score))
                name = note.nameWithOctave.replace("-", "b")
                stem = note.stemDirection
                if stem == "unspecified":  # A semibreve has none.
                    stem = {"1": "up", "2": "down", "4": "up", "5": "down"}[voice.id]
                found.setdefault((voice.id, stem), []).append((onset, name))
    return {key: sorted(own) for key, own in found.items()}


def test_music21_reads_four_voices_with_stems_apart() -> None:
    path = next(path for path in TUNES if path.stem == "old_hundredth")
    arrangement = hymn(path)
    wanted = {
        key: sorted(
            (float(n.onset), str(n.pitch))
            for n in arrangement.notes
            if (n.hand, n.voice) == part
        )
        for key, part in PARTS.items()
    }
    assert printed(arrangement) == wanted


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
@pytest.mark.parametrize("level", [AUTO_LEVEL, 4])
def test_no_hymn_has_a_fault_that_must_never_be(path: Path, level: int) -> None:
    arrangement = hymn(path, level)
    assert arrangement.style.harmonic_rhythm is HarmonicRhythm.BEAT
    assert [f for f in check(arrangement) if f.grade is Grade.NEVER] == []


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_the_spoken_hymn_is_read_back(path: Path) -> None:
    arrangement = hymn(path)
    rows = [
        (n.onset, n.length, n.pitch, n.hand, n.voice)
        for n in parse_spoken(format_spoken(arrangement))
    ]
    wanted = [(n.onset, n.length, n.pitch, n.hand, n.voice) for n in arrangement.notes]
    assert sorted(rows, key=str) == sorted(wanted, key=str)


def test_every_slot_says_the_chord_that_its_bass_makes() -> None:
    arrangement = hymn(TUNES[0])
    for slot in arrangement.slots:
        if slot.chord is None:
            continue
        low = next(
            n
            for n in arrangement.notes
            if n.voice is Voice.BASS and n.onset <= slot.onset < n.onset + n.length
        )
        assert low.pitch.name == slot.chord.bass
        assert slot.reason
