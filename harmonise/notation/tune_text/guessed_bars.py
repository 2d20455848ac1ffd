"""What nobody typed of the bars of a tune: bar lines that the time tells, or the time.

Many people type the notes alone. Where no line has a bar line inside, but for the one
after a pickup, bar lines come from the time; where no `Time:` line stands and all bars
agree on another time than the usual one, it is taken. Both are said back. A tune with
some bar lines is left as it is: there a missing one is a slip that has to be seen.
"""

from collections.abc import Iterator
from typing import NamedTuple

from harmonise.errors import NotationError, Remark, listed
from harmonise.notation.tune_text.typed_bars import (
    BAR_LINES,
    ENDING,
    MOST_BARS,
    TypedBar,
    lay_bars,
    too_many_bars,
)
from harmonise.notation.tune_text.typed_lines import TypedPassage, TypedSheet
from harmonise.theory.metre import TimeSignature

_MOST_WORDS = 48 * MOST_BARS
_OTHER_TIME = "For another time type a line such as Time: 3/4."
_FILL = 'Hold the last note until its bar is full, or type "|" after the pickup.'


class LaidSheet(NamedTuple):
    """A tune whose bars are laid out.

    Attributes:
        sheet: The tune with the bar lines and the time that were found.
        bars: Its bars, with numbers.
        remarks: What is to be told of them.
        fault: What is wrong with a tune without bar lines; a word of it that is no note
            would be told before.
    """

    sheet: TypedSheet
    bars: list[TypedBar]
    remarks: list[Remark]
    fault: NotationError | None


def lay_sheet(sheet: TypedSheet) -> LaidSheet:
    """Return a tune with its bars.

    Raises:
        NotationError: E08, E22, and what else is wrong about bar lines.
    """
    fault: NotationError | None = None
    # A bar has 32 beats at most, so no note of an endless text need be looked at.
    if sum(len(passage.tokens) for passage in sheet.passages) > _MOST_WORDS:
        raise too_many_bars()
    sheet, by_lines = _timed(sheet, _time_of_lines(sheet.passages), "line")
    found: list[Remark] = []
    try:
        sheet, found = _with_bar_lines(sheet)
    except NotationError as error:
        fault = error
    bars, about_repeats = lay_bars(sheet.passages)
    sheet, by_bars = _timed(sheet, agreed_time(bars), "bar")
    if by_bars:
        bars, about_repeats = lay_bars(sheet.passages)
    remarks = [*by_lines, *found, *by_bars, *about_repeats]
    return LaidSheet(sheet, bars, remarks, fault)


def _timed(
    sheet: TypedSheet, time: TimeSignature | None, counted: str
) -> tuple[TypedSheet, list[Remark]]:
    """Return a tune in the time that was counted, unless a line tells one (E10)."""
    if sheet.timed or not time:
        return sheet, []
    passages = [passage._replace(time=time) for passage in sheet.passages]
    remedy = f"Every {counted} has {time.beats} beats: {time}? (using {time})"
    told = Remark("E10", "No Time: line.", None, remedy)
    return sheet._replace(passages=passages), [told]


def _time_of_lines(passages: list[TypedPassage]) -> TimeSignature | None:
    """Return the time of which each line is a bar, where no bar lines are typed."""
    beats = _equal_lines(passages)
    # Lines of four are whole in the usual time, and six are two bars or one.
    return TimeSignature(beats, 4) if beats in (3, 5, 7) else None


def _equal_lines(passages: list[TypedPassage]) -> int:
    """Return the beats of each line; 0 if they differ, or if bar lines are typed."""
    if len(passages) < 2 or any("|" in passage.tokens for passage in passages):
        return 0
    beats = {sum(map(_is_beat, passage.tokens)) for passage in passages}
    return beats.pop() if len(beats) == 1 else 0


def agreed_time(bars: list[TypedBar]) -> TimeSignature | None:
    """Return the time on which all bars agree, if it is not their time signature.

    The first and the last may be shorter. Bars of twice the length are no other metre:
    there a bar line is missing.
    """
    if not bars:
        return None
    time = bars[0].time
    lengths = [bar.beats for bar in bars]
    beats = max(lengths)
    inner = lengths[1:-1] or lengths
    # A pickup and the bar that gives it back may be short, so the inner bars decide.
    agree = set(inner) == {beats} and lengths.count(beats) > 1
    changes = any(bar.time != time for bar in bars)
    if not agree or changes or time.beats in lengths or beats % time.beats == 0:
        return None
    # Six beats are 6/8 rather than 6/4, two beats of a 6/8 are 2/4 (common practice).
    lower = 8 if beats in (6, 9, 12) else time.beat_type
    if time.is_compound and beats in (2, 3, 4):
        lower = 4
    return TimeSignature(beats, lower) if 2 <= beats <= 32 else None


class _WordAt(NamedTuple):
    """Where a beat stands in the text: number of its line, and of its word in it."""

    line: int
    word: int


