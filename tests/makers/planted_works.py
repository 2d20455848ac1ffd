"""The mutation table: one fault planted at every place of every demo tune.

Each planted work is marked; right is exactly the planted fault at its place and nothing
else. Run as a program this writes `cases/mutations.tsv`: for every kind of fault how
many were planted, how many were found, and how many other faults were told.

Faults are planted where the same rules find them, so a whole recall says only that the
layers above the rules lose nothing; `outside_slips` plants without the rules.

Kinds that worksheets plant are taken from there; the others are made here.
"""

import sys
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from itertools import combinations, groupby, pairwise
from pathlib import Path
from typing import NamedTuple

from harmonise.choice.palette import palette
from harmonise.lessons.fault_sheet import proposals
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.marking.finding import item_at
from harmonise.marking.mark import mark
from harmonise.marking.marked import MarkingManner
from harmonise.marking.script import Script, Written
from harmonise.marking.task import MarkingStyle, Task, read_points
from harmonise.marking.tasks import task_of_tune, tasks_of_sheet
from harmonise.notation.formats import read_tune
from harmonise.rules.score_view import Score
from harmonise.rules.table import COMMENTS, PLANTED, RULES, WORK_RULES, check
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.chord import Chord, Member
from harmonise.theory.numerals import leading_note, numeral
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.reach import bass_under
from harmonise.theory.voicing import close_shape, right_hand
from makers.scripts import script_of

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
TABLE = Path(__file__).parents[1] / "cases" / "mutations.tsv"
HEAD = ("kind", "tunes", "planted", "found", "others", "recall %", "precision %")
STRICT = ("M17", "M18")
RARE = ("M04", "M05", "M11", "M12", "M13", "M15", "M16", "M17", "M18")
"""Kinds with few places: they are planted at three levels."""
NOTE = (
    "# Planted where the same rules find them: 100 % says that nothing is lost above "
    "the rules. tests/cases/layouts.tsv has all kinds, planted without them."
)
_STEPS = (1, -1, 2, -2)


class Mutant(NamedTuple):
    """A work with one planted fault.

    Attributes:
        codes: What is wanted; two where the trade deducts for both (M04 and M05).
        onset: Where.
        script: The work.
        task: What was asked.
    """

    codes: tuple[str, ...]
    onset: Fraction
    script: Script
    task: Task


class Outcome(NamedTuple):
    """What a marker made of a mutant: whether it was found, and what else was told."""

    found: bool
    others: tuple[str, ...]


def task_of(path: Path, level: int = 2) -> Task:
    """Return the task of a demo tune."""
    return task_of_tune(read_tune(path), Style(level=level))


def judge(mutant: Mutant) -> Outcome:
    """Return what the marker makes of a mutant."""
    style = MarkingStyle.KEYBOARD
    if set(mutant.codes) & set(STRICT):
        style = MarkingStyle.STRICT
    done = mark(mutant.script, mutant.task, MarkingManner(read_points(), style))
    item = item_at(mutant.task.items, mutant.onset)
    told = [(own.kind.code, own.item) for own in done.lines if own.number]
    wanted = [(code, item) for code in mutant.codes]
    others = [f"{code} at {n}" for code, n in told if (code, n) not in wanted]
    others += [f"blank {own.what}" for own in done.blanks]
    return Outcome(all(row in told for row in wanted), tuple(others))


def swapped(
    model: Arrangement, old: SoundingNote, new: SoundingNote | None
) -> Arrangement:
    """Return an arrangement with one note replaced, or left out."""
    notes = [note for note in model.notes if note is not old]
    notes += [new] if new else []
    notes.sort(key=lambda note: (note.onset, note.pitch.midi))
    return model._replace(notes=tuple(notes))


def faults(model: Arrangement) -> dict[tuple[str, Fraction], str]:
    """Return what the rules find, by code and place, comments aside."""
    fits = [rule for rule in WORK_RULES if rule.code == "M13"]
    return {
        (rule.code, row.onset): row.what
        for rule in (*RULES, *fits)
        if rule.code not in COMMENTS
        for row in rule.find(Score(model))
    }


