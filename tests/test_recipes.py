"""The developers' recipes carried out: what they name is all that is to be touched.

A pattern of the left hand has a test of its own beside its room.
"""

import json
from pathlib import Path

import pytest
from makers.grown_house import copied, put_at_end, put_before, run

TUNES = Path(__file__).parents[1] / "tunes"
STEPS = str(TUNES / "morning_steps.txt")
CHOICES = """
import click
from harmonise.cli import main
def choices(name, option):
    command = main.get_command(click.Context(main), name)
    (found,) = (one for one in command.params if option in one.opts)
    return [str(getattr(one, "value", one)) for one in found.type.choices]
"""

SHEET_ROW = """
    ROOTS = WorksheetRow(
        "roots",
        "Write the roots",
        "Each root: 1.",
        "The lowest note of the right hand is written instead of the root.",
    )
"""
SHEET_MAKER = '''

@makes(SheetKind.ROOTS)
def roots_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives the right hand and asks for the roots (W13)."""
    chords = model.changes
    items = tuple(
        item_at(slot, (Answer(f"left hand {hands(model, slot.onset)[1]}"),), LEFT)
        for slot in chords
    )
    hidden = frozenset(
        number
        for number in to_write(model, chords[1].onset)
        if model.notes[number].hand is Hand.LEFT
    )
    what = "Write the root of each chord in the left hand."
    pieces = (SheetPiece(model, hidden=hidden),)
    return Worksheet(order, model.tune, what, solve_first(items), pieces)
'''
OUTPUT_ROW = """    BARS = "bars", OutputRow(
        (".bars",), _whole("chart.bars", "format_bars"), "Bars", by_ending=True
    )

"""
OUTPUT_WRITER = '''
def format_bars(arrangement):
    """Return the chords in one line."""
    return " ".join(str(slot.chord) for slot in arrangement.changes)
'''
FORMAT_ROW = """    Format(
        "rows",
        (".rows",),
        lambda data: data.startswith(b"note,beats"),
        f"{_ROOM}.rows",
        "parse_rows",
    ),
"""
FORMAT_READER = '''
from harmonise.notation.tune_text.tune_text import parse_tune_text
def parse_rows(text):
    """Return the tune of a table of notes, four a bar."""
    names = [row.partition(",")[0] for row in text.split()[1:]]
    bars = (" ".join(names[at : at + 4]) for at in range(0, len(names), 4))
    return parse_tune_text("Key: C\\nTime: 4/4\\n" + " | ".join(bars))[0]
'''
FAULT_ROW = """    FaultKind(
        "M21", "tune doubled below", _N, _ONE, "close shapes", "D6",
        ask=("Which is the tune's note?", "Is it there twice?"),
        rules=(Rule("M21", _NEVER, hands.tune_not_doubled),),
        plant=Planter(12, planting.doubled_tunes, ("M21",)),
    ),
"""
FAULT_FINDER = '''

def tune_not_doubled(score: Score) -> Iterator[Found]:
    """Yield inner notes that begin an octave below the tune.

    Good: C major: C | C5 | E4 G4 | C3
    Fault: C major: C | C5 | C4 E4 G4 | C3
    """
    for moment in score.moments:
        for note in moment.inner if moment.tune else ():
            low = moment.tune.pitch.midi - 12
            if note.pitch.midi == low and _begins(moment, note):
                yield Found(moment.onset, "the tune is doubled.", "Leave it out.")
'''
FAULT_PLANTER = '''

def doubled_tunes(bed: Bed) -> Iterator[Proposal]:
    """Yield chords with the tune note an octave lower too."""
    tune = {n.onset: n for n in bed.arrangement.notes if n.voice is Voice.TUNE}
    for note, _, _ in _struck(bed, Hand.RIGHT):
        if note.onset in tune:
            double = note._replace(pitch=_octaves_off(tune[note.onset], -1))
            notes = [*bed.arrangement.notes, double]
            notes.sort(key=lambda n: (n.onset, n.pitch.midi))
            done = bed.arrangement._replace(notes=tuple(notes))
            yield Proposal(done, note.onset, "The tune is doubled.", "Leave it out.")
'''

