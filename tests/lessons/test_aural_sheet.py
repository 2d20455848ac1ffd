"""Sheets of questions by ear: what sounds, what is printed, what marks it earns.

The recordings are read by their spectrum (ISO 16: A4 = 440 Hz), the marks are counted
here; neither shares anything with what makes them.
"""

import io
import re
import subprocess
import wave
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from click.testing import CliRunner, Result
from makers.profiles import spread
from oracles.inked import fills, sides
from oracles.poppler import poppler

from harmonise import read_tune
from harmonise.cli import main
from harmonise.errors import HarmoniseError, MelodyError, NotationError
from harmonise.lessons.aural import AuralKind
from harmonise.lessons.aural_sheets import ear_drill
from harmonise.lessons.sheet_files import format_sheet, sheet_recordings
from harmonise.lessons.sheet_pages import copies_of, footed
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import Depth, SheetKind, SheetOrder, Worksheet
from harmonise.marking.aural_answers import mark_heard, parse_answers
from harmonise.notation.paper.blocks import A4_PAGE, NewPage, Page, Paper
from harmonise.notation.paper.typesetting import typeset
from harmonise.theory.arrangement import Hand
from harmonise.theory.key import parse_key

TUNES = Path(__file__).parents[2] / "tunes"
LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
PER_MINUTE = 72
NO_NUMBER = (
    "has no number of a question. Write lines such as: 3: plagal. The numbers go from "
    "1 to 8."
)


def key_of(letter: str) -> int:
    return (LETTERS[letter[0]] + letter.count("#") - letter[1:].count("b")) % 12


def order(step: int, about: AuralKind | None = None, questions: int = 8) -> SheetOrder:
    return SheetOrder(SheetKind.AURAL, step=step, about=about, questions=questions)


def sheet_of(name: str, asked: SheetOrder) -> Worksheet:
    return make_sheets(read_tune(TUNES / f"{name}.txt"), asked)[0]


def drill(asked: SheetOrder, key: str = "C") -> Worksheet:
    return ear_drill(asked._replace(keys=(parse_key(key),)))


def frames_of(content: bytes) -> tuple[npt.NDArray[np.float64], int]:
    with wave.open(io.BytesIO(content)) as file:
        packed = file.readframes(file.getnframes())
        return np.frombuffer(packed, "<i2") / 32768, file.getframerate()


def strengths(frames: npt.NDArray[np.float64], rate: int) -> dict[int, float]:
    """Return how strong each note from C2 to C6 is, its own partial alone."""
    size = 1 << 17
    spectrum = np.abs(np.fft.rfft(frames * np.hanning(len(frames)), size))
    strong = {}
    for midi in range(36, 85):
        at = round(440 * 2 ** ((midi - 69) / 12) * size / rate)
        strong[midi] = float(spectrum[at - 2 : at + 3].max())
    return strong


