"""Drills as files: MusicXML of any copy, MIDI, or a booklet in PDF.

A copy shows all notes, or the first chord and numerals, or everything with answers. A
file holds all exercises one after the other, numbered through, with words above each
and a new line for each: a class prints it in one go, and a player goes through it
without turning to another file. A booklet goes key by key instead, after what to play
and the practice plan, and gives every key a place for tempo and date.
"""

from collections.abc import Iterator, Sequence
from enum import Enum
from fractions import Fraction
from functools import partial
from itertools import accumulate, groupby
from pathlib import Path
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.form import splicing
from harmonise.form.splicing import Slice, with_bars
from harmonise.lessons.drill_makers import Exercise
from harmonise.lessons.drills import (
    CAUTION,
    START,
    find_drill,
    how_to_practise,
    plan_rows,
)
from harmonise.notation.files import (
    MIDI,
    MUSICXML,
    check_target,
    format_mxl,
    write_whole,
)
from harmonise.notation.midi.writing import AS_WRITTEN, Playing, format_midi
from harmonise.notation.musicxml.writer import FileIdentity, format_plan
from harmonise.notation.paper.blocks import (
    A4_PAGE,
    Blanks,
    Block,
    Lettering,
    Music,
    NewPage,
    Page,
    Table,
    Title,
    Whole,
    Words,
    music_look,
)
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.paper.typesetting import typeset
from harmonise.notation.score.copies import change_signs, without_symbols
from harmonise.notation.score.note_values import Value
from harmonise.notation.score.placed_signs import PlacedSign
from harmonise.notation.score.printed_labels import format_position, shape_legend
from harmonise.notation.score.score_plan import Plan, plan_score
from harmonise.notation.signed import sign_xml
from harmonise.theory.arrangement import Arrangement, Labels, Style
from harmonise.theory.key import printed
from harmonise.theory.tune import KeyChange, Syllable


class Version(Enum):
    """Which copy of a drill is printed."""

    EXERCISE = "exercise"
    BLANK = "blank"
    ANSWER = "answer"


class DrillCopy(NamedTuple):
    """What is printed of an exercise.

    Attributes:
        version: All notes; the first chord only and numerals; or all notes, numerals,
            positions and fingers.
        labels: How positions are named in answers.
        fingering: Whether copies without answers have fingers too.
    """

    version: Version = Version.EXERCISE
    labels: Labels = Labels.WORDS
    fingering: bool = False


PLAIN_COPY = DrillCopy()


def copy_of(exercise: Exercise, copy: DrillCopy) -> Arrangement:
    """Return one copy of an exercise, as it is printed."""
    whole = exercise.score
    answer = copy.version is Version.ANSWER
    hidden = exercise.hidden and not answer
    style = Style(
        numerals=answer or (copy.version is Version.BLANK and not hidden),
        fingering=answer or (copy.fingering and not hidden),
    )
    whole = whole._replace(style=style)
    if answer:
        return _with_labels(whole, copy.labels)
    if hidden:
        slots = tuple(slot._replace(chord=None, numeral="") for slot in whole.slots)
        return whole._replace(slots=slots)
    return _with_first_only(whole) if copy.version is Version.BLANK else whole


def _with_labels(whole: Arrangement, labels: Labels) -> Arrangement:
    """Return a score with the positions as words under the treble staff."""
    notes = []
    for note, slot in zip(whole.tune.notes, whole.slots, strict=True):
        text = ""
        if slot.chord and slot.position:
            text = format_position(slot.position, labels, len(slot.chord.members))
        notes.append(note._replace(syllables=(Syllable(text),)) if text else note)
    return whole._replace(tune=whole.tune._replace(notes=tuple(notes), verses=1))


def _with_first_only(whole: Arrangement) -> Arrangement:
    """Return a score of which only the first chord is given."""
    until = whole.slots[0].end
    tune_notes = tuple(
        note if note.onset < until else note._replace(pitch=None)
        for note in whole.tune.notes
    )
    return whole._replace(
        tune=whole.tune._replace(notes=tune_notes),
        notes=tuple(note for note in whole.notes if note.onset < until),
    )


