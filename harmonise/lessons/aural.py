"""What is asked by ear: six kinds of question in six steps, each with its answer.

An `AuralItem` is a plain value that a sheet prints, a marker judges and a page asks; it
knows none of them. The order of the steps is that of common practice in aural training,
from memory: compare before you name, the bass before the inner notes, primary chords
before the others, chords before the cadences that are made of them.
"""

import re
from enum import Enum
from fractions import Fraction
from typing import NamedTuple, Self

from harmonise.theory.arrangement import Arrangement
from harmonise.theory.key import Key
from harmonise.theory.numerals import Role

TEMPO = Fraction(72)
"""Crotchets a minute: slow enough to think of each chord; common practice."""

MOST_QUESTIONS = 40
"""Questions of a sheet at most: more tire the ears."""
TIMES = {2: "twice", 3: "three times"}
"""How often something is heard, in words."""


class AuralRow(NamedTuple):
    """What sets one kind of question apart.

    Attributes:
        word: The word by which it is asked for.
        title: What is asked, as a heading.
        how: What to do, in a sentence or two.
        times: How often each item is heard: dictations more often than what is only
            told apart (common practice, from memory).
        slip: What is usually got wrong.
        ask: What to listen for, as a question.
    """

    word: str
    title: str
    how: str
    times: int
    slip: str
    ask: str


class AuralKind(Enum):
    """The kinds of question; the value is the word by which one is asked for."""

    _value_: str
    row: AuralRow

    def __new__(cls, *fields: object) -> Self:
        """Return a kind that has its row beside its word."""
        kind = object.__new__(cls)
        kind.row = AuralRow._make(fields)
        kind._value_ = kind.row.word
        return kind

    LEADING = AuralRow(
        "leading",
        "Same or different",
        "The same chords are heard twice: does the right hand play the same notes?",
        2,
        "A louder or longer chord is taken for other notes.",
        "Is the highest note of each chord the same?",
    )
    CHORD = AuralRow(
        "chord",
        "Which chord",
        "Some chords are heard: name the last one.",
        2,
        "The tune note is taken for the bass: let the bass be sung first.",
        "Where does the bass go? Does the keynote sound on?",
    )
    BASS = AuralRow(
        "bass",
        "The bass line",
        "Write the letters of the bass notes; the first is given.",
        3,
        "The right notes are written in the wrong order: sing them back first.",
        "Can you sing the bass back before you write?",
    )
    MISSING = AuralRow(
        "missing",
        "The missing chord",
        "All chords are heard, and all but one are given: name that.",
        2,
        "The chord before or after the gap is named.",
        "What does the bass do at the gap?",
    )
    CADENCE = AuralRow(
        "cadence",
        "Which cadence",
        "Perfect is V–I, plagal IV–I, imperfect ends on V, interrupted is V–vi. "
        "(American names: authentic, plagal, half, deceptive.)",
        2,
        "Plagal is taken for perfect: only V has the leading note.",
        "Does it end at home? Does the leading note sound before?",
    )
    POSITION = AuralRow(
        "position", "What is on top",
        "Which note of the last chord does the right hand have on top?", 2,
        "The top note is taken for the root, whatever the bass has.",
        "Is the top note the letter of the bass?",
    )  # fmt: skip


class AuralStep(NamedTuple):
    """One step of the way.

    Attributes:
        title: What is learnt.
        why: Why it comes here, in a sentence.
        chords: The chords that are heard, as numerals of a major key.
        kinds: What is asked, in order.
    """

    title: str
    why: str
    chords: tuple[str, ...]
    kinds: tuple[AuralKind, ...]


AURAL_STEPS = (
    AuralStep(
        "Same or different",
        "Comparing comes first, for nothing needs a name yet.",
        ("I", "IV", "V"), (AuralKind.LEADING,),
    ),
    AuralStep(
        "I or V",
        "The bass tells a chord soonest, and home and away are farthest apart.",
        ("I", "V"), (AuralKind.BASS, AuralKind.CHORD),
    ),
    AuralStep(
        "I, IV and V",
        "IV leaves home too, but keeps the keynote where V has the leading note.",
        ("I", "IV", "V"), (AuralKind.CHORD, AuralKind.BASS, AuralKind.MISSING),
    ),
    AuralStep(
        "Cadences",
        "A cadence is two known chords in a known place, the end of a line.",
        ("I", "IV", "V"), (AuralKind.CADENCE, AuralKind.MISSING),
    ),
    AuralStep(
        "The note on top",
        "Notes inside a chord are heard when the chord itself is no riddle any more.",
        ("I", "IV", "V"), (AuralKind.POSITION, AuralKind.LEADING),
    ),
    AuralStep(
        "V7, ii and vi",
        "Each stands for a chord that is known: V7 for V, ii for IV, vi for I.",
        ("I", "ii", "IV", "V", "V7", "vi"),
        (AuralKind.CHORD, AuralKind.BASS, AuralKind.MISSING, AuralKind.CADENCE,
         AuralKind.POSITION),
    ),
)  # fmt: skip
"""The steps in the order in which they are taught; step 1 is the first."""


