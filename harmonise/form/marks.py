"""What the verse's own page says of repeats: none, one around everything, or others."""

from harmonise.theory.play_order import played_bars
from harmonise.theory.tune import Bar, Tune


def has_marks(tune: Tune) -> bool:
    """Return whether a page has repeats or endings of its own."""
    return any(map(_is_marked, tune.bars))


def _is_marked(bar: Bar) -> bool:
    return bar.repeat_start or bar.repeat_end > 1 or bool(bar.ending)


def repeats_whole(tune: Tune) -> bool:
    """Return whether the only repeat of a page is around everything.

    That is how pages say that several verses are sung, so it counts as no mark.
    """
    if tune.bars[-1].repeat_end < 2:
        return False
    bars = list(tune.bars)
    bars[0] = bars[0]._replace(repeat_start=False)
    bars[-1] = bars[-1]._replace(repeat_end=1)
    return not any(map(_is_marked, bars))


def jumps(tune: Tune) -> bool:
    """Return whether a page has words that send the player elsewhere."""
    return played_bars(tune) != played_bars(tune._replace(end_text=()))


def verses_on_page(tune: Tune) -> int:
    """Return how many verses a page is made for, by its repeats and its words.

    Words under inner repeats are those of the rounds, not of verses.
    """
    if repeats_whole(tune):
        return max(tune.bars[-1].repeat_end, tune.verses)
    return 1 if has_marks(tune) else max(1, tune.verses)
