"""Whether the bars of a typed tune hold the beats that their time says: E09 to E11."""

from fractions import Fraction
from itertools import pairwise

from harmonise.errors import NotationError, Place, Remark, format_beat, shorten
from harmonise.notation.tune_text.guessed_bars import agreed_time
from harmonise.notation.tune_text.typed_bars import TypedBar, first_wrong
from harmonise.notation.tune_text.typed_lines import TypedPassage
from harmonise.notation.tune_text.word_faults import fault

_SHOWN = 16


def assert_sums(bars: list[TypedBar], passages: list[TypedPassage]) -> None:
    """Guard that every bar is full, or short where a bar may be short.

    Raises:
        NotationError: E09 for the first wrong bar, or E10 if all are wrong alike.
    """
    index = first_wrong(bars)
    if index is not None:
        raise _all_wrong(bars) or _wrong_sum(bars, index, passages)


def _all_wrong(bars: list[TypedBar]) -> NotationError | None:
    """Return E10 if the bars agree with each other, but not with the signature."""
    meant = agreed_time(bars)
    if not meant:
        return None
    what = f"Every bar has {_count(meant.beats)} but Time is {bars[0].time}."
    return NotationError(what, None, f"Did you mean Time: {meant}?")


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


def pickup_remarks(bars: list[TypedBar], hold: str = " -") -> list[Remark]:
    """Return what is to be told about pickups and last bars (E11).

    Args:
        bars: The bars.
        hold: How a note is held for a beat more.
    """
    remarks = []
    first, last = bars[0], bars[-1]
    if first.offset and last.beats == last.time.beats == first.time.beats:
        beats = "that beat" if first.beats == 1 else "those beats"
        what = (
            f"The tune begins with a pickup of {_count(first.beats)}; the last bar "
            f"usually gives {beats} back ({_count(first.offset)}). It has {last.beats}."
        )
        # Who repeats the tune from a full last bar hears a beat too many.
        remedy = "Fine if you do not repeat."
        if first.beats > first.offset:
            held = first.words[-1].text + hold * first.offset
            remedy = f'If you meant a full bar, did you mean "{shorten(held)}"?'
        remarks.append(Remark("E11", what, None, remedy))
    for index in range(1, len(bars)):
        bar, before = bars[index], bars[index - 1]
        if bar.offset and bar.offset != before.beats:
            make = "makes" if bar.beats == 1 else "make"
            what = f"{_count(bar.beats)} after a double bar line {make} a pickup here."
            remarks.append(Remark("E11", what, Place(bar.number)))
    return remarks


def _count(beats: int) -> str:
    return f"{format_beat(Fraction(beats))} beat{'' if beats == 1 else 's'}"
