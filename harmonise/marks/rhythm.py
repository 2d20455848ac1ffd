"""Lengths: bars that do not add up, tune notes and chords that do not last as asked."""

from collections.abc import Iterator
from fractions import Fraction

from harmonise.errors import format_beat
from harmonise.marks.fault import Finding
from harmonise.marks.task import Item, Part, Task
from harmonise.marks.work import Work
from harmonise.theory.arrangement import SoundingNote, Voice
from harmonise.theory.rules_work import silence


def rhythm_faults(work: Work, task: Task) -> Iterator[Finding]:
    """Yield what does not last as it should, at most once for each cause."""
    for bar in work.aligned.odd:
        wanted = bar.end - bar.start
        yield Finding(
            "M19",
            bar.start,
            f"the bar has {_crotchets(bar.has)}, not {_crotchets(wanted)}.",
            "Count the bar again and fill it with notes or rests.",
        )
    if not work.script.spelled or not work.script.tune_written:
        return
    for given, own in work.tune:
        alike = own and given.pitch and own.pitch.midi == given.pitch.midi
        if own and alike and own.length != given.length and not _odd(work, own.onset):
            yield Finding(
                "M19",
                given.onset,
                f"the tune's {given.pitch} lasts {_crotchets(own.length)}, not "
                f"{_crotchets(given.length)}.",
                "Write it as long as it is given.",
            )
    for number, item in enumerate(task.items):
        yield from _short(work, task, number, item)


def _short(work: Work, task: Task, number: int, item: Item) -> Iterator[Finding]:
    """Yield a hand that stops before the model does."""
    if _odd(work, item.onset) or _odd(work, item.end - Fraction(1, 64)):
        return
    for part, hand in ((Part.NOTES, "right"), (Part.LEFT, "left")):
        if (number, part) in work.blanks or part not in dict(item.worth):
            continue
        own, model = (
            silence(_hand(notes, task, part), item.onset, item.end)
            for notes in (work.judged.notes, task.model.notes)
        )
        if own > model:
            lasts = item.end - item.onset
            yield Finding(
                "M19",
                item.onset,
                f"the {hand} hand sounds for {_crotchets(lasts - own)} of "
                f"{_crotchets(lasts)}.",
                "Let the chord last until the next one.",
            )
            return


def _hand(
    notes: tuple[SoundingNote, ...], task: Task, part: Part
) -> list[SoundingNote]:
    voices = {Voice.BASS} if part is Part.LEFT else {Voice.INNER}
    if task.free and part is Part.NOTES:
        voices.add(Voice.TUNE)
    return [note for note in notes if note.voice in voices]


def _odd(work: Work, onset: Fraction) -> bool:
    return any(bar.start <= onset < bar.end for bar in work.aligned.odd)


def _crotchets(length: Fraction) -> str:
    return f"{format_beat(length)} crotchet{'' if length == 1 else 's'}"
