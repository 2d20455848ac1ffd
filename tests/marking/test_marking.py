"""A teacher's principles of marking, each on the smallest work that shows it."""

from fractions import Fraction
from pathlib import Path

import pytest
from makers.planted_works import replayed
from makers.profiles import spread
from makers.scripts import script_of

from harmonise.arranging.job import arrange
from harmonise.errors import NotationError
from harmonise.lessons.drills import exercises
from harmonise.marking.finding import item_at
from harmonise.marking.mark import mark
from harmonise.marking.marked import Marking, MarkingManner, format_marks
from harmonise.marking.script import Script
from harmonise.marking.scripts import parse_script
from harmonise.marking.slip import fault_hints, format_slip, hints
from harmonise.marking.task import (
    Ask,
    MarkingStyle,
    Task,
    own_points,
    parse_points,
    read_points,
)
from harmonise.marking.tasks import task_of_exercise, task_of_tune
from harmonise.notation.formats import read_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.rules.table import BY_KEY, KEY_OF_RULE, KINDS, RULES, WORK_RULES
from harmonise.theory.arrangement import Hand, Style
from harmonise.theory.key import parse_key

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
KEYBOARD = MarkingManner(read_points())
STRICT = MarkingManner(read_points(), MarkingStyle.STRICT)

TUNE = """\
Title: Four bars
Key: C
Time: 4/4
E5 - E5 - | F5 - F5 - | D5 - D5 - | C5 - - - |
"""
RIGHT = [
    "1: C | G4 C5 E5 | C3", "1.3: C | G4 C5 E5 | C3",
    "2: F | A4 C5 F5 | F2", "2.3: F | A4 C5 F5 | F2",
    "3: G | G4 B4 D5 | G2", "3.3: G | G4 B4 D5 | G2", "4: C | E4 G4 C5 | C3",
]  # fmt: skip


@pytest.fixture(scope="module")
def task() -> Task:
    tune = parse_tune_text(TUNE)[0]
    return task_of_tune(tune, Style(1))


def marked(
    task: Task, *changes: tuple[int, str], manner: MarkingManner = KEYBOARD
) -> Marking:
    """Return the right work with some lines changed, marked."""
    lines = list(RIGHT)
    for number, line in changes:
        lines[number] = line
    text = "\n".join(line for line in lines if line)
    return mark(parse_script(text.encode(), task.model.tune), task, manner, "Ann")


def told(done: Marking) -> list[tuple[str, str, str]]:
    """Return code, bar and points of every line."""
    return [(own.kind.code, str(own.place.bar), str(own.points)) for own in done.lines]


def test_the_right_work_gets_full_marks(task: Task) -> None:
    done = marked(task)
    assert told(done) == []
    assert done.got == done.worth == 20


FAULTS = [
    ("M01", (0, "1: C | C5 E5 G5 | C3"), [("M01", "1", "2")]),
    ("M02", (2, "2: F | A4 B4 F5 | F2"), [("M02", "2", "1")]),
    ("M03", (2, "2: F | C5 F5 | F2"), [("M03", "2", "1")]),
    ("M06", (2, "2: F | A4 C5 F5 | A2"), [("M06", "2", "1")]),
    ("M07", (2, "2: F | C4 A4 F5 | F2"), [("M07", "2", "1/2")]),
    # An inner note an octave too low lies below the left hand as well.
    ("M07", (2, "2: F | A4 C3 F5 | F3"), [("M07", "2", "1/2")]),
    ("M08", (2, "2: F | A4 C5 F5 | F5"), [("M08", "2", "1/2")]),
    ("M10", (2, "2: G | A4 C5 F5 | F2"), [("M10", "2", "1")]),
    ("M13", (2, "2: C | G4 C5 F5 | C3"), [("M13", "2", "2")]),
    ("M15", (6, "4: Am | E4 A4 C5 | A2"), [("M15", "4", "2")]),
    ("M20", (2, "2: F | A4 C5 A5 | F2"), [("M20", "2", "2")]),
]


