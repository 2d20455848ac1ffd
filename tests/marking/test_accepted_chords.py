"""The chords that a key prints are those for which a pupil gets every mark."""

import re
from pathlib import Path

import pytest
from makers.profiles import spread

from harmonise.choice.palette import palette
from harmonise.lessons.marker_notes import key_blocks
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.marking.mark import mark
from harmonise.marking.scripts import parse_script
from harmonise.marking.slip import hints
from harmonise.marking.task import Task
from harmonise.marking.tasks import task_of_tune, tasks_of_sheet
from harmonise.notation.chart.plain_charts import format_account
from harmonise.notation.formats import read_tune
from harmonise.notation.paper.blocks import Table
from harmonise.theory.arrangement import Arrangement, Slot, Style, Voice
from harmonise.theory.chord import Chord, parse_symbol
from harmonise.theory.pitch import Pitch

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
every_tune = pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
OF_CHOICE = {"M13", "M14", "M15", "M16"}
STRAINED = "But beside the chords of the model"
Printed = dict[str, list[tuple[str, str]]]


def sheet_of(path: Path, level: int) -> Worksheet:
    order = SheetOrder(SheetKind.CHOOSE, Style(level))
    return make_sheets(read_tune(path), order)[0]


def printed(sheet: Worksheet) -> Printed:
    """Return symbol and reason of every answer of the printed key, by its place."""
    (table,) = [
        block
        for block in key_blocks(sheet)
        if isinstance(block, Table) and "Right answer" in block.rows[0]
    ]
    found: Printed = {}
    place = ""
    for row in table.rows[1:]:
        place = row[0] or place
        typed = row[1].replace("♯", "#").replace("♭", "b")
        symbol = re.fullmatch(r"(?:or )?(\S+) \(\S+\)", typed)
        assert symbol
        found.setdefault(place.lower(), []).append(
            (symbol[1], row[2].replace("♯", "#").replace("♭", "b"))
        )
    return found


def explained(model: Arrangement) -> dict[str, list[str]]:
    """Return the symbols of all chords that `explain` prints, by their place."""
    found: dict[str, list[str]] = {}
    place = ""
    for line in format_account(model).splitlines():
        here = re.match(r"(Bar [^:]+): (\S+) \(\S+\)\. ", line)
        other = re.match(r"    Also good: (\S+) \(\S+\)\. ", line)
        if here:
            place = here[1].lower()
            found[place] = [here[2]]
        elif other:
            found[place].append(other[1])
        else:
            assert "tune goes alone" in line
    return found


def under(top: Pitch, chord: Chord) -> list[Pitch]:
    """Return the two chord notes that lie next below a tune note."""
    every = [Pitch(*name, octave) for name in chord.members for octave in range(1, 7)]
    found = [pitch for pitch in every if pitch.midi < top.midi]
    return sorted(found, key=lambda pitch: pitch.midi)[-2:]


def line_of(model: Arrangement, slot: Slot, chord: Chord) -> str:
    """Return a chord as a pupil types it: close under the tune, the root below."""
    tops = [n.pitch for n in model.notes if n.voice is Voice.TUNE]
    here = [
        n.pitch
        for n in model.notes
        if n.voice is Voice.TUNE
        and n.onset < slot.end
        and n.onset + n.length > slot.onset
    ]
    top = (here or tops)[0]
    beat = slot.place.beat or 1
    right = " ".join(map(str, under(top, chord)))
    return f"{slot.place.bar}.{beat}: {chord} | {right} {top} | {chord.root}2"


def of_choice(model: Arrangement, task: Task, changed: Slot, chord: Chord) -> set[str]:
    """Return the faults of choice in a work with one chord that is not the model's."""
    lines = [
        line_of(model, slot, chord if slot is changed else slot.chord)
        for slot in model.slots
        if slot.chord
    ]
    done = mark(parse_script("\n".join(lines).encode(), model.tune), task)
    return {own.kind.code for own in done.lines if own.points} & OF_CHOICE


def assert_printed_is_marked(path: Path, level: int) -> None:
    sheet = sheet_of(path, level)
    (task,) = tasks_of_sheet(sheet)
    model = sheet.pieces[0].arrangement
    answers = printed(sheet)
    slots = [
        slot
        for slot in model.slots
        if slot.chord and (slot.place.beat is None or slot.place.beat.denominator == 1)
    ]
    for slot in spread(slots, 5):
        rows = dict(answers[str(slot.place)])
        offers = {str(offer.chord.upright): offer for offer in palette(slot.key, level)}
        for symbol, offer in offers.items():
            found = of_choice(model, task, slot, offer.chord.upright)
            assert ("M13" not in found) == (symbol in rows), (slot.place, symbol, found)
            if symbol in rows:
                strained = STRAINED in rows[symbol]
                assert strained == bool(found), (slot.place, symbol, found)


@every_tune
def test_a_key_prints_the_chords_that_get_full_marks(path: Path) -> None:
    for level in spread((1, 2, 3, 4), 1, TUNES.index(path)):
        assert_printed_is_marked(path, level)


@every_tune
@pytest.mark.parametrize("level", [1, 2, 3, 4])
def test_explain_key_hint_and_marker_have_one_list(path: Path, level: int) -> None:
    sheet = sheet_of(path, level)
    key = {at: [row[0] for row in rows] for at, rows in printed(sheet).items()}
    assert key == explained(sheet.pieces[0].arrangement)
    for task in (*tasks_of_sheet(sheet), task_of_tune(read_tune(path), Style(level))):
        whole, accepted = explained(task.model), dict(task.accepted)
        for slot in task.model.slots:
            listed = whole.get(str(slot.place), [])
            uprights = {str(parse_symbol(symbol).upright) for symbol in listed}
            assert {str(chord) for chord in accepted[slot.onset]} == uprights
            also = re.search(r" Right too: (.+)\.$", hints(task.model.tune, slot)[2])
            names = re.findall(r"(\S+) \(\S+\)", also[1] if also else "")
            assert names == listed[1:]


@every_tune
def test_every_printed_way_of_a_chord_gets_full_marks(path: Path) -> None:
    order = SheetOrder(SheetKind.VOICES, Style(3))
    sheet = make_sheets(read_tune(path), order)[0]
    (task,) = tasks_of_sheet(sheet)
    texts = [[answer.text for answer in item.answers] for item in sheet.items]
    hands = [re.fullmatch(r"right hand (.+), left hand (.+)", own[0]) for own in texts]
    for number, others in enumerate(texts):
        for other in others[1:]:
            lines = []
            for at, (item, model) in enumerate(zip(sheet.items, hands, strict=True)):
                assert model
                right = other.removeprefix("right hand ") if at == number else model[1]
                place = f"{item.place.bar}.{item.place.beat}"
                lines.append(f"{place}: | {right} | {model[2]}")
            script = parse_script("\n".join(lines).encode(), task.model.tune)
            done = mark(script, task)
            here = [own for own in done.lines if own.item == number and own.points]
            assert [own.what for own in here] == [], other