def sheet_kinds(task: Task, code: str) -> Iterator[Mutant]:
    """Yield the faults that worksheets plant, the likeliest one at each place."""
    model = task.model
    kind = next(own for own in PLANTED if own.code == code)
    before = set(faults(model))
    planted = sorted(proposals(kind, model), key=lambda own: own.onset)
    for onset, own in groupby(planted, key=lambda proposal: proposal.onset):
        for proposal in own:
            added = set(faults(proposal.arrangement)) - before
            bar = model.tune.bar_at(onset)
            inside = all(bar.start <= at < bar.end for _, at in added)
            codes = {rule for rule, _ in added}
            number = item_at(task.items, onset)
            known = {(c, item_at(task.items, at)) for c, at in before}
            same = (*kind.found, *(["M13"] if kind.of_choice and code != "M13" else []))
            if any((rule, number) in known for rule in same):
                continue  # The model does it too: no fault, or not alone.
            if code == "M13":
                codes -= {"M13"}
            if codes == set(kind.found) and inside:
                yield Mutant((code,), onset, script_of(proposal.arrangement), task)
                break


def joins(task: Task) -> Iterator[tuple[Slot, list[SoundingNote], list[SoundingNote]]]:
    """Yield each change with the inner notes before it and those that it strikes."""
    model = task.model
    for slot in model.changes[1:]:
        notes = [n for n in model.notes if n.voice is Voice.INNER]
        new = [n for n in notes if n.onset == slot.onset]
        end = slot.onset
        old = [n for n in notes if n.onset < end <= n.onset + n.length]
        if len(new) == len(old) == 2:
            yield slot, old, new


def revoiced(task: Task, code: str) -> Iterator[Mutant]:
    """Yield open shapes that move further: M04 where a common tone is lost, or M05."""
    for slot, old, new in joins(task):
        chord = slot.chord
        if chord is None:
            continue
        kept = [i for i in (0, 1) if old[i].pitch.midi == new[i].pitch.midi]
        least = moved(old, [n.pitch for n in new])
        for shape in open_shapes(task, chord, new):
            lost = [i for i in kept if shape[i].midi != old[i].pitch.midi]
            slip = moved(old, shape) > least and not deceptive(task.model, slot, shape)
            if not slip or bool(lost) is not (code == "M04"):
                continue
            done = task.model
            for note, pitch in zip(new, shape, strict=True):
                done = swapped(done, note, note._replace(pitch=pitch))
            if parallels_at(done, slot.onset) < parallels_at(task.model, slot.onset):
                continue  # It avoids parallels, which is a reason to move further.
            codes = ("M04", "M05") if code == "M04" else ("M05",)
            if set(faults(done)) == set(faults(task.model)):
                yield Mutant(codes, slot.onset, script_of(done), task)
                break


def deceptive(model: Arrangement, slot: Slot, shape: list[Pitch]) -> bool:
    """Whether a shape doubles the tune's third in a chord that a root step leads up to.

    So V goes to vi, wherever it stands in the key (common practice): no slip.
    """
    before = [own.chord for own in model.slots if own.end == slot.onset]
    tune = [n for n in model.notes if n.voice is Voice.TUNE and n.onset <= slot.onset]
    if not before or before[0] is None or slot.chord is None:
        return False
    rise = (slot.chord.root.pitch_class - before[0].root.pitch_class) % 12
    third = slot.chord.member(Member.THIRD)
    octave = tune[-1].pitch.midi - shape[0].midi == 12
    return rise in (1, 2) and octave and shape[0].name == third


def moved(old: list[SoundingNote], new: list[Pitch]) -> int:
    """Return the semitones that two inner voices move in all."""
    return sum(abs(b.midi - a.pitch.midi) for a, b in zip(old, new, strict=True))


def parallels_at(model: Arrangement, onset: Fraction) -> int:
    """Return how many parallels lead to a place."""
    return sum(
        fault.rule == "M17" and fault.place == model.tune.place(onset)
        for fault in check(model)
    )


