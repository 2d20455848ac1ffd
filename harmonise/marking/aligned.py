"""A script laid on its task: each note, symbol and word at the place where it belongs.

Each bar is laid by itself, so one that does not add up spoils none after it; then all
is moved as its course runs. Work that was played out with its repeats counts where a
bar is played first; a pickup that was written as a full bar after rests stands where
the tune has it.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple, TypeVar

from harmonise.errors import MelodyError
from harmonise.marking.counted import (
    MOST,
    NEARLY_ALL,
    in_other_values,
    in_task_values,
)
from harmonise.marking.course import (
    DEAR,
    STRAIGHT,
    WELL,
    GivenNote,
    ScriptCourse,
    find_course,
    told_course,
)
from harmonise.marking.exercise_order import in_task_order
from harmonise.marking.script import Script, Written, until_the_next
from harmonise.marking.staves import strikes
from harmonise.marking.task import Task
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.pitch import Pitch
from harmonise.theory.play_order import played, played_onsets
from harmonise.theory.tune import Bar, ChordAt, Tune

_WAIVED = 2
"""So many bars in all may be left out by one slip; more of them were not written."""


class OddBar(NamedTuple):
    """A bar that does not add up.

    Attributes:
        start: Where it begins in the task, in crotchets.
        end: Where it ends.
        has: Crotchets that the pupil wrote.
    """

    start: Fraction
    end: Fraction
    has: Fraction


class LeftOut(NamedTuple):
    """What a pupil left out of the task, by a slip that is told once.

    Attributes:
        start: Where it begins in the task, in crotchets.
        end: Where it ends.
    """

    start: Fraction
    end: Fraction


class AlignedScript(NamedTuple):
    """A script on the bars of its task; all onsets are the task's.

    Attributes:
        notes: By onset, then from the lowest up.
        symbols: Each lasts until the next one.
        words: At their places.
        odd: Bars that do not add up.
        course: How it runs along the task.
        gaps: What it leaves out by a slip that is told once.
        told: What is shifted, in whole sentences; "" for nothing.
        other_metre: What the pupil's time signature is, where it is another one.
        goes_on: Whether there is music after the end.
        assumed: What was assumed to read it, in whole sentences.
    """

    notes: tuple[SoundingNote, ...]
    symbols: tuple[ChordAt, ...]
    words: tuple[Written, ...]
    odd: tuple[OddBar, ...] = ()
    course: ScriptCourse = STRAIGHT
    gaps: tuple[LeftOut, ...] = ()
    told: str = ""
    other_metre: str = ""
    goes_on: bool = False
    assumed: tuple[str, ...] = ()

    def left_out(self, onset: Fraction) -> bool:
        """Whether a place of the task was left out by a slip that is told once."""
        return any(gap.start <= onset < gap.end for gap in self.gaps)

    def after_gap(self, onset: Fraction, since: Fraction) -> bool:
        """Whether something was left out between two places, or up to the second."""
        return any(since < gap.end <= onset for gap in self.gaps)


class _LaidBar(NamedTuple):
    """A bar of the script on paper where every bar adds up.

    Attributes:
        bar: The bar.
        at: Where it begins there, in crotchets.
        room: How long it is there.
    """

    bar: Bar
    at: Fraction
    room: Fraction


_Laid = tuple[_LaidBar, ...]
_Thing = TypeVar("_Thing", SoundingNote, ChordAt, Written)


def align(script: Script, task: Task) -> AlignedScript:
    """Return a script laid on the bars of its task.

    Raises:
        MelodyError: If it is another piece.
    """
    tune = task.model.tune
    script, values = _in_values(_written_once(script, tune), task, NEARLY_ALL)
    script = in_task_order(script, task)
    script, laid, course, values = _counted_best(script, task, values)
    if course.foreign:
        raise MelodyError(
            f"This looks like another piece: hardly a note of {task.title} is in it.",
            None,
            "Name what was asked with --against.",
        )
    script = _in_key(script, course)
    metre = _other_metre(laid, tune) if script.spelled and not values else ""
    starts = [note.onset for note in _moved(script.notes, laid, STRAIGHT)]
    notes = list(_moved(script.notes, laid, course))
    inside = [note for note in notes if 0 <= note.onset < tune.end]
    symbols = [s for s in _moved(script.symbols, laid, course) if s.onset >= 0]
    odd = () if metre or not script.spelled else tuple(_odd(script, laid, course, tune))
    return AlignedScript(
        tuple(sorted(inside, key=lambda n: (n.onset, n.pitch.midi))),
        until_the_next([s for s in symbols if s.onset < tune.end], tune.end),
        tuple(w for w in _moved(script.words, laid, course) if 0 <= w.onset < tune.end),
        odd,
        course,
        _gaps(course, tune),
        f"{values} {told_course(course, tune, starts)}".strip(),
        metre,
        any(note.onset >= tune.end for note in notes),
        script.assumed,
    )


def _counted_best(
    script: Script, task: Task, values: str
) -> tuple[Script, _Laid, ScriptCourse, str]:
    """Return a script in the note values in which it runs best along its task.

    Args:
        script: The script.
        task: The task.
        values: What its values were, if that was plain to see; else "".

    Returns:
        The script, its bars on paper, its course, and what its values were.
    """
    laid, course = _best(script, task)
    best = script, laid, course, values
    if values or course.worth >= WELL * len(_given(task)):
        return best
    # Other values are a slip of their own, so they must explain much more.
    least = course.worth + DEAR
    for other, name in in_other_values(script):
        laid, course = _best(other, task)
        if course.worth > least:
            best, least = (other, laid, course, name), course.worth
    if not best[-1]:
        other, values = _in_values(script, task, MOST)
        best = (other, *_best(other, task), values) if values else best
    return best


def _in_values(script: Script, task: Task, share: Fraction) -> tuple[Script, str]:
    given = [(own.onset, own.pitch.pitch_class) for own in _given(task)]
    return in_task_values(script, given, task.model.tune, share)


def _best(script: Script, task: Task) -> tuple[_Laid, ScriptCourse]:
    """Return the script on paper, bar by bar as the task or as it stands itself."""
    given, tune = _given(task), task.model.tune
    ways: list[_Laid] = []
    if len(script.bars) == len(tune.bars):
        ways.append(tuple(_as_task(script.bars, tune.bars)))
    ways.append(tuple(_by_itself(script.bars)))
    courses: list[ScriptCourse] = []
    for laid in ways:
        written = _written(script, laid, task)
        lines = [bar.at for bar in laid]
        courses.append(find_course(given, written, lines))
        if courses[-1].matched == len(given) and courses[-1].is_straight:
            break
    best = max(range(len(courses)), key=lambda way: (courses[way].worth, -way))
    return ways[best], courses[best]


def _given(task: Task) -> list[GivenNote]:
    """Return what a script is laid by: the tune, or the roots where it is free."""
    tune = task.model.tune
    if task.free:
        left = [n for n in task.model.notes if n.hand is Hand.LEFT]
        notes = [(row[0].onset, row[0].pitch) for row in strikes(left)]
    else:
        notes = [(note.onset, note.pitch) for note in tune.sounding if note.pitch]
    heads: dict[Fraction, Fraction] = {}
    for onset, _ in notes:
        heads.setdefault(tune.bar_at(onset).start, onset)
    leading = set(heads.values())
    return [GivenNote(onset, pitch, onset in leading) for onset, pitch in notes]


def _written(script: Script, laid: _Laid, task: Task) -> list[GivenNote]:
    """Return what a pupil has in the place of what is given."""
    hand = Hand.LEFT if task.free else Hand.RIGHT
    notes = [n for n in script.notes if n.hand is hand and n.voice is not _upper(hand)]
    rows = strikes(list(_moved(notes, laid, STRAIGHT)))
    return [GivenNote(row[0].onset, row[0 if task.free else -1].pitch) for row in rows]


def _upper(hand: Hand) -> Voice | None:
    """Return the voice of the left hand's chords, which are no roots."""
    return Voice.INNER if hand is Hand.LEFT else None


