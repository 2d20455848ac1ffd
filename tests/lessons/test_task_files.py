"""Task files: what pupils get to fill in, and what comes back of them from editors.

The round trip through another program is music21's reading and writing, which shares no
code with ours and keeps of a file what its own objects have room for.
"""

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import music21  # noqa: TID251 (the oracle of the tests)
import pytest
from makers.profiles import PROFILE

from harmonise.lessons.drill_copies import DrillCopy, Version
from harmonise.lessons.drill_files import DrillOutput, format_drill
from harmonise.lessons.drill_makers import DrillWish
from harmonise.lessons.drills import exercises
from harmonise.lessons.given_again import sheet_again, tune_for
from harmonise.lessons.identity import (
    FIELD,
    file_identity,
    find_identity,
    identity_of_drill,
)
from harmonise.lessons.task_files import format_task_file
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.marking.given_out import TaskShelf
from harmonise.marking.mark import mark
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import read_points
from harmonise.notation.formats import read_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import Labels, Style
from harmonise.theory.key import parse_key

TUNES = Path(__file__).parents[2] / "tunes"
SHORT = "Title: Short\nKey: G\nTime: 3/4\nD | G - A | B - G | A - F# | G - |\n"
FILLED = (
    SheetKind.VOICES,
    SheetKind.LABELS,
    SheetKind.ACCOMPANY,
    SheetKind.CHOOSE,
    SheetKind.TRANSPOSE,
    SheetKind.SYMBOLS,
    SheetKind.TUNE,
    SheetKind.HEAR,
)


def sheet_of(name: str, kind: SheetKind, version: int = 1) -> Worksheet:
    tune = read_tune(TUNES / f"{name}.txt")
    order = SheetOrder(kind, bars=kind.row.bars)
    return make_sheets(tune, order, version)[-1]


def through_music21(data: bytes, tmp_path: Path) -> bytes:
    """Return a file as music21 writes what it has read of it."""
    before, after = tmp_path / "before.musicxml", tmp_path / "after.musicxml"
    before.write_bytes(data)
    music21.converter.parse(before).write("musicxml", after)
    return after.read_bytes()


PLACES = {
    "field": "identification/miscellaneous/miscellaneous-field",
    "rights": "identification/rights",
    "number": "work/work-number",
}


def only_in(data: bytes, place: str) -> bytes:
    """Return a file that says what it is in one place alone."""
    root = ET.fromstring(data)  # noqa: S314 (our own file)
    for name, path in PLACES.items():
        for element in root.iterfind(path):
            if name != place and "harmonise" in (element.text or ""):
                element.text = ""
    return ET.tostring(root)


def marks(data: bytes) -> tuple[int, int]:
    """Return what a file earns, and of how much, by what it says of itself."""
    shelf = TaskShelf(read_points())
    shelf.add_works([data])
    task = shelf.get(data).task
    assert task
    done = mark(parse_script(data, task.model.tune), task)
    return int(done.got), int(done.worth)


@pytest.mark.parametrize("place", PLACES)
def test_each_place_of_an_identity_is_enough(place: str) -> None:
    sheet = sheet_of("auld_lang_syne", SheetKind.CHOOSE, 2)
    data = only_in(format_task_file(sheet, answers=True), place)
    assert data.count(b"[harmonise task:") == 1
    assert marks(data) == (sheet.marks, sheet.marks)


@pytest.mark.parametrize("kind", FILLED)
def test_a_filled_task_file_needs_no_option(kind: SheetKind, tmp_path: Path) -> None:
    sheet = sheet_of("ferry_steps", kind)
    data = format_task_file(sheet, answers=True)
    assert marks(data) == (sheet.marks, sheet.marks)
    if kind is SheetKind.CHOOSE:
        returned = through_music21(data, tmp_path)
        assert marks(returned) == (sheet.marks, sheet.marks)
        # music21 has no room for the number of a work but in a field of its own.
        for place in ("field", "rights"):
            assert marks(only_in(returned, place)) == (sheet.marks, sheet.marks)


NAMES = sorted(path.stem for path in TUNES.glob("*.txt"))
"""A lock, a pickup, lines that end within a beat and a mode; at night all tunes."""
FEW = ("auld_lang_syne", "the_bucket")


@pytest.mark.parametrize("name", NAMES if PROFILE == "night" else FEW)
def test_every_tune_is_found_again_in_its_task_files(name: str) -> None:
    sheet = sheet_of(name, SheetKind.ACCOMPANY)
    data = format_task_file(sheet)
    for place in PLACES:
        found = find_identity(only_in(data, place))
        assert found
        kept = [found.tune] if found.tune else []
        tune = tune_for(found.identity, data, kept)
        assert tune
        assert sheet_again(found.identity, tune).items == sheet.items


def test_nothing_of_the_answers_stands_in_a_task_file() -> None:
    sheet = sheet_of("morning_steps", SheetKind.CHOOSE)
    root = ET.fromstring(format_task_file(sheet))  # noqa: S314 (our own file)
    notes = [note for note in root.iter("note") if note.find("pitch") is not None]
    piece = sheet.pieces[0]
    given = len(piece.arrangement.notes) - len(piece.hidden)
    assert len(notes) == given
    assert not any(note.get("print-object") for note in root.iter("note"))
    boxes = [words.text for words in root.iter("words") if words.get("enclosure")]
    assert boxes == ["C", *"?" * (len(piece.boxes) - 1)]


def test_the_identity_of_a_sheet_tells_every_choice() -> None:
    tune = parse_tune_text(SHORT)[0]
    order = SheetOrder(SheetKind.LABELS, Style(2), Labels.LETTERS, 4, seed=3)
    sheet = make_sheets(tune, order, 2)[1]
    found = find_identity(format_task_file(sheet))
    assert found
    told = str(found.identity)
    pattern = (
        r"\[harmonise task: labels, version B, key F major, from G major, bars 4, "
        r"level 2, labels letters, sheet 3, tune [0-9a-f]{8}\]"
    )
    assert re.fullmatch(pattern, told), told
    assert found.tune
    assert sheet_again(found.identity, found.tune).items == sheet.items


def test_all_exercises_of_a_drill_are_marked_at_once(tmp_path: Path) -> None:
    key = parse_key("Eb")
    made = exercises("D1", [key])
    identity = file_identity(identity_of_drill(["D1"], [key], DrillWish()))

    def written(version: Version) -> bytes:
        output = DrillOutput(DrillCopy(version), identity=identity)
        return format_drill(made, "D1", ".musicxml", output)

    # Each of three exercises has five chords, of which a blank copy gives the first.
    assert marks(written(Version.EXERCISE)) == (48, 48)
    assert marks(written(Version.BLANK)) == (0, 48)
    returned = through_music21(written(Version.EXERCISE), tmp_path)
    assert marks(only_in(returned, "rights")) == (48, 48)


def test_the_field_is_named_after_the_program() -> None:
    sheet = sheet_of("morning_steps", SheetKind.CHOOSE)
    assert f'name="{FIELD}"'.encode() in format_task_file(sheet)
