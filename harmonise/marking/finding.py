"""The faults of a work, found by the very rules that the chooser keeps.

Lengths are judged besides: bars that do not add up, tune notes and chords that do not
last as asked.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import compress

from harmonise.marking.labels import label_faults, slot_at
from harmonise.marking.manners import hymns_of, silent_for
from harmonise.marking.task import Blank, Finding, Task, TaskItem
from harmonise.marking.work import Work
from harmonise.notation.spoken.spoken_words import say_beats
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
    for given, note in work.tune:
        alike = note and given.pitch and note.pitch.midi == given.pitch.midi
        longer = note and note.length != given.length
        if note and alike and longer and not _odd(work, note.onset):
            yield Finding(
                "M19",
                given.onset,
                f"the tune's {given.pitch} lasts {_crotchets(note.length)}, not "
                f"{_crotchets(given.length)}.",
                "Write it as long as it is given.",
            )
    for number, item in enumerate(task.items):
        yield from _short(work, task, number, item)


def _short(work: Work, task: Task, number: int, item: TaskItem) -> Iterator[Finding]:
    """Yield a hand that stops before the model does."""
    if _odd(work, item.onset) or _odd(work, item.end - Fraction(1, 64)):
        return
    if any(g.start < item.end and g.end > item.onset for g in work.aligned.gaps):
        return
    top = {Voice.TUNE} if task.free else set()
    for part, hand, voices in (
        (ChordPart.NOTES, "right", {Voice.INNER} | top),
        (ChordPart.LEFT, "left", {Voice.BASS}),
    ):
        if (number, part) in work.blanks or part not in dict(item.worth):
            continue
        # Where the tune rests the hands may rest with it.
        judged = work.judged._replace(tune=task.model.tune)
        silent, *allowed = (
            silent_for(played, voices, item.onset, item.end)
            for played in (judged, task.model, work.manner)
        )
        if silent > max(allowed):
            lasts = item.end - item.onset
            yield Finding(
                "M19",
                _stops(work, voices, item),
                f"the {hand} hand sounds for {_crotchets(lasts - silent)} of "
                f"{_crotchets(lasts)}.",
                "Let the chord last until the next one.",
            )
            return


def _stops(work: Work, voices: set[Voice], item: TaskItem) -> Fraction:
    """Return where the bar begins, or the chord in it, in which a hand falls silent."""
    notes = [note for note in work.judged.notes if note.voice in voices]
    for bar in work.judged.tune.bars:
        start, end = max(bar.start, item.onset), min(bar.end, item.end)
        if start < end and silence(notes, start, end):
            return start
    return item.onset


def _odd(work: Work, onset: Fraction) -> bool:
    return any(bar.start <= onset < bar.end for bar in work.aligned.odd)


def _crotchets(length: Fraction) -> str:
    return say_beats(length).replace("beat", "crotchet")


def findings(work: Work, task: Task) -> tuple[list[Finding], list[Blank]]:
    """Return the faults of a work, and what was left blank, in score order."""
    blanks = list(_blank_hands(work, task))
    if task.notes_given:
        faults: list[Finding] = []
    elif task.tune_only:
        faults = list(_tune_faults(work))
    else:
        faults = [*_tune_faults(work), *rhythm_faults(work, task)]
        faults += _by_rules(work, task)
    for fault in label_faults(work, task):
        if isinstance(fault, Blank):
            blanks.append(fault)
        else:
            faults.append(fault)
    aligned = work.aligned
    faults = [fault for fault in faults if not _is_blank(fault, work, task)]
    faults = [fault for fault in faults if not aligned.left_out(fault.onset)]
    faults += _out_of_place(work, task)
    blanks = [b for b in blanks if not aligned.left_out(task.items[b.item].onset)]
    return sorted(faults, key=lambda fault: fault.onset), sorted(blanks)


def _out_of_place(work: Work, task: Task) -> Iterator[Finding]:
    """Yield what the whole work has wrong, each once: bars, metre, key."""
    aligned, first = work.aligned, task.items[0].onset if task.items else Fraction(0)
    marked = "All was marked where it belongs."
    if aligned.told:
        yield Finding("M19.shift", first, aligned.told, marked)
    if aligned.other_metre:
        time = task.model.tune.bars[-1].time
        what = f"it is written in {aligned.other_metre}, not in {time}."
        yield Finding("M19.shift", first, what, marked)
    course = aligned.course
    if course.semitones:
        key = task.model.tune.key
        tonic = key.tonic.up(course.steps, course.semitones)
        there = key._replace(tonic=tonic)
        how = f" If {there} was asked for, add --key {tonic}." if task.free else ""
        what = f"all of it is in {there}, not in {key}."
        yield Finding("M20.key", first, what, f"{marked}{how}")


def item_at(items: Sequence[TaskItem], onset: Fraction) -> int:
    """Return the number of the item that a place belongs to, the first for before."""
    return max(sum(item.onset <= onset for item in items) - 1, 0)


def _blank_hands(work: Work, task: Task) -> Iterator[Blank]:
    right = "bar" if task.tune_only else "right hand"
    for number, item in enumerate(task.items):
        parts = dict(item.worth)
        # Nothing joins on to notes that are not there.
        joining = parts.get(ChordPart.JOINING, Fraction(0))
        for part, name, more in (
            (ChordPart.NOTES, right, joining),
            (ChordPart.LEFT, "left hand", Fraction(0)),
        ):
            marks = parts.get(part, Fraction(0)) + more
            if (number, part) in work.blanks and part in parts and marks:
                yield Blank(number, item.place, name, marks)


def _is_blank(finding: Finding, work: Work, task: Task) -> bool:
    """Whether a fault stands in something blank, which is no fault."""
    kind, number = BY_KEY[finding.key], item_at(task.items, finding.onset)
    item = task.items[number]
    worth = dict(item.worth)
    notes, left = (
        (number, part) in work.blanks or part not in worth
        for part in (ChordPart.NOTES, ChordPart.LEFT)
    )
    before = task.items[number - 1].onset if number else Fraction(-1)
    # A chord is not joined to one that was left out before it.
    joins = kind.part is ChordPart.JOINING or kind.key == "M16"
    if joins and work.aligned.after_gap(item.onset, before):
        return True
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
    tune = work.judged.tune
    if work.octaves:
        count, way = abs(work.octaves), "high" if work.octaves > 0 else "low"
        octaves = "an octave" if count == 1 else f"{count} octaves"
        yield Finding(
            "M20",
            tune.sounding[0].onset,
            f"the whole right hand lies {octaves} too {way}.",
            "Write the tune where it is given.",
        )
    given_notes = {n.onset: n for n in work.judged.notes if n.voice is Voice.TUNE}
    kept: list[SoundingNote] = []
    for given, written in work.tune:
        if given.pitch is None or (
            written is None and not _is_excused(work, given.onset)
        ):
            continue
        same = written is None or written.pitch.midi == given.pitch.midi
        note = given_notes[given.onset]
        kept.append(
            note if same or written is None else note._replace(pitch=written.pitch)
        )
        if written and same and written.pitch != given.pitch and work.script.spelled:
            yield Finding(
                "M11",
                given.onset,
                f"{written.pitch} in the tune is spelled {given.pitch}.",
                f"Write {given.pitch}.",
            )
    if work.tune:
        for row in rule.find(Score(work.judged._replace(notes=tuple(kept)))):
            yield Finding("M20", row.onset, row.what, row.remedy)


def _is_excused(work: Work, onset: Fraction) -> bool:
    """Whether a tune note may be missing: typed chords, blank or odd bars."""
    bar = work.judged.tune.bar_at(onset)
    return (
        not work.script.tune_written
        or any(odd.start == bar.start for odd in work.aligned.odd)
        or not any(bar.start <= n.onset < bar.end for n in work.aligned.notes)
    )


def _by_rules(work: Work, task: Task) -> Iterator[Finding]:
    excused = {
        (key, item_at(task.items, onset))
        for key, onset in _excused(task.model, free=task.free)
    }
    for _, row in _rule_rows(work.judged, free=task.free):
        if BY_KEY[row.key].of_choice and not task.chosen:
            continue
        fine = (row.key, item_at(task.items, row.onset)) in excused
        # What the model does is among the chords that are right, so no excuse for the
        # whole item is needed: it would let every other chord pass there.
        if row.key == "M13":
            chord = slot_at(work.judged.slots, row.onset).chord
            at = slot_at(task.model.slots, row.onset).onset
            fine = bool(chord and chord.upright in dict(task.accepted).get(at, ()))
        hymns = () if fine else hymns_of(work.judged, task)
        if not fine and not any(_as_in(hymn, work, row) for hymn in hymns):
            yield row


def _as_in(hymn: Arrangement, work: Work, row: Finding) -> bool:
    """Whether a fault is one that a hymn has as well, and in the same chord."""
    slot, there = (
        slot_at(slots, row.onset) for slots in (work.judged.slots, hymn.slots)
    )
    if not slot.chord or not there.chord or slot.chord.upright != there.chord.upright:
        return False
    # The tenor is the left hand's on paper, so rules may find more than in the hymn.
    written, made = (
        {n[:3] for n in own.notes if slot.onset <= n.onset < slot.end}
        for own in (work.judged, hymn)
    )
    excused = row.key == "M13" or (row.key, row.onset) in _excused(hymn)
    return excused or written == made


def _rule_rows(
    arrangement: Arrangement, *, free: bool
) -> Iterator[tuple[Rule, Finding]]:
    """Yield what the rules find, each with its key; wrong notes hand by hand."""
    score = Score(arrangement)
    left = [note.voice is Voice.BASS for note in arrangement.notes]
    right = [not is_left for is_left in left]
    hands = [
        (
            key,
            Score(arrangement._replace(notes=tuple(compress(arrangement.notes, kept)))),
        )
        for key, kept in (("M02", right), ("M02.left", left))
    ]
    for rule in FREE_RULES if free else WORK_RULES:
        key = KEY_OF_RULE.get(rule.code)
        if key and key != "M20":
            for hand_key, view in hands if key == "M02" else [(key, score)]:
                for row in rule.find(view):
                    yield rule, Finding(hand_key, *row[:3])


@lru_cache(maxsize=64)
def _excused(
    model: Arrangement, *, free: bool = False
) -> frozenset[tuple[str, Fraction]]:
    """Return what a model itself does against rules that only warn, and where.

    Such a rule gives way to something that matters more there, and no pupil pays for
    what the model answer does; nor for a member that the model leaves out.
    """
    # The smoothest way through all chords may take a longer step on the way.
    lenient = ("M03", "M04", "M05") if free else ("M03",)
    return frozenset(
        (row.key, row.onset)
        for rule, row in _rule_rows(model, free=free)
        if rule.grade is Grade.AVOID or BY_KEY[row.key].code in lenient
    )
