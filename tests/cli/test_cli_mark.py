"""The command `harmonise mark`: one work, a class, its files and its refusals."""

import csv
import re
import shutil
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from harmonise.cli.drill import drill
from harmonise.cli.mark import mark
from harmonise.lessons.drills import exercises
from harmonise.lessons.fault_sheet import plant
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder
from harmonise.marking.tasks import task_of_tune
from harmonise.notation.formats import read_tune
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.arrangement import Style
from harmonise.theory.key import parse_key

TUNES = Path(__file__).parents[2] / "tunes"
TUNE = TUNES / "morning_steps.txt"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(mark, [str(own) for own in arguments])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a class: six works, one of them broken, and other files."""
    place = tmp_path_factory.mktemp("class")
    model = task_of_tune(read_tune(TUNE), Style(1)).model
    (place / "Ann.musicxml").write_bytes(format_musicxml(model))
    (place / "Ben.mid").write_bytes(format_midi(model))
    for number, name in enumerate(("Cleo", "Dan", "Eve"), 1):
        planted, _ = plant(model, number + 1, number)
        (place / f"{name}.musicxml").write_bytes(format_musicxml(planted))
    (place / "Zed.musicxml").write_text("<score-partwise", "utf-8")
    (place / "notes.pdf").write_bytes(b"no script")
    return place


def test_a_right_work_is_told_so(folder: Path) -> None:
    done = run(folder / "Ann.musicxml", "--against", TUNE)
    assert done.exit_code == 0
    assert done.output.startswith("Ann: Morning Steps\n\nNothing to correct.\n\nSum: ")
    assert "Every chord is right: full marks." in done.output


def test_a_slip_is_written_as_text_and_as_pdf(folder: Path, tmp_path: Path) -> None:
    told = []
    for name in ("slip.txt", "slip.pdf"):
        target = tmp_path / name
        done = run(folder / "Dan.musicxml", "--against", TUNE, "-o", target)
        assert done.output.endswith(f"Written: {target}\n")
        told.append(done.output)
    slip, _, sign = (tmp_path / "slip.txt").read_text("utf-8").rpartition("Written by")
    assert sign.startswith(" harmonise (")
    assert all(output.startswith(slip) for output in told)
    assert (tmp_path / "slip.pdf").read_bytes().startswith(b"%PDF")


def test_the_same_work_gives_the_same_bytes(folder: Path, tmp_path: Path) -> None:
    for name in ("one.pdf", "two.pdf"):
        run(folder / "Eve.musicxml", "--against", TUNE, "-o", tmp_path / name)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


@pytest.fixture(scope="module")
def marked(
    folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Result, Path]:
    place = tmp_path_factory.mktemp("marked") / "slips"
    done = run(folder, "--against", TUNE, "-o", place, "--workers", 2)
    return done, place


def test_a_class_gets_a_slip_each_and_a_table(marked: tuple[Result, Path]) -> None:
    _, place = marked
    names = ["Ann", "Ben", "Cleo", "Dan", "Eve", "class"]
    wanted = [f"{n}.{e}" for n in names for e in ("pdf", "txt")]
    wanted = [name for name in wanted if name != "class.txt"]
    wanted += ["class.csv", "works.csv"]
    assert sorted(path.name for path in place.iterdir()) == sorted(wanted)


def test_a_broken_work_stops_no_other_and_is_named_at_the_end(
    marked: tuple[Result, Path],
) -> None:
    done, _ = marked
    assert done.exit_code == 1
    assert "5 of 7 works marked.\nNot marked:\n  Zed.musicxml: " in done.output
    assert "\n  notes.pdf: This text is no work that can be marked." in done.output
    assert "Traceback" not in done.output


def rows_of(place: Path, name: str = "works") -> list[dict[str, str]]:
    *lines, sign = (place / f"{name}.csv").read_text("utf-8").splitlines(keepends=True)
    assert sign.startswith("Written by harmonise")
    return list(csv.DictReader(lines))


def test_the_sums_of_the_table_are_those_of_the_slips(
    marked: tuple[Result, Path],
) -> None:
    _, place = marked
    pupils = {row["Pupil"]: row for row in rows_of(place, "class")}
    for row in rows_of(place)[:5]:
        slip = (place / f"{row['Pupil']}.txt").read_text("utf-8")
        told = re.search(r"= (\d+)(?: (1/2))? of (\d+)", slip)
        assert told
        got = Fraction(told[1]) + Fraction(told[2] or 0)
        assert (Fraction(row["Marks"]), row["Of"]) == (got, told[3])
        lost = [Fraction(v) for k, v in row.items() if re.search(r"\(M\d|blank$", k)]
        assert Fraction(row["Of"]) - sum(lost) + Fraction(row["Given back"]) == got
        pupil = pupils[row["Pupil"]]
        assert Fraction(pupil["Morning Steps: marks"]) == got
        rate = round(100 * got / int(told[3]))
        assert (row["Per cent"], pupil["Morning Steps: per cent"]) == (f"{rate}",) * 2


def test_the_commonest_faults_are_told_with_drills(marked: tuple[Result, Path]) -> None:
    done, _ = marked
    first = next(line for line in done.output.splitlines() if " of 5: " in line)
    assert first == "2 of 5: tune not on top (M01): drill D7, the scale on top"


def test_midi_is_marked_without_spelling_and_labels(
    marked: tuple[Result, Path],
) -> None:
    _, place = marked
    slip = (place / "Ben.txt").read_text("utf-8")
    assert "MIDI knows keys and no names of notes" in slip
    row = next(row for row in rows_of(place) if row["Pupil"] == "Ben")
    assert row["Marks"] == row["Of"]


def test_hints_stand_in_place_of_corrections(folder: Path) -> None:
    done = run(folder / "Dan.musicxml", "--against", TUNE, "--hints")
    before, _, after = done.output.partition("Answers, for when you have tried:")
    assert "How many keys does your right hand span here?" in before
    assert "Strike the chord again, closer under the tune." not in before
    assert "Strike the chord again, closer under the tune." in after


def test_a_drill_is_marked_in_its_key(tmp_path: Path) -> None:
    exercise = exercises("D1", [parse_key("Eb")])[1]
    work = tmp_path / "fay.musicxml"
    work.write_bytes(format_musicxml(exercise.score))
    right = run(work, "--against", "d1", "--key", "Eb", "--start", "first")
    assert "= 20 of 20" in right.output
    assert right.output.startswith("fay: D1, Eb major, from first inversion")
    wrong = run(work, "--against", "D1", "--key", "G")
    assert "= 20 of 20" not in wrong.output


def test_of_a_blank_drill_only_what_pupils_write_is_worth_marks(tmp_path: Path) -> None:
    blank, full = tmp_path / "blank.musicxml", tmp_path / "full.musicxml"
    for path, copies in ((blank, "blank"), (full, "exercise")):
        words = ("D1", "--start", "root", "--copies", copies, "-o", str(path))
        assert CliRunner().invoke(drill, words).exit_code == 0
    done = run(blank, "-o", tmp_path / "slip.txt")
    # Five chords, the first of which is printed.
    assert "Sum: 4 chords, 16 − " in done.output
    assert " = 0 of 16" in done.output
    assert "The sheet is still yours to fill" in done.output
    # The same notes, typed into the blank file, which says what it is.
    said = re.compile(r" *<identification>.*?</identification>", re.DOTALL)
    told = said.search(blank.read_text())
    assert told
    full.write_text(said.sub(lambda _: told[0], full.read_text()))
    done = run(full, "-o", tmp_path / "full.txt")
    assert "16 of 16" in done.output


def test_a_worksheet_is_marked_with_the_options_it_was_made_with(
    tmp_path: Path,
) -> None:
    sheet = make_sheets(read_tune(TUNE), SheetOrder(SheetKind.ACCOMPANY, Style(2)), 2)[
        1
    ]
    work = tmp_path / "gus.musicxml"
    work.write_bytes(format_musicxml(sheet.pieces[0].arrangement))
    options = ("--against", TUNE, "--kind", "accompany", "--level", 2)
    done = run(work, *options, "--sheet-version", "B")
    assert f"= {sheet.marks} of {sheet.marks}" in done.output


def test_a_list_of_faults_is_marked_line_by_line(tmp_path: Path) -> None:
    sheet = make_sheets(read_tune(TUNE), SheetOrder(SheetKind.FAULTS))[0]
    fault = sheet.planted[1]
    work = tmp_path / "hal.txt"
    work.write_text(
        f"{fault.place.bar}.{fault.place.beat}: {fault.code} | no idea\n", "utf-8"
    )
    (tmp_path / "bad.txt").write_text("no place", "utf-8")
    done = run(tmp_path, "--against", TUNE, "--kind", "faults")
    assert done.exit_code == 1
    assert 'bad.txt: "no place" has no bar.' in done.output
    assert done.output.splitlines()[1].endswith("[2]")
    assert f"Sum: 2 + 0 + 0 + 0 = 2 of {sheet.marks}" in done.output


def test_strict_style_and_points_of_ones_own_are_taken(
    folder: Path, tmp_path: Path
) -> None:
    table = tmp_path / "points.toml"
    written = run("--write-points", table)
    assert written.output == f"Written: {table}\n"
    text = table.read_text("utf-8").replace("[M02]\ndeduct = 1", "[M02]\ndeduct = 3")
    table.write_text(text, "utf-8")
    usual = run(folder / "Cleo.musicxml", "--against", TUNE)
    dear = run(folder / "Cleo.musicxml", "--against", TUNE, "--points", table)
    assert "[− 1]" in usual.output
    assert "[− 3]" in dear.output
    strict = run(folder / "Ann.musicxml", "--against", TUNE, "--style", "strict")
    assert "full marks" in strict.output


REFUSED = [
    (("--against", TUNE), "No work is named."),
    (("{work}",), "This work does not say which task it is. Add --against"),
    (("{work}", "--against", "nothing.txt"), "There is no file nothing.txt."),
    (("{work}", "--against", "D99"), 'There is no drill "D99".'),
    (("{work}", "--against", TUNE, "-o", "slip.doc"), "does not end in .pdf or .txt"),
    (("{empty}", "--against", TUNE), "There is no work in"),
    (("{work}", "--against", "D1", "--exercise", 9), "Drill D1 has 1 exercise there"),
    (("{nowhere}", "--against", TUNE), "There is no file"),
]


@pytest.mark.parametrize(("arguments", "told"), REFUSED)
def test_what_cannot_be_done_is_told_in_a_sentence(
    arguments: tuple[object, ...], told: str, folder: Path, tmp_path: Path
) -> None:
    names = {
        "{work}": folder / "Ann.musicxml",
        "{empty}": tmp_path,
        "{nowhere}": tmp_path / "nowhere.musicxml",
    }
    done = run(*(names.get(str(own), own) for own in arguments))
    assert done.exit_code == 1
    assert told in done.output
    assert "Traceback" not in done.output


def test_nothing_is_overwritten_without_force(folder: Path, tmp_path: Path) -> None:
    target = tmp_path / "slip.txt"
    target.write_text("mine", "utf-8")
    options = (folder / "Ann.musicxml", "--against", TUNE, "-o", target)
    refused = run(*options)
    assert refused.exit_code == 1
    assert target.read_text("utf-8") == "mine"
    assert run(*options, "--force").exit_code == 0


def test_two_works_of_one_name_get_slips_of_two_names(
    folder: Path, tmp_path: Path
) -> None:
    shutil.copy(folder / "Ann.musicxml", tmp_path / "Ann.musicxml")
    shutil.copy(folder / "Ben.mid", tmp_path / "Ann.mid")
    done = run(tmp_path, "--against", TUNE, "-o", tmp_path / "slips", "--workers", 1)
    assert done.exit_code == 0
    names = {path.name for path in (tmp_path / "slips").glob("*.txt")}
    assert names == {"Ann-mid.txt", "Ann-musicxml.txt"}


def test_a_picture_handed_in_is_named_as_one(tmp_path: Path) -> None:
    (tmp_path / "Ann.txt").write_bytes(b"\x89PNG\r\n\x1a\n")
    sentence = "This is a picture, not notation. "
    one = run(tmp_path / "Ann.txt", "--against", TUNE)
    listed = run(tmp_path, "--against", TUNE, "--kind", "faults")
    assert sentence in one.stderr
    assert sentence in listed.stderr
    assert one.exit_code == listed.exit_code == 1
