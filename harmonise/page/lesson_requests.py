"""What the page asks of lessons: drills, worksheets, practice, pupils' works.

As in `requests`, the classes are the description of the interface.
"""

from fractions import Fraction
from typing import Annotated, Literal

from msgspec import Meta, field

from harmonise.lessons.aural import AURAL_STEPS
from harmonise.lessons.drill_copies import Version
from harmonise.lessons.versions import VERSIONS
from harmonise.lessons.worksheet import Depth, SheetKind
from harmonise.marking.task import MarkingStyle
from harmonise.page.requests import (
    ArrangeRequest,
    Asked,
    Content,
    Key,
    Known,
    Number,
    PaperSettings,
    Short,
    Width,
    Word,
)
from harmonise.theory.arrangement import Labels

MOST_QUESTIONS = 40
"""Most questions of a sheet by ear, as of the command."""
DrillNames = Annotated[
    tuple[Short, ...],
    Meta(
        min_length=1, max_length=40, description="a list that names at least one drill"
    ),
]


class AboutName(Word):
    """A kind of question by ear; "" for all of a step."""

    listed = "worksheet-about"


class PracticeRequest(Asked, frozen=True):
    """A drill to practise.

    Attributes:
        drill: Its name, such as "D1".
        key: A key; "" for the drill's first.
        width: Width of a line of music, in millimetres of print.
        known: Keys of the lines that the page has already; they are not sent again.
    """

    drill: Short
    key: Short = ""
    width: Width = 200
    known: Known = ()


class EarRequest(ArrangeRequest, frozen=True, kw_only=True):
    """A question by ear.

    Attributes:
        of: Whether it is made of drills or of the tune.
        key: Key of drills; "" for C major.
        step: Its step.
        about: The only kind of question; "" for all of the step.
        seed: Number of the set of questions that it is drawn with.
        number: Which of the set, from 0.
    """

    of: Literal["drills", "tune"] = "drills"
    key: Short = ""
    step: Annotated[int, Meta(ge=1, le=len(AURAL_STEPS))] = 1
    about: AboutName = field(default_factory=AboutName)
    seed: Annotated[int, Meta(ge=1, le=9999)] = 1
    number: Annotated[int, Meta(ge=0, le=MOST_QUESTIONS - 1)] = 0


class EarAnswerRequest(EarRequest, frozen=True, kw_only=True):
    """An answer to a question by ear, in words or played.

    Attributes:
        answer: The answer; "" if it was played.
        keys: The keys that were played, in order.
        width: Width of a line of music, in millimetres of print.
        known: Keys of the lines that the page has already; they are not sent again.
    """

    answer: Short = ""
    keys: Annotated[tuple[Key, ...], Meta(max_length=40)] = ()
    width: Width = 200
    known: Known = ()


class DrillRequest(Asked, frozen=True):
    """Drills to make.

    Attributes:
        names: Which.
        keys: The keys as typed; () for those that a drill is meant for, else the home.
        home: The key of the page; "" for none.
        kind: What is made.
        version: What is printed of it.
        tempo: Crotchets a minute to start from.
        labels: How shapes are named in answers.
        page: The paper.
    """

    names: DrillNames
    keys: Annotated[tuple[Short, ...], Meta(max_length=40)] = ()
    home: Short = ""
    kind: Literal["pdf", "musicxml", "midi"] = "pdf"
    version: Version = Version.EXERCISE
    tempo: Annotated[int, Meta(ge=20, le=200)] = 60
    labels: Labels = Labels.WORDS
    page: PaperSettings = PaperSettings()