def first_step(kind: AuralKind) -> int:
    """Return the step at which a kind of question is first asked.

    >>> first_step(AuralKind.CADENCE)
    4
    """
    return next(n for n, step in enumerate(AURAL_STEPS, 1) if kind in step.kinds)


class Cadence(Enum):
    """How a line ends, by its last two chords; the value is the British name.

    Common practice; the American names are authentic, plagal, half and deceptive.
    """

    PERFECT = "perfect"
    PLAGAL = "plagal"
    IMPERFECT = "imperfect"
    INTERRUPTED = "interrupted"


CADENCES = {
    (Role.DOMINANT, Role.TONIC): Cadence.PERFECT,
    (Role.SUBDOMINANT, Role.TONIC): Cadence.PLAGAL,
    (Role.DOMINANT, Role.SUBMEDIANT): Cadence.INTERRUPTED,
}
"""The cadences of two chords; whatever else leads to V makes an imperfect one."""


def cadence_of(before: Role, last: Role) -> Cadence | None:
    """Return the cadence that two chords make; None if they make none.

    >>> cadence_of(Role.TONIC, Role.DOMINANT)
    <Cadence.IMPERFECT: 'imperfect'>
    """
    if last is Role.DOMINANT and before is not Role.DOMINANT:
        return Cadence.IMPERFECT
    return CADENCES.get((before, last))


_OTHER_NAMES = {
    "authentic": "perfect", "full": "perfect", "half": "imperfect",
    "deceptive": "interrupted", "amen": "plagal", "3rd": "third", "5th": "fifth",
    "3": "third", "5": "fifth", "1": "root",
}  # fmt: skip
_PRINTED = str.maketrans("⁷♯♭°", "7#bo")


def _words(text: str) -> list[str]:
    """Return the words of an answer, however they are parted and printed."""
    words = re.split(r"[\s,;|\-–—]+", text.translate(_PRINTED).strip().casefold())
    kept = (word for word in words if word not in ("", "cadence", "the"))
    return [_OTHER_NAMES.get(word, word) for word in kept]


class AuralNote(NamedTuple):
    """A note that is heard.

    Attributes:
        at: When, in crotchets from the beginning.
        length: How long, in crotchets.
        midi: Which: 60 is middle C.
    """

    at: Fraction
    length: Fraction
    midi: int


class AuralItem(NamedTuple):
    """One question by ear.

    Attributes:
        kind: What kind of question.
        step: Its step, from 1.
        key: Its key.
        question: What is asked, in a sentence.
        choices: The answers to choose from; () where notes are written.
        score: All that is heard, in order.
        answer: The right answer: one of the choices, or notes as "C F G C".
        reason: Why, in a sentence.
        given: What is told of the chords, such as "I – ? – V – I"; "" for nothing.
    """

    kind: AuralKind
    step: int
    key: Key
    question: str
    choices: tuple[str, ...]
    score: Arrangement
    answer: str
    reason: str
    given: str = ""

    @property
    def notes(self) -> tuple[AuralNote, ...]:
        """What is heard, note by note; what one voice has after the other is struck."""
        return tuple(
            AuralNote(note.onset, note.length, note.pitch.midi)
            for note in self.score.notes
        )

    @property
    def marks(self) -> int:
        """What it is worth: 1, in a dictation 1 for each note but the first."""
        return max(1, len(self.answer.split()) - 1)

    def earned(self, text: str) -> int:
        """Return what an answer earns.

        Other names count too: "half" for imperfect, "V⁷" for V7. Of a bass line every
        note in its place earns its mark, with or without the one that is given.

        Args:
            text: The answer as it was written or typed.
        """
        wanted, written = _words(self.answer), _words(text)
        if self.kind is not AuralKind.BASS:
            return int(wanted == written)
        if len(written) == len(wanted):
            written = written[1:]
        return sum(a == b for a, b in zip(wanted[1:], written, strict=False))

    def is_right(self, text: str) -> bool:
        """Whether an answer is wholly right."""
        return self.earned(text) == self.marks
