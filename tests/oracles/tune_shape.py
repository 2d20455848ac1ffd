"""What every tune must be, whichever reader made it."""

from collections.abc import Callable
from itertools import pairwise

from harmonise.theory.tune import Tune


def assert_whole(tune: Tune) -> None:
    """Do nothing if notes, bars and signs hang together as `Tune` promises."""
    assert tune.bars[0].start == 0
    assert all(a.end == b.start for a, b in pairwise(tune.bars))
    assert all(bar.length > 0 and bar.repeat_end >= 1 for bar in tune.bars)
    assert tune.notes[0].onset == 0
    assert all(a.end == b.onset for a, b in pairwise(tune.notes))
    assert tune.notes[-1].end == tune.end
    assert all(note.length > 0 for note in tune.notes)
    assert all(len(note.syllables) in (0, tune.verses) for note in tune.notes)
    assert tune.keys[0].onset == 0
    assert all(a.onset < b.onset for a, b in pairwise(tune.keys))
    assert all(a.onset < b.onset for a, b in pairwise(tune.tempos))
    assert tune.phrases[-1] == tune.end
    assert all(a < b for a, b in pairwise(tune.phrases))
    assert all(a.end <= b.onset for a, b in pairwise(tune.symbols))
    assert all(0 <= at.onset < at.end <= tune.end for at in tune.symbols)
    assert all(0 <= onset <= tune.end for onset, _ in tune.end_text)
    assert all(str(remark).endswith((".", "?", ")", "!")) for remark in tune.remarks)
    starts = sum(note.slur_starts for note in tune.notes)
    assert starts == sum(note.slur_ends for note in tune.notes)


def heard(tune: Tune) -> str:
    """Return every note and rest of a whole tune with its length in crotchets."""
    assert_whole(tune)
    return " ".join(f"{note.pitch or 'rest'}:{note.length}" for note in tune.notes)


def told(tune: Tune, code: str = "") -> list[str]:
    """Return the remarks of a code, or all of them."""
    return [str(remark) for remark in tune.remarks if code in ("", remark.code)]


def whole(read: Callable[[bytes], Tune]) -> Callable[[bytes], Tune]:
    """Return a reader that looks at the shape of every tune it makes."""

    def looked_at(data: bytes) -> Tune:
        tune = read(data)
        assert_whole(tune)
        return tune

    return looked_at
