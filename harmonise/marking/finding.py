"""The faults of a work, found by the very rules that the chooser keeps.

Lengths are judged besides: bars that do not add up, tune notes and chords that do not
last as asked.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache

from harmonise.errors import format_beat
from harmonise.marking.labels import label_faults, slot_at
from harmonise.marking.task import Blank, Finding, Task, TaskItem
from harmonise.marking.work import Work
from harmonise.rules.score_view import Grade, Score
from harmonise.rules.table import (
    BY_KEY,
    FREE_RULES,
    KEY_OF_RULE,
    WORK_RULES,
    ChordPart,
    Rule,
)
from harmonise.rules.work import silence
from harmonise.theory.arrangement import Arrangement, SoundingNote, Voice


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


def _short(work: Work, task: Task, number: int, item: TaskItem) -> Iterator[Finding]:
    """Yield a hand that stops before the model does."""
    if _odd(work, item.onset) or _odd(work, item.end - Fraction(1, 64)):
        return
    for part, hand in ((ChordPart.NOTES, "right"), (ChordPart.LEFT, "left")):
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
    notes: tuple[SoundingNote, ...], task: Task, part: ChordPart
) -> list[SoundingNote]:
    voices = {Voice.BASS} if part is ChordPart.LEFT else {Voice.INNER}
    if task.free and part is ChordPart.NOTES:
        voices.add(Voice.TUNE)
    return [note for note in notes if note.voice in voices]


def _odd(work: Work, onset: Fraction) -> bool:
    return any(bar.start <= onset < bar.end for bar in work.aligned.odd)


def _crotchets(length: Fraction) -> str:
    return f"{format_beat(length)} crotchet{'' if length == 1 else 's'}"


def findings(work: Work, task: Task) -> tuple[list[Finding], list[Blank]]:
    """Return the faults of a work, and what was left blank, in score order."""
    blanks = list(_blank_hands(work, task))
    if task.notes_given:
        found: list[Finding] = []
    elif task.tune_only:
        found = list(_tune_faults(work))
    else:
        found = [*_tune_faults(work), *rhythm_faults(work, task)]
        found += _by_rules(work, task)
    for own in label_faults(work, task):
        if isinstance(own, Blank):
            blanks.append(own)
        else:
            found.append(own)
    found = [own for own in found if not _is_blank(own, work, task)]
    return sorted(found, key=lambda own: own.onset), sorted(blanks)


def item_at(items: Sequence[TaskItem], onset: Fraction) -> int:
    """Return the number of the item that a place belongs to, the first for before."""
    number = 0
    for at, item in enumerate(items):
        if item.onset <= onset:
            number = at
    return number


def _blank_hands(work: Work, task: Task) -> Iterator[Blank]:
    names = {ChordPart.NOTES: "right hand", ChordPart.LEFT: "left hand"}
    if task.tune_only:
        names[ChordPart.NOTES] = "bar"
    for number, item in enumerate(task.items):
        parts = dict(item.worth)
        for part, name in names.items():
            if (number, part) not in work.blanks or part not in parts:
                continue
            marks = parts[part]
            if part is ChordPart.NOTES:
                marks += parts.get(ChordPart.JOINING, Fraction(0))
            if marks:
                yield Blank(number, item.place, name, marks)


def _is_blank(own: Finding, work: Work, task: Task) -> bool:
    """Whether a fault stands in something blank, which is no fault."""
    kind, number = BY_KEY[own.key], item_at(task.items, own.onset)
    item = task.items[number]
    worth = dict(item.worth)
    notes, left = (
        (number, part) in work.blanks or part not in worth
        for part in (ChordPart.NOTES, ChordPart.LEFT)
    )
    if kind.of_choice:
        symbols = work.aligned.symbols
        named = any(item.onset <= symbol.onset < item.end for symbol in symbols)
        return notes and left and not named
    if kind.part is ChordPart.JOINING:
        return notes or kind.part not in worth
    if kind.part is ChordPart.NOTES:
        return notes and not kind.of_given
    return left and kind.part is ChordPart.LEFT


def _tune_faults(work: Work) -> Iterator[Finding]:
    """Yield where the given tune was altered, or is spelled by other letters."""
    rule = next(rule for rule in WORK_RULES if rule.code == "M20")
    if work.octaves:
        yield _octaves_off(work)
    kept: list[SoundingNote] = []
    for given, own in work.tune:
        if given.pitch is None:
            continue
        same = own is None or own.pitch.midi == given.pitch.midi
        if own is None and not _is_excused(work, given.onset):
            continue
        note = next(n for n in _given(work) if n.onset == given.onset)
        kept.append(note if same or own is None else note._replace(pitch=own.pitch))
        if own and same and own.pitch != given.pitch and work.script.spelled:
            yield Finding(
                "M11",
                given.onset,
                f"{own.pitch} in the tune is spelled {given.pitch}.",
                f"Write {given.pitch}.",
            )
    if work.tune:
        tune = work.judged.tune
        raw = work.judged._replace(tune=tune, notes=tuple(kept))
        for row in rule.find(Score(raw)):
            yield Finding("M20", row.onset, row.what, row.remedy)


def _octaves_off(work: Work) -> Finding:
    count = abs(work.octaves)
    way = "high" if work.octaves > 0 else "low"
    first = work.judged.tune.sounding[0]
    octaves = "an octave" if count == 1 else f"{count} octaves"
    return Finding(
        "M20",
        first.onset,
        f"the whole right hand lies {octaves} too {way}.",
        "Write the tune where it is given.",
    )


def _given(work: Work) -> list[SoundingNote]:
    return [note for note in work.judged.notes if note.voice is Voice.TUNE]


def _is_excused(work: Work, onset: Fraction) -> bool:
    """Whether a tune note may be missing: typed chords, blank or odd bars."""
    bar = work.judged.tune.bar_at(onset)
    if not work.script.tune_written:
        return True
    if any(odd.start == bar.start for odd in work.aligned.odd):
        return True
    return not any(bar.start <= n.onset < bar.end for n in work.aligned.notes)


def _by_rules(work: Work, task: Task) -> Iterator[Finding]:
    excused = _excused(task)
    for key, _, row in _rule_rows(work.judged, task):
        if BY_KEY[key].of_choice and not task.chosen:
            continue
        # What the model does is among the chords that are right, so no excuse for the
        # whole item is needed: it would let every other chord pass there.
        if key == "M13":
            fine = _is_accepted(work, task, row.onset)
        else:
            fine = (key, item_at(task.items, row.onset)) in excused
        if not fine:
            yield row


def _rule_rows(
    arrangement: Arrangement, task: Task
) -> Iterator[tuple[str, Rule, Finding]]:
    """Yield what the rules find, each with its key; wrong notes hand by hand."""
    rules = FREE_RULES if task.free else WORK_RULES
    score = Score(arrangement)
    for rule in rules:
        key = KEY_OF_RULE.get(rule.code)
        if key == "M20" or key is None:
            continue
        if key == "M02":
            for own, part in (("M02", False), ("M02.left", True)):
                alone = Score(_one_hand(arrangement, left=part))
                for row in rule.find(alone):
                    yield own, rule, Finding(own, *row[:3])
            continue
        for row in rule.find(score):
            yield key, rule, Finding(key, *row[:3])


def _one_hand(arrangement: Arrangement, *, left: bool) -> Arrangement:
    notes = (n for n in arrangement.notes if (n.voice is Voice.BASS) == left)
    return arrangement._replace(notes=tuple(notes))


@lru_cache(maxsize=64)
def _excused(task: Task) -> frozenset[tuple[str, int]]:
    """Return what the model itself does against rules that only warn.

    Such a rule gives way to something that matters more there, and no pupil pays for
    what the model answer does; nor for a member that the model leaves out.
    """
    rows = _rule_rows(task.model, task)
    # The smoothest way through all chords may take a longer step on the way.
    lenient = ("M03", "M04", "M05") if task.free else ("M03",)
    return frozenset(
        (key, item_at(task.items, row.onset))
        for key, rule, row in rows
        if rule.grade is Grade.AVOID or BY_KEY[key].code in lenient
    )


def _is_accepted(work: Work, task: Task, onset: Fraction) -> bool:
    """Whether the chord in force is one of those that are right in its slot."""
    chord = slot_at(work.judged.slots, onset).chord
    at = slot_at(task.model.slots, onset).onset
    return chord is not None and chord.upright in dict(task.accepted).get(at, ())
