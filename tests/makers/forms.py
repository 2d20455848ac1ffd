"""Tunes arranged and formed for tests, each worked out once."""

from fractions import Fraction
from functools import cache, partial
from itertools import pairwise
from pathlib import Path

from harmonise.arranging.job import arrange
from harmonise.form import forming
from harmonise.form.plan import SongForm
from harmonise.notation.formats import read_tune
from harmonise.notation.sound.performance import perform
from harmonise.rules.score_view import Grade
from harmonise.rules.table import check
from harmonise.theory.arrangement import Arrangement, Style
from harmonise.theory.tune import Bar, Tune

TUNES = Path(__file__).parents[2] / "tunes"
NAMES = sorted(path.stem for path in TUNES.glob("*.txt"))


@cache
def tune_of(name: str) -> Tune:
    """Return a tune of the package's own folder."""
    return read_tune(TUNES / f"{name}.txt")


@cache
def verse_of(name: str, level: int = 2) -> Arrangement:
    """Return such a tune arranged."""
    return arrange(tune_of(name), Style(level=level), explained=False)


def with_form(music: Arrangement, form: SongForm) -> Arrangement:
    """Return a verse with a form, whatever is arranged for it without reasons."""
    return forming.with_form(music, form, partial(arrange, explained=False))


@cache
def formed(name: str, form: SongForm, level: int = 2) -> Arrangement:
    """Return such a tune with a form."""
    return with_form(verse_of(name, level), form)


def never(arrangement: Arrangement) -> list[str]:
    """Return the faults that no page of ours may have, without their places."""
    found = (own for own in check(arrangement) if own.grade is Grade.NEVER)
    return sorted({f"{own.rule} {own.what}" for own in found})


def bars_of(arrangement: Arrangement, label: str) -> list[Bar]:
    """Return the bars from a label to the next."""
    found: list[Bar] = []
    now = ""
    for bar in arrangement.tune.bars:
        now = bar.section or now
        if now == label:
            found.append(bar)
    return found


def tune_in(arrangement: Arrangement, bars: list[Bar]) -> list[tuple[str, Fraction]]:
    """Return the tune's pitches and lengths in some neighbouring bars."""
    start, end = bars[0].start, bars[-1].end
    return [
        (str(note.pitch), note.length)
        for note in arrangement.tune.sounding
        if start <= note.onset < end
    ]


def joints_off(arrangement: Arrangement) -> list[str]:
    """Return the joints, in playing order, at which bars do not add up.

    The Amen begins on a bar line of its own.
    """
    wrong = []
    bars = [bar for _, bar in perform(arrangement).bars()]
    for before, bar in pairwise(bars):
        at = (before.offset + before.length) % before.time.bar_length
        if at != bar.offset and bar.section != "Amen":
            wrong.append(f"{before.number} to {bar.number}: {at}, {bar.offset}")
    return wrong
