"""Pickups of less than a pulse: in sol-fa silence fills up the pulse in front of them.

`:.s | d :d` begins with half a pulse. The silence is no part of the tune, so the reader
drops it, and with it the silence at the end of a full last bar that only gives the
pickup back; the writer fills both in again.
"""

from fractions import Fraction

from harmonise.theory.tune import Tune, TuneNote


def without_filling(tune: Tune) -> Tune:
    """Return a tune without the silence that fills up the pulse of its pickup."""
    bar, first = tune.bars[0], tune.notes[0]
    if not bar.offset or first.pitch or first.length >= bar.time.unit:
        return tune
    moved = _moved(tune._replace(notes=tune.notes[1:]), -first.length)
    back, last = moved.bars[0].length, moved.bars[-1]
    rest = moved.notes[-1]
    full = last.length == last.time.bar_length and last.time == bar.time
    if rest.pitch or rest.length < back or not full or len(moved.bars) == 1:
        return moved
    kept = (rest._replace(length=rest.length - back),) if rest.length > back else ()
    notes = (*moved.notes[:-1], *kept)
    return _ended(moved._replace(notes=notes), -back)


def with_filling(tune: Tune) -> Tune:
    """Return a tune with a pickup of whole pulses; silence fills it up."""
    bar, last = tune.bars[0], tune.bars[-1]
    part = -bar.length % bar.time.unit
    silent = tune.notes[0].pitch is None  # It could not be told from the filling.
    if not bar.offset or not part or silent or len(tune.bars) == 1:
        return tune
    moved = _moved(tune, part)
    filled = TuneNote(Fraction(0), part, None)
    moved = moved._replace(notes=(filled, *moved.notes))
    if last.length != last.time.bar_length - bar.length or last.time != bar.time:
        return moved
    rest = TuneNote(moved.end, bar.length, None, line=moved.notes[-1].line)
    return _ended(moved._replace(notes=(*moved.notes, rest)), bar.length)


def _moved(tune: Tune, by: Fraction) -> Tune:
    """Return a tune with all but its beginning later; its first bar is longer."""
    first, *others = tune.bars
    longer = first._replace(length=first.length + by, offset=first.offset - by)

    def late(onset: Fraction) -> Fraction:
        return onset + by if onset else onset

    return tune._replace(
        notes=tuple(note._replace(onset=note.onset + by) for note in tune.notes),
        bars=(longer, *(bar._replace(start=bar.start + by) for bar in others)),
        keys=tuple(own._replace(onset=late(own.onset)) for own in tune.keys),
        tempos=tuple(own._replace(onset=late(own.onset)) for own in tune.tempos),
        phrases=tuple(map(late, tune.phrases)),
        locks=tuple(
            own._replace(onset=late(own.onset), end=own.end + by) for own in tune.locks
        ),
        symbols=tuple(
            own._replace(onset=late(own.onset), end=own.end + by)
            for own in tune.symbols
        ),
        end_text=tuple((onset + by, text) for onset, text in tune.end_text),
    )


def _ended(tune: Tune, by: Fraction) -> Tune:
    """Return a tune whose last bar is longer, and all that ends with it."""
    old = tune.end
    *others, last = tune.bars
    end = old + by
    locks = [
        own._replace(end=end if own.end in (old, max(own.end, end)) else own.end)
        for own in tune.locks
    ]
    return tune._replace(
        bars=(*others, last._replace(length=last.length + by)),
        phrases=(*(own for own in tune.phrases if own < min(old, end)), end),
        locks=tuple(own for own in locks if own.onset < own.end),
        end_text=tuple(
            (end if own == old else own, text) for own, text in tune.end_text
        ),
    )
