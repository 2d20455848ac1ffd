"""One slip of counting, or another key, does not spoil what follows.

The pages, and the thirty ways in which they get out of place, share nothing with the
marker. In CI each way is tried on one page in turn, by night on all.
"""

from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from makers.outside_layouts import LAYOUTS
from makers.outside_shifts import WAYS, in_key, shifts
from makers.outside_table import marked
from makers.outside_works import PAGES, Bar, Note, Work, right_work
from makers.profiles import PROFILE
from makers.scripts import script_of

from harmonise.errors import MelodyError
from harmonise.lessons.drills import exercises
from harmonise.marking.mark import mark
from harmonise.marking.marked import Marking
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import Task
from harmonise.marking.tasks import (
    task_of_exercise,
    task_of_exercises,
    task_of_tune,
)
from harmonise.notation.formats import read_tune
from harmonise.theory.arrangement import Arrangement, Hand, Style, Voice
from harmonise.theory.key import parse_key

RIGHT = {name: right_work(page) for name, page in PAGES.items()}
LAYOUT = "two staves, a voice a line"
LEAST = Fraction(9, 10)
EVERY = list(shifts(RIGHT))
TRIED = [
    pytest.param(page, way, work, id=f"{way}, {page}")
    for number, (page, way, work) in enumerate(EVERY)
    if PROFILE == "night" or number % 4 == 0
]


@pytest.mark.parametrize(("page", "way", "work"), TRIED)
def test_a_page_out_of_place_keeps_nine_marks_in_ten(
    page: str, way: str, work: Work
) -> None:
    done = marked(page, work, LAYOUT)
    assert done.got >= LEAST * done.worth, way
    costly = [line for line in done.lines if line.points]
    # Where all comes back into its place the note before it is cut short.
    assert len(costly) <= 1 + (way == "a beat late from bar 3 to bar 5")


@cache
def task_of(path: Path) -> Task:
    return task_of_tune(read_tune(path), Style(1))


def work_of(model: Arrangement) -> Work:
    """Return a model as a work of plain strings and numbers."""
    tune, inner, left = (
        tuple(
            sorted(
                Note(note.onset, note.length, str(note.pitch))
                for note in model.notes
                if note.voice is voice
            )
        )
        for voice in (Voice.TUNE, Voice.INNER, Voice.BASS)
    )
    time = model.tune.bars[-1].time
    bars = tuple(Bar(bar.number, bar.start, bar.length) for bar in model.tune.bars)
    symbols = tuple((slot.onset, str(slot.chord)) for slot in model.changes)
    return Work(model.tune.key.fifths, time.beats, time.beat_type, bars, tune, inner,
                left, symbols)  # fmt: skip


TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
SHIFTED = [
    pytest.param(path, way, id=f"{way}, {path.stem}")
    for at, path in enumerate(TUNES)
    for number, way in enumerate(WAYS)
    if PROFILE == "night" or (number + 5 * at) % len(WAYS) == 0
]
"""Every way with each of our tunes; in CI a way for each of them."""


@pytest.mark.parametrize(("path", "way"), SHIFTED)
def test_a_page_of_our_tunes_out_of_place_keeps_nine_marks_in_ten(
    path: Path, way: str
) -> None:
    task = task_of(path)
    work = WAYS[way](work_of(task.model))
    if work is None:
        pytest.skip("this tune has no room for it")
    script = parse_script(LAYOUTS[LAYOUT].write(work), task.model.tune)
    done = mark(script, task)
    assert done.got >= LEAST * done.worth


def test_thirty_ways_are_tried() -> None:
    assert len(WAYS) > 30
    assert {way for _, way, _ in EVERY} == set(WAYS)


@pytest.mark.parametrize(
    ("way", "page", "told"),
    [
        ("a bar in front", "C major",
         "One empty bar stands in front; from there all is one bar late."),
        ("bar 3 twice", "C major",
         "One bar too many stands before bar 3; from there all is one bar late."),
        ("bars 4 and 5 left out", "A minor",
         "Bars 4 and 5 are left out; from there all is two bars early."),
        ("a beat late", "D major", "All is one beat late."),
        ("a beat late from bar 3 to bar 5", "B flat major",
         ("From bar 3 on all is one beat late. "
          "From bar 5 on all is in its place again.")),
        ("the pickup left out", "G major", "The pickup is left out."),
        ("the bar lines of 3/4", "C major", "It is written in 3/4, not in 4/4."),
        ("all values halved", "D major", "All note values are halved."),
        ("all values doubled, in the same metre", "A minor",
         "All note values are doubled."),
        ("a minor third higher", "C major",
         "All of it is in Eb major, not in C major."),
        ("a bar in front, all values halved", "C major",
         ("All note values are halved. "
          "One empty bar stands in front; from there all is one bar late.")),
    ],
)  # fmt: skip
def test_what_is_out_of_place_is_told_first_in_a_sentence(
    way: str, page: str, told: str
) -> None:
    work = WAYS[way](RIGHT[page])
    assert work
    line = marked(page, work, LAYOUT).lines[0]
    assert f"{line.what[:1].upper()}{line.what[1:]}" == told
    assert line.number == 1
    assert line.points == 2