def sounds_at(onset: float, content: bytes) -> dict[int, float]:
    frames, rate = frames_of(content)
    begin = int(onset * 60 / PER_MINUTE * rate)
    return strengths(frames[begin : begin + rate * 3 // 4], rate)


def test_the_spectrum_has_the_chords_that_the_key_names() -> None:
    """The last chord of each recording has its three notes, the root in the bass."""
    named = {
        ("C", "IV"): "F A C", ("C", "V"): "G B D", ("C", "I"): "C E G",
        ("Eb", "IV"): "Ab C Eb", ("Eb", "V"): "Bb D F", ("Eb", "I"): "Eb G Bb",
    }  # fmt: skip
    heard = set()
    for key in ("C", "Eb"):
        sheet = drill(order(3, AuralKind.CHORD, 3), key)
        for item, (_, content) in zip(
            sheet.asked, sheet_recordings(sheet, Path("a")), strict=True
        ):
            names = named[key, item.answer].split()
            wanted = {key_of(name) for name in names}
            strong = sounds_at(4, content)
            low = max(range(36, 55), key=lambda midi: strong[midi])
            assert low % 12 == key_of(names[0])
            # The three strongest notes of the right hand's room make up the chord.
            room = [midi for midi in range(57, 80) if midi % 12 != low % 12]
            best = sorted(room, key=lambda midi: -strong[midi])[:2]
            assert {low % 12, *(midi % 12 for midi in best)} == wanted
            heard.add((key, item.answer))
    assert heard == set(named)


def test_a_bass_line_sounds_as_it_is_written_in_the_key() -> None:
    sheet = drill(order(6, AuralKind.BASS, 2), "G")
    for item, (_, content) in zip(
        sheet.asked, sheet_recordings(sheet, Path("a")), strict=True
    ):
        onsets = sorted({float(note.at) for note in item.notes})
        lows = []
        for onset in onsets:
            strong = sounds_at(onset, content)
            lows.append(max(range(36, 55), key=strong.__getitem__) % 12)
        assert lows == [key_of(name) for name in item.answer.split()]


@pytest.mark.parametrize(("step", "times"), [(1, (2, 2)), (2, (3, 2))])
def test_each_question_is_heard_as_often_as_the_sheet_says(
    step: int, times: tuple[int, int]
) -> None:
    sheet = drill(order(step, None, 2))
    assert sheet.instruction.startswith("Listen: each question is played twice")
    assert ("three times" in sheet.instruction) == (3 in times)
    assert "with 5 seconds after each to write" in sheet.instruction
    files = sheet_recordings(sheet, Path("x"))
    assert [path.name for path, _ in files] == ["x-1.wav", "x-2.wav"]
    for count, (_, content) in zip(times, files, strict=True):
        frames, rate = frames_of(content)
        once = len(frames) // count
        for start in range(0, len(frames) - once, once):
            assert np.array_equal(frames[:once], frames[start : start + once])
        # Five seconds of silence, but for what a damper leaves of the last chord.
        assert np.abs(frames[once - 5 * rate + rate // 10 : once]).max() == 0
        assert np.abs(frames[: rate // 2]).max() > 0.1
        assert np.abs(frames[once - 6 * rate : once - 5 * rate]).max() > 0.01


@pytest.mark.parametrize("step", [2, 3, 4, 5, 6])
@pytest.mark.parametrize("name", ["yankee_doodle", "kitchen_clock", "old_hundredth"])
def test_questions_about_a_tune_are_answered_by_what_sounds(
    name: str, step: int
) -> None:
    """The bass of every chord is the root of its numeral, and the tune is on top."""
    sheet = sheet_of(name, order(step, None, 40))
    home, minor = str(sheet.key.tonic), "minor" in str(sheet.key)
    third = 3 if minor else 4
    roots = {"i": 0, "ii": 2, "iv": 5, "v": 7, "v7": 7, "vi": 8 if minor else 9}
    for item in sheet.asked:
        by_onset: dict[float, list[int]] = {}
        for note in item.notes:
            by_onset.setdefault(float(note.at), []).append(note.midi)
        first, *_ = by_onset.values()
        rises = {(midi - key_of(home)) % 12 for midi in first}
        assert rises == {0, third, 7}
        left = [n for n in item.score.notes if n.hand is Hand.LEFT]
        basses = [(note.pitch.midi - key_of(home)) % 12 for note in left][1:]
        # A root that is struck again under the same chord is one bass.
        changes = [b for a, b in pairwise([-1, *basses]) if a != b]
        if item.kind is AuralKind.BASS:
            names = [(key_of(n) - key_of(home)) % 12 for n in item.answer.split()]
            assert basses == names
        elif item.kind is AuralKind.CADENCE:
            last = {"perfect": [7, 0], "plagal": [5, 0], "interrupted": [7, 9 - minor]}
            assert changes[-2:] == last.get(item.answer, [changes[-2], 7])
        elif item.kind in (AuralKind.CHORD, AuralKind.MISSING):
            given = item.given.replace("?", item.answer).replace("°", "").split(" – ")
            wanted = [roots[name.casefold()] for name in given]
            assert changes == [b for a, b in pairwise([-1, *wanted]) if a != b]
            if item.kind is AuralKind.CHORD and len(changes) == 2:
                # V7 is struck with its seventh, the fourth of the key, and V is not.
                at = left[basses.index(changes[1]) + 1].onset
                struck = {(midi - key_of(home)) % 12 for midi in by_onset[float(at)]}
                assert (item.answer == "V7") == (changes[1] == 7 and 5 in struck)
        elif item.kind is AuralKind.POSITION:
            *_, (_, keys) = sorted(by_onset.items())
            root = key_of(home) + roots[item.given.split()[-1].casefold()]
            above = (max(keys) - root) % 12
            assert item.answer == {0: "root", 3: "third", 4: "third", 7: "fifth"}[above]


def test_versions_have_other_questions_and_a_seed_chooses_them() -> None:
    tune = read_tune(TUNES / "auld_lang_syne.txt")
    first, second = make_sheets(tune, order(3), 2)
    assert [item.answer for item in first.asked] != [
        item.answer for item in second.asked
    ]
    again, other = (
        make_sheets(tune, order(3)._replace(seed=seed))[0] for seed in (1, 2)
    )
    assert (again.asked, again.items) == (first.asked, first.items)
    assert other.asked != first.asked


def test_a_tune_that_asks_for_nothing_says_so() -> None:
    with pytest.raises(MelodyError) as caught:
        sheet_of("the_bucket", order(2))
    assert str(caught.value) == (
        "This tune gives rise to no question of step 2. Choose another step, or drill "
        "D12."
    )


def form_of(sheet: Worksheet, *, answers: bool = False) -> str:
    return format_sheet(sheet, ".txt", A4_PAGE, answers=answers)[0].decode()


@pytest.mark.parametrize(
    ("sheet", "worth"),
    [
        pytest.param(drill(order(4)), 8, id="drill"),
        pytest.param(drill(order(2), "A minor"), None, id="bass lines"),
        pytest.param(sheet_of("auld_lang_syne", order(3)), None, id="tune"),
    ],
)
def test_a_filled_in_form_earns_all_its_marks_and_an_empty_one_none(
    sheet: Worksheet, worth: int | None
) -> None:
    full = mark_heard(parse_answers(form_of(sheet, answers=True), sheet), sheet)
    bass = [item for item in sheet.asked if item.kind is AuralKind.BASS]
    rest = len(sheet.asked) - len(bass)
    marks = rest + sum(len(item.answer.split()) - 1 for item in bass)
    assert sheet.marks == marks
    assert sum(answer.marks for answer in full) == marks
    if worth and not bass:
        assert marks == worth
    empty = mark_heard(parse_answers(form_of(sheet), sheet), sheet)
    assert [answer.marks for answer in empty] == [0] * len(sheet.asked)
    assert {answer.written for answer in empty} == {""}


def test_support_gives_every_second_answer_and_stretch_no_words() -> None:
    sheet = sheet_of("auld_lang_syne", order(3)._replace(depth=Depth.SUPPORT))
    given = [item.marks == 0 for item in sheet.items]
    assert given == [False, True] * 4
    text = form_of(sheet)
    for number, item in enumerate(sheet.asked, 1):
        line = next(row for row in text.splitlines() if row.startswith(f"{number}: "))
        assert (item.answer in line.partition("#")[0]) == given[number - 1]
    stretch = form_of(
        sheet_of("auld_lang_syne", order(3)._replace(depth=Depth.STRETCH))
    )
    assert "I, IV, V" in form_of(sheet_of("auld_lang_syne", order(3)))
    assert "I, IV, V" not in stretch


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("plagal", f'"plagal" {NO_NUMBER}'),
        ("9: plagal", f'"9: plagal" {NO_NUMBER}'),
        (
            "3: plagal\n3: perfect",
            "Question 3 is answered twice. Leave one answer.",
        ),
    ],
)
def test_what_is_no_answer_is_told(text: str, sentence: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_answers(text, drill(order(4)))
    assert str(caught.value) == sentence


@pytest.mark.parametrize(
    ("entry", "sentence"),
    [
        ("questions 0", "This program knows no task such as"),
        ("questions 99999999", "This program knows no task such as"),
        ("about nothing", "This program knows no task such as"),
        ("keys H", "H"),
        ("step 9", "There is no step 9. Choose one from 1 to 6."),
        ("step 2, about cadence", "is not asked before step 4"),
    ],
)
def test_a_task_that_nobody_gave_out_is_refused(
    entry: str, sentence: str, tmp_path: Path
) -> None:
    work = tmp_path / "ada.txt"
    work.write_text(f"# [harmonise task: drill D12, {entry}]\n1: V\n", "utf-8")
    done = run("mark", str(work))
    assert done.exit_code == 1
    assert sentence in done.stderr
    assert "Traceback" not in done.output


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def test_a_drill_by_ear_is_given_out_typed_and_marked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    words = ["drill", "D12", "--step", "4", "--seed", "3", "--questions", "2"]
    done = run(*words, "-o", "ear.txt")
    assert done.exit_code == 0, done.output
    assert done.stdout.splitlines() == [
        "Drill D12 · step 4 · sheet 3: C major, 2 marks",
        "Written: ear.txt, ear-answers.txt, ear-1.wav, ear-2.wav",
        "Keep headphones low, and rest the ears between questions.",
    ]
    right = re.findall(r"^\d: (\w+)", Path("ear-answers.txt").read_text(), re.MULTILINE)
    wrong = {"perfect": "half", "plagal": "half", "imperfect": "plagal"}[right[0]]
    blank = Path("ear.txt").read_text("utf-8")
    Path("ada.txt").write_text(
        blank.replace("1: ?", f"1: {wrong}").replace("2: ?", f"2. {right[1]}"), "utf-8"
    )
    marked = run("mark", "ada.txt")
    assert marked.exit_code == 0, marked.output
    head, first, second, _, total = marked.stdout.splitlines()
    assert head == "ada: Drill D12 · step 4 · sheet 3"
    assert first.startswith(f"1. {wrong}: {right[0]} is right. The last two chords are")
    assert second == f"2. {right[1]} is right.  [1]"
    assert total == "Sum: 0 + 1 = 1 of 2"
    # Where a typed work has lost the line that says which task it is, options say it.
    Path("bare.txt").write_text(f"1 {right[0]}\n2) {right[1]}\n", "utf-8")
    bare = run("mark", "bare.txt", "--against", *words[1:])
    assert bare.stdout.splitlines() == [
        "bare: Drill D12 · step 4 · sheet 3",
        f"1. {right[0]} is right.  [1]",
        f"2. {right[1]} is right.  [1]",
        "",
        "Sum: 1 + 1 = 2 of 2",
    ]
    hinted = run("mark", "ada.txt", "--hints", "--out-of", "20").stdout.splitlines()
    assert hinted[1] == (
        f"1. {wrong}: listen again. Does it end at home? Does the leading note sound "
        "before?  [0]"
    )
    assert hinted[4:8] == [
        "Sum: 0 + 1 = 1 of 2", "Of 20: 1 × 20 ÷ 2 = 10", "",
        "Answers, for when you have tried:",
    ]  # fmt: skip
    assert hinted[8].startswith(f"  1. {right[0]}. The last two chords are")


def test_the_same_seed_gives_the_same_bytes() -> None:
    one, two, other = (drill(order(3, None, 3)._replace(seed=s)) for s in (7, 7, 8))
    for ending in (".pdf", ".txt"):
        files = [
            format_sheet(sheet, ending, A4_PAGE, answers=True)
            for sheet in (one, two, other)
        ]
        assert files[0] == files[1] != files[2]
    sounds = [sheet_recordings(sheet, Path("a")) for sheet in (one, two, other)]
    assert sounds[0] == sounds[1] != sounds[2]


def test_the_key_has_a_ring_filled_for_every_question_and_the_music(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    run("drill", "D12", "--step", "5", "--questions", "4", "-o", "ear.pdf")
    texts = {
        name: subprocess.run(  # noqa: S603 - a program of the system
            ["pdftotext", "-layout", name, "-"],  # noqa: S607
            capture_output=True,
            check=True,
        ).stdout.decode()
        for name in ("ear.pdf", "ear-answers.pdf")
    }
    sheet = drill(order(5, None, 4))
    assert texts["ear.pdf"].count("●") == 0
    assert texts["ear-answers.pdf"].count("●") == 4
    rings = sum(len(item.choices) for item in sheet.asked)
    assert texts["ear.pdf"].count("○") == rings
    for item in sheet.asked:
        assert re.search(f"●\\s{item.answer}", texts["ear-answers.pdf"])
    assert "To play at the piano, 72 crotchets a minute" in texts["ear-answers.pdf"]


def test_a_sheet_of_another_kind_is_not_typed() -> None:
    tune = read_tune(TUNES / "morning_steps.txt")
    (sheet,) = make_sheets(tune, SheetOrder(SheetKind.CHOOSE))
    with pytest.raises(HarmoniseError) as caught:
        form_of(sheet)
    assert str(caught.value) == (
        "A sheet to choose chords and write them is not typed as text. Call it .pdf or "
        ".musicxml."
    )


LAYOUTS = [
    (step, questions, Page(paper, large_print=large))
    for step in range(1, 7)
    for questions in (3, 8, 12)
    for paper in Paper
    for large in (False, True)
]


@pytest.mark.parametrize("answers", [False, True])
def test_questions_fill_pages_and_nothing_runs_over(*, answers: bool) -> None:
    for step, questions, page in spread(LAYOUTS, 3, 2 * answers):
        sheet = drill(order(step, questions=questions))
        copies = copies_of(sheet, page)
        blocks = copies.answers if answers else copies.sheet
        pdf = typeset(blocks, footed(page, sheet))
        text = poppler(pdf, "-layout").split("\f")
        total = next(at for at, page in enumerate(text) if "Total" in page)
        assert total == copies.sheet.count(NewPage()), (step, questions, page)
        assert min(fills(pdf)) > 0.17
        assert all(min(free) > 15 for free in sides(pdf)), (step, questions, page)
