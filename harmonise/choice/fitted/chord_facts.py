"""Facts of how each chord fits, and of the boundaries where a chord may change.

How a chord fits is told by the notes that it covers and by the names of those that are
not in it.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.words import (
    BAR_START,
    BARS_LEFT,
    DEGREES,
    METRES,
    PLACES,
    Degrees,
    Flags,
    Floats,
    Ints,
    Pieces,
    Sight,
    Standing,
    bars_again,
    grain,
    one_hot,
    shift,
)

COVER_NAMES = (
    "slot has the whole triad", "slot has two notes of the triad",
    "slot has no note of the triad", "all notes of slot are in the triad",
    "all notes of slot but one are in the triad", "bar has the whole triad",
    "bar has two notes of the triad", "bar has no note of the triad",
    "all notes of bar are in the triad", "all notes of bar but one are in the triad",
)  # fmt: skip
NOTE_NAMES = (
    "passing note", "neighbour note", "suspension", "appoggiatura", "escape note",
    "double passing note", "anticipation", "unexplained note",
)  # fmt: skip
WEIGHTS = (
    "weak, a crotchet", "at slot start", "at slot start, a crotchet",
    "in the middle of slot",
)  # fmt: skip
FIT_NAMES = (*COVER_NAMES, *(f"{n}, {k}" for n in NOTE_NAMES for k in WEIGHTS))


def cover_facts(sight: Sight, member: Flags) -> Floats:
    """Return how much of each chord slot and bar hold; facts as `COVER_NAMES`.

    Args:
        sight: The tune.
        member: Whether a degree is in a chord, [12 degrees, chord].
    """
    slots = count_cover(sight.heard.share, member)
    bars = count_cover(sight.heard.bars, member)[:, sight.frame.bar]
    return np.concatenate((slots, bars)).astype(float)


def count_cover(share: Floats, member: Flags) -> Flags:
    """Return five flags, [flag, row, chord], of the degrees present in each row."""
    # The product counts, for each chord, how many of its degrees are there.
    present = (share > 0).astype(float)
    cover, notes = present @ member, present.sum(1)[:, None]
    return np.stack(
        (
            cover == 3,
            cover == 2,
            cover == 0,
            (cover == notes) & (notes > 0),
            cover == notes - 1,
        )
    )


class Approach(NamedTuple):
    """How the tune comes to and leaves the note of each piece.

    Attributes:
        sounding: Whether the piece is no rest.
        before: Degree of the note before, -1 for none or a rest.
        after: Degree of the note after, -1 for none or a rest.
        step_in: Whether the tune comes by step (one or two semitones).
        step_out: Whether the tune leaves by step.
        onward: Whether it goes on by step in the direction in which it came.
        back: Whether it steps back to the note before.
        same_in: Whether the note was there already: held over or repeated.
        same_out: Whether the note is repeated.
        down: Whether the tune leaves by step downwards.
    """

    sounding: Flags
    before: Ints
    after: Ints
    step_in: Flags
    step_out: Flags
    onward: Flags
    back: Flags
    same_in: Flags
    same_out: Flags
    down: Flags


def look_at_steps(sight: Sight) -> Approach:
    """Look at the neighbours of the note of each piece."""
    notes, pieces = sight.notes, sight.pieces
    # Padded by a rest at either end, so that every note has two neighbours.
    padded = np.r_[-1, notes.midi, -1]
    old, now, new = (
        padded[pieces.note],
        notes.midi[pieces.note],
        padded[pieces.note + 2],
    )
    tonic = sight.slots.tonic[pieces.slot]
    sounding, has_old, has_new = now >= 0, old >= 0, new >= 0
    rise, leave = now - old, new - now
    step_in = has_old & sounding & (np.abs(rise) <= 2) & (rise != 0)
    step_out = has_new & sounding & (np.abs(leave) <= 2) & (leave != 0)
    both = step_in & step_out
    held = notes.onset[pieces.note] < pieces.start
    return Approach(
        sounding=sounding,
        before=np.where(has_old, (old - tonic) % 12, -1),
        after=np.where(has_new, (new - tonic) % 12, -1),
        step_in=step_in,
        step_out=step_out,
        onward=both & (np.sign(rise) == np.sign(leave)),
        back=both & (new == old),
        same_in=held | (has_old & (rise == 0)),
        same_out=has_new & (leave == 0),
        down=step_out & (leave < 0),
    )


def name_notes(pieces: Pieces, s: Approach, member: Flags) -> tuple[Flags, ...]:
    """Name every non-chord note under every chord.

    The names are those of common practice; where two would fit, a fixed order decides.
    An escape note here leaves for a note outside the chord; one that leaps to a chord
    note, as textbooks have it, stays unexplained. The shipped tables are fitted so:
    whoever changes a name must fit them anew.

    Returns:
        Flags [piece, chord], in the order of `NOTE_NAMES`.
    """
    # A rest or the edge of the tune has degree -1, which finds the empty last row.
    table = np.concatenate((member, np.zeros((1, member.shape[1]), bool)))
    before, after = table[s.before], table[s.after]
    outside = ~table[pieces.degree] & s.sounding[:, None]
    onward, down = s.onward[:, None], s.down[:, None]
    leapt_to = (s.step_out & ~s.onward & ~s.back)[:, None]
    passing = outside & onward & before & after
    neighbour = outside & s.back[:, None] & before
    suspension = outside & s.same_in[:, None] & down & after
    appoggiatura = outside & leapt_to & after & ~suspension
    double = outside & onward & (before ^ after)
    escape = outside & s.step_in[:, None] & before & ~after & ~double
    anticipation = outside & s.same_out[:, None] & ~escape & ~suspension
    first = (passing, neighbour, suspension, appoggiatura)
    second = (escape, double, anticipation)
    return *first, *second, outside & ~np.logical_or.reduce((*first, *second))


def note_weights(sight: Sight) -> Floats:
    """Weigh each piece, [weight, piece], as `WEIGHTS`; lengths in crotchets.

    Weak notes count by length; notes at a slot's start by number and by length; notes
    that begin in the middle of a slot by number too.
    """
    slots, pieces = sight.slots, sight.pieces
    length = grain((pieces.end - pieces.start) / slots.crotchet)
    start = slots.start[pieces.slot]
    strong = pieces.start == start
    middle = pieces.start == start + slots.length[pieces.slot] // 2
    return np.stack(
        (
            np.where(strong, 0.0, length),
            strong.astype(float),
            np.where(strong, length, 0.0),
            middle.astype(float),
        )
    )


def sum_by_slot(rows: Floats, slot: Ints, size: int) -> Floats:
    """Add up rows that belong to the same slot (rows are in slot order)."""
    out = np.zeros((size, rows.shape[1]))
    if len(slot):
        begin = np.flatnonzero(np.r_[True, slot[1:] != slot[:-1]])
        out[slot[begin]] = np.add.reduceat(rows, begin, axis=0)
    return out


class _EdgesSeen(NamedTuple):
    """A tune made ready for the rows of facts below, one row a slot.

    Attributes:
        sight: The tune.
        heard: Its degrees.
        frame: Where each slot stands.
        inside: 1 where a slot begins inside a bar, else 0.
        place: Kind of place of each slot, marked.
        sides: Whether a slot opens a bar, and whether not, as two columns.
    """

    sight: Sight
    heard: Degrees
    frame: Standing
    inside: Ints
    place: Floats
    sides: Floats


_SIDES = ("bar line", "inside the bar")
_ENDS = (*BARS_LEFT[:4], "4 or more bars before the last")
EDGE_DEGREES = (
    *(f"first note {d}, {side}" for side in _SIDES for d in DEGREES),
    *(f"after last note {d}" for d in DEGREES),
)
_EdgeRow = tuple[tuple[str, ...], Callable[[_EdgesSeen], Floats | Flags]]
# What speaks for a change of chord, or against one, whatever the chords are: a change
# belongs on a bar line, every second or fourth bar, and not under a note held over.
_EDGE_ROWS: tuple[_EdgeRow, ...] = (
    (("anywhere",), lambda s: np.ones((len(s.inside), 1))),
    (PLACES, lambda s: s.place),
    (
        tuple(f"{place}, {metre}" for place in PLACES for metre in METRES),
        lambda s: products(
            s.place, one_hot(np.full(len(s.inside), s.sight.slots.metre), 3)
        ),
    ),
    (
        (
            *(f"bar line before bar {n + 1} of 4" for n in range(4)),
            *(f"inside bar {n + 1} of 4" for n in range(4)),
        ),
        lambda s: one_hot(s.frame.since % 4 + 4 * s.inside, 8),
    ),
    (
        (
            *(f"bar line before the {n} of section" for n in _ENDS),
            *(f"inside the {n} of section" for n in _ENDS),
        ),
        lambda s: one_hot(np.minimum(s.frame.left, 4) + 5 * s.inside, 10),
    ),
    (("tune note held over",), lambda s: held_over(s.sight)[:, None]),
    (
        ("bar repeats the one before",),
        lambda s: bars_again(s.heard.bars)[s.frame.bar][:, None] * s.sides[:, :1],
    ),
    (
        ("same first note as the slot before",),
        lambda s: (shift(s.heard.first, 1) * s.heard.first).sum(1)[:, None],
    ),
    (("minor key",), lambda s: s.sight.slots.minor[:, None]),
    (
        tuple(
            f"{count} in slot, {side}"
            for count in ("one note", "two notes", "four or more notes")
            for side in _SIDES
        ),
        lambda s: products(crowd(s.sight), s.sides),
    ),
    (
        EDGE_DEGREES,
        lambda s: np.concatenate(
            (
                *(s.heard.first * s.sides[:, side, None] for side in (0, 1)),
                shift(s.heard.last, 1),
            ),
            axis=1,
        ),
    ),
    (
        (
            "opening of section", "last bar of section", "last bar but one of section",
            *(f"slot {n} from the end of section" for n in range(1, 4)),
            "no note in common with the slot before",
            *(f"tune of few notes, {side}" for side in _SIDES),
        ),
        lambda s: section_edges(s.sight),
    ),
)  # fmt: skip
EDGE_NAMES = tuple(name for names, _ in _EDGE_ROWS for name in names)


def edge_facts(sight: Sight) -> Floats:
    """Return facts of the boundary before each slot; columns as `EDGE_NAMES`."""
    inside = (sight.slots.place != BAR_START).astype(np.int64)
    seen = _EdgesSeen(
        sight, sight.heard, sight.frame, inside, one_hot(sight.slots.place, 3),
        one_hot(inside, 2),
    )  # fmt: skip
    return np.concatenate([fact(seen) for _, fact in _EDGE_ROWS], axis=1).astype(float)


def products(left: Floats, right: Floats) -> Floats:
    """Return every product of a column of `left` with one of `right`, row by row."""
    cells = left[:, :, None] * right[:, None, :]
    return cells.reshape(len(left), left.shape[1] * right.shape[1])


def section_edges(sight: Sight) -> Flags:
    """Return where sections open and end, and how; the last of the rows above.

    A tune of few notes has fewer than two a slot.
    """
    frame, present = sight.frame, sight.heard.share > 0
    opens, bar = np.r_[True, np.diff(frame.part) > 0], sight.slots.place == BAR_START
    starts = np.flatnonzero(opens)
    ends = np.r_[starts[1:], len(bar)]
    back = ends[frame.part] - np.arange(len(bar))
    alien = np.r_[True, ~(present[1:] & present[:-1]).any(1)]
    few = (sight.notes.midi >= 0).sum() < 2 * len(bar)
    return np.stack(
        (
            *(opens & bar & (frame.bar > 0), frame.left == 0, frame.left == 1),
            *(back == n for n in range(1, 4)),
            *(alien, bar & few, ~bar & few),
        ),
        axis=1,
    )


def held_over(sight: Sight) -> Flags:
    """Tell whether a note of the tune is held into each slot."""
    slots, pieces = sight.slots, sight.pieces
    opens = pieces.start == slots.start[pieces.slot]
    begun = sight.notes.onset[pieces.note] < pieces.start
    over = pieces.slot[opens & begun & (pieces.degree >= 0)]
    return np.bincount(over, minlength=len(slots.start)) > 0


def crowd(sight: Sight) -> Floats:
    """Tell whether each slot has one, two, or four or more notes and rests."""
    count = np.bincount(sight.pieces.slot, minlength=len(sight.slots.start))
    return np.stack((count == 1, count == 2, count >= 4), 1).astype(float)