@pytest.mark.parametrize(("code", "change", "wanted"), FAULTS, ids=lambda own: own[:3])
def test_one_slip_is_one_deduction(
    code: str, change: tuple[int, str], wanted: list[tuple[str, str, str]], task: Task
) -> None:
    twin = change
    if code in ("M02", "M03", "M06", "M07", "M08", "M10", "M13", "M20"):
        number, line = change
        twin = (number + 1, line.replace("2: ", "2.3: "))
    done = marked(task, change, twin)
    costly = [row for row in told(done) if row[2] != "0"]
    assert costly == wanted
    assert done.got == 20 - sum(Fraction(row[2]) for row in wanted)


def test_a_wrong_root_is_not_paid_for_by_the_chord_after_it(task: Task) -> None:
    done = marked(task, (2, "2: F | A4 C5 F5 | C3"), (3, "2.3: F | A4 C5 F5 | C3"))
    assert told(done) == [("M06", "2", "1")]


@pytest.mark.parametrize(
    "changes",
    [
        # V under 4, where IV is right, goes on to IV; IV under 2 comes after V.
        [(2, "2: G | G4 B4 F5 | G2")],
        [(4, "3: G | G4 B4 D5 | G2"), (5, "3.3: F | F4 A4 D5 | F2")],
        # A wrong chord in the middle of a bar is held over the bar line.
        [(1, "1.3: F | F4 A4 E5 | F2")],
    ],
    ids=["before", "after", "held"],
)
def test_a_chord_that_does_not_fit_costs_once_whatever_stands_beside_it(
    task: Task, changes: list[tuple[int, str]]
) -> None:
    lines = [line for line in marked(task, *changes).lines if line.points]
    assert [line.kind.code for line in lines] == ["M13"]


def test_joining_is_judged_from_the_pupils_own_chord_before(task: Task) -> None:
    # A wide first chord, then the only close shape: nothing is moved too far.
    done = marked(task, (0, "1: C | E4 G4 E5 | C3"), (1, "1.3: C | E4 G4 E5 | C3"))
    assert told(done) == []


def test_a_blank_chord_earns_nothing_and_is_no_fault(task: Task) -> None:
    done = marked(task, (2, ""), (3, "2: F | - | -"))
    assert told(done) == []
    assert [(b.what, str(b.points)) for b in done.blanks] == [
        ("left hand", "1"), ("right hand", "3")
    ]  # fmt: skip
    assert done.got == 16


def test_a_blank_left_hand_costs_its_own_mark_only(task: Task) -> None:
    done = marked(task, (2, "2: F | A4 C5 F5 | -"), (3, "2.3: F | A4 C5 F5 | -"))
    assert told(done) == []
    assert [(b.what, str(b.points)) for b in done.blanks] == [("left hand", "1")]


def test_the_left_hand_is_right_in_any_octave(task: Task) -> None:
    done = marked(task, (2, "2: F | A4 C5 F5 | F3"), (3, "2.3: F | A4 C5 F5 | F1"))
    assert done.got == done.worth


@pytest.mark.parametrize("path", TUNES[::4], ids=lambda path: path.stem)
def test_every_accepted_chord_is_right(path: Path) -> None:
    task = task_of_tune(read_tune(path), Style(3))
    tried = 0
    for slot in spread(task.model.slots, 8):
        for other in slot.alternatives:
            done = replayed(task.model, slot, other.chord)
            lines = mark(script_of(done), task).lines
            item = item_at(task.items, slot.onset)
            wrong = [own.what for own in lines if own.kind.code in ("M10", "M13")]
            assert [what for what in wrong if str(other.chord) in what] == []
            assert "M02" not in [o.kind.code for o in lines if o.item == item]
            tried += 1
    assert tried > 0


def test_a_chord_never_loses_more_than_it_is_worth(task: Task) -> None:
    wrong = "F#4 G#4 Bb4 F5"
    done = marked(task, (2, f"2: F | {wrong} | B2"), (3, f"2.3: F | {wrong} | B2"))
    lost = sum(own.points for own in done.lines)
    assert lost == 4
    many = "D4 F#4 G#4 Bb4 B4 F5"
    done = marked(task, (2, f"2: F | {many} | B2"), (3, f"2.3: F | {many} | B2"))
    lost = sum(own.points for own in done.lines)
    assert lost > 5
    assert done.back == ((1, lost - 5),)
    assert done.got == 15


