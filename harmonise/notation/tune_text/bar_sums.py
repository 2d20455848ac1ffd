"""Whether typed bars hold as many beats as their time signature says: E09 to E11.

Readers of tune text and sol-fa guard what was typed; their writers guard by the same
rules what they are about to write.
"""

from fractions import Fraction
from itertools import pairwise

from harmonise.errors import NotationError, Place, Remark, format_beat, shorten
from harmonise.notation.tune_text.typed_bars import TypedBar, TypedWord, number_bars
from harmonise.notation.tune_text.typed_headers import fault
from harmonise.notation.tune_text.typed_lines import (
    IN_TUNE_TEXT,
    TypedPassage,
    unsayable,
)
from harmonise.theory.tune import Bar, Tune

_SHOWN = 16


def assert_sums(bars: list[TypedBar], passages: list[TypedPassage]) -> None:
    """Guard that every bar is full, or short where a bar may be short.

    Raises:
        NotationError: E09 for the first wrong bar, or E10 if all are wrong alike.
    """
    index = first_wrong(bars)
    if index is not None:
        raise _all_wrong(bars) or _wrong_sum(bars, index, passages)


def first_wrong(bars: list[TypedBar]) -> int | None:
    """Return the place in the list of the first bar with too many or too few beats."""
    allowed = bars[0].beats if bars[0].offset else 0
    section = allowed
    for index, bar in enumerate(bars):
        if index and (bar.repeat_start or bars[index - 1].close in ("||", ":|")):
            section = bar.beats if bar.offset else allowed
        missing = bar.time.beats - bar.beats - bar.offset
        is_last = index == len(bars) - 1
        closes = is_last or bar.close in ("||", ":|") or bar.repeat_end > 1
        # The last bar of the tune or of a section gives back what its pickup took.
        gives_back = closes and missing in (allowed, section)
        # A repeat sign in the middle of a bar parts it: the rest of it follows.
        goes_on = not is_last and missing > 0 and bars[index + 1].offset == bar.beats
        if missing and not gives_back and not goes_on:
            return index
    return None


def _all_wrong(bars: list[TypedBar]) -> NotationError | None:
    """Return E10 if the bars agree with each other, but not with the signature.

    The first and the last may be shorter. Bars of twice the length are no other metre:
    there a bar line is missing.
    """
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
    what = f"Every bar has {_count(beats)} but Time is {time}."
    return NotationError(what, None, f"Did you mean Time: {beats}/{lower}?")


def _wrong_sum(
    bars: list[TypedBar], index: int, passages: list[TypedPassage]
) -> NotationError:
    bar = bars[index]
    words = [shorten(word.text) for word in bar.words]
    shown = " ".join(words[:_SHOWN]) + (" …" if len(words) > _SHOWN else "")
    what = (
        f"Bar {bar.number} has {_count(bar.beats)} ({shown}); {bar.time} needs "
        f"{bar.time.beats}."
    )
    line = passages[bar.words[0].passage].line
    if bar.beats < bar.time.beats:
        remedy = _longer(bars, index)
    else:
        extra = words[bar.time.beats]
        what += f' Beat {bar.time.beats + 1} starts at "{extra}".'
        remedy = _shorter(words, bar.time.beats)
    return fault(what, line, place=Place(bar.number), remedy=remedy)


def _shorter(words: list[str], beats: int) -> str:
    """Return how a bar that is too long may be meant."""
    line = f"a bar line after {words[beats - 1]}"
    if len(words) != beats + 1:
        return f"Did you mean {line}?"
    # One beat too many: two notes were meant to share one, most likely equal ones.
    pairs = list(pairwise(words))
    joinable = [pair for pair in pairs if "0" not in pair and "-" not in pair]
    twins = [pair for pair in joinable if pair[0] == pair[1]]
    pair = next(iter(twins or joinable or pairs))
    return f"Did you mean {pair[0]}.{pair[1]}, or {line}?"


def _longer(bars: list[TypedBar], index: int) -> str:
    """Return how a bar that is too short may be meant."""
    bar = bars[index]
    last = shorten(bar.words[-1].text)
    missing = bar.time.beats - bar.beats
    held = " ".join([last, *"-" * missing])
    after = bars[index + 1] if index + 1 < len(bars) else None
    # Two short bars that make a full one: the bar line between them is the slip.
    if after and bar.close == "|" and after.beats == missing:
        return f'Did you mean "{held}", or no bar line after {last}?'
    return f'Did you mean "{held}"?'


def pickup_remarks(bars: list[TypedBar]) -> list[Remark]:
    """Return what is to be told about pickups and last bars (E11)."""
    found = []
    first, last = bars[0], bars[-1]
    if first.offset and last.beats == last.time.beats == first.time.beats:
        beats = "that beat" if first.beats == 1 else "those beats"
        what = (
            f"Bar 0 is a pickup of {_count(first.beats)}; the last bar usually gives "
            f"{beats} back ({_count(first.offset)}). It has {last.beats}."
        )
        remedy = "Fine if you do not repeat."
        # Who repeats the tune from a full last bar hears a beat too many.
        found.append(Remark("E11", what, Place(0), remedy))
    for index in range(1, len(bars)):
        bar, before = bars[index], bars[index - 1]
        if bar.offset and bar.offset != before.beats:
            make = "makes" if bar.beats == 1 else "make"
            what = f"{_count(bar.beats)} after a double bar line {make} a pickup here."
            found.append(Remark("E11", what, Place(bar.number)))
    return found


def _count(beats: int) -> str:
    return f"{format_beat(Fraction(beats))} beat{'' if beats == 1 else 's'}"


def typed_bars(tune: Tune) -> list[TypedBar]:
    """Return the bars of a tune, numbered by the reader of typed tunes."""
    found = [_typed(bar) for bar in tune.bars]
    number_bars(found)
    return found


def _typed(bar: Bar) -> TypedBar:
    own = TypedBar(bar.time)
    own.words = [TypedWord("", 0)] * int(bar.length / bar.time.unit)
    own.repeat_start, own.repeat_end = bar.repeat_start, bar.repeat_end
    own.ending = bar.ending
    own.close = ":|" if bar.repeat_end > 1 else ""
    # The reader knows a bar line by its sign, so the writer checks by the same signs.
    own.close = "||" if bar.double else own.close
    return own


def assert_repeats(tune: Tune, notation: str = IN_TUNE_TEXT) -> None:
    """Guard that every repeat that begins also ends, before another begins.

    Raises:
        OutputError: If one does not.
    """
    begun: Bar | None = None
    for bar in tune.bars:
        if bar.repeat_start and begun:
            break
        begun = bar if bar.repeat_start else begun
        begun = None if bar.repeat_end > 1 else begun
    if begun:
        raise unsayable(Place(begun.number), "a repeat without an end", notation)


def assert_lengths(
    tune: Tune, typed: list[TypedBar], notation: str = IN_TUNE_TEXT
) -> None:
    """Guard that every bar is full, or short where a bar may be short.

    Raises:
        OutputError: If the reader would refuse a bar.
    """
    wrong = first_wrong(typed)
    if wrong is not None:
        place = Place(tune.bars[wrong].number)
        raise unsayable(place, "a bar of this length", notation)
