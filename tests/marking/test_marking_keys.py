"""Drills and the answer keys of worksheets get full marks."""

import re
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest
from makers.profiles import PROFILE, spread
from makers.scripts import key_lines, script_of
from oracles.full_marks import assert_full

from harmonise.errors import MelodyError
from harmonise.lessons.drills import DRILLS, Drill, all_keys, exercises
from harmonise.lessons.sheet_parts import SheetPiece
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.marking.lead_sheets import script_for
from harmonise.marking.mark import mark, mark_list, parse_list
from harmonise.marking.script import Script, Written
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import Task
from harmonise.marking.tasks import (
    task_of_exercise,
    task_of_whole_sheet,
    tasks_of_sheet,
)
from harmonise.notation.formats import read_tune
from harmonise.notation.musicxml.writer import format_musicxml, format_plan
from harmonise.notation.score.copies import ScoreCopy, copy_plan
from harmonise.notation.score.score_plan import ScoreBox, plan_score
from harmonise.rules.score_view import Grade
from harmonise.rules.table import FREE_RULES, WORK_RULES, check
from harmonise.theory.arrangement import Arrangement, Hand, Labels, Style
from harmonise.theory.chord import Member

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
# Answers by ear are a list; they have tests of their own.
KINDS = [kind for kind in SheetKind if kind is not SheetKind.AURAL]
every_tune = pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)


@pytest.mark.parametrize("drill", DRILLS[:10], ids=lambda drill: drill.name)
def test_every_drill_gets_full_marks_in_all_keys(drill: Drill) -> None:
    both = (*all_keys(), *all_keys(minor=True))
    keys = [key for key in both if key.mode in drill.modes]
    for exercise in exercises(drill.name, spread(keys, 6, DRILLS.index(drill))):
        task = task_of_exercise(exercise)
        assert_full(mark(script_of(exercise.score), task))
        free = FREE_RULES if task.free else WORK_RULES
        found = [f for f in check(exercise.score, free) if f.grade is Grade.NEVER]
        assert [str(fault) for fault in found] == []


def test_a_drill_gets_full_marks_through_musicxml() -> None:
    for name in ("D1", "D6", "D7", "D10"):
        for exercise in exercises(name, all_keys()[:3]):
            data = format_musicxml(exercise.score)
            script = parse_script(data, exercise.score.tune)
            assert_full(mark(script, task_of_exercise(exercise)))


def answer_key(piece: SheetPiece) -> bytes:
    """Return the answer key of a piece as a notation program would save it."""
    frames = tuple(
        ScoreBox(box.onset, box.text, 2.0, box.above, box.ruled) for box in piece.boxes
    )
    shown = piece.shows_symbols(answers=True)
    copy = ScoreCopy(frozenset(), frames, piece.ties, shown, piece.tune_only)
    return format_plan(copy_plan(plan_score(piece.arrangement), copy))


def key_script(sheet: Worksheet, task: Task) -> Script:
    """Return the answer key of a task as plain values."""
    piece = next((p for p in sheet.pieces if p.arrangement is task.model), None)
    script = script_of(task.model)
    if piece is None or piece.symbols or not piece.boxes:
        return script
    words = tuple(Written(box.onset, box.text) for box in piece.boxes)
    return script._replace(symbols=(), words=words)


def sheets_of(
    path: Path, order: SheetOrder, versions: int = 1
) -> tuple[Worksheet, ...]:
    try:
        return make_sheets(read_tune(path), order, versions)
    except MelodyError:
        return ()


@every_tune
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.value)
def test_every_answer_key_gets_full_marks(path: Path, kind: SheetKind) -> None:
    for level in (1, 3):
        for sheet in sheets_of(path, SheetOrder(kind, Style(level))):
            assert_key_is_right(sheet)


@pytest.mark.slow
@every_tune
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.value)
def test_every_version_of_an_answer_key_gets_full_marks(
    path: Path, kind: SheetKind
) -> None:
    for versions in (3, 2, 1):
        sheets = sheets_of(path, SheetOrder(kind, Style(2)), versions)
        for sheet in sheets:
            assert_key_is_right(sheet)
        if sheets:
            return


