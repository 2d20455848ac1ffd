"""The register of a class: who handed in what, over tasks and tries, as tables."""

import csv
import re
import shutil
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from harmonise.cli.mark import mark
from harmonise.errors import NotationError
from harmonise.lessons.task_files import format_task_file
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.marking.class_pages import mean_of, trends
from harmonise.marking.handed_in import pupil_of, scripts_of, whose
from harmonise.marking.register import (
    NOTHING,
    WorkRecord,
    format_register,
    merged,
    parse_register,
    with_absent,
)
from harmonise.notation.formats import read_tune
from harmonise.notation.signed import sign_text

TUNE = Path(__file__).parents[2] / "tunes" / "morning_steps.txt"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(mark, [str(each) for each in arguments])


def table(path: Path) -> list[dict[str, str]]:
    *lines, sign = path.read_text("utf-8").splitlines(keepends=True)
    assert sign.startswith("Written by harmonise")
    return list(csv.DictReader(lines))


@pytest.fixture(scope="module")
def sheets() -> dict[SheetKind, Worksheet]:
    tune = read_tune(TUNE)
    return {
        kind: make_sheets(tune, SheetOrder(kind))[0]
        for kind in (SheetKind.ACCOMPANY, SheetKind.LABELS)
    }


@pytest.fixture(scope="module")
def term(
    sheets: dict[SheetKind, Worksheet], tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, list[Result]]:
    """Return the folder of a term, and what two weeks of marking said."""
    place = tmp_path_factory.mktemp("term")
    (place / "names.txt").write_text("# the class\nAnn\nBen\nCleo\nDan\n", "utf-8")
    for week, kind in enumerate(sheets, 1):
        folder = place / f"week {week}"
        (folder / "late").mkdir(parents=True)
        sheet = sheets[kind]
        (folder / "ann.musicxml").write_bytes(format_task_file(sheet, answers=True))
        (folder / "late" / "ben").write_bytes(format_task_file(sheet))
        (folder / "Cleo.jpg").write_bytes(b"\xff\xd8\xff\xe0picture")
    done = [
        run(
            *(place / f"week {week}", "--names", place / "names.txt", "-o"),
            *(place / f"slips {week}", "--register", place / "term.csv"),
            *("--out-of", 20, "--workers", 1),
        )
        for week in (1, 2)
    ]
    return place, done


def test_works_of_two_tasks_are_marked_without_an_option(
    term: tuple[Path, list[Result]],
) -> None:
    place, done = term
    for result in done:
        assert result.exit_code == 1
        assert "2 of 3 works marked.\nNothing handed in: Dan.\n" in result.output
        assert "Not marked:\n  Cleo.jpg: This is a picture" in result.output
    rows = {row["Pupil"]: row for row in table(place / "slips 2" / "class.csv")}
    assert list(rows) == ["Ann", "Ben", "Cleo", "Dan"]
    first, second = "Morning Steps: W3-1 accompany", "Morning Steps: W2-1 labels"
    marks = [[rows[name][f"{task}: marks of 20"] for task in (first, second)]
             for name in rows]  # fmt: skip
    assert marks == [["20", "20"], ["0", "0"], ["", ""], ["", ""]]
    assert [row["Per cent of all tasks"] for row in rows.values()] == [
        "100", "0", "", "",
    ]  # fmt: skip
    assert rows["Dan"]["Not marked"] == f"{first}: {NOTHING}; {second}: {NOTHING}"
    assert rows["Cleo"]["Not marked"].count("This is a picture") == 1
    assert (place / "slips 2" / "class.pdf").read_bytes().startswith(b"%PDF")


def test_a_register_is_read_back_as_it_was_written(
    term: tuple[Path, list[Result]],
) -> None:
    place, _ = term
    text = (place / "term.csv").read_text("utf-8")
    assert sign_text(format_register(parse_register(text))) == text


def test_the_same_works_again_change_no_register(
    term: tuple[Path, list[Result]],
) -> None:
    place, _ = term
    before = (place / "term.csv").read_bytes()
    week = place / "week 2"
    again = ("--names", place / "names.txt", "--register", place / "term.csv")
    run(week, *again, "-o", place / "again", "--out-of", 20, "--workers", 1)
    assert (place / "term.csv").read_bytes() == before


def test_who_handed_in_a_task_before_is_not_called_late(
    sheets: dict[SheetKind, Worksheet], tmp_path: Path
) -> None:
    data = format_task_file(sheets[SheetKind.ACCOMPANY], answers=True)
    (tmp_path / "names.txt").write_text("Ann\nBen\nCleo\n", "utf-8")
    ended = []
    for name in ("Ann", "Ben"):
        folder = tmp_path / f"from {name}"
        folder.mkdir()
        (folder / f"{name}.musicxml").write_bytes(data)
        how = ("--names", tmp_path / "names.txt", "--register", tmp_path / "term.csv")
        done = run(folder, *how, "-o", tmp_path / f"slips {name}", "--workers", 1)
        ended.append(re.findall("Nothing handed in: .*", done.output))
    assert ended == [["Nothing handed in: Ben, Cleo."], ["Nothing handed in: Cleo."]]