def _as_task(written: Sequence[Bar], bars: Sequence[Bar]) -> Iterator[_LaidBar]:
    """Yield the bars of a script that has as many as its task, each where that is."""
    for bar, task in zip(written, bars, strict=True):
        # A pickup may stand in a full bar, after rests.
        late = task.number == 0 and bar.length == bar.time.bar_length > task.length
        room = bar.length if late else task.length
        yield _LaidBar(bar, task.end - room, room)


def _by_itself(written: Sequence[Bar]) -> Iterator[_LaidBar]:
    """Yield the bars of a script one after the other, each as long as its signature.

    The first, the last and the parts of a split bar are as long as they are.
    """
    at = Fraction(0)
    parts = {two for one, two in pairwise(written) if two.offset for two in (one, two)}
    for number, bar in enumerate(written):
        whole = 0 < number < len(written) - 1 and bar not in parts
        room = bar.time.bar_length if whole else bar.length
        yield _LaidBar(bar, at, room)
        at += room


def _moved(
    things: Sequence[_Thing], laid: _Laid, course: ScriptCourse
) -> Iterator[_Thing]:
    """Yield things at their places in the task, as far as they are there at all."""
    for thing in things:
        onset: Fraction | None = thing.onset
        if laid:
            onset = next(
                (
                    row.at + inside
                    for row in laid
                    for inside in [thing.onset - row.bar.start]
                    if thing.onset < row.bar.end and 0 <= inside < row.room
                ),
                None,
            )
        if onset is None:
            continue
        for stretch in course.stretches:
            if stretch.holds(onset):
                there = onset - stretch.offset
                if isinstance(thing, ChordAt):
                    yield thing._replace(
                        onset=there, end=there + thing.end - thing.onset
                    )
                else:
                    yield thing._replace(onset=there)