def assert_key_is_right(sheet: Worksheet) -> None:
    if sheet.order.kind is SheetKind.FAULTS:
        found = mark_list(parse_list("\n".join(key_lines(sheet))), sheet)
        assert [own.missing for own in found] == [()] * (len(found))
        assert sum(own.marks for own in found) == sheet.marks
        return
    tasks = tasks_of_sheet(sheet)
    assert sum(task.marks for task in tasks) == sheet.marks
    for task in tasks:
        assert_full(mark(key_script(sheet, task), task))


@pytest.mark.parametrize("kind", [k for k in KINDS if k is not SheetKind.FAULTS])
@pytest.mark.parametrize("labels", [Labels.WORDS, Labels.FIGURES, Labels.LETTERS])
def test_an_answer_key_gets_full_marks_through_musicxml(
    kind: SheetKind, labels: Labels
) -> None:
    path = next(p for p in TUNES if p.stem == "water_of_tyne")
    sheet = make_sheets(read_tune(path), SheetOrder(kind, Style(3), labels))[0]
    for task in tasks_of_sheet(sheet):
        piece = next((p for p in sheet.pieces if p.arrangement is task.model), None)
        data = answer_key(piece) if piece else format_musicxml(task.model)
        assert_full(mark(parse_script(data, task.model.tune), task))


def test_the_sheet_of_faults_is_a_list_and_no_music() -> None:
    sheet = make_sheets(read_tune(TUNES[0]), SheetOrder(SheetKind.FAULTS))[0]
    with pytest.raises(MelodyError, match="a list, not music"):
        tasks_of_sheet(sheet)


def test_the_drill_of_names_is_marked_by_its_names() -> None:
    for key in all_keys():
        exercise = exercises("D11", [key])[0]
        task = task_of_exercise(exercise)
        names = [
            f"{slot.chord} ({slot.numeral}) {slot.position.value.split()[0]}"
            for slot in exercise.score.slots
            if slot.position
        ]
        lines = [f"{bar}: {name}" for bar, name in enumerate(names, 1)]
        tune = exercise.score.tune
        done = mark(parse_script("\n".join(lines).encode(), tune), task)
        assert_full(done)
        assert done.worth == 27
        empty = mark(parse_script("\n".join(lines[1:]).encode(), tune), task)
        assert [str(blank.points) for blank in empty.blanks] == ["1", "1", "1"]
        right = names[0].rpartition(" ")[2]
        wrong = "second" if right != "second" else "root"
        lines[0] = lines[0].replace(right, wrong)
        slip = mark(parse_script("\n".join(lines).encode(), tune), task)
        assert [(own.kind.code, own.item) for own in slip.lines] == [("M09", 0)]


KINDS_TYPED = [
    kind for kind in KINDS if kind not in (SheetKind.FAULTS, SheetKind.TRANSPOSE)
]
TYPED = [
    pytest.param(path, kind, level, id=f"{path.stem} {kind.value} {level}")
    for number, path in enumerate(TUNES)
    for at, kind in enumerate(KINDS_TYPED)
    for level in (1, 3)
    if PROFILE == "night" or (number + at + level) % 8 == 0
]


def heard_in(model: Arrangement, onset: Fraction, hand: Hand) -> str:
    """Return what a hand has at a place, low to high."""
    notes = [n for n in model.notes if n.hand is hand and n.onset <= onset < n.end]
    return " ".join(str(n.pitch) for n in sorted(notes, key=lambda n: n.pitch.midi))


def typed_key(sheet: Worksheet) -> Iterator[str]:
    """Yield the answers of a key as they are printed, each as a typed chord."""
    for number, item in enumerate(sheet.items, 1):
        answer = item.answers[0].text.replace(" · ", " ")
        whole, part = divmod(item.place.beat or Fraction(1), 1)
        place = f"{item.place.bar}.{whole}" + (f" {part}" if part else "")
        if answer.startswith("right hand"):
            right, left = answer.removeprefix("right hand ").split(", left hand ")
            # Keyboards are numbered, and each is a bar.
            place = str(number) if sheet.diagrams else place
            given = item.given.partition(",")[0]
            answer = f"{given} | {right} | {left}".replace("nothing", "-")
        elif answer.startswith("left hand"):
            answer = f"- | {answer.removeprefix('left hand ')}"
        elif sheet.order.kind in (SheetKind.CHOOSE, SheetKind.TUNE):
            model = sheet.pieces[0].arrangement
            hands = [heard_in(model, item.onset, hand) or "-" for hand in Hand]
            answer = " | ".join([answer, *hands])
        yield f"{place}: {answer}"