def test_a_second_try_shows_what_was_mended(
    sheets: dict[SheetKind, Worksheet], tmp_path: Path
) -> None:
    data = format_task_file(sheets[SheetKind.ACCOMPANY], answers=True)
    text = data.decode()
    # The first root below C3 becomes D2.
    low = r"<step>.</step>(\s*<octave>2</octave>)"
    wrong = re.sub(low, r"<step>D</step>\1", text, count=1)
    assert wrong != text
    folder, register = tmp_path / "class", tmp_path / "term.csv"
    folder.mkdir()
    for name, work in (("one", wrong), ("two", text)):
        (folder / "Ann.musicxml").write_text(work, "utf-8")
        run(folder, "--register", register, "-o", tmp_path / name, "--workers", 1)
    first, second = parse_register(register.read_text("utf-8"))
    assert (first.attempt, second.attempt) == (1, 2)
    assert second.got == second.worth > first.got
    task = "Morning Steps: W3-1 accompany"
    went = f"{first.got} → {second.got} of {second.worth}"
    mended = "mended: wrong root in the left hand"
    assert trends([first, second], "Ann") == [f"Try 2 of {task}: {went}, {mended}"]


def test_a_decision_of_the_teacher_holds_and_is_shown(
    sheets: dict[SheetKind, Worksheet], tmp_path: Path
) -> None:
    work = tmp_path / "Ann.musicxml"
    work.write_bytes(format_task_file(sheets[SheetKind.LABELS]))
    decisions = tmp_path / "decisions.txt"
    decisions.write_text(
        "# whose | place | fault | costs | why\n"
        "ann | 2.1 | blank | 1 1/2 | answered aloud\n"
        "Ann | 9.1 | M06 | 0 |\n"
        "Ben | 2.1 | blank | 0 |\n",
        "utf-8",
    )
    before, after = run(work).output, run(work, "--overrides", decisions).output
    worth = sheets[SheetKind.LABELS].marks
    assert f"= 0 of {worth}" in before
    assert f"= 2 1/2 of {worth}" in after
    told = "Bar 2, beat 1: what was left blank costs 1 1/2 by the teacher's decision"
    assert f"{told}: answered aloud." in after
    assert (
        "Bar 9, beat 1 has no M06, so the teacher's decision changes nothing there."
        in after
    )


@pytest.mark.parametrize(
    "line", ["Ann | 3.1 | M06", "Ann | x | M06 | 1 |", "Ann | 3 | M06 | -1 |", "no"]
)
def test_a_decision_that_cannot_be_read_is_told(line: str, tmp_path: Path) -> None:
    (tmp_path / "Ann.txt").write_text("1: C | C4 | C3", "utf-8")
    (tmp_path / "decisions.txt").write_text(line, "utf-8")
    options = ("--against", TUNE, "--overrides", tmp_path / "decisions.txt")
    done = run(tmp_path / "Ann.txt", *options)
    assert f'Line 1 of the decisions, "{line}", cannot be read.' in done.output


def record(task: str, content: str, **lost: int) -> WorkRecord:
    costs = tuple((key, Fraction(marks)) for key, marks in lost.items())
    got = Fraction(20 - sum(lost.values()))
    return WorkRecord("Ann", task, "a", got, Fraction(20), costs, content=content)


def test_a_trend_tells_each_fault_and_the_next_drill() -> None:
    records = merged(
        (),
        [
            record("one", "1", M06=3, M02=1),
            record("two", "2", M06=1),
            record("three", "3", M06=2, M10=1),
        ],
    )
    assert trends(records, "Ann") == [
        "wrong root in the left hand: 3 → 1 → 2, worse",
        "wrong name of the chord: 0 → 0 → 1, new",
        "wrong note in the chord: 1 → 0 → 0, mended",
        "Next: wrong root in the left hand (M06): drill D1, left hand alone",
    ]
    # 16, 19 and 17 of 20 are 80, 95 and 85 per cent.
    assert mean_of(records, "Ann") == 87


def test_who_handed_in_nothing_has_a_row_until_the_work_comes() -> None:
    absent = with_absent([record("one", "1")], ["Ann", "Ben"])
    assert [(r.pupil, r.problem) for r in absent] == [("Ann", ""), ("Ben", NOTHING)]
    late = record("one", "9")._replace(pupil="Ben")
    assert [r.problem for r in merged(absent, [late])] == ["", ""]


