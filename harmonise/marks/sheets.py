"""Tasks of worksheets, worth what the answer keys say.

A sheet may be several tasks: a phrase in three keys is three. The sheet of planted
faults is no music to be marked but a list: see `lists`.
"""

from collections.abc import Callable
from fractions import Fraction

from harmonise.errors import MelodyError
from harmonise.marks.task import Ask, Item, Part, Task, Worth
from harmonise.marks.tasks import accepted_in, heard
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Labels,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.chord import numeral, parse_symbol
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.tune import Bar, KeyChange, Tune, TuneNote
from harmonise.worksheet import Diagram, Kind, Sheet
from harmonise.worksheets.music import JOIN, LABEL, LEFT, NOTES

_BAR = TimeSignature(4, 4)
_SHARES = {
    Part.NOTES: NOTES,
    Part.LEFT: LEFT,
    Part.JOINING: JOIN,
    Part.LABEL: LABEL,
}


def tasks_of_sheet(sheet: Sheet) -> tuple[Task, ...]:
    """Return the tasks of a worksheet, one for each piece that pupils write.

    Raises:
        MelodyError: If it is the sheet of planted faults.
    """
    if sheet.order.kind is Kind.FAULTS:
        raise MelodyError(
            "Faults that were found are a list, not music.",
            None,
            "Hand in a list of places and names.",
        )
    found = _MAKERS[sheet.order.kind](sheet)
    return tuple(own for own in found if own.marks)


def _voices(sheet: Sheet) -> list[Task]:
    return [_task(sheet)._replace(free=True)]


def _accompany(sheet: Sheet) -> list[Task]:
    return [_task(sheet)]


def _choose(sheet: Sheet) -> list[Task]:
    accepted = accepted_in(sheet.pieces[0].arrangement)
    task = _task(sheet)
    return [task._replace(chosen=True, asks=(Ask.SYMBOL,), accepted=accepted)]


def _labels(sheet: Sheet) -> list[Task]:
    items = _items(sheet, 0, lambda marks: ((Part.LABEL, Fraction(marks)),))
    asks = [Ask.SYMBOL, Ask.NUMERAL, Ask.SHAPE, Ask.FIGURES]
    if sheet.order.labels is Labels.FIGURES:
        asks.remove(Ask.SHAPE)
    task = _task(sheet)._replace(items=items, asks=tuple(asks), notes_given=True)
    return [task]


def _transpose(sheet: Sheet) -> list[Task]:
    return [
        Task(
            f"{_title(sheet)}, {piece.arrangement.tune.key}",
            piece.arrangement,
            _items(sheet, number, lambda marks: ((Part.NOTES, Fraction(marks)),)),
            tune_only=True,
        )
        for number, piece in enumerate(sheet.pieces)
        if any(item.piece == number for item in sheet.items)
    ]


def _keyboards(sheet: Sheet) -> list[Task]:
    model = _on_bars(sheet)
    onsets = [slot.onset for slot in model.slots]
    items = tuple(
        Item(onset, onset + 4, model.tune.place(onset), _worth(model, onset, own.marks))
        for onset, own in zip(onsets, sheet.items, strict=True)
    )
    return [Task(_title(sheet), model, items)]


def _title(sheet: Sheet) -> str:
    return f"{sheet.title or 'Worksheet'}: {sheet.footer}"


def _task(sheet: Sheet) -> Task:
    model = sheet.pieces[0].arrangement
    onsets = [item.onset for item in sheet.items]
    rows = zip(onsets, [*onsets[1:], model.tune.end], sheet.items, strict=True)
    items = tuple(
        Item(onset, end, own.place, _worth(model, onset, own.marks, end))
        for onset, end, own in rows
    )
    return Task(_title(sheet), model, items)


def _items(sheet: Sheet, piece: int, worth: Callable[[int], Worth]) -> tuple[Item, ...]:
    own = [item for item in sheet.items if item.piece == piece]
    model = sheet.pieces[piece].arrangement
    ends = [*(item.onset for item in own[1:]), model.tune.end]
    return tuple(
        Item(item.onset, end, item.place, worth(item.marks) if item.marks else ())
        for item, end in zip(own, ends, strict=True)
    )


def _worth(
    model: Arrangement, onset: Fraction, marks: int, end: Fraction | None = None
) -> Worth:
    """Return the marks of an item, part by part, as the key tells them.

    What a hand need not write there goes to the other one.
    """
    if not marks:
        return ()
    end = end or onset + _BAR.bar_length
    order = [Part.NOTES, Part.LEFT, Part.JOINING, Part.LABEL]
    worth: dict[Part, Fraction] = {}
    left = Fraction(marks)
    for part in order:
        worth[part] = min(left, Fraction(_SHARES[part]))
        left -= worth[part]
    lacks = {
        Part.NOTES: not heard(model, onset, end, left=False),
        Part.LEFT: not heard(model, onset, end, left=True),
    }
    if lacks[Part.NOTES]:
        worth[Part.LEFT] += worth.pop(Part.NOTES) + worth.pop(Part.JOINING)
    elif lacks[Part.LEFT]:
        worth[Part.NOTES] += worth.pop(Part.LEFT)
    return tuple((part, share) for part, share in worth.items() if share)


def _on_bars(sheet: Sheet) -> Arrangement:
    """Return the keyboards of a sheet as music, a bar for each."""
    size = _BAR.bar_length
    notes: list[SoundingNote] = []
    tops, slots, bars = [], [], []
    for number, diagram in enumerate(sheet.diagrams):
        onset = number * size
        bars.append(Bar(number + 1, onset, size, _BAR))
        own = list(_pressed(diagram, onset))
        notes += own
        tops.append(TuneNote(onset, size, own[-1].pitch))
        slots.append((onset, sheet.items[number].given.partition(" ")[0]))
    keys = (KeyChange(Fraction(0), sheet.key),)
    tune = Tune(sheet.title, tuple(tops), tuple(bars), keys, phrases=(bars[-1].end,))
    chords = [(onset, parse_symbol(symbol)) for onset, symbol in slots]
    return Arrangement(
        tune,
        Style(numerals=False),
        tuple(
            Slot(tune.place(at), at, size, sheet.key, own, numeral(own, sheet.key))
            for at, own in chords
        ),
        tuple(notes),
    )


def _pressed(diagram: Diagram, onset: Fraction) -> list[SoundingNote]:
    times = (onset, _BAR.bar_length)
    left = [parse_pitch(w) for w in diagram.left.split() if w != "rests"]
    found = [SoundingNote(*times, own, Hand.LEFT, Voice.BASS) for own in left]
    right = [pitch for pitch, _ in diagram.presses]
    voices = [Voice.INNER] * (len(right) - 1) + [Voice.TUNE]
    return found + [
        SoundingNote(*times, pitch, Hand.RIGHT, voice)
        for pitch, voice in zip(right, voices, strict=True)
    ]


_MAKERS = {
    Kind.VOICES: _voices,
    Kind.LABELS: _labels,
    Kind.ACCOMPANY: _accompany,
    Kind.CHOOSE: _choose,
    Kind.KEYBOARDS: _keyboards,
    Kind.TRANSPOSE: _transpose,
}