def open_shapes(
    task: Task, chord: Chord, new: list[SoundingNote]
) -> Iterator[list[Pitch]]:
    """Yield other complete pairs of inner notes that lie under the tune in reach."""
    model = task.model
    end = max(n.onset + n.length for n in new)
    tune = [
        n.pitch.midi
        for n in model.notes
        if n.voice is Voice.TUNE and n.onset < end and n.onset + n.length > new[0].onset
    ]
    left = [
        n.pitch
        for n in model.notes
        if n.hand is Hand.LEFT and n.onset <= new[0].onset < n.onset + n.length
    ]
    floor = max((p.midi for p in left), default=0) + 3
    places = [
        name.at(midi)
        for midi in range(max(floor, max(tune) - 12), min(tune))
        if (name := chord.spelling(midi % 12)) is not None
    ]
    first = next(
        n for n in model.notes if n.voice is Voice.TUNE and n.onset <= new[0].onset
        < n.onset + n.length
    )  # fmt: skip
    for low, high in combinations(places, 2):
        sound = {p.pitch_class for p in (low, high, first.pitch, *left)}
        same = (low, high) == (new[0].pitch, new[1].pitch)
        if set(chord.pitch_classes) <= sound and not same:
            yield [low, high]


def misnamed(task: Task, _: str = "M10") -> Iterator[Mutant]:
    """Yield symbols of other chords over chords that are complete."""
    model = task.model
    script = script_of(model)
    for number, own in enumerate(script.symbols):
        here = [n for n in model.notes if n.onset <= own.onset < n.onset + n.length]
        under = {n.pitch.pitch_class for n in here if n.voice is not Voice.TUNE}
        triad = set(own.chord.pitch_classes[:3])
        every = {n.pitch.pitch_class for n in here}
        bass = [n for n in here if n.voice is Voice.BASS]
        complete = triad <= every and under <= set(own.chord.pitch_classes)
        if not (complete and bass and len(bass) < len(under)):
            continue
        key = model.tune.key_at(own.onset)
        for offer in palette(key, 1):
            if not under <= set(offer.chord.pitch_classes):
                wrong = own._replace(chord=offer.chord)
                row = (*script.symbols[:number], wrong, *script.symbols[number + 1 :])
                done = script._replace(symbols=row)
                yield Mutant(("M10",), own.onset, done, task)
                break


def anticipated(task: Task, _: str = "M14") -> Iterator[Mutant]:
    """Yield chords that begin a weaker slot too early."""
    model = task.model
    before = set(faults(model))
    for here, after in pairwise(model.slots):
        if here.chord is None or after.chord is None or here.chord == after.chord:
            continue
        done = replayed(model, here, after.chord)
        now = set(faults(done))
        fits = not {("H05", here.onset), ("M13", here.onset)} & now
        if now - before == {("H07", after.onset)} and fits and joins_well(task, done):
            yield Mutant(("M14",), after.onset, script_of(done), task)


def joins_well(task: Task, done: Arrangement) -> bool:
    """Whether a work moves no further than the model: else it has two faults."""
    rules = [rule for rule in WORK_RULES if rule.code in ("M04", "M05")]
    return list(check(done, tuple(rules))) == list(check(task.model, tuple(rules)))


def replayed(model: Arrangement, slot: Slot, chord: Chord) -> Arrangement:
    """Return an arrangement with another chord in one slot, struck once."""
    tune = [n for n in model.notes if n.voice is Voice.TUNE]
    over = [
        n.pitch for n in tune if n.onset < slot.end and n.onset + n.length > slot.onset
    ]
    if not over:
        return model
    top = min(over, key=lambda pitch: pitch.midi)
    interval = (top.pitch_class - chord.root.pitch_class) % 12
    inner = right_hand(chord, top, close_shape(chord.quality, interval))[:-1]
    bass = bass_under(chord.bass.pitch_class, inner[0].midi)
    left = [] if bass is None else [chord.bass.at(bass)]
    kept = []
    for note in model.notes:
        if note.voice is Voice.TUNE or note.onset + note.length <= slot.onset:
            kept.append(note)
        elif note.onset < slot.onset:
            kept.append(note._replace(length=slot.onset - note.onset))
        elif note.onset >= slot.end:
            kept.append(note)
    times = slot.onset, slot.length
    kept += [SoundingNote(*times, p, Hand.RIGHT, Voice.INNER) for p in inner]
    kept += [SoundingNote(*times, p, Hand.LEFT, Voice.BASS) for p in left]
    kept.sort(key=lambda note: (note.onset, note.pitch.midi))
    slots = tuple(
        own._replace(chord=chord, numeral=numeral(chord, own.key))
        if own.onset == slot.onset
        else own
        for own in model.slots
    )
    return model._replace(notes=tuple(kept), slots=slots)