def test_a_file_that_is_no_register_is_refused() -> None:
    with pytest.raises(NotationError, match="no register of a class"):
        parse_register("a,b\n1,2\n")


def test_the_name_is_found_in_file_or_folder() -> None:
    names = ("Jo", "Jo Ann", "Max Frey")
    wanted = {
        "jo-ann w3.xml": "Jo Ann",
        "Max_Frey/task.mxl": "Max Frey",
        "JO.txt": "Jo",
        "who.txt": "who",
    }
    assert {name: pupil_of(name, names) for name in wanted} == wanted


def test_a_list_of_faults_is_a_work_like_others(tmp_path: Path) -> None:
    sheet = make_sheets(read_tune(TUNE), SheetOrder(SheetKind.FAULTS))[0]
    shutil.copy(TUNE, tmp_path / "tune.txt")
    fault = sheet.planted[1]
    line = f"{fault.place.bar}.{fault.place.beat}: {fault.code} |\n"
    head = format_task_file(sheet).decode()
    identity = head[head.index("[harmonise") : head.index("]") + 1]
    (tmp_path / "hal.txt").write_text(f"# {identity}\n{line}", "utf-8")
    lost = run(tmp_path / "hal.txt")
    assert "has lost the tune of its task" in lost.output
    done = run(tmp_path / "hal.txt", "--against", tmp_path / "tune.txt")
    assert f"= 2 of {sheet.marks}" in done.output


TYPED = """\
Title: Short
Key: C
Time: 4/4
E - G - | A - F - | D - B3 - | C - - - |
"""
CHORDS = {
    "typed": TYPED + "Chords: C | {} | G | C\n",
    "abc": """\
X:1
T:Short
M:4/4
L:1/4
K:C
"C"E2 G2 | "{}"A2 F2 | "G"D2 B,2 | "C"C4 |
""",
}


@pytest.mark.parametrize("written", CHORDS)
def test_chords_for_a_tune_are_marked_as_they_are_written(
    written: str, tmp_path: Path
) -> None:
    given = tmp_path / "tune.txt"
    given.write_text(TYPED, "utf-8")
    asked = ("--against", given, "--kind", "symbols")
    for chord, got in (("F", "3 of 3"), ("G", "2 of 3")):
        work = tmp_path / f"{chord}.txt"
        work.write_text(CHORDS[written].format(chord), "utf-8")
        assert f"= {got}" in run(work, *asked).output


def test_namesakes_of_two_classes_have_a_row_each(
    sheets: dict[SheetKind, Worksheet], tmp_path: Path
) -> None:
    right = format_task_file(sheets[SheetKind.ACCOMPANY], answers=True)
    for folder, pupils in (("7a", ("ada", "ben")), ("7b", ("ada", "cleo"))):
        (tmp_path / folder).mkdir()
        for pupil in pupils:
            (tmp_path / folder / f"{pupil}.musicxml").write_bytes(right)
    slips = ("--workers", 1, "-o", tmp_path / "slips")
    done = run(tmp_path / "7a", tmp_path / "7b", *slips)
    assert done.exit_code == 0, done.output
    rows = [row["Pupil"] for row in table(tmp_path / "slips" / "class.csv")]
    assert rows == ["ada (7a)", "ada (7b)", "ben", "cleo"]
    works = [row["File"] for row in table(tmp_path / "slips" / "works.csv")]
    assert sorted(works) == ["7a/ada.musicxml", "7b/ada.musicxml",
                             "ben.musicxml", "cleo.musicxml"]  # fmt: skip


@pytest.mark.parametrize(
    ("folders", "names", "pupils"),
    [
        # Two weeks of one class: the same pupils, or most of them.
        (("week 1", "week 2"), (), {"ada", "ben"}),
        (("Class 7a", "Class 7b"), (), {"ada (Class 7a)", "ada (Class 7b)",
                                        "ben (Class 7a)", "ben (Class 7b)"}),
        (("x/7a", "y/7a"), (), {"ada", "ben"}),
        (("7a", "7b"), ("Ada 7a", "Ada 7b", "Ben"), {"Ada 7a", "Ada 7b", "Ben"}),
    ],
)  # fmt: skip
def test_folders_are_classes_or_weeks_of_one(
    folders: tuple[str, ...], names: tuple[str, ...], pupils: set[str], tmp_path: Path
) -> None:
    for folder in folders:
        (tmp_path / folder).mkdir(parents=True)
        for pupil in ("ada", "ben"):
            (tmp_path / folder / f"{pupil}.abc").write_bytes(b"X:1\nK:C\nC4|\n")
    pieces = scripts_of([tmp_path / folder for folder in folders])
    assert len({piece.name for piece in pieces}) == 4
    assert set(whose(pieces, names).values()) == pupils
