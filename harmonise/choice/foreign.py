"""What tune notes that are not in a chord forbid, and what they cost.

Where a note speaks, habit is silent: a long note that leads nowhere, and a chord note
that contradicts the spelling of the tune, are dearer than all that the fitted table has
to say of a place.
"""

from functools import partial

import numpy as np

from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.palette import Menu, Offer
from harmonise.choice.weights import Weights
from harmonise.theory.key import Mode


def lawful(grid: Grid, menu: Menu, member: Flags, *, every_beat: bool) -> Flags:
    """Return where no hard rule breaks, shape (slots, C).

    Args:
        grid: The parts.
        menu: What is on offer.
        member: Whether each part is in each chord, shape (parts, C).
        every_beat: Whether each slot's first note must be a chord note.
    """
    fits = _fits(grid, member, every_beat=every_beat)
    found: Flags = fits & ~_false_relation(grid, menu)
    return found & ~_bare_leading_note(grid, menu)


def _fits(grid: Grid, member: Flags, *, every_beat: bool) -> Flags:
    """Return where no hard rule breaks: a note that fills its slot is in the chord.

    A spare slot counts to the one before: whoever changes there must see to it.
    """
    whole = np.cumsum(~grid.slot_spare) - 1
    length = np.bincount(whole, np.diff(grid.slot_start))[whole]
    bound = grid.length == length[grid.slot]
    # Notes of one pitch fill it together.
    group = whole[grid.slot]
    lowest, highest = np.full((2, len(whole)), [[_ABOVE_ALL], [-1]])
    np.minimum.at(lowest, group, grid.midi)
    np.maximum.at(highest, group, grid.midi)
    bound |= (lowest == highest)[group] & (grid.midi >= 0)
    if every_beat:
        # In a hymn each beat has its chord for the sake of the note that is sung there.
        bound |= (grid.order == 0) & ~grid.slot_spare[grid.slot]
    broken = np.zeros((grid.slots, member.shape[1]), np.bool_)
    np.logical_or.at(broken, grid.slot[bound], ~member[bound])
    return ~broken


_ABOVE_ALL = 128
"""More than any MIDI number."""


def holding(grid: Grid, member: Flags, *, every_beat: bool) -> Flags:
    """Return, shape (slots, C), whether a chord holds the note that fills its slot.

    Unlike in `lawful` a spare slot counts by itself here.
    """
    bound = grid.length == np.diff(grid.slot_start)[grid.slot]
    if every_beat:
        bound |= grid.order == 0
    holds = np.ones((grid.slots, member.shape[1]), np.bool_)
    holds[grid.slot[bound]] = member[bound]
    return holds