def parallel(task: Task, _: str = "M17") -> Iterator[Mutant]:
    """Yield left-hand notes in another octave that move in parallel with a voice."""
    model = task.model
    old = {f.place for f in check(model) if f.rule == "M17"}
    before = set(faults(model))
    for slot in model.changes[1:]:
        for note in model.notes:
            if note.hand is not Hand.LEFT or note.onset != slot.onset:
                continue
            for octave in (1, -1):
                pitch = note.pitch._replace(octave=note.pitch.octave + octave)
                done = swapped(model, note, note._replace(pitch=pitch))
                new = {f.place for f in check(done) if f.rule == "M17"}
                if pitch.midi < 28 or set(faults(done)) != before:
                    continue
                if new - old == {model.tune.place(slot.onset)}:
                    yield Mutant(("M17",), slot.onset, script_of(done), task)
                    break


def doubled(task: Task, _: str = "M18") -> Iterator[Mutant]:
    """Yield dominants whose inner root became a second leading note."""
    for slot in task.model.slots:
        leading = slot.chord and leading_note(slot.chord, slot.key)
        for note in task.model.notes:
            inner = note.voice is Voice.INNER and note.onset == slot.onset
            if slot.chord is None or leading is None or not inner:
                continue
            if slot.chord.member_of(note.pitch.pitch_class) is Member.ROOT:
                yield from _with_leading_note(task, note, leading)


def _with_leading_note(
    task: Task, note: SoundingNote, leading: PitchName
) -> Iterator[Mutant]:
    model = task.model
    before = set(faults(model))
    item = item_at(task.items, note.onset)
    if ("M18", item) in {(c, item_at(task.items, at)) for c, at in before}:
        return  # The model does it too, so it is no fault there.
    for midi in range(note.pitch.midi - 9, note.pitch.midi + 5):
        if midi % 12 != leading.pitch_class:
            continue
        done = swapped(model, note, note._replace(pitch=leading.at(midi)))
        smooth = parallels_at(done, note.onset) == parallels_at(model, note.onset)
        if smooth and {code for code, _ in set(faults(done)) - before} == {"M18"}:
            yield Mutant(("M18",), note.onset, script_of(done), task)
            return


def shortened(task: Task, _: str = "M19") -> Iterator[Mutant]:
    """Yield left-hand notes of half their length, and bars with a rest too many."""
    model = task.model
    for note in model.notes:
        if note.hand is Hand.LEFT:
            half = note._replace(length=note.length / 2)
            script = script_of(swapped(model, note, half))
            yield Mutant(("M19",), note.onset, script, task)
    script = script_of(model)
    for number, bar in enumerate(model.tune.bars[:-1]):
        bars = [
            own._replace(start=own.start + 1) if at > number else own
            for at, own in enumerate(script.bars)
        ]
        bars[number] = bar._replace(length=bar.length + 1)
        if any(n.onset < bar.end < n.onset + n.length for n in script.notes):
            continue
        later = tuple(
            n._replace(onset=n.onset + 1) if n.onset >= bar.end else n
            for n in script.notes
        )
        symbols = tuple(
            s._replace(onset=s.onset + 1) if s.onset >= bar.end else s
            for s in script.symbols
        )
        done = script._replace(bars=tuple(bars), notes=later, symbols=symbols)
        yield Mutant(("M19",), bar.start, done, task)