def joined(
    exercises: Sequence[Exercise], title: str, copy: DrillCopy = PLAIN_COPY
) -> Arrangement:
    """Return exercises as one score.

    Args:
        exercises: At least one.
        title: Title of the score.
        copy: Which copy of them.
    """
    several = len({exercise.drill for exercise in exercises}) > 1
    slices = []
    for exercise in exercises:
        words = f"{printed(exercise.key)}, {exercise.label}"
        if several and exercise.drill:
            words = f"{exercise.drill}: {words}"
        printed_copy = copy_of(exercise, copy)
        bars = list(printed_copy.tune.bars)
        bars[0] = bars[0]._replace(section=words)
        # A double bar parts the exercises; the last one ends the score.
        bars[-1] = bars[-1]._replace(double=exercise is not exercises[-1])
        slices.append(Slice(with_bars(printed_copy, bars)))
    row = splicing.joined(slices)
    # Every exercise says its key, even if it is that of the one before.
    starts = (Fraction(0), *row.tune.phrases)
    keys = map(KeyChange, starts, (exercise.key for exercise in exercises))
    return row._replace(tune=row.tune._replace(title=title, keys=tuple(keys)))


def plan_copy(score: Arrangement, version: Version) -> Plan:
    """Return a copy of exercises, ready to write or to engrave.

    A blank copy has no chord symbols and shows no rests: the pupil writes over the
    numerals. Numerals of rests are words under the staff, for engravers drop the lyrics
    of rests; where a pupil writes over them, all are.
    """
    plan = plan_score(score)
    if version is Version.BLANK:
        return change_signs(without_symbols(plan), partial(_to_write, plan.divisions))
    return change_signs(plan, lambda sign: sign._replace(numeral_apart=not sign.notes))


class DrillOutput(NamedTuple):
    """How exercises go into a file.

    Attributes:
        copy: Which copy of them is printed.
        tempo: Crotchets a minute that the practice plan starts from.
        playing: How they are played.
        page: The page of a booklet; None for A4 upright.
        identity: What MusicXML says of itself, so that a marker knows the drill.
    """

    copy: DrillCopy = PLAIN_COPY
    tempo: int = START
    playing: Playing = AS_WRITTEN
    page: "Page | None" = None
    identity: FileIdentity = FileIdentity()


def _to_write(divisions: int, sign: PlacedSign) -> PlacedSign:
    """Return a sign of a blank copy: rests are not shown; notes stay as they are.

    A rest for the whole bar gets a value, or what hangs on it is set at the bar's end.
    """
    if sign.notes:
        return sign._replace(numeral_apart=True)
    value = sign.sign.value
    if value is None:
        # Drills are in 4/4, 3/4 or 6/8: a bar lasts four crotchets, or three.
        triple = (sign.end - sign.start) % (3 * divisions) == 0
        value = Value("half", 1) if triple else Value("whole")
    shown = sign.sign._replace(value=value)
    return sign._replace(sign=shown, numeral_apart=True, hidden=True)


ENDINGS = (*MUSICXML, *MIDI, ".pdf")
"""What the names of files may end in."""


def format_drill(
    exercises: Sequence[Exercise], title: str, ending: str, output: DrillOutput
) -> bytes:
    """Return exercises as what a file's ending names.

    Args:
        exercises: At least one.
        title: Title of the whole.
        ending: One of `ENDINGS`: a booklet, MusicXML, or MIDI, which has all notes
            whatever the copy.
        output: How.

    Raises:
        OutputError: If a library is missing.
    """
    if ending == ".pdf":
        return format_booklet(exercises, title, output)
    if ending in MIDI:
        return format_midi(joined(exercises, title), output.playing)
    copy = output.copy
    plan = plan_copy(joined(exercises, title, copy), copy.version)
    musicxml = sign_xml(format_plan(plan, output.identity))
    return format_mxl(musicxml) if ending == ".mxl" else musicxml


def write_drill(
    exercises: Sequence[Exercise],
    title: str,
    path: Path,
    output: DrillOutput,
    *,
    force: bool = False,
) -> None:
    """Write exercises, one after the other, to a file of the kind that its name says.

    Raises:
        OutputError: If the ending is another, the file exists (without force), it
            cannot be written, or a library is missing.
    """
    check_place(path, force=force)
    content = format_drill(exercises, title, path.suffix.lower(), output)
    write_whole(path, content, force=force)


