"""What pupils write beside the notes: symbols, numerals, names of shapes.

Symbol and numeral are right if they name the chord that the pupil's notes make; the
name of a shape if it names what the pupil's right hand plays. Every way of writing a
shape is right: first, first inversion, 6/3, b.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from operator import attrgetter

from harmonise.errors import NotationError
from harmonise.marking.in_force import chord_made, sounding_at, symbol_at
from harmonise.marking.script import plain
from harmonise.marking.task import Ask, Blank, Finding, Task, TaskItem
from harmonise.marking.work import Work
from harmonise.notation.score.printed_labels import format_position
from harmonise.rules.table import ChordPart
from harmonise.theory.arrangement import Hand, Labels, Position, Slot, SoundingNote
from harmonise.theory.chord import Chord, parse_symbol
from harmonise.theory.key import Key
from harmonise.theory.numerals import numeral, parse_numeral
from harmonise.theory.voicing import position_of

_NAMES = {Ask.SYMBOL: "symbol", Ask.NUMERAL: "numeral", Ask.SHAPE: "shape",
          Ask.FIGURES: "figures"}  # fmt: skip


def label_faults(work: Work, task: Task) -> Iterator[Finding | Blank]:
    """Yield wrong names and blank ones, chord by chord."""
    for onset, symbol, made in work.misnamed:
        yield Finding(
            "M10",
            onset,
            f"the symbol says {symbol}, and the notes make {made}.",
            f"Write {made}, or play the notes of {symbol}.",
        )
    if not _labelled(work):
        return
    for number, item in enumerate(task.items):
        worth = dict(item.worth).get(ChordPart.LABEL, Fraction(0))
        asked = _asked(task, item)
        if worth and asked:
            yield from _item(work, task, number, worth / len(asked), asked)


def _labelled(work: Work) -> bool:
    """Whether a script could have labels: those of notes alone cannot."""
    # A typed chord has its field for them even where the pupil left that empty.
    return work.script.spelled and bool(
        work.script.bars or work.aligned.symbols or not work.script.tune_written
    )


def unlabelled(work: Work, task: Task) -> bool:
    """Whether labels are asked for that the script has no room for."""
    return bool(task.asks) and not _labelled(work)


def _asked(task: Task, item: TaskItem) -> list[Ask]:
    """Return what is asked of an item; figures and shapes only where there are any."""
    if not task.notes_given:
        return list(task.asks)
    notes = _right(task.model.notes, item)
    slot = slot_at(task.model.slots, item.onset)
    named = bool(slot.chord and shape_names(slot.chord, notes, Labels.FIGURES))
    words = bool(slot.chord and shape_names(slot.chord, notes))
    kept = {Ask.FIGURES: named, Ask.SHAPE: words}
    return [ask for ask in task.asks if kept.get(ask, True)]


def _item(
    work: Work, task: Task, number: int, marks: Fraction, asked: Sequence[Ask]
) -> Iterator[Finding | Blank]:
    item = task.items[number]
    source = task.model if task.notes_given else work.judged
    slot = slot_at(source.slots, item.onset)
    notes = sounding_at(source.notes, item.onset, item.end)
    made = chord_made(notes, slot.key) if not task.notes_given else None
    chord = made or slot.chord
    right = _right(source.notes, item)
    texts = [w.text for w in work.aligned.words if item.onset <= w.onset < item.end]
    for ask in asked:
        wanted = wanted_names(ask, chord, slot.key, right)
        if ask is Ask.SHAPE and Ask.FIGURES in asked:
            # One 6/3 must not earn both: where figures are asked for, it is those.
            wanted = [name for name in wanted if not name[:1].isdigit()]
        if ask is Ask.SYMBOL and work.aligned.symbols:
            written = _symbols(work, task, number)
        else:
            written = [text for text in texts if _is(ask, text, slot.key, wanted)]
        if not written:
            yield Blank(number, item.place, _NAMES[ask], marks)
        elif chord and not task.chosen and not _matches(written, wanted, ask, slot.key):
            key = "M10" if ask in (Ask.SYMBOL, Ask.NUMERAL) else "M09"
            right_one = next(iter(wanted), "–")
            yield Finding(
                key,
                item.onset,
                f"the {_NAMES[ask]} says {written[0]}, and the notes make {right_one}.",
                f"Write {right_one}.",
            )


def _symbols(work: Work, task: Task, number: int) -> list[str]:
    """Return the symbols of a chord; one from before it goes on where notes do."""
    item = task.items[number]
    symbol = symbol_at(work.aligned.symbols, item.onset)
    inside = [s for s in work.aligned.symbols if item.onset <= s.onset < item.end]
    hands = [
        part for part, _ in item.worth if part in (ChordPart.NOTES, ChordPart.LEFT)
    ]
    plays = any((number, part) not in work.blanks for part in hands)
    if symbol and (inside or plays):
        return [str(symbol.chord)]
    return [str(inside[0].chord)] if inside else []


def slot_at(slots: Sequence[Slot], onset: Fraction) -> Slot:
    """Return the slot that holds a place; the last one for the end."""
    return next((s for s in slots if s.onset <= onset < s.end), slots[-1])


def _right(notes: Sequence[SoundingNote], item: TaskItem) -> list[SoundingNote]:
    found = sounding_at(notes, item.onset, item.end)
    return [note for note in found if note.hand is Hand.RIGHT]


def wanted_names(
    ask: Ask, chord: Chord | None, key: Key, right: Sequence[SoundingNote]
) -> list[str]:
    """Return every right way to write what is asked, the usual one first."""
    if chord is None:
        return []
    if ask is Ask.SYMBOL:
        return [str(chord), str(chord.upright)]
    if ask is Ask.NUMERAL:
        return [numeral(chord, key), numeral(chord.upright, key)]
    return shape_names(chord, right, Labels.FIGURES if ask is Ask.FIGURES else None)


def shape_names(
    chord: Chord, right: Sequence[SoundingNote], only: Labels | None = None
) -> list[str]:
    """Return every name of a right hand's shape; [] where it has none."""
    if len(right) < 3:
        return []
    pitches = sorted((note.pitch for note in right), key=attrgetter("midi"))
    shapes = [position_of(chord, pitches), position_of(chord, pitches[:1])]
    # An open shape is also called by its lowest note; figures are for close chords.
    if None in shapes or (only is Labels.FIGURES and shapes[0] is Position.OPEN):
        return []
    styles = (only,) if only else (Labels.WORDS, Labels.LETTERS, Labels.FIGURES)
    names = [
        format_position(shape, style, len(chord.members))
        for shape in shapes
        for style in styles
        if shape
    ]
    return [plain(name) for name in dict.fromkeys(names) if name]


def _is(ask: Ask, text: str, key: Key, wanted: Sequence[str]) -> bool:
    """Whether a text is meant as what is asked."""
    bare = plain(text)
    if bare in wanted:
        return True
    if ask in (Ask.SHAPE, Ask.FIGURES):
        digits = bare[:1].isdigit()
        shape = bare in ("root", "first", "second", "third", "open", *"abcd")
        return digits if ask is Ask.FIGURES else shape
    try:
        _read(ask, bare, key)
    except NotationError:
        return False
    return True


def _read(ask: Ask, text: str, key: Key) -> Chord:
    return parse_symbol(text) if ask is Ask.SYMBOL else parse_numeral(text, key)


def _matches(written: Sequence[str], wanted: Sequence[str], ask: Ask, key: Key) -> bool:
    """Whether something written is right; symbols count by the chord they name."""
    if any(plain(text) in wanted for text in written):
        return True
    if ask in (Ask.SHAPE, Ask.FIGURES):
        return False
    try:
        return any(
            _read(ask, plain(text), key) == _read(ask, right, key)
            for text in written
            for right in wanted
        )
    except NotationError:
        return False