def accents(grid: Grid, member: Flags, weights: Weights) -> Ints:
    """Return, shape (slots, C), what non-chord notes where a slot begins cost."""
    # A shorter note passes before the ear asks for its chord.
    long = (grid.order == 0) & (grid.length >= grid.beat)
    first = grid.slot_weight[grid.slot[long]] == 3
    cost = np.where(first, weights.accented, weights.accented // 2)[:, None]
    prices = np.zeros((grid.slots, member.shape[1]), np.int64)
    prices[grid.slot[long]] = np.where(member[long], 0, cost)
    # Shorter first notes ask for it where the chord has less than half of the slot.
    within = np.zeros((grid.slots, member.shape[1]), np.int64)
    sounds = np.where(grid.midi >= 0, grid.length, 0)
    np.add.at(within, grid.slot, sounds[:, None] * member)
    whole = np.bincount(grid.slot, sounds, grid.slots)[:, None]
    first = np.flatnonzero((grid.order == 0) & (grid.midi >= 0) & ~long)
    at = grid.slot[first]
    passed = ~member[first] & (2 * within[at] < whole[at])
    prices[at] += weights.passed * passed
    return prices


def bare_notes(grid: Grid, menu: Menu, member: Flags, weights: Weights) -> Ints:
    """Return, shape (slots, C), what long foreign notes that lead nowhere cost.

    A note is long if it lasts a beat on a strong place, or two beats anywhere. It leads
    on if the tune goes by step to a note of at least half its length, which is in the
    chord if that still lasts; a minor seventh over a major chord wants no leading
    (common practice).
    """
    onset, midi = grid.note_onset, grid.note_midi
    length = np.diff(np.append(onset, grid.slot_start[-1]))
    struck = np.flatnonzero(~grid.held & (grid.midi >= 0))
    note = grid.note[struck]
    # Where a chord may begin, the ear asks for one that holds the note.
    strong = (grid.order[struck] == 0) & (grid.slot_weight[grid.slot[struck]] >= 2)
    long = length[note] >= np.where(strong, 1, 2) * grid.beat[struck]
    after = np.append(midi[1:], -1)[note]
    way = np.abs(after - midi[note])
    stays = 2 * np.append(length[1:], 0)[note] >= length[note]
    leads = (after >= 0) & (way >= 1) & (way <= 2) & stays
    # The parts are in order, and the one after a note that is not held is the next
    # note's, unless a slot cuts the note; in another slot the chord may change.
    last = len(grid.slot) - 1
    following = np.minimum(struck + 1, last)
    whole = np.cumsum(~grid.slot_spare)[grid.slot]
    here = grid.note[following] == note + 1
    here &= whole[following] == whole[struck]
    resolves = leads[:, None] & (member[following] | ~here[:, None])
    part, resolves = struck[long], resolves[long]
    slot = grid.slot[part]
    here = menu.stretch[slot]
    seventh = (grid.midi[part][:, None] - menu.root[here]) % 12 == 10
    above = (menu.root[here] + 4) % 12
    major = np.take_along_axis(menu.member[here], above[..., None], axis=2)[..., 0]
    prices = np.zeros((grid.slots, member.shape[1]), np.int64)
    bare = ~member[part] & ~(seventh & major) & ~resolves
    np.add.at(prices, slot, weights.bare * bare)
    return prices


def misspelled(grid: Grid, menu: Menu) -> tuple[Flags, Flags]:
    """Return, shape (slots, C), chords that clash with a tune note, or rename it.

    The tune note lasts half a beat or more. A chord clashes that has its letter with
    another accidental: Bb under B natural, a false relation at one time; one renames it
    that has its key of the piano under another letter: Bb under A# (common practice).
    """
    # For each chord its own pitch class of every letter, -1 where it has none.
    spelled = np.full((*menu.real.shape, 7), -1)
    for at, row in enumerate(menu.offers):
        for column, offer in enumerate(row):
            for name in offer.chord.members:
                spelled[at, column, name.letter] = name.pitch_class
    part = np.flatnonzero((2 * grid.length >= grid.beat) & (grid.midi >= 0))
    slot, heard = grid.slot[part], grid.midi[part, None] % 12
    chords = menu.stretch[slot]
    letter = spelled[chords, :, grid.step[part] % 7]
    member = np.take_along_axis(menu.member[chords], heard[:, :, None], axis=2)[..., 0]
    clash, renamed = np.zeros((2, *menu.allowed.shape), np.bool_)
    np.logical_or.at(clash, slot, (letter >= 0) & (letter != heard))
    np.logical_or.at(renamed, slot, member & (letter != heard))
    return clash, renamed


def unsung(grid: Grid, menu: Menu, weights: Weights) -> Ints:
    """Return, shape (slots, C), what chords of a modal note cost where it is not sung.

    The major IV of dorian is for the raised 6th, else VII is the mode's other chord;
    VII of minor is for the natural 7th, else V leads to i (common practice).
    """
    prices = np.zeros(menu.allowed.shape, np.int64)
    for mode, above, family, price in (
        (Mode.DORIAN, 9, "IV", weights.bright),
        (Mode.MINOR, 10, "VII", weights.natural),
    ):
        keys = np.array([key.mode is mode for key in menu.keys])
        sung = _where_sung(grid, menu, keys, above, grid.midi >= 0)
        chords = (menu.each(partial(_is_of, family)) > 0) & keys[:, None]
        prices += price * (chords[menu.stretch] & ~sung[:, None])
    return prices


def _is_of(family: str, offer: Offer) -> bool:
    """Whether an offer is of a family, such as "VII"."""
    return offer.family == family


def _where_sung(grid: Grid, menu: Menu, keys: Flags, above: int, parts: Flags) -> Flags:
    """Return the slots in which some parts sing a degree, in some stretches' keys.

    Args:
        grid: The parts.
        menu: What is on offer.
        keys: The stretches that count.
        above: The degree, in semitones above the keynote.
        parts: The parts that count.
    """
    tonic = np.array([key.tonic.pitch_class for key in menu.keys])
    stretch = menu.stretch[grid.slot]
    sung = parts & (grid.midi >= 0) & keys[stretch]
    sung &= grid.midi % 12 == (tonic[stretch] + above) % 12
    return np.bincount(grid.slot[sung], minlength=grid.slots) > 0


def _with_raised_seventh(menu: Menu) -> Flags:
    """Return, shape (slots, C), which chords hold the note below the keynote."""
    tonic = np.array([key.tonic.pitch_class for key in menu.keys])
    holds: Flags = menu.member[np.arange(len(tonic)), :, (tonic + 11) % 12]
    return holds[menu.stretch]


def _false_relation(grid: Grid, menu: Menu) -> Flags:
    """Return where the natural 7th of a minor or modal tune would meet the raised one.

    Common practice: no dominant with a raised third sounds under the natural 7th.
    """
    keys = np.array([key.mode is not Mode.MAJOR for key in menu.keys])
    meets = _where_sung(grid, menu, keys, 10, grid.midi >= 0)
    return meets[:, None] & _with_raised_seventh(menu)


def _bare_leading_note(grid: Grid, menu: Menu) -> Flags:
    """Return chords without the raised 7th where it opens and fills half of a slot.

    Minor tunes only; common practice: the leading note belongs to the dominant.
    """
    keys = np.array([key.mode.is_minor for key in menu.keys])
    half = 2 * grid.length >= np.diff(grid.slot_start)[grid.slot]
    bare = _where_sung(grid, menu, keys, 11, half & (grid.order == 0))
    holds = _with_raised_seventh(menu)
    # Where no chord on offer holds the note, the rule would forbid them all.
    return (bare & holds.any(axis=1))[:, None] & ~holds