def test_the_same_slip_in_an_exact_repeat_costs_once() -> None:
    text = TUNE.replace("E5 - E5 - | F5 - F5 -", "E5 - F5 - | E5 - F5 -")
    own = task_of_tune(parse_tune_text(text)[0], Style(1))
    lines = [
        "1: C | G4 C5 E5 | C3", "1.3: F | A4 C5 F5 | C3",
        "2: C | G4 C5 E5 | C3", "2.3: F | A4 C5 F5 | C3",
        "3: G | G4 B4 D5 | G2", "4: C | E4 G4 C5 | C3",
    ]  # fmt: skip
    done = mark(parse_script("\n".join(lines).encode(), own.model.tune), own)
    assert told(done) == [("M06", "1", "1"), ("M06", "2", "0")]
    assert done.lines[1].note == "as in bar 1, where it was counted"


def parallels() -> tuple[Task, Script]:
    """Return IV to V that slides up, the textbook's example of forbidden parallels."""
    exercise = exercises("D4", [parse_key("C")])[0]
    task = task_of_exercise(exercise)._replace(contrary=False)
    text = "1: C4 E4 G4 | C3\n2: F4 A4 C5 | F2\n2.3: G4 B4 D5 | G2\n3: G4 C5 E5 | C3"
    return task, parse_script(text.encode(), task.model.tune)


def test_strict_style_deducts_for_parallels_and_keyboard_style_comments() -> None:
    # Every harmony textbook shows IV-V sliding up as parallel fifths and octaves
    # (from memory).
    task, script = parallels()
    strict = [
        (own.kind.code, str(own.points)) for own in mark(script, task, STRICT).lines
    ]
    easy = [(own.kind.code, str(own.points)) for own in mark(script, task).lines]
    assert ("M17", "1") in strict
    assert ("M17", "0") in easy


def test_in_a_drill_about_contrary_motion_parallels_cost_in_every_style() -> None:
    task, script = parallels()
    done = mark(script, task._replace(contrary=True), KEYBOARD)
    assert ("M17", "1") in [(own.kind.code, str(own.points)) for own in done.lines]
    assert task_of_exercise(exercises("D4", [parse_key("C")])[0]).contrary


@pytest.mark.parametrize(
    ("lines", "wanted"),
    [
        # Textbook: I-IV keeps the common tone (from memory).
        ("1: C4 E4 G4 | C3\n2: C4 F4 A4 | F2", []),
        # Textbook: root position slid to root position loses it (from memory).
        ("1: C4 E4 G4 | C3\n2: F4 A4 C5 | F2", ["M04", "M05"]),
    ],
)
def test_textbook_examples_of_the_common_tone(lines: str, wanted: list[str]) -> None:
    task = task_of_exercise(exercises("D4", [parse_key("C")])[0])
    # Parallels are another question.
    task = task._replace(contrary=False)
    done = mark(parse_script(lines.encode(), task.model.tune), task)
    found = [own.kind.code for own in done.lines if own.item == 1 and own.number]
    assert found == wanted


def test_a_lost_common_tone_costs_once_and_its_longer_way_nothing() -> None:
    task = task_of_exercise(exercises("D4", [parse_key("C")])[0])
    task = task._replace(contrary=False)
    text = "1: C4 E4 G4 | C3\n2: F4 A4 C5 | F2"
    done = mark(parse_script(text.encode(), task.model.tune), task)
    costs = {
        own.kind.code: own.points for own in done.lines if own.item == 1 and own.number
    }
    assert costs == {"M04": 1, "M05": 0}


def test_the_minor_dominant_without_raised_seventh_is_that_and_nothing_else() -> None:
    # The trade's own example: E G B for V in A minor.
    task = task_of_exercise(exercises("D3", [parse_key("A minor")])[0])
    script = script_of(task.model)
    plain = tuple(
        own._replace(pitch=own.pitch._replace(alter=0))
        if str(own.pitch.name) == "G#"
        else own
        for own in script.notes
    )
    done = mark(script._replace(notes=plain), task)
    assert [own.kind.code for own in done.lines] == ["M12"]