def altered(task: Task, _: str = "M20") -> Iterator[Mutant]:
    """Yield tune notes a step too high or too low."""
    model = task.model
    for note in model.notes:
        if note.voice is not Voice.TUNE:
            continue
        scale = {n.letter: n.alter for n in model.tune.key_at(note.onset).scale}
        for step in _STEPS:
            octave, letter = divmod(note.pitch.staff_step + step, 7)
            pitch = Pitch(letter, scale[letter], octave)
            taken = [
                n.pitch.midi
                for n in model.notes
                if n.voice is not Voice.TUNE
                and n.onset < note.onset + note.length
                and n.onset + n.length > note.onset
            ]
            if pitch.midi > max(taken, default=0):
                done = swapped(model, note, note._replace(pitch=pitch))
                yield Mutant(("M20",), note.onset, script_of(done), task)
                break


def misnamed_shapes(path: Path) -> Iterator[Mutant]:
    """Yield answer keys of the sheet of names with one wrong shape."""
    sheet = make_sheets(read_tune(path), SheetOrder(SheetKind.LABELS, Style(2)))[0]
    task = tasks_of_sheet(sheet)[0]
    script = label_script(sheet)
    for number, word in enumerate(script.words):
        if word.text in ("root", "first", "second") and word.onset in {
            item.onset for item in task.items if item.marks
        }:
            wrong = "second" if word.text != "second" else "root"
            words = list(script.words)
            words[number] = word._replace(text=wrong)
            done = script._replace(words=tuple(words))
            yield Mutant(("M09",), word.onset, done, task)


def label_script(sheet: Worksheet) -> Script:
    """Return the answer key of the sheet of names as a script."""
    piece = sheet.pieces[0]
    words = tuple(
        Written(box.onset, box.text) for box in piece.boxes if box.text != "–"
    )
    return script_of(piece.arrangement)._replace(symbols=(), words=words)


MAKERS: dict[str, Callable[[Task, str], Iterator[Mutant]]] = {
    **{kind.code: sheet_kinds for kind in PLANTED},
    "M04": revoiced,
    "M05": revoiced,
    "M10": misnamed,
    "M14": anticipated,
    "M17": parallel,
    "M18": doubled,
    "M19": shortened,
    "M20": altered,
}
CODES = sorted({*MAKERS, "M09"})


def mutants(path: Path, code: str) -> Iterator[Mutant]:
    """Yield one fault of a kind at every place of a tune."""
    if code == "M09":
        yield from misnamed_shapes(path)
        return
    for level in (1, 2, 3) if code in RARE else (2,):
        yield from MAKERS[code](task_of(path, level), code)


def rows(paths: list[Path], codes: list[str]) -> Iterator[tuple[str, ...]]:
    """Yield the rows of the table; what goes wrong is told on the way."""
    for code in codes:
        tunes = planted = found = others = 0
        for path in paths:
            own = list(mutants(path, code))
            tunes += bool(own)
            planted += len(own)
            for mutant in own:
                outcome = judge(mutant)
                found += outcome.found
                others += len(outcome.others)
                if not outcome.found or outcome.others:
                    where = mutant.task.model.tune.place(mutant.onset)
                    told = f"{path.stem} {code} {where} {outcome}\n"
                    sys.stderr.write(told)
        recall = 100 * found / planted if planted else 0
        told_all = found + others
        precision = 100 * found / told_all if told_all else 0
        numbers = (tunes, planted, found, others, f"{recall:g}", f"{precision:g}")
        yield code, *map(str, numbers)


def main(codes: Sequence[str]) -> None:
    """Write the table; with codes renew only their rows."""
    lines = {}
    if codes:
        old = TABLE.read_text("utf-8").splitlines()[2:]
        lines = {line.partition("\t")[0]: line for line in old}
    for row in rows(TUNES, list(codes) or CODES):
        lines[row[0]] = "\t".join(row)
    text = "\n".join([NOTE, "\t".join(HEAD), *(lines[code] for code in CODES)])
    TABLE.write_text(f"{text}\n", "utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