@pytest.mark.parametrize(("path", "kind", "level"), TYPED)
def test_a_printed_key_typed_back_gets_full_marks(
    path: Path, kind: SheetKind, level: int
) -> None:
    order = SheetOrder(kind, Style(level))
    sheet = make_sheets(read_tune(path), order, 1)[0]
    task = tasks_of_sheet(sheet)[0]
    lines = list(typed_key(sheet))
    # Pupils copy letters and leave out the numbers of octaves.
    for typed in (lines, [in_letters(line) for line in lines]):
        done = mark(parse_script("\n".join(typed).encode(), task.model.tune), task)
        assert [(own.kind.key, own.what) for own in done.lines if own.points] == []
        assert done.got == done.worth


def without_octaves(text: str) -> str:
    """Return notes as letters alone."""
    return re.sub(r"\b([A-G][#b]*)\d\b", r"\1", text)


def in_letters(line: str) -> str:
    """Return a typed line whose hands, if it has any, are letters alone."""
    label, bar, hands = line.partition("|")
    return f"{label}{bar}{without_octaves(hands)}"


def transposed_key(sheet: Worksheet, *, headed: bool) -> list[str]:
    """Return the key of a phrase in other keys as it is printed, line by line."""
    lines: list[str] = []
    for item in sheet.items:
        begins = item.given not in lines and item.given != (lines or [""])[0]
        if headed and begins:
            lines.append(item.given)
        lines.append(f"{item.place}: {item.answers[0].text}")
    return lines


@pytest.mark.parametrize("path", TUNES[::3], ids=lambda path: path.stem)
@pytest.mark.parametrize("headed", [True, False])
def test_a_phrase_typed_in_other_keys_gets_full_marks(
    path: Path, *, headed: bool
) -> None:
    for sheet in sheets_of(path, SheetOrder(SheetKind.TRANSPOSE, Style(1))):
        task = task_of_whole_sheet(sheet)
        lines = transposed_key(sheet, headed=headed)
        bare = [without_octaves(line) for line in lines]
        for typed in (lines, bare):
            assert_full(mark(script_for("\n".join(typed).encode(), task), task))
        # Where one note is another, its bar alone is not right.
        at = max(n for n, line in enumerate(lines) if line.startswith("bar 2"))
        other = "C#7" if lines[at].endswith("C7") else "C7"
        lines[at] = f"{lines[at].rpartition(' ')[0]} {other}"
        slip = mark(script_for("\n".join(lines).encode(), task), task)
        assert [own.place.bar for own in slip.lines if own.points] == [2]
        assert slip.got == task.marks - 1


@pytest.mark.parametrize("path", TUNES[::4], ids=lambda path: path.stem)
def test_a_table_of_faults_typed_as_printed_gets_full_marks(path: Path) -> None:
    for sheet in sheets_of(path, SheetOrder(SheetKind.FAULTS, Style(2))):
        lines = [
            f"{str(fault.place).capitalize()} | {fault.name.capitalize()}. "
            f"{fault.what} | {fault.remedy}"
            for fault in sheet.planted
        ]
        found = mark_list(parse_list("\n".join(lines)), sheet)
        assert sum(own.marks for own in found) == sheet.marks


@every_tune
def test_a_third_in_the_place_of_the_root_costs_once(path: Path) -> None:
    sheet = make_sheets(read_tune(path), SheetOrder(SheetKind.ACCOMPANY), 1)[0]
    task = tasks_of_sheet(sheet)[0]
    model, item = task.model, task.items[1]
    chord = next(own.chord for own in model.slots if own.onset == item.onset)
    third = chord.member(Member.THIRD) if chord else None
    assert third is not None
    notes = tuple(
        note._replace(
            pitch=third.at(note.pitch.midi - (note.pitch.midi - third.pitch_class) % 12)
        )
        if note.hand is Hand.LEFT and item.onset <= note.onset < item.end
        else note
        for note in model.notes
    )
    done = mark(script_of(model._replace(notes=notes)), task)
    assert {own.kind.key for own in done.lines if own.points} == {"M06"}
