"""Work that gets full marks: a model as a script, the key of a list of faults."""

from collections.abc import Iterator
from fractions import Fraction

from harmonise.lessons.worksheet import Worksheet
from harmonise.marking.script import Script, in_order
from harmonise.theory.arrangement import Arrangement, Hand, Voice
from harmonise.theory.tune import ChordAt


def script_of(arrangement: Arrangement) -> Script:
    """Return an arrangement as the script of somebody who wrote exactly that."""
    changes = arrangement.changes
    ends = [*(slot.onset for slot in changes[1:]), arrangement.tune.end]
    notes = tuple(
        note._replace(voice=Voice.INNER, finger=0)
        if note.hand is Hand.RIGHT
        else note._replace(voice=Voice.BASS, finger=0)
        for note in arrangement.notes
    )
    return Script(
        tuple(sorted(notes, key=in_order)),
        arrangement.tune.bars,
        tuple(
            ChordAt(slot.onset, end, slot.chord)
            for slot, end in zip(changes, ends, strict=False)
            if slot.chord
        ),
        title=arrangement.tune.title,
    )


def key_lines(sheet: Worksheet) -> Iterator[str]:
    """Yield the list that gets full marks."""
    for fault in sheet.planted:
        beat = str(fault.place.beat or 1)
        if "/" in beat:
            whole, part = divmod(fault.place.beat or Fraction(1), 1)
            beat = f"{whole} {part}"
        yield f"{fault.place.bar}.{beat}: {fault.name} | {fault.remedy}"