def check_place(path: Path, *, force: bool = False) -> None:
    """Refuse a file that cannot be written, before any work is done.

    Raises:
        OutputError: As `write_drill` says.
    """
    if path.suffix.lower() not in ENDINGS:
        raise OutputError(
            f'"{path.name}" does not end in {", ".join(ENDINGS[:-1])} or .pdf.',
            None,
            f"Call it {path.stem}.musicxml, {path.stem}.mid or {path.stem}.pdf.",
        )
    check_target(path, force=force)


_KINDS = {
    Version.EXERCISE: "All notes.",
    Version.BLANK: "The first chord is given. Write the others, then play.",
    Version.ANSWER: "Answer key: all notes, numerals, positions and fingers.",
}
_CLEAN = Blanks(("clean at ♩ =", "date"), (1, 2))


def format_booklet(
    exercises: Sequence[Exercise], title: str, output: DrillOutput
) -> bytes:
    """Return exercises as a booklet in PDF.

    Args:
        exercises: In order.
        title: Title of the booklet.
        output: Which copy, the tempo that the plan starts from, and the page.

    Raises:
        LibraryError: If verovio or typst is not installed.
    """
    page = output.page or A4_PAGE
    blocks = (
        *_first_page(exercises, title, output.copy, output.tempo),
        NewPage(),
        *_exercises(exercises, output.copy, page),
    )
    return typeset(blocks, page)


def _first_page(
    exercises: Sequence[Exercise], title: str, copy: DrillCopy, start: int
) -> Iterator[Block]:
    yield Title(title, _KINDS[copy.version])
    if copy.version is Version.BLANK:
        yield Blanks(("Name", "Class", "Date"), (4, 2, 2))
    for name in dict.fromkeys(each.drill for each in exercises if each.drill):
        drill = find_drill(name)
        yield Words(f"{drill.name}: {drill.title}", Lettering.BOLD)
        yield Words(drill.plays)
    yield Words("Practice plan", Lettering.HEADING)
    yield Words(how_to_practise(start))
    rows = plan_rows([exercise.key for exercise in exercises], start)
    yield Table(rows, (2.2, *[1.0] * (len(rows[0]) - 3), 1.6, 2.0))
    yield Words(CAUTION, Lettering.SMALL)
    legend = shape_legend(copy.labels) if copy.version is Version.ANSWER else ""
    if legend:
        yield Words(legend, Lettering.SMALL)


def _exercises(
    exercises: Sequence[Exercise], copy: DrillCopy, page: Page
) -> Iterator[Block]:
    """Yield the exercises key by key; a key that fits on a page is not torn."""
    several = len({exercise.drill for exercise in exercises}) > 1
    for (drill, key), group in groupby(exercises, lambda one: (one.drill, one.key)):
        name = f"{drill}: {printed(key)}" if several and drill else printed(key)
        heading = Words(name, Lettering.HEADING)
        yield Whole((heading, *_lines(list(group), copy, page), _CLEAN))


def _lines(
    exercises: Sequence[Exercise], copy: DrillCopy, page: Page
) -> Iterator[Block]:
    """Yield the engraved lines of exercises in one key, each under its label."""
    score = joined(exercises, "", copy)
    bars = tuple(bar._replace(section="") for bar in score.tune.bars)
    score = score._replace(tune=score.tune._replace(tempos=(), bars=bars))
    # The bars that exercises begin with, by their ids.
    lengths = (len(exercise.score.tune.bars) for exercise in exercises)
    firsts = accumulate(lengths, initial=0)
    names = (exercise.label for exercise in exercises)
    labels = {f"m{first}": name for first, name in zip(firsts, names, strict=False)}
    described = printed(exercises[0].key)
    for system in engrave_plan(plan_copy(score, copy.version), music_look(page)):
        for name in system.bars:
            if name in labels:
                described = f"{printed(exercises[0].key)}, {labels[name]}"
        if system.bars and system.bars[0] in labels:
            # Above the line and not in the music, where it would meet the fingers.
            yield Words(labels[system.bars[0]], Lettering.INSTRUCTION)
        yield Music(system, described)