@pytest.mark.parametrize("named", [True, False])
def test_the_missing_raised_seventh_is_no_other_chord(*, named: bool) -> None:
    tune = parse_tune_text("Key: A minor\nTime: 4/4\nA4 - - - | B4 - - - | A4 - - - |")
    task = task_of_tune(tune[0], Style(1))
    home, away = ("Am |", "E |") if named else ("", "")
    text = f"1: {home} C4 E4 A4 | A2\n2: {away} E4 G4 B4 | E3\n3: {home} C4 E4 A4 | A2"
    done = mark(parse_script(text.encode(), tune[0]), task)
    assert [own.kind.code for own in done.lines if own.number] == ["M12"]


def test_midi_loses_nothing_for_spelling(task: Task) -> None:
    tune = parse_tune_text("Key: E\nTime: 4/4\nG#4 - - - | E4 - - - |")[0]
    own = task_of_tune(tune, Style(1))
    script = script_of(own.model)
    flat = tuple(
        n._replace(pitch=n.pitch._replace(letter=5, alter=-1))
        if str(n.pitch) == "G#4"
        else n
        for n in script.notes
    )
    assert [o.kind.code for o in mark(script._replace(notes=flat), own).lines] == [
        "M11"
    ]
    heard = script._replace(notes=flat, symbols=(), spelled=False)
    done = mark(heard, own)
    assert done.got == done.worth
    assert "MIDI knows keys" in done.notes[0]
    assert task.marks > 0


@pytest.mark.parametrize("path", TUNES[:4], ids=lambda path: path.stem)
def test_an_empty_work_earns_nothing_and_has_no_fault(path: Path) -> None:
    task = task_of_tune(read_tune(path), Style(1))
    done = mark(Script((), task.model.tune.bars), task)
    assert done.lines == ()
    assert done.got == 0
    assert (
        done.praise == "The sheet is still yours to fill: begin with the first chord."
    )


@pytest.mark.parametrize("octaves", [1, -1])
def test_a_right_hand_in_another_octave_is_one_slip(octaves: int) -> None:
    task = task_of_tune(read_tune(TUNES[0]), Style(1))
    script = script_of(task.model)
    notes = tuple(
        n._replace(pitch=n.pitch._replace(octave=n.pitch.octave + octaves))
        if n.hand is Hand.RIGHT
        else n
        for n in script.notes
    )
    done = mark(script._replace(notes=notes), task)
    assert [own.kind.code for own in done.lines] == ["M20"]
    way = "high" if octaves > 0 else "low"
    assert done.lines[0].what == f"the whole right hand lies an octave too {way}."
    tops = [own.pitch for own in done.work.written.tune.sounding]
    given = [own.pitch for own in task.model.tune.sounding]
    assert [own.midi - 12 * octaves for own in tops if own] == [
        own.midi for own in given if own
    ]


# Slips


def test_a_slip_can_be_recounted(task: Task) -> None:
    done = marked(
        task, (2, "2: F | A4 B4 F5 | A2"), (3, ""), (6, "4: C | E4 G4 C5 | -")
    )
    slip = format_slip(done, out_of=50)
    row = next(line for line in slip.splitlines() if line.startswith("Sum: "))
    terms = row.split(", ")[1].split(" = ")
    plain = terms[0].replace("− ", "-").replace("+ ", "+").split()
    assert sum(map(Fraction, plain)) == done.got
    assert terms[1] == f"{format_marks(done.got)} of {format_marks(done.worth)}"
    scaled = round(done.got * 50 / done.worth * 2) / Fraction(2)
    assert (
        f"= {format_marks(scaled)}"
        in slip.splitlines()[slip.splitlines().index(row) + 1]
    )


def test_a_slip_says_place_fault_reason_points_and_drill(task: Task) -> None:
    done = marked(task, (2, "2: F | A4 C5 F5 | C3"), (3, ""))
    assert format_slip(done) == (
        "Ann: Four bars\n\n"
        "1. Bar 2, beat 1: wrong root in the left hand (M06). The left hand plays C3 "
        "under F. Play F in the left hand.  [− 1]\n\n"
        "Sum: 4 chords, 20 − 1 = 19 of 20\n\n"
        "What went well: Three of four chords are wholly right.\n\n"
        "To practise:\n"
        "  wrong root in the left hand (M06): drill D1, left hand alone\n"
    )


