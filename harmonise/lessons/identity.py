"""What a task file says of itself, so that a marker knows the task that comes back.

An identity is a line such as

    [harmonise task: choose, version B, key G major, bars 8, tune 3f9a1c20]

It stands in three places of a file, for editors keep some and drop others; each is
enough. The tune itself stands beside it in one of them. Where that one is lost the tune
is taken from the work or from another file, and its mark, the letters and figures at
the end, tells whether it is the right one.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from enum import Enum
from fractions import Fraction
from hashlib import sha256
from typing import NamedTuple

from harmonise.errors import HarmoniseError, NotationError
from harmonise.lessons.aural import MOST_QUESTIONS, AuralKind
from harmonise.lessons.aural_sheets import ear_drill
from harmonise.lessons.drill_makers import DrillWish, Exercise
from harmonise.lessons.drills import exercises, parse_keys, progression
from harmonise.lessons.model import opening
from harmonise.lessons.versions import VERSIONS, make_sheets
from harmonise.lessons.worksheet import Depth, SheetKind, SheetOrder, Worksheet
from harmonise.notation.abc.abc_writer import format_abc
from harmonise.notation.formats import decode, format_of, parse_tunes
from harmonise.notation.musicxml.elements import read_tree
from harmonise.notation.musicxml.writer import FileIdentity
from harmonise.notation.tune_text.tune_text import format_tune_text
from harmonise.theory.arrangement import (
    HarmonicRhythm,
    Labels,
    LeftHand,
    Position,
    Style,
)
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import Key, named_keys, parse_key
from harmonise.theory.phrases import find_lines
from harmonise.theory.transposing import transposed
from harmonise.theory.tune import ChordAt, KeyChange, Tune

FIELD = "harmonise-task"
"""Name of the field that holds the identity and the tune."""
_LINE = re.compile(r"\[harmonise task: ([^\],]+)((?:, [a-z]+ [^\],]+)*)\]")
_ENTRY = re.compile(r", ([a-z]+) ([^\],]+)")
_NEW_LINE = "\N{PILCROW SIGN}"
"""Stands for the end of a line in a field, where an editor may join lines."""
_PLUS = " + "
_MARK = 8
"""Letters and figures of a tune's mark: one in four thousand million is the same."""
_DRILL = re.compile(r"drill (D\d{1,2}|[^,]*)$")


class TaskIdentity(NamedTuple):
    """Which task a file is.

    Attributes:
        kind: Word of the worksheet, or "drill" and its name or numerals.
        entries: Every choice by its word, in order.
    """

    kind: str
    entries: tuple[tuple[str, str], ...]

    def __str__(self) -> str:
        """Return the line that stands in files."""
        entries = "".join(f", {word} {value}" for word, value in self.entries)
        return f"[harmonise task: {self.kind}{entries}]"

    def get(self, word: str, usual: str = "") -> str:
        """Return what an entry says, or what is usual."""
        return dict(self.entries).get(word, usual)

    @property
    def drill(self) -> str:
        """Name or numerals of the drill; "" for a worksheet."""
        match = _DRILL.match(self.kind)
        return match[1] if match else ""


class FoundIdentity(NamedTuple):
    """What a file that came back says of itself.

    Attributes:
        identity: Which task it is.
        tune: The tune as it was given out; None where the file has lost it.
    """

    identity: TaskIdentity
    tune: Tune | None


def parse_identity(text: str) -> TaskIdentity | None:
    """Return the identity that stands in a text; None if there is none.

    >>> line = "Copied by hand. [harmonise task: drill D1, keys Eb  major]"
    >>> str(parse_identity(line))
    '[harmonise task: drill D1, keys Eb major]'
    """
    match = _LINE.search(" ".join(text.split()))
    if not match:
        return None
    return TaskIdentity(match[1].strip(), tuple(_ENTRY.findall(match[2])))


def mark_of(tune: Tune) -> str:
    """Return the mark of a tune: alike for tunes whose worksheets are alike.

    Notes, bar lines, keys, lines and locked chords count; title, rests at the end and
    how notes are written do not.
    """
    last = tune.sounding[-1].end
    bars = [bar for bar in tune.bars if bar.start < last]
    what = [
        [f"{note.onset} {note.length} {note.pitch}" for note in tune.sounding],
        [f"{bar.start} {bar.time}" for bar in bars],
        [f"{change.onset} {change.key}" for change in tune.keys],
        [str(end) for end in tune.phrases if end < last],
        [f"{lock.onset} {lock.chord}" for lock in tune.locks],
    ]
    return sha256(repr(what).encode()).hexdigest()[:_MARK]


def _unusual(choice: Enum, usual: Enum) -> str:
    return str(choice.value) if choice is not usual else ""


def _lock_text(lock: ChordAt) -> str:
    return f"{lock.onset} {lock.end} {lock.chord}"


def _locks_in(text: str) -> tuple[ChordAt, ...]:
    """Return the locked chords that an identity tells."""
    rows = [row.split() for row in text.split(_PLUS) if row]
    return tuple(
        ChordAt(Fraction(onset), Fraction(end), parse_symbol(chord))
        for onset, end, chord in rows
    )


