"""The lead sheet: valid, read back as the tune, and large enough on paper."""

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from makers.chart_tunes import TUNES, TWO_VERSES, arranged, typed
from makers.profiles import spread
from makers.score_dice import random_arrangement
from oracles.engraved_reader import heads, size, texts
from oracles.page_reader import (
    accidental_faults,
    beam_faults,
    length_faults,
    marks_of,
    tuplet_faults,
)
from oracles.score_reader import read_notes, read_symbols, schema_faults

from harmonise import arrange, read_tune
from harmonise.notation.musicxml.writer import (
    format_lead_sheet,
    format_musicxml,
    format_vocal_score,
)
from harmonise.notation.outputs import Output, Sheet, format_output
from harmonise.notation.paper.blocks import Music, Page, Title
from harmonise.notation.paper.score_sheet import (
    congregation_blocks,
    lead_sheet_blocks,
    score_blocks,
)
from harmonise.notation.score.score_plan import plan_lead_sheet, plan_score
from harmonise.theory.arrangement import Arrangement, Labels, Style, Voice


def words_of(arrangement: Arrangement) -> list[list[tuple[int, str]]]:
    """Return verse and text of the syllables of every struck note."""
    return [
        [(verse, own.text) for verse, own in enumerate(note.syllables, 1) if own]
        for note in arrangement.tune.sounding
    ]


def assert_reads_as_the_tune(arrangement: Arrangement) -> None:
    """Assert that music21 reads the tune, its words and its symbols, and no more."""
    sheet = format_lead_sheet(arrangement)
    tune, others = read_notes(sheet)
    assert others == []
    sung = arrangement.tune.sounding
    assert [own[:3] for own in tune] == [(n.onset, n.length, n.pitch) for n in sung]
    words = [[(verse, text) for verse, _, text in own.words] for own in tune]
    assert words == words_of(arrangement)
    assert read_symbols(sheet) == read_symbols(format_musicxml(arrangement))
    assert schema_faults(sheet) == []


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_every_lead_sheet_is_valid_and_reads_back_as_its_tune(path: Path) -> None:
    # Outside checks: the MusicXML 4.0 schema, and music21 10.5.1 as the reader.
    assert_reads_as_the_tune(arrange(read_tune(path)))


def test_two_verses_and_the_refrain_read_back_with_their_words() -> None:
    made = typed(TWO_VERSES)
    assert_reads_as_the_tune(made)
    assert [own for own in words_of(made) if len(own) == 2][:3] == [
        [(1, "O"), (2, "The")],
        [(1, "come"), (2, "eve")],
        [(1, "with"), (2, "ning")],
    ]


def test_symbols_stand_where_chords_change() -> None:  # N04
    # Read by ear and by hand: bars 1 to 8 of the tune, its pickup without a chord.
    found = read_symbols(format_lead_sheet(arranged("auld_lang_syne")))
    assert [(int(at), root) for at, root, _ in found] == [
        *[(1, "F"), (5, "C"), (9, "F"), (13, "Bb"), (17, "F")],
        *[(21, "C"), (25, "F"), (27, "Bb"), (28, "C"), (29, "F")],
    ]


@pytest.mark.parametrize("seed", range(0, 200, 20))
def test_random_lead_sheets_are_valid_and_playable(seed: int) -> None:
    for own in spread(range(seed, seed + 20), 8):
        made = random_arrangement(own)
        sheet = format_lead_sheet(made)
        marks = marks_of(sheet)
        assert schema_faults(sheet) == [], own
        assert length_faults(marks) + beam_faults(marks) == [], own
        assert tuplet_faults(marks) == [], own
        if len(made.tune.keys) == 1:
            assert accidental_faults(sheet) == [], own


def test_there_is_one_treble_staff_and_nothing_of_the_hands() -> None:
    style = {"fingering": True, "labels": Labels.WORDS, "numerals": True}
    root = ET.fromstring(format_lead_sheet(typed(TWO_VERSES, **style)))  # noqa: S314
    assert [own.text for own in root.findall(".//staves")] == ["1"]
    assert [own.text for own in root.findall(".//clef/sign")] == ["G"]
    assert {own.text for own in root.findall(".//note/staff")} == {"1"}
    assert {own.text for own in root.findall(".//note/voice")} == {"1"}
    assert root.findall(".//backup") == root.findall(".//fingering") == []
    assert {own.get("number") for own in root.findall(".//lyric")} == {"1", "2"}


def test_repeats_endings_and_tempo_are_those_of_the_tune() -> None:
    root = ET.fromstring(format_lead_sheet(arranged("kitchen_clock")))  # noqa: S314
    signs = [
        (measure.get("number"), sign.get("direction"))
        for measure in root.iter("measure")
        for sign in measure.iter("repeat")
    ]
    assert signs == [("1", "forward"), ("7", "backward")]
    endings = [(own.get("number"), own.get("type")) for own in root.iter("ending")]
    assert endings == [
        *[("1", "start"), ("1", "stop"), ("2", "start"), ("2", "discontinue")]
    ]
    assert [own.get("tempo") for own in root.iter("sound")] == ["92"]


def test_notes_keep_the_ids_of_the_score_for_two_hands() -> None:
    made = arranged("morning_steps")
    tune = {f"n{at}" for at, own in enumerate(made.notes) if own.voice is Voice.TUNE}
    notes = marks_of(format_lead_sheet(made))
    struck = [own for own in notes if own.note.find("pitch") is not None]
    assert {str(own.note.get("id")).partition("-")[0] for own in struck} == tune