PRAISED = [
    ([], "Every chord is right: full marks."),
    ([(2, "2: F | A4 B4 F5 | F2")], "All four left-hand roots are right."),
    (
        [(2, "2: F | A4 B4 F5 | F2"), (6, "4: C | E4 G4 C5 | -")],
        "All three left-hand roots that you wrote are right.",
    ),
    (
        [(4, "3: G | G4 B4 D5 | B2"), (5, ""), (2, "2: F | A4 B4 F5 | F2"), (3, "")],
        "Two of four chords are wholly right.",
    ),
]


@pytest.mark.parametrize(("changes", "wanted"), PRAISED)
def test_praise_is_true(
    changes: list[tuple[int, str]], wanted: str, task: Task
) -> None:
    assert marked(task, *changes).praise == wanted


# Hints


def test_hints_never_contain_the_answer_before_the_last() -> None:
    for path in TUNES:
        for level in (1, 3):
            model = arrange(read_tune(path), Style(level))
            for slot in model.slots:
                if slot.chord is None:
                    continue
                first, second, answer = hints(model.tune, slot)
                words = {word.strip(".,:;?()") for word in f"{first} {second}".split()}
                accepted = [slot.chord, *(own.chord for own in slot.alternatives)]
                answers = {str(chord) for chord in accepted} | {slot.numeral}
                assert not words & answers
                assert answer.startswith(f"{slot.chord} ({slot.numeral})")


def test_hints_ask_for_the_note_then_for_the_chord_before() -> None:
    model = arrange(parse_tune_text(TUNE)[0], Style(1))
    first, second, answer = hints(model.tune, model.changes[1])
    assert first == (
        "The tune has the degree 4 here: which chords of those that you know have this "
        "note?"
    )
    assert second.startswith("Which was the last chord, and has it this note too?")
    assert answer.startswith("F (IV): tune F (4):")


def test_every_fault_has_questions_that_do_not_answer_themselves(task: Task) -> None:
    for code, change, _ in FAULTS:
        done = marked(task, change)
        for line in done.lines:
            first, second, answer = fault_hints(line, done)
            assert first.endswith("?")
            assert answer
            assert answer not in f"{first} {second}", code


def test_a_slip_with_hints_gives_the_answers_at_the_end(task: Task) -> None:
    done = marked(task, (2, "2: F | A4 C5 F5 | A2"), (3, ""))
    before, _, after = format_slip(done, hints=True).partition("Answers, ")
    assert "Play F in the left hand." not in before
    assert "Play F in the left hand." in after


# Tables


def test_every_rule_of_the_marker_has_a_kind_a_price_and_a_drill() -> None:
    codes = {rule.code for rule in WORK_RULES}
    assert set(KEY_OF_RULE) <= codes
    assert set(read_points().prices) == set(BY_KEY)
    assert {kind.code for kind in KINDS} == {f"M{n:02}" for n in range(1, 21)}
    assert all(kind.how for kind in KINDS)
    hidden = {key for kind in KINDS for key in kind.hides}
    assert hidden <= set(BY_KEY)
    assert {rule.code for rule in RULES} <= codes


def test_deductions_are_those_of_the_trade() -> None:
    # TRADE 4.4.
    half = Fraction(1, 2)
    wanted = {
        "M01": 2, "M02": 1, "M03.third": 1, "M03.root": 1, "M03.fifth": half, "M04": 1,
        "M05": 1, "M06": 1, "M07": half, "M08": half, "M09": 1, "M10": 1, "M11": half,
        "M12": 1, "M13": 2, "M14": 1, "M15": 2, "M16": 1, "M17": 1, "M18": half,
        "M19": half, "M20": 2,
    }  # fmt: skip
    prices = read_points().prices
    assert {key: prices[key].deduct for key in wanted} == wanted
    assert {k for k, price in prices.items() if price.when == "strict"} == {
        "M17",
        "M18",
    }


def test_a_table_of_ones_own_need_hold_only_what_differs(
    tmp_path: Path, task: Task
) -> None:
    own = tmp_path / "points.toml"
    own.write_text(
        "[chord]\nleft = 3\n[M06]\ndeduct = 2.5\n[M20]\ndeduct = 0\n", "utf-8"
    )
    points = read_points(own)
    fresh = task_of_tune(task.model.tune, Style(1), points=points)
    assert fresh.marks == 28
    done = marked(
        fresh, (2, "2: F | A4 C5 F5 | A2"), (3, ""), manner=MarkingManner(points)
    )
    assert done.got == Fraction(51, 2)
    assert parse_points(own_points()) == read_points()