def _with_bar_lines(sheet: TypedSheet) -> tuple[TypedSheet, list[Remark]]:
    """Return a tune with bar lines where nobody typed any (E28)."""
    passages = sheet.passages
    pickup = _pickup(passages)
    stretches = list(_stretches(passages))
    over = any(_runs_over(stretch, passages) for stretch in stretches)
    if pickup is None or not over:
        return sheet, []
    lines = 0 if sheet.timed else _equal_lines(passages)
    if lines % passages[0].time.beats:
        what, remedy = (
            f"lines of {lines} beats",
            f"{_OTHER_TIME} Else type the bar lines.",
        )
        raise _no_whole_bars(what, passages[0].time, remedy)
    strokes: list[_WordAt] = []
    for number, stretch in enumerate(stretches):
        time = passages[stretch[0].line].time
        left = len(stretch) % time.beats
        # The bar that gives the pickup back may be short.
        owed = pickup and number == len(stretches) - 1 and left == time.beats - pickup
        is_pickup = pickup and number == 0
        if left and not (owed or is_pickup):
            # A short line, or one with bar lines, is told where its bar is too long.
            some = any("|" in passage.tokens for passage in passages)
            if some or len(stretch) < 2 * time.beats:
                return sheet, []
            remedy = _FILL if sheet.timed else f"{_OTHER_TIME} {_FILL}"
            raise _no_whole_bars(f"{len(stretch)} beats", time, remedy)
        strokes += stretch[time.beats - 1 : -1 : time.beats]
    found = _found(sheet, pickup=bool(pickup))
    return sheet._replace(passages=_struck(passages, strokes)), [found]


def _pickup(passages: list[TypedPassage]) -> int | None:
    """Return the beats before the one bar line inside a line, 0 if there is none.

    None if there are others, or a word that is no beat and no bar line.
    """
    pickup = 0
    for number, passage in enumerate(passages):
        strokes = [at for at, sign in enumerate(passage.tokens) if sign == "|"]
        inner = [at for at in strokes if 0 < at < len(passage.tokens) - 1]
        if any(_is_odd(sign) for sign in passage.tokens):
            return None
        if not inner:
            continue
        before = [sign for sign in passage.tokens[: inner[0]] if _is_beat(sign)]
        if number or len(inner) > 1 or not 0 < len(before) < passage.time.beats:
            return None
        pickup = len(before)
    return pickup


def _is_sign(word: str) -> bool:
    return word in BAR_LINES or bool(ENDING.match(word))


def _is_beat(word: str) -> bool:
    return not _is_sign(word)


def _is_odd(word: str) -> bool:
    """Whether a word is neither a beat nor a bar line: its fault is told elsewhere."""
    return _is_beat(word) and ("|" in word or word[0] in ":[]" or word[-1] in ":]")


def _stretches(passages: list[TypedPassage]) -> Iterator[list[_WordAt]]:
    """Yield the beats between bar lines of any kind, and where the time changes."""
    stretch: list[_WordAt] = []
    for number, passage in enumerate(passages):
        if stretch and passage.time != passages[stretch[-1].line].time:
            yield stretch
            stretch = []
        for at, word in enumerate(passage.tokens):
            if _is_beat(word):
                stretch.append(_WordAt(number, at))
            elif stretch:
                yield stretch
                stretch = []
    if stretch:
        yield stretch


def _runs_over(stretch: list[_WordAt], passages: list[TypedPassage]) -> bool:
    """Whether a bar of a stretch is too long, as the ends of full lines close bars."""
    count = 0
    for at, beat in enumerate(stretch):
        time = passages[beat.line].time
        count += 1
        if count > time.beats:
            return True
        ends = at + 1 < len(stretch) and stretch[at + 1].line != beat.line
        count = 0 if ends and count == time.beats else count
    return False


def _struck(passages: list[TypedPassage], strokes: list[_WordAt]) -> list[TypedPassage]:
    """Return lines with a bar line after each of some beats."""
    after: dict[int, set[int]] = {}
    for beat in strokes:
        after.setdefault(beat.line, set()).add(beat.word)
    return [
        passage._replace(
            tokens=[
                sign
                for at, word in enumerate(passage.tokens)
                for sign in ([word, "|"] if at in after.get(number, ()) else [word])
            ]
        )
        for number, passage in enumerate(passages)
    ]


def _found(sheet: TypedSheet, *, pickup: bool) -> Remark:
    times = list(dict.fromkeys(str(passage.time) for passage in sheet.passages))
    what = f"Bar lines are put in where {listed(times)} has them."
    remedies = [] if sheet.timed else [_OTHER_TIME]
    # Who typed the one bar line after the pickup needs no advice on it.
    remedies += (
        [] if pickup else ['If the tune begins with a pickup, type "|" after it.']
    )
    return Remark("E28", what, None, " ".join(remedies))


def _no_whole_bars(what: str, time: TimeSignature, remedy: str) -> NotationError:
    what = f"There are no bar lines, and {what} are no whole bars of {time}."
    return NotationError(what, None, remedy)
