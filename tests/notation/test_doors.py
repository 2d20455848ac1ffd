"""The same tune through every door has the same lines and sections, so equal chords."""

from collections.abc import Callable
from pathlib import Path

import pytest

from harmonise.arranging.job import arrange
from harmonise.notation.abc.abc_writer import format_abc
from harmonise.notation.formats import parse_tunes
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.musicxml.writer import format_lead_sheet, format_musicxml
from harmonise.notation.solfa.solfa import format_solfa, played_out
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.theory.arrangement import Style
from harmonise.theory.key import Mode
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))


def in_numbers(tune: Tune) -> str:
    return format_tune_text(tune, numbers=True)


def in_score(tune: Tune) -> bytes:
    return format_musicxml(arrange(tune, Style(level=2)))


def in_lead_sheet(tune: Tune) -> bytes:
    return format_lead_sheet(arrange(tune, Style(level=2)))


DOORS: dict[str, Callable[[Tune], str | bytes]] = {
    "letters": format_tune_text,
    "numbers": in_numbers,
    "sol-fa": format_solfa,
    "ABC": format_abc,
    "MusicXML": in_score,
    "lead sheet": in_lead_sheet,
}


def through(tune: Tune, door: str) -> Tune:
    """Return what is read of a tune as it is written in a format."""
    written = DOORS[door](tune)
    data = written.encode() if isinstance(written, str) else written
    (read,) = parse_tunes(data)
    return read


def sections(tune: Tune) -> list[object]:
    """Return where sections begin and end; the end of the tune is none."""
    return [
        (
            (bar.start, bar.repeat_start, bar.repeat_end, bar.ending, bar.section),
            bar.double and bar.end < tune.end,
        )
        for bar in tune.bars
    ]


def notes(tune: Tune) -> list[object]:
    return [(own.onset, own.length, own.pitch, own.syllables) for own in tune.notes]


def chords(tune: Tune) -> list[object]:
    return [
        (slot.onset, slot.end, slot.chord)
        for level in (1, 3, 4)
        for slot in arrange(tune, Style(level), explained=False).slots
    ]


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
@pytest.mark.parametrize("door", DOORS)
def test_a_tune_is_the_same_through_every_door(path: Path, door: str) -> None:
    (tune,) = parse_tunes(path.read_bytes())
    repeated = any(bar.repeat_end > 1 for bar in tune.bars)
    if door == "sol-fa" and repeated:
        tune = played_out(tune)  # Sol-fa has no repeat signs.
    read = through(tune, door)
    assert notes(read) == notes(tune)
    assert read.phrases == tune.phrases
    assert sections(read) == sections(tune)
    assert chords(read) == chords(tune)


# A line and a half, a section that ends inside a line, and no line end but the last.
ONE_LINE = "Key: G\nTime: 3/4\n|: G A B | A - D :| B A G || A - F# | G - -\n"
MID_LINE = "Key: G\nTime: 3/4\nG A B | A - D |\n|: B A G :| A - F# | G - -\n"
LONG_LINE = "Key: G\nTime: 3/4\n" + "G A B | A - D | B A G | A - F# | " * 3 + "\n"


@pytest.mark.parametrize("text", [ONE_LINE, MID_LINE, LONG_LINE])
@pytest.mark.parametrize("door", DOORS)
def test_lines_are_those_typed_wherever_sections_end(text: str, door: str) -> None:
    (tune,) = parse_tunes(text.encode())
    tune = played_out(tune) if door == "sol-fa" else tune
    read = through(tune, door)
    assert read.phrases == tune.phrases
    assert sections(read) == sections(tune)


@pytest.mark.parametrize("door", DOORS)
def test_a_tempo_in_words_comes_through_every_door(door: str) -> None:
    text = "Key: G\nTime: 6/8\nTempo: {}\nG - - B - - | A - - D - - |\nG - - - - - |\n"
    for told in ("With love", "Slowly 1/8 = 100", "40"):
        (tune,) = parse_tunes(text.format(told).encode())
        assert through(tune, door).tempos == tune.tempos


NAMED = """\
Title: Mill song
Composer: Adam Miller
Key: G
Section: Verse
G A B D5 | C5 B A - |
Section: Chorus
B - G - | A F# G - |
"""


@pytest.mark.parametrize("door", DOORS)
def test_composer_and_sections_come_through_every_door(door: str) -> None:
    (tune,) = parse_tunes(NAMED.encode())
    read = through(tune, door)
    assert (read.title, read.composer) == ("Mill song", "Adam Miller")
    assert sections(read) == sections(tune)


def test_composer_and_sections_come_through_midi() -> None:
    (tune,) = parse_tunes(NAMED.encode())
    (read,) = parse_tunes(format_midi(arrange(tune, Style(level=2))))
    assert (read.title, read.composer) == ("Mill song", "Adam Miller")
    assert sections(read) == sections(tune)


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_a_tune_is_the_same_through_midi_as_far_as_midi_can_say(path: Path) -> None:
    """MIDI has no repeats, words or double bars, and no modes but major and minor."""
    (tune,) = parse_tunes(path.read_bytes())
    tune = played_out(tune)
    (read,) = parse_tunes(format_midi(arrange(tune, Style(level=2))))
    assert [note[:3] for note in read.sounding] == [n[:3] for n in tune.sounding]
    assert read.phrases == tune.phrases
    assert [bar.section for bar in read.bars] == [bar.section for bar in tune.bars]
    if tune.key.mode in (Mode.MAJOR, Mode.MINOR):
        assert chords(read) == chords(tune)


@pytest.mark.parametrize("lines", ["4 8", "8 4 16", "0 16", "4 x 16", "16 16", "-4 16"])
def test_lines_of_a_score_that_was_changed_are_found_anew(lines: str) -> None:
    (tune,) = parse_tunes(b"C D E F | G A B C5 | C5 B A G | F D C - |")
    data = in_score(tune).replace(b">16<", f">{lines}<".encode())
    assert f'"lines-end">{lines}<'.encode() in data
    (read,) = parse_tunes(data)
    assert list(map(str, read.phrases)) == ["16"]


def test_one_long_line_of_abc_is_cut_where_the_tune_breathes() -> None:
    bars = "GABc|d2B2|c2A2|G4|" * 2
    (tune,) = parse_tunes(f"X:1\nM:4/4\nL:1/4\nK:G\n{bars}\n".encode())
    assert [str(end) for end in tune.phrases] == ["16", "32"]
    told = f"X:1\nM:4/4\nL:1/4\nI:linebreak <EOL>\nK:G\n{bars}\n"
    (tune,) = parse_tunes(told.encode())
    assert [str(end) for end in tune.phrases] == ["32"]