def identity_of_sheet(sheet: Worksheet) -> TaskIdentity:
    """Return the identity of a worksheet."""
    order, home = sheet.order, sheet.home or sheet.tune
    if sheet.drill:
        return _identity_of_ear_drill(sheet)
    full = sum(not bar.offset and bar.number > 0 for bar in home.bars)
    found = find_lines(home.notes, home.bars)
    choices = {
        "version": sheet.version,
        "key": str(sheet.key),
        "from": str(home.key) if home.key != sheet.key else "",
        "keys": _PLUS.join(map(str, order.keys)),
        "bars": str(full),
        "level": str(order.style.level) if order.style.level != 1 else "",
        "chords": _unusual(order.style.harmonic_rhythm, HarmonicRhythm.AUTO),
        "labels": _unusual(order.labels, Labels.WORDS),
        "depth": _unusual(order.depth, Depth.CORE),
        "faults": str(order.faults) if order.kind is SheetKind.FAULTS else "",
        "sheet": str(order.seed) if order.seed != 1 else "",
        **_aural_choices(order),
        "lines": _PLUS.join(map(str, home.phrases)) if home.phrases != found else "",
        "locks": _PLUS.join(map(_lock_text, home.locks)),
        "tune": mark_of(home),
    }
    entries = tuple((word, value) for word, value in choices.items() if value)
    return TaskIdentity(order.kind.value, entries)


def _aural_choices(order: SheetOrder) -> dict[str, str]:
    """Return what an identity tells of questions by ear; "" where it is usual."""
    usual = SheetOrder(order.kind)
    return {
        "step": str(order.step) if order.step != usual.step else "",
        "about": order.about.value if order.about else "",
        "questions": str(order.questions) if order.questions != usual.questions else "",
    }


def _identity_of_ear_drill(sheet: Worksheet) -> TaskIdentity:
    order = sheet.order
    choices = {
        "keys": _PLUS.join(map(str, order.keys)),
        **_aural_choices(order),
        "sheet": str(order.seed) if order.seed != 1 else "",
    }
    entries = tuple((word, value) for word, value in choices.items() if value)
    return TaskIdentity(f"drill {sheet.drill}", entries)


def identity_of_drill(
    names: Sequence[str], keys: Sequence[Key], wish: DrillWish, numerals: str = ""
) -> TaskIdentity:
    """Return the identity of a drill.

    Args:
        names: Names of the drills; () for a progression of one's own.
        keys: The keys.
        wish: What the user chose.
        numerals: The progression; "" for drills.
    """
    choices = {
        "keys": _PLUS.join(map(str, keys)),
        "start": _PLUS.join(start.name.lower() for start in wish.starts),
        "pattern": wish.pattern.value if wish.pattern else "",
        "beats": str(wish.beats) if wish.beats != DrillWish().beats else "",
    }
    entries = tuple((word, value) for word, value in choices.items() if value)
    return TaskIdentity(f"drill {numerals or _PLUS.join(names)}", entries)


def file_identity(identity: TaskIdentity, tune: Tune | None = None) -> FileIdentity:
    """Return what a task file says of itself, in every place that editors may keep.

    Args:
        identity: Which task it is.
        tune: The tune that it is made of, as it was given out.
    """
    lines = [str(identity)]
    if tune:
        lines += _format(tune).splitlines()
    field = FIELD, f" {_NEW_LINE} ".join(lines)
    return FileIdentity(str(identity), str(identity), field)


def _format(tune: Tune) -> str:
    """Return a tune as tune text, or as ABC where that has no sign for it."""
    try:
        return format_tune_text(tune)
    except HarmoniseError:
        return format_abc(tune)


def find_identity(data: bytes) -> FoundIdentity | None:
    """Return what a file says of itself; None if it says nothing.

    Args:
        data: What the file holds: MusicXML or text.

    Raises:
        NotationError: If it is MusicXML that cannot be read.
    """
    found = [(parse_identity(text), text) for text in _texts(data)]
    named = [(identity, text) for identity, text in found if identity]
    if not named:
        return None
    tunes = (_tune_in(text) for _, text in named if _NEW_LINE in text)
    return FoundIdentity(named[0][0], next(filter(None, tunes), None))


def _texts(data: bytes) -> Iterator[str]:
    """Yield the texts of a file in which an identity may stand."""
    if format_of(data).name != "MusicXML":
        text = decode(data)
        # A tune beside an identity ends with its line.
        yield from (line for line in text.splitlines() if _NEW_LINE in line)
        yield text
        return
    for element in read_tree(data).iter():
        if element.text and "harmonise" in element.text:
            yield element.text


def _tune_in(text: str) -> Tune | None:
    """Return the tune that stands behind an identity; None if it is damaged."""
    _, *lines = (line.strip() for line in text.split(_NEW_LINE))
    try:
        return parse_tunes("\n".join(lines).encode())[0]
    except HarmoniseError:
        return None