def printed(
    done: Arrangement, ending: str, page: Page | None = None
) -> tuple[bytes, ...]:
    return format_output(done, ending, Output(Sheet.LEAD, page))


def test_the_same_arrangement_gives_the_same_bytes() -> None:
    first = format_lead_sheet(typed(TWO_VERSES))
    assert format_lead_sheet(typed(TWO_VERSES)) == first
    pdf = printed(typed(TWO_VERSES), ".pdf")
    assert printed(typed(TWO_VERSES), ".pdf") == pdf


def symbol_points(page: Page, staff: float) -> float:
    """Return the height of printed chord symbols in points."""
    blocks = lead_sheet_blocks(arranged("auld_lang_syne"), page)
    system = next(block.system for block in blocks if isinstance(block, Music))
    box = next(own for own in texts(system, bold=True) if own.text == "F")
    # Letters are boxed at 0.7 of their size; a staff is 720 high.
    return (box.bottom - box.top) / 0.7 / 720 * staff * 72 / 25.4


def test_symbols_can_be_read_at_arms_length() -> None:
    # From memory: print for reading at 70 cm is set in 14 points and more.
    assert symbol_points(Page(), 8) >= 14
    assert symbol_points(Page(large_print=True), 9.5) >= 18


def test_symbols_are_bold() -> None:
    (title, *music) = lead_sheet_blocks(arranged("auld_lang_syne"))
    assert isinstance(title, Title)
    for block in music:
        assert isinstance(block, Music)
        assert ".harm{font-weight:bold}" in block.system.svg


def test_the_page_holds_title_symbols_and_all_verses() -> None:
    svg = printed(typed(TWO_VERSES), ".svg")[0].decode()
    ET.fromstring(svg)  # noqa: S314 - our own file
    shown = set(re.findall(r">([^<>]+)<", svg))
    assert {"The Long Road", "Fm7", "Cm", "come", "eve", "dear."} <= shown


def test_pictures_have_one_page_each() -> None:
    pages = printed(arranged("the_bucket"), ".png", Page(large_print=True))
    assert len(pages) == 1
    assert pages[0].startswith(b"\x89PNG")


def test_style_of_the_hands_changes_nothing() -> None:
    plain = format_lead_sheet(typed(TWO_VERSES))
    fancy = typed(TWO_VERSES)._replace(style=Style(fingering=True, numerals=False))
    assert format_lead_sheet(fancy) == plain


@pytest.mark.parametrize("name", ["old_hundredth", "auld_lang_syne"])
def test_a_congregation_has_tune_and_words_alone_and_large(name: str) -> None:
    done = arranged(name)
    lines = [own for own in congregation_blocks(done) if isinstance(own, Music)]
    lead = [own for own in lead_sheet_blocks(done) if isinstance(own, Music)]
    found = [box for line in lines for box in texts(line.system)]
    assert {box.kind for box in found} <= {"syl", "reh", "mNum"}
    sung = {own.text for note in done.tune.notes for own in note.syllables if own}
    said = {box.text.split("\u00a0")[-1] for box in found if box.kind == "syl"}
    assert sung <= said
    drawn = sum(line.system.svg.count('class="notehead"') for line in lines)
    assert drawn == sum(line.system.svg.count('class="notehead"') for line in lead)

    def letters(music: list[Music]) -> float:
        """Return the height of a word's letters in millimetres."""
        system = music[0].system
        word = next(box for box in texts(system) if box.kind == "syl")
        return (word.bottom - word.top) / size(system)[1] * system.height

    # Hymn books for reading at a distance have capitals of 4 mm and more.
    assert letters(lines) > max(4, letters(lead))


@pytest.mark.parametrize("name", ["old_hundredth", "bobby_shafto"])
def test_a_vocal_score_has_the_tune_with_words_above_the_piano(name: str) -> None:
    done = arranged(name)
    lines = [own for own in score_blocks(done, vocal=True) if isinstance(own, Music)]
    named = [head for line in lines for head in heads(line.system)]
    tune = sorted({own.name for own in named if own.staff == 1})
    piano = {own.name.split("-")[0] for own in named if own.staff > 1}
    # Every sounding note is there for the piano, and the tune's once more above it.
    assert piano == {f"n{at}" for at in range(len(done.notes))}
    assert all(own.startswith("v") for own in tune)
    pitches = [done.notes[int(re.findall(r"\d+", own)[0])].voice for own in tune]
    assert set(pitches) == {Voice.TUNE}
    for line in lines:
        staves = re.findall(r'class="staff"><path d="M-?\d+ (-?\d+)', line.system.svg)
        voice, right, _ = sorted({int(top) for top in staves})
        words = [box for box in texts(line.system) if box.kind == "syl"]
        numerals = [box for box in words if box.top > right]
        assert all(voice < box.top < right for box in words if box not in numerals)
        symbols = [box for box in texts(line.system) if box.kind == "harm"]
        assert all(box.bottom < voice for box in symbols)
    sung = {own.text for note in done.tune.notes for own in note.syllables if own}
    said = {box.text.split("\u00a0")[-1] for m in lines for box in texts(m.system)}
    assert sung <= said


def test_a_vocal_score_is_valid_and_no_id_stands_twice() -> None:
    # Outside check: the MusicXML 4.0 schema.
    done = arranged("old_hundredth")
    score = format_vocal_score(plan_lead_sheet(done), plan_score(done))
    assert schema_faults(score) == []
    names = re.findall(r'(?<![\w-])id="([^"]+)"', score.decode())
    parts = [name for name in names if name.startswith("P")]
    assert parts == ["P1", "P2", "P1", "P2"]
    others = [name for name in names if name not in parts]
    assert len(others) == len(set(others))
