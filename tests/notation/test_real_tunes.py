"""A thousand real tunes: each keeps its tune on top.

In CI one tune in three is tried, at levels in turn; by night all at every level.

The tunes come out of music21's corpus: Ryan's Mammoth Collection (1883), O'Neill's
Music of Ireland (1903), Aird's Airs (1782), the Essen folk-song collection, and the
sopranos of Bach's chorales.
"""

from collections import Counter

import pytest
from makers.corpus import CORPUS, tunes_of
from makers.profiles import spread
from oracles.promises import broken_promises

from harmonise.arranging.job import arrange
from harmonise.notation.formats import parse_tunes
from harmonise.theory.arrangement import Style

BOOKS = {
    "Ryan's Mammoth Collection": ("ryansMammoth", 1, 350),
    "O'Neill's Music of Ireland": ("oneills1850", 1, 350),
    "Aird's Airs": ("airdsAirs", 1, 150),
    "Essen collection": ("essenFolksong", 40, 200),
}

LEVELS = (1, 2, 3)


@pytest.mark.slow
@pytest.mark.parametrize("book", BOOKS)
def test_every_tune_of_a_book_keeps_its_promise(book: str) -> None:
    folder, every, most = BOOKS[book]
    counts: Counter[str] = Counter()
    given = list(tunes_of(folder, every, most))
    for turn, tune in enumerate(spread(given, len(given) // 3)):
        counts["tunes"] += 1
        for level in spread(LEVELS, 1, turn):
            done = arrange(tune, Style(level))
            wrong = broken_promises(done)
            assert not wrong, (tune.title, level, wrong[:3])
            counts["arrangements"] += 1
            counts["slots"] += len(done.slots)
            counts["notes"] += len(done.notes)
    print(f"{book}: {dict(counts)}")  # noqa: T201 (the counts are published)
    assert len(given) >= min(most, 100)


@pytest.mark.slow
def test_every_chorale_soprano_keeps_its_promise() -> None:
    paths = sorted((CORPUS / "bach").glob("bwv*.mxl"))[::10][:30]
    for turn, path in enumerate(paths):
        (tune,) = parse_tunes(path.read_bytes())
        for level in spread(LEVELS, 1, turn):
            wrong = broken_promises(arrange(tune, Style(level)))
            assert not wrong, (path.name, level, wrong[:3])
    assert len(paths) == 30
