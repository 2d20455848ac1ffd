"""Bars of a tune as a reader of typed tunes will find them again."""

from harmonise.errors import Place
from harmonise.notation.reading.tune_text_bar import TypedBar, Word, number_bars
from harmonise.notation.reading.tune_text_sums import first_wrong
from harmonise.notation.writing.typed_lines import TUNE_TEXT, unsayable
from harmonise.theory.tune import Bar, Tune


def typed_bars(tune: Tune) -> list[TypedBar]:
    """Return the bars of a tune, numbered by the reader of typed tunes."""
    found = [_typed(bar) for bar in tune.bars]
    number_bars(found)
    return found


def _typed(bar: Bar) -> TypedBar:
    own = TypedBar(bar.time)
    own.words = [Word("", 0)] * int(bar.length / bar.time.unit)
    own.repeat_start, own.repeat_end = bar.repeat_start, bar.repeat_end
    own.ending = bar.ending
    own.close = ":|" if bar.repeat_end > 1 else ""
    own.close = "||" if bar.double else own.close
    return own


def assert_repeats(tune: Tune, notation: str = TUNE_TEXT) -> None:
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
    tune: Tune, typed: list[TypedBar], notation: str = TUNE_TEXT
) -> None:
    """Guard that every bar is full, or short where a bar may be short.

    Raises:
        OutputError: If the reader would refuse a bar.
    """
    wrong = first_wrong(typed)
    if wrong is not None:
        place = Place(tune.bars[wrong].number)
        raise unsayable(place, "a bar of this length", notation)
