"""Thirty ways in which a right page gets out of place, by plain arithmetic.

Each way takes a work of `outside_works` and returns the same music late, early, cut,
in other bars or in another key; None where a page has no room for it.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from math import ceil

from makers.outside_works import Bar, Note, Work, octave, shifted

Way = Callable[[Work], Work | None]


def moved(work: Work, by: Fraction, since: Fraction = Fraction(0)) -> Work:
    """Return a work with all that begins at a place or after it later (or earlier)."""
    voices = (
        tuple(n._replace(at=n.at + by) if n.at >= since else n for n in notes)
        for notes in (work.tune, work.inner, work.left)
    )
    tune, inner, left = voices
    symbols = tuple((at + by if at >= since else at, c) for at, c in work.symbols)
    return work._replace(tune=tune, inner=inner, left=left, symbols=symbols)


def without(work: Work, start: Fraction, end: Fraction) -> Work:
    """Return a work without what begins between two places."""
    tune, inner, left = (
        tuple(n for n in notes if not start <= n.at < end)
        for notes in (work.tune, work.inner, work.left)
    )
    symbols = tuple(row for row in work.symbols if not start <= row[0] < end)
    return work._replace(tune=tune, inner=inner, left=left, symbols=symbols)


def laid(lengths: list[Fraction], first: int) -> tuple[Bar, ...]:
    """Return bars of some lengths, one after the other."""
    bars, at = [], Fraction(0)
    for number, length in enumerate(lengths, first):
        bars.append(Bar(number, at, length))
        at += length
    return tuple(bars)


def full(work: Work) -> Fraction:
    return Fraction(4 * work.beats, work.unit)


def beat(work: Work) -> Fraction:
    return Fraction(4, work.unit)


def rebarred(work: Work, end: Fraction) -> Work:
    """Return a work in full bars of its metre up to some end, its pickup kept."""
    size, pickup = full(work), work.bars[0].length if work.bars[0].number == 0 else 0
    lengths = [Fraction(pickup)] if pickup else []
    while sum(lengths) < end:
        lengths.append(size)
    return work._replace(bars=laid(lengths, 0 if pickup else 1))


def bars_in(number: int, count: int) -> Way:
    """Put in empty bars before a bar."""

    def way(work: Work) -> Work | None:
        since = next(bar.at for bar in work.bars if bar.number == number)
        by = count * full(work)
        return rebarred(moved(work, by, since), work.end + by)

    return way


def in_front(count: int, *, hidden: bool = False) -> Way:
    """Put empty bars in front of all; a hidden one has the number 0."""

    def way(work: Work) -> Work | None:
        lengths = [full(work)] * count + [bar.length for bar in work.bars]
        if hidden and work.bars[0].number == 0:
            return None
        done = moved(work, count * full(work))
        return done._replace(bars=laid(lengths, 0 if hidden else 1))

    return way


def bars_out(number: int, count: int = 1) -> Way:
    """Leave out some bars from a bar on."""

    def way(work: Work) -> Work | None:
        since = next(bar.at for bar in work.bars if bar.number == number)
        by = count * full(work)
        done = without(work, since, since + by)
        return rebarred(moved(done, -by, since + by), work.end - by)

    return way


def bar_twice(number: int) -> Way:
    """Write one bar twice."""

    def way(work: Work) -> Work | None:
        bar = next(bar for bar in work.bars if bar.number == number)
        end = bar.at + bar.length
        alone = without(without(work, Fraction(-1), bar.at), end, work.end)
        again, rest = moved(alone, bar.length), moved(work, bar.length, end)
        done = rest._replace(
            tune=tuple(sorted(rest.tune + again.tune)),
            inner=tuple(sorted(rest.inner + again.inner)),
            left=tuple(sorted(rest.left + again.left)),
            symbols=tuple(sorted(rest.symbols + again.symbols)),
        )
        return rebarred(done, work.end + bar.length)

    return way


def late(beats: int, number: int = 0, until: int = 0) -> Way:
    """Let all from a bar on (up to another) come some beats late, tied over bars."""

    def way(work: Work) -> Work | None:
        starts = {bar.number: bar.at for bar in work.bars}
        by, since = beats * beat(work), starts.get(number, Fraction(0))
        done = moved(work, by, since)
        if until:
            # The last of what is late gives way to what stands in time again.
            stop = starts[until]
            done = without(moved(work, by, since), stop, stop + by)
            done = moved(done, -by, stop + by)
            done = _no_longer(done, stop)
        return rebarred(done, work.end + by * (not until))

    return way


def _no_longer(work: Work, stop: Fraction) -> Work:
    """Return a work in which nothing that begins before a place sounds over it."""

    def cut(notes: tuple[Note, ...]) -> tuple[Note, ...]:
        return tuple(
            n._replace(length=min(n.length, stop - n.at)) if n.at < stop else n
            for n in notes
        )

    return work._replace(
        tune=cut(work.tune), inner=cut(work.inner), left=cut(work.left)
    )


def odd_bar(number: int, beats: int) -> Way:
    """Give one bar some beats more, as rests at its end."""

    def way(work: Work) -> Work | None:
        bar = next(bar for bar in work.bars if bar.number == number)
        by = beats * beat(work)
        lengths = [b.length + (by if b == bar else 0) for b in work.bars]
        done = moved(work, by, bar.at + bar.length)
        return done._replace(bars=laid(lengths, work.bars[0].number))

    return way


def no_pickup(work: Work) -> Work | None:
    if work.bars[0].number:
        return None
    by = work.bars[0].length
    done = moved(without(work, Fraction(0), by), -by)
    return done._replace(bars=laid([bar.length for bar in work.bars[1:]], 1))


def full_pickup(work: Work) -> Work | None:
    if work.bars[0].number:
        return None
    lengths = [full(work), *(bar.length for bar in work.bars[1:])]
    return moved(work, full(work) - work.bars[0].length)._replace(bars=laid(lengths, 1))


def in_metre(beats: int, unit: int) -> Way:
    """Draw the bar lines of another metre through the same notes."""

    def way(work: Work) -> Work | None:
        return rebarred(work._replace(beats=beats, unit=unit), work.end)

    return way


def in_key(steps: int, semitones: int, fifths: int, later: int = 0) -> Way:
    """Write all an interval higher, perhaps some bars late too."""

    def way(work: Work) -> Work | None:
        tune, inner, left = (
            tuple(n._replace(name=shifted(n.name, steps, semitones)) for n in notes)
            for notes in (work.tune, work.inner, work.left)
        )
        symbols = tuple((at, _chord(c, steps, semitones)) for at, c in work.symbols)
        done = work._replace(
            tune=tune, inner=inner, left=left, symbols=symbols,
            fifths=work.fifths + fifths,
        )  # fmt: skip
        return in_front(later)(done) if later else done

    return way


def _chord(chord: str, steps: int, semitones: int) -> str:
    root = shifted(f"{chord.removesuffix('m')}4", steps, semitones)[:-1]
    return f"{root}m" if chord.endswith("m") else root


def octave_up(work: Work) -> Work | None:
    tune, inner = (
        tuple(n._replace(name=octave(n.name, 1)) for n in notes)
        for notes in (work.tune, work.inner)
    )
    return work._replace(tune=tune, inner=inner)


def in_values(factor: Fraction, *, barred: bool) -> Way:
    """Write all notes longer or shorter, in bars of their own or of the old length."""

    def way(work: Work) -> Work | None:
        tune, inner, left = (
            tuple(n._replace(at=n.at * factor, length=n.length * factor) for n in notes)
            for notes in (work.tune, work.inner, work.left)
        )
        symbols = tuple((at * factor, chord) for at, chord in work.symbols)
        lengths = [bar.length * factor for bar in work.bars]
        done = work._replace(
            tune=tune, inner=inner, left=left, symbols=symbols,
            bars=laid(lengths, work.bars[0].number),
        )  # fmt: skip
        if barred:
            return done._replace(unit=int(work.unit / factor))
        # A pickup that is longer or shorter stays one.
        first = [lengths[0]] if work.bars[0].number == 0 else []
        rest = work.end * factor - sum(first)
        lengths = first + [full(work)] * ceil(rest / full(work))
        return done._replace(bars=laid(lengths, work.bars[0].number))

    return way


def both(one: Way, two: Way) -> Way:
    def way(work: Work) -> Work | None:
        done = one(work)
        return done and two(done)

    return way


WAYS: dict[str, Way] = {
    "a bar in front": in_front(1),
    "two bars in front": in_front(2),
    "a hidden bar in front": in_front(1, hidden=True),
    "a bar put in before bar 3": bars_in(3, 1),
    "a bar put in before bar 5": bars_in(5, 1),
    "two bars put in before bar 5": bars_in(5, 2),
    "a bar in front and one before bar 6": both(bars_in(6, 1), in_front(1)),
    "bar 3 twice": bar_twice(3),
    "bar 6 twice": bar_twice(6),
    "bar 1 left out": bars_out(1),
    "bar 2 left out": bars_out(2),
    "bar 4 left out": bars_out(4),
    "bar 6 left out": bars_out(6),
    "bars 4 and 5 left out": bars_out(4, 2),
    "a beat late": late(1),
    "two beats late": late(2),
    "a beat late from bar 4 on": late(1, 4),
    "a beat late from bar 6 on": late(1, 6),
    "two beats late from bar 3 on": late(2, 3),
    "a beat late from bar 3 to bar 5": late(1, 3, 5),
    "a beat too many in bar 4": odd_bar(4, 1),
    "the pickup left out": no_pickup,
    "the pickup in a full bar": full_pickup,
    "the bar lines of 3/4": in_metre(3, 4),
    "the bar lines of 2/4": in_metre(2, 4),
    "the bar lines of 5/4": in_metre(5, 4),
    "a tone higher": in_key(1, 2, 2),
    "a minor third higher": in_key(2, 3, -3),
    "a fourth lower": in_key(-3, -5, -1),
    "a semitone lower": in_key(-1, -1, 5),
    "the right hand an octave up": octave_up,
    "all values halved": in_values(Fraction(1, 2), barred=True),
    "all values doubled": in_values(Fraction(2), barred=True),
    "all values halved, in the same metre": in_values(Fraction(1, 2), barred=False),
    "all values doubled, in the same metre": in_values(Fraction(2), barred=False),
    "a bar in front, all values halved": both(
        in_front(1), in_values(Fraction(1, 2), barred=True)
    ),
    "a beat late, all values doubled": both(
        late(1), in_values(Fraction(2), barred=True)
    ),
    "bar 4 left out, all values halved": both(
        bars_out(4), in_values(Fraction(1, 2), barred=True)
    ),
    "all values doubled, in the same metre, a beat late": both(
        in_values(Fraction(2), barred=False), late(1)
    ),
    "the pickup left out, all values doubled": both(
        no_pickup, in_values(Fraction(2), barred=True)
    ),
    "the bar lines of 3/4, all values halved": both(
        in_metre(3, 4), in_values(Fraction(1, 2), barred=True)
    ),
    "bar 3 twice, all values doubled, in the same metre": both(
        bar_twice(3), in_values(Fraction(2), barred=False)
    ),
}


def shifts(works: dict[str, Work]) -> Iterator[tuple[str, str, Work]]:
    """Yield page, way and work for all that pages have room for."""
    for way, change in WAYS.items():
        for page, work in works.items():
            done = change(work)
            if done:
                yield page, way, done