def test_a_slip_after_a_shift_is_told_where_it_stands_in_the_tune() -> None:
    work = WAYS["a bar in front"](RIGHT["C major"])
    assert work
    wrong = work._replace(
        left=tuple(n._replace(name="B2") if n.at == 8 else n for n in work.left)
    )
    done = marked("C major", wrong, LAYOUT)
    assert [(o.kind.key, o.place.bar) for o in done.lines if o.number] == [
        ("M19.shift", 1), ("M06", 2)
    ]  # fmt: skip


def test_a_few_wrong_notes_are_no_shift() -> None:
    work = RIGHT["C major"]
    wrong = tuple(n._replace(name="A5") if n.at < 3 else n for n in work.tune)
    done = marked("C major", work._replace(tune=wrong), LAYOUT)
    assert done.work.aligned.course.is_straight
    assert {line.kind.code for line in done.lines if line.points} <= {"M20", "M07"}


@pytest.mark.parametrize("other", ["G major", "A minor", "D major", "F major"])
def test_another_piece_is_asked_about_and_not_marked(other: str) -> None:
    with pytest.raises(MelodyError) as asked:
        marked("C major", RIGHT[other], LAYOUT)
    assert str(asked.value) == (
        "This looks like another piece: hardly a note of Tune is in it. Name what was "
        "asked with --against."
    )


def test_two_slips_of_the_whole_page_are_told_and_charged_each() -> None:
    work = in_key(1, 2, 2, 1)(RIGHT["C major"])
    assert work
    done = marked("C major", work, LAYOUT)
    assert [line.kind.key for line in done.lines] == ["M19.shift", "M20.key"]
    assert done.got == 36


def drill(key: str, text: str) -> Marking:
    task = task_of_exercise(exercises("D1", [parse_key(key)])[0])
    return mark(parse_script(text.encode(), task.model.tune), task)


IN_C = "1: C4 E4 G4 | C3\n1.3: C4 F4 A4 | F2\n2: C4 E4 G4 | C3\n2.3: B3 D4 G4 | G2\n"


def test_a_drill_in_another_key_is_told_once_with_the_option() -> None:
    done = drill("Eb", f"{IN_C}3: C4 E4 G4 | C3\n")
    (line,) = [line for line in done.lines if line.number]
    assert (line.kind.key, line.what) == (
        "M20.key", "all of it is in C major, not in Eb major.",
    )  # fmt: skip
    assert line.remedy.endswith("If C major was asked for, add --key C.")
    assert done.got == LEAST * done.worth


@pytest.mark.parametrize(
    ("name", "order", "bars"),
    [("D1", (1, 2, 0), 3), ("D4", (2, 0, 1), 3), ("D5", (3, 4, 5, 0, 2, 1), 2)],
)
def test_the_exercises_of_a_drill_may_come_in_any_order(
    name: str, order: tuple[int, ...], bars: int
) -> None:
    made = exercises(name, [parse_key("G")])
    task = task_of_exercises(made)
    lines = []
    for place, number in enumerate(order):
        score = made[number].score
        for slot in score.slots:
            now = [n for n in score.notes if n.onset == slot.onset]
            hands = [
                " ".join(str(n.pitch) for n in now if n.hand is hand)
                for hand in (Hand.RIGHT, Hand.LEFT)
            ]
            head = f"{slot.place.bar + bars * place}.{slot.place.beat}"
            lines.append(f"{head}: {hands[0]} | {hands[1]}")
    script = parse_script("\n".join(lines).encode(), task.model.tune)
    done = mark(script, task)
    assert done.got == done.worth
    assert done.notes[0].startswith("The exercises stand in another order")


@pytest.mark.parametrize(
    ("name", "order"),
    [
        ("D6", (2, 0, 1)),
        ("D8", (1, 0)),
        ("D9", (4, 2, 0, 5, 1, 3)),
        ("D10", (8, 0, 6, 3, 1, 7, 2, 5, 4)),
    ],
)
def test_exercises_of_any_length_may_come_in_any_order(
    name: str, order: tuple[int, ...]
) -> None:
    made = exercises(name, [parse_key("C")])
    other = task_of_exercises([made[number] for number in order])
    done = mark(script_of(other.model), task_of_exercises(made))
    assert done.got == done.worth
    assert done.notes[0].startswith("The exercises stand in another order")