@pytest.mark.parametrize("when", ["comment", "off"])
def test_a_teacher_may_let_a_fault_be(when: str, task: Task) -> None:
    usual = read_points()
    own = parse_points(f'[M06]\ndeduct = 1\nwhen = "{when}"')
    points = usual._replace(prices={**usual.prices, **own.prices})
    done = marked(
        task, (2, "2: F | A4 C5 F5 | C3"), (3, ""), manner=MarkingManner(points)
    )
    assert done.got == done.worth
    assert len(done.lines) == (when == "comment")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[M06]\ndeduct = -1", '"M06" in the table of points is worth -1.'),
        ("[M06]\ndeduct = true", '"M06" in the table of points is worth True.'),
        ("[M99]\ndeduct = 1", 'The table of points has "M99", which is no fault.'),
        ("[chord]\nfeet = 1", 'A chord has no part "feet".'),
        (
            f"[{'9' * 3000}]\ndeduct = 1",
            f'The table of points has "{"9" * 24}…", which is no fault.',
        ),
        ("M06 = 1", 'The table of points has "M06", which is no fault.'),
        ("[M06]\nwhen = 'strict'", "[M06] in the table of points has no deduct"),
        (
            "[M06]\ndeduct = 1\nwhen = 'never'",
            '[M06] in the table of points has when = "never".',
        ),
        ("[M06", "The table of points cannot be read:"),
    ],
)
def test_a_broken_table_is_refused_with_the_entry(text: str, told: str) -> None:
    with pytest.raises(NotationError) as refused:
        parse_points(text)
    assert refused.value.what.startswith(told)
    assert refused.value.remedy


# Forms


def test_a_pickup_written_as_a_full_bar_stands_where_the_tune_has_it() -> None:
    path = next(p for p in TUNES if p.stem == "auld_lang_syne")
    task = task_of_tune(read_tune(path), Style(1))
    script = script_of(task.model)
    pickup, *others = script.bars
    full = pickup._replace(number=1, length=pickup.time.bar_length, offset=Fraction(0))
    late = pickup.time.bar_length - pickup.length
    bars = [
        full,
        *(b._replace(number=b.number + 1, start=b.start + late) for b in others),
    ]
    notes = tuple(n._replace(onset=n.onset + late) for n in script.notes)
    symbols = tuple(s._replace(onset=s.onset + late) for s in script.symbols)
    done = mark(script._replace(bars=tuple(bars), notes=notes, symbols=symbols), task)
    assert done.got == done.worth


def test_work_that_stops_early_is_blank_from_there() -> None:
    task = task_of_tune(read_tune(TUNES[0]), Style(1))
    script = script_of(task.model)
    half = task.model.tune.bars[len(task.model.tune.bars) // 2].start
    notes = tuple(n for n in script.notes if n.onset + n.length <= half)
    bars = tuple(bar for bar in script.bars if bar.start < half)
    done = mark(script._replace(notes=notes, bars=bars), task)
    assert [own.kind.code for own in done.lines if own.number] == []
    assert {own.place.bar for own in done.blanks} >= {task.model.tune.bars[-1].number}


def test_numerals_may_be_asked_for_in_place_of_symbols() -> None:
    tune = parse_tune_text(TUNE)[0]
    task = task_of_tune(tune, Style(1), (Ask.NUMERAL,))
    numerals = {"C": "I", "F": "IV", "G": "V"}
    lines = [
        f"{head}: {numerals[rest.split(' |')[0]]} |{rest.partition('|')[2]}"
        for head, _, rest in (line.partition(": ") for line in RIGHT)
    ]
    done = mark(parse_script("\n".join(lines).encode(), tune), task)
    assert done.got == done.worth


def test_the_hands_of_a_script_are_never_taken_for_each_other(task: Task) -> None:
    done = marked(task)
    left = [n for n in done.work.judged.notes if n.hand is Hand.LEFT]
    assert {n.pitch.midi for n in left} <= set(range(36, 56))


def test_a_bare_fifth_is_marked_like_any_chord(task: Task) -> None:
    done = marked(task, (0, "1: C5 | C4 G4 E5 | C3"))
    assert ("M03", "1") not in [row[:2] for row in told(done)]
    assert done.got > 0