class SheetSettings(Asked, frozen=True, kw_only=True):
    """Which worksheet is made of a tune.

    Attributes:
        kind: What pupils do.
        version: Its version, from 1; another one is in another key.
        keys: Keys of the versions; () leaves the choice.
        bars: Bars of the tune at most; 0 for the usual number.
        faults: Planted faults.
        seed: Its number: another one plants faults in other places, or asks otherwise.
        labels: How pupils name shapes.
        depth: How much is given.
        step: Step of questions by ear.
        about: The only kind of those questions; "" for all of the step.
        questions: How many of them.
    """

    kind: SheetKind
    version: Annotated[int, Meta(ge=1, le=len(VERSIONS))] = 1
    keys: Annotated[tuple[Short, ...], Meta(max_length=12)] = ()
    bars: Annotated[int, Meta(ge=0, le=64)] = 0
    faults: Annotated[int, Meta(ge=1, le=12)] = 4
    seed: Annotated[int, Meta(ge=1, le=9999)] = 1
    labels: Labels = Labels.WORDS
    depth: Depth = Depth.CORE
    step: Annotated[int, Meta(ge=1, le=len(AURAL_STEPS))] = 1
    about: AboutName = field(default_factory=AboutName)
    questions: Annotated[int, Meta(ge=1, le=MOST_QUESTIONS)] = 8


def _usual_sheet() -> SheetSettings:
    return SheetSettings(kind=SheetKind.ACCOMPANY)


class WorksheetRequest(ArrangeRequest, frozen=True, kw_only=True):
    """A worksheet to make of a tune as the page has it.

    Attributes:
        sheet: Which.
        copy: What is made: the sheet or its answers to print, the sheet to fill in with
            an editor, or recordings of what is heard.
        page: The paper.
    """

    sheet: SheetSettings
    copy: Literal["sheet", "answers", "fill-in", "recordings"] = "sheet"
    page: PaperSettings = PaperSettings()


class HandedIn(Asked, frozen=True):
    """What one pupil handed in, as a file."""

    name: Short
    base64: Content


class Change(Asked, frozen=True):
    """What a teacher sees otherwise in one line of one slip.

    Attributes:
        script: Which script, from 0.
        line: Which line of its slip, from 0.
        points: What it costs now.
        reason: Why.
    """

    script: Number
    line: Number
    points: Fraction
    reason: Annotated[str, Meta(min_length=1, max_length=300)]


class MarkRequest(ArrangeRequest, frozen=True, kw_only=True):
    """Scripts to mark against the page, a worksheet of it, or a drill.

    Attributes:
        scripts: The scripts of one pupil or of a class.
        against: What they are marked against, where they do not say what they are.
        sheet: The worksheet that was given.
        drill: The drill that was given.
        drill_key: Its key; "" for the drill's first.
        register: A register that goes on, as CSV; "" for none.
        style: How strictly they are marked.
        hints: Whether questions stand in place of corrections.
        out_of: Marks that each work is scaled to; 0 for none.
        changes: What the teacher sees otherwise.
    """

    scripts: Annotated[tuple[HandedIn, ...], Meta(max_length=60)] = ()
    against: Literal["tune", "sheet", "drill"] = "tune"
    sheet: SheetSettings = field(default_factory=_usual_sheet)
    drill: Short = "D1"
    drill_key: Short = ""
    register: str = ""
    style: MarkingStyle = MarkingStyle.KEYBOARD
    hints: bool = False
    out_of: Annotated[int, Meta(ge=0, le=1000)] = 0
    changes: Annotated[tuple[Change, ...], Meta(max_length=4000)] = ()

    def __post_init__(self) -> None:
        """Check that each change is of a script that there is.

        Raises:
            ValueError: If one is not.
        """
        if any(one.script >= len(self.scripts) for one in self.changes):
            sentence = "A change has to be of one of the scripts."
            raise ValueError(sentence)


class SlipsRequest(Asked, frozen=True):
    """What is printed of a marked class.

    Attributes:
        marking: The class.
        kind: The slips, the table as PDF or CSV, or the register with these works.
        page: The paper.
    """

    marking: MarkRequest
    kind: Literal["slips", "table", "csv", "register"] = "slips"
    page: PaperSettings = PaperSettings()