def _in_key(script: Script, course: ScriptCourse) -> Script:
    """Return a script in the key of its task."""
    steps, semitones = -course.steps, -course.semitones
    if not steps and not semitones:
        return script
    notes = (n._replace(pitch=_higher(n.pitch, steps, semitones)) for n in script.notes)
    symbols = (
        symbol._replace(
            chord=symbol.chord._replace(root=symbol.chord.root.up(steps, semitones))
        )
        for symbol in script.symbols
    )
    return script._replace(notes=tuple(notes), symbols=tuple(symbols))


def _higher(pitch: Pitch, steps: int, semitones: int) -> Pitch:
    return pitch.name.up(steps, semitones).at(pitch.midi + semitones)


def _other_metre(laid: _Laid, tune: Tune) -> str:
    """Return the time signature of a script whose bar lines are not the task's.

    Bars of half the length, or of a longer signature that means the same, are let be.
    """
    times = {row.bar.time.bar_length for row in laid}
    if not laid or times & {bar.time.bar_length for bar in tune.bars}:
        return ""
    lines = {row.at - laid[-1].at for row in laid}
    wanted = {bar.start - tune.bars[-1].start for bar in tune.bars[1:]}
    return "" if wanted <= lines or lines <= wanted else str(laid[0].bar.time)


def _odd(
    script: Script, laid: _Laid, course: ScriptCourse, tune: Tune
) -> Iterator[OddBar]:
    for row in laid:
        bar, over = row.bar, row.bar.start + row.room
        late = any(over <= note.onset < bar.end for note in script.notes)
        for stretch in course.stretches:
            start = row.at - stretch.offset
            if not stretch.holds(row.at) or not 0 <= start < tune.end:
                continue
            last = row is laid[-1] or start + row.room >= tune.end
            last = last and bar.length == bar.time.bar_length
            if bar.length != row.room and (late or not last):
                yield OddBar(start, start + row.room, bar.length)


def _gaps(course: ScriptCourse, tune: Tune) -> tuple[LeftOut, ...]:
    """Return what was left out between stretches, if it is little enough for a slip."""
    gaps = []
    now = Fraction(0)
    for stretch in course.stretches:
        if stretch.start is not None:
            now = max(now, Fraction(0))
            start = stretch.start - stretch.offset
            gaps += [LeftOut(now, start)] if start > now else []
        elif stretch.offset < 0:
            gaps.append(LeftOut(now, -stretch.offset))
        now = tune.end if stretch.end is None else stretch.end - stretch.offset
    bar = max(bar.length for bar in tune.bars)
    fine = sum((gap.end - gap.start for gap in gaps), Fraction(0)) <= _WAIVED * bar
    return tuple(gaps) if fine else ()


def _written_once(script: Script, tune: Tune) -> Script:
    """Return what was played with its repeats as the page has it: the first time."""
    order = played(tune)
    plays_on = bool(script.bars) and script.bars[-1].end > tune.end
    if script.spelled or not plays_on or len(order) == 1:
        return script
    places = (
        (note, stretch.start + note.onset - stretch.at)
        for note in script.notes
        for stretch in order
        if stretch.at <= note.onset < stretch.stop
    )
    notes = tuple(
        note._replace(onset=at)
        for note, at in places
        if played_onsets(order, at)[0] == note.onset
    )
    return script._replace(notes=notes, bars=())