SHEET_FACES = (
    CHOICES
    + """
import json
from harmonise.page.offers import offers
print(json.dumps([
    choices("worksheet", "--kind"), choices("mark", "--kind"),
    [row.title for row in offers().lists["worksheet-kind"]],
]))
"""
)
SHEET_MARKED = """
import json, sys
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder
from harmonise.marking.mark import mark
from harmonise.marking.scripts import parse_script
from harmonise.marking.tasks import tasks_of_sheet
from harmonise.notation.formats import read_tune
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.arrangement import Hand
(sheet,) = make_sheets(read_tune(sys.argv[1]), SheetOrder(SheetKind("roots")))
(task,) = tasks_of_sheet(sheet)
def marks(notes):
    work = format_musicxml(task.model._replace(notes=tuple(notes)))
    return int(mark(parse_script(work, task.model.tune), task).got)
def a_step_up(pitch):
    return pitch._replace(letter=(pitch.letter + 1) % 7)
right = list(task.model.notes)
wrong = [n._replace(pitch=a_step_up(n.pitch)) if n.hand is Hand.LEFT else n
         for n in right]
print(json.dumps([sheet.marks, marks(right), marks(wrong)]))
"""
OUTPUT_FACES = (
    CHOICES
    + """
import json
from harmonise.page.offers import FILES
print(json.dumps([
    choices("arrange", "--sheet"), choices("arrange", "--file-ending"), list(FILES),
    FILES["bars"].media,
]))
"""
)
FAULT_FACES = """
import json, sys
from harmonise.lessons.fault_sheet import plant
from harmonise.marking.mark import mark
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import own_points
from harmonise.marking.tasks import task_of_tune
from harmonise.rules.table import BY_KEY
from harmonise.notation.formats import read_tune
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.arrangement import Style
task = task_of_tune(read_tune(sys.argv[1]), Style(1))
planted, _ = plant(task.model, 1, 1, ("M21",))
marked = mark(parse_script(format_musicxml(planted), task.model.tune), task)
names = [line.kind.name for line in marked.lines]
print(json.dumps([names, int(marked.worth - marked.got), "M21" in BY_KEY,
                  "[M21]" in own_points()]))
"""


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the package with one of each thing more."""
    folder = copied(tmp_path_factory.mktemp("house"))
    rooms = folder / "harmonise"
    kinds = rooms / "lessons/worksheet.py"
    put_before(kinds, "\n    @property\n    def code(self)", SHEET_ROW)
    put_at_end(rooms / "lessons/chord_sheets.py", SHEET_MAKER)
    outputs = rooms / "notation/outputs.py"
    put_before(outputs, "    def __new__(cls, name", OUTPUT_ROW)
    (rooms / "notation/chart/bars.py").write_text(OUTPUT_WRITER, "utf-8")
    formats = rooms / "notation/formats.py"
    put_before(formats, "    # Whatever is none of the others", FORMAT_ROW)
    (rooms / "notation/rows.py").write_text(FORMAT_READER, "utf-8")
    table = rooms / "rules/table.py"
    put_before(table, ')  # fmt: skip\n"""All kinds of fault', FAULT_ROW)
    put_at_end(rooms / "rules/hands.py", FAULT_FINDER)
    put_at_end(rooms / "rules/planting.py", FAULT_PLANTER)
    return folder


def test_a_new_kind_of_worksheet_is_offered_by_every_face(house: Path) -> None:
    made, marked, titles = json.loads(run(house, "-c", SHEET_FACES))
    assert made == marked
    assert made[-1] == "roots"
    assert titles[-1] == "Write the roots"


def test_a_new_kind_of_worksheet_is_printed_and_marked(house: Path) -> None:
    name = str(house / "sheet.pdf")
    words = ("-m", "harmonise", "worksheet", STEPS, "--kind", "roots", "-o", name)
    assert "W13-1 roots · version A: C major, 7 marks" in run(house, *words)
    worth, right, wrong = json.loads(run(house, "-c", SHEET_MARKED, STEPS))
    assert worth == right == 7
    assert wrong == 0


def test_a_new_output_is_offered_by_every_face(house: Path) -> None:
    sheets, endings, files, media = json.loads(run(house, "-c", OUTPUT_FACES))
    assert "bars" in sheets
    assert "bars" in endings
    assert "bars" in files
    assert media.startswith("text/plain")


def test_a_new_output_is_written_where_a_files_ending_asks_for_it(house: Path) -> None:
    name = house / "steps.bars"
    run(house, "-m", "harmonise", "arrange", STEPS, "-o", str(name))
    assert name.read_text("utf-8").splitlines()[0] == "C G C G F C G C"


def test_a_new_format_is_read_alone_and_in_a_folder(house: Path) -> None:
    book = house / "book"
    book.mkdir()
    (book / "steps.rows").write_text("note,beats\nC,1\nE,1\nG,1\nC,1\n", "utf-8")
    words = ("-m", "harmonise", "arrange", str(book), "--file-ending", "abc", "-o")
    assert "1 of 1 tune arranged." in run(house, *words, str(house / "out"))
    alone = house / "alone.txt"
    run(house, *words[:3], str(book / "steps.rows"), "-o", str(alone))
    assert "C E G C |" in alone.read_text("utf-8")
    assert "rows" in run(house, "-m", "harmonise", "arrange", "--help")


def test_a_new_fault_is_planted_found_priced_and_counted(house: Path) -> None:
    names, lost, counted, priced = json.loads(run(house, "-c", FAULT_FACES, STEPS))
    assert set(names) == {"tune doubled below"}
    assert lost == len(names)
    assert counted
    assert priced