def tune_for(
    identity: TaskIdentity, data: bytes, others: Iterable[Tune] = ()
) -> Tune | None:
    """Return the tune of a worksheet, in the key of version A.

    Args:
        identity: The worksheet.
        data: The work that came back; its tune may be the one that was given out.
        others: Tunes that may be it.

    Returns:
        The first of the others, or else the tune of the work, that has the mark of the
        tune that was given out; None if none has.
    """
    wanted = identity.get("tune")
    for tune in (*others, *_tunes_of_work(identity, data)):
        for cut in _as_given(identity, tune):
            if mark_of(cut) == wanted:
                return cut
    return None


def _tunes_of_work(identity: TaskIdentity, data: bytes) -> Iterator[Tune]:
    """Yield the tune of a work in the key of version A, where it can be read."""
    try:
        tune = parse_tunes(data)[0]
        key, home = parse_key(identity.get("key")), identity.get("from")
    except HarmoniseError:
        return
    tune = tune._replace(keys=(KeyChange(Fraction(0), key), *tune.keys[1:]))
    if not home:
        yield tune
        return
    rise = (parse_key(home).tonic.pitch_class - key.tonic.pitch_class) % 12
    yield from (transposed(tune, parse_key(home), by) for by in (rise, rise - 12))


def _as_given(identity: TaskIdentity, tune: Tune) -> Iterator[Tune]:
    """Yield a tune with the lines that it has, and with those that were given out."""
    bars = int(identity.get("bars", "8"))
    told = tuple(map(Fraction, identity.get("lines", "0").split(_PLUS)))
    locks = tune.locks or _locks_in(identity.get("locks"))
    plain = tune._replace(symbols=(), locks=locks)
    for lines in (tune.phrases, told, find_lines(tune.notes, tune.bars)):
        try:
            yield opening(plain._replace(phrases=lines), bars)
        except HarmoniseError:
            return


def sheet_again(identity: TaskIdentity, tune: Tune) -> Worksheet:
    """Return the worksheet of an identity, made again.

    Args:
        identity: Which worksheet.
        tune: Its tune, in the key of version A.

    Raises:
        HarmoniseError: If this program knows no such worksheet.
    """
    try:
        order = _order(identity)
        number = VERSIONS.index(identity.get("version", "A")) + 1
    except ValueError as error:
        raise _unknown(identity) from error
    return make_sheets(tune, order, number)[-1]


def _order(identity: TaskIdentity) -> SheetOrder:
    """Return what a teacher asked for.

    Raises:
        ValueError: If there is no such choice.
        NotationError: If a key is none.
    """
    keys = identity.get("keys")
    order = SheetOrder(
        SheetKind(identity.kind),
        Style(
            int(identity.get("level", "1")),
            HarmonicRhythm(identity.get("chords", "auto")),
        ),
        Labels(identity.get("labels", Labels.WORDS.value)),
        int(identity.get("bars", "8")),
        int(identity.get("faults", "4")),
        int(identity.get("sheet", "1")),
        named_keys(keys.split(_PLUS)) if keys else (),
        depth=Depth(identity.get("depth", Depth.CORE.value)),
    )
    return _with_aural_choices(order, identity)


def _with_aural_choices(order: SheetOrder, identity: TaskIdentity) -> SheetOrder:
    """Return an order with what an identity tells of questions by ear.

    Raises:
        ValueError: If there is no such choice.
    """
    about = identity.get("about")
    questions = int(identity.get("questions", str(order.questions)))
    if not 1 <= questions <= MOST_QUESTIONS:
        raise ValueError(questions)
    return order._replace(
        step=int(identity.get("step", str(order.step))),
        about=AuralKind(about) if about else None,
        questions=questions,
    )


def ear_drill_again(identity: TaskIdentity) -> Worksheet:
    """Return the questions by ear of a drill's identity, made again.

    Raises:
        HarmoniseError: If this program knows no such drill.
    """
    keys = parse_keys(identity.get("keys", "C").split(_PLUS))
    try:
        order = SheetOrder(
            SheetKind.AURAL, seed=int(identity.get("sheet", "1")), keys=keys
        )
        order = _with_aural_choices(order, identity)
    except ValueError as error:
        raise _unknown(identity) from error
    return ear_drill(order)


def exercises_again(identity: TaskIdentity) -> tuple[Exercise, ...]:
    """Return the exercises of a drill's identity, made again.

    Raises:
        HarmoniseError: If this program knows no such drill.
    """
    keys = parse_keys(identity.get("keys", "C").split(_PLUS))
    starts = identity.get("start")
    pattern = identity.get("pattern")
    try:
        wish = DrillWish(
            tuple(Position[word.upper()] for word in starts.split(_PLUS) if word),
            LeftHand(pattern) if pattern else None,
            int(identity.get("beats", "2")),
        )
    except (KeyError, ValueError) as error:
        raise _unknown(identity) from error
    if not re.match(r"D\d", identity.drill):
        return progression(identity.drill, keys, wish)
    return tuple(
        exercise
        for name in identity.drill.split(_PLUS)
        for exercise in exercises(name, keys, wish)
    )


def _unknown(identity: TaskIdentity) -> NotationError:
    return NotationError(
        f"This program knows no task such as {identity}.",
        None,
        "Mark it with the program that made it.",
    )
