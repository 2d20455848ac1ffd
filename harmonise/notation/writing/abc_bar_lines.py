"""Bar lines, endings and metres as ABC writes them.

Source: ABC 2.1, sections 3.1.6, 4.8 to 4.10.
"""

from itertools import pairwise

from harmonise.errors import OutputError, Place
from harmonise.notation.reading.abc_bars import free_time
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tune

_LARGEST = 64
"""Numbers of a metre that readers of ABC need to know."""


def is_section(bar: Bar, after: Bar | None) -> bool:
    """Whether a section ends with a bar: at a repeat sign, a double bar or the end."""
    starts = after is None or after.repeat_start
    return bar.repeat_end > 1 or bar.double or starts


def closing(bar: Bar, after: Bar | None, *, ends_line: bool) -> str:
    """Return the bar line after a bar; "" where none is seen.

    Args:
        bar: The bar.
        after: The next bar; None after the last.
        ends_line: Whether a line of music ends with it.
    """
    if bar.repeat_end > 1:
        return ":" * (bar.repeat_end - 1) + "|"
    if after is None:
        return "|]"
    if after.repeat_start:
        return "|" if ends_line else ""
    if bar.double:
        return "||"
    if is_split(bar, after):
        return "" if opens_ending(bar, after) else ".|"
    return "|"


def is_split(bar: Bar, after: Bar) -> bool:
    """Whether the next bar is the rest of the same bar."""
    return after.number == bar.number and after.offset == bar.offset + bar.length


def opening(before: Bar | None, bar: Bar) -> list[str]:
    """Return the signs at the beginning of a bar: a repeat, an ending."""
    words = ["|:"] if bar.repeat_start else []
    if opens_ending(before, bar):
        words.append(f"[{','.join(map(str, bar.ending))}")
    return words


def opens_ending(before: Bar | None, bar: Bar) -> bool:
    """Whether the bracket of an ending begins with a bar."""
    if not bar.ending:
        return False
    goes_on = before is not None and before.ending == bar.ending
    return before is None or not goes_on or is_section(before, bar)


def assert_endings_close(tune: Tune) -> None:
    """Do nothing if every ending stops where ABC lets it stop.

    Raises:
        OutputError: If one stops before a plain bar line.
    """
    for bar, after in pairwise(tune.bars):
        goes_on = not bar.ending or after.ending or after.section
        if not (goes_on or is_section(bar, after)):
            raise OutputError(
                "ABC cannot end an ending before a plain bar line.",
                Place(bar.number),
                "Put a double bar or a repeat sign there.",
            )


def metres(tune: Tune) -> list[TimeSignature | None]:
    """Return the metre of each bar; None for free metre.

    Bars that hold what no metre of ABC can name are in free metre, together with all
    others that it reads the same.
    """
    free = not all(_is_sayable(bar.time) for bar in tune.bars)
    return [
        None if free and bar.time == free_time(bar.length) else bar.time
        for bar in tune.bars
    ]


def _is_sayable(time: TimeSignature) -> bool:
    return max(time.beats, time.beat_type) <= _LARGEST


def format_metre(time: TimeSignature | None) -> str:
    """Return a metre as an `M:` field names it.

    >>> format_metre(TimeSignature(5, 4, (3, 2))), format_metre(None)
    ('(3+2)/4', 'none')
    """
    if time is None:
        return "none"
    if time.groups:
        return f"({'+'.join(map(str, time.groups))})/{time.beat_type}"
    return str(time)
