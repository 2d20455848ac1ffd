"""Where I, IV and V hold every note in one lawful way, that way comes out.

The tunes are made here, and every way through them is tried in plain words: letters,
three chords a key (common practice), and what comes straight after what. The pages are
read back from their MusicXML by `fitting.sense`, which shares nothing with the chooser.
"""

import random
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from itertools import pairwise, product
from typing import NamedTuple

import pytest
from fitting.sense import Page, in_force, read_page

from harmonise.arranging.job import arrange
from harmonise.notation.formats import parse_tunes
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.arrangement import Arrangement, HarmonicRhythm, Style, Texture

# The primary triads of each key, common practice.
PRIMARY = {
    "C": ("C E G", "F A C", "G B D"),
    "G": ("G B D", "C E G", "D F# A"),
    "F": ("F A C", "Bb D F", "C E G"),
    "D": ("D F# A", "G B D", "A C# E"),
    "Bb": ("Bb D F", "Eb G Bb", "F A C"),
    "Am": ("A C E", "D F A", "E G# B"),
    "Em": ("E G B", "A C E", "B D# F#"),
    "Dm": ("D F A", "G Bb D", "A C# E"),
    "Gm": ("G Bb D", "C Eb G", "D F# A"),
    "Bm": ("B D F#", "E G B", "F# A# C#"),
}
# Quavers in a slot and slots in a bar, common practice.
METRES = {"4/4": (4, 2), "3/4": (6, 1), "2/4": (2, 2), "6/8": (3, 2), "2/2": (4, 2)}
# How a slot of so many quavers may be filled: mostly by one note.
FILLED = {
    2: ((2,), (2,), (1, 1)),
    3: ((3,), (3,), (2, 1), (1, 1, 1)),
    4: ((4,), (4,), (2, 2), (3, 1), (2, 1, 1)),
    6: ((6,), (6,), (4, 2), (2, 2, 2), (2, 4)),
}
ONE, FOUR, FIVE = range(3)
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
FORTY = range(40)


class Made(NamedTuple):
    """A made tune: ABC, quavers and notes of each slot, and its only lawful way."""

    key: str
    metre: str
    abc: str
    slots: list[tuple[int, list[str]]]
    way: tuple[int, ...]


def lawful_ways(key: str, slots: list[tuple[int, list[str]]]) -> list[tuple[int, ...]]:
    """Return every way that holds all notes, begins and ends on I, without V-IV."""
    chords = [set(notes.split()) for notes in PRIMARY[key]]
    ways: list[tuple[int, ...]] = [()]
    for _, notes in slots:
        fitting = [chord for chord in (ONE, FOUR, FIVE) if set(notes) <= chords[chord]]
        ways = [(*way, chord) for way, chord in product(ways, fitting)]
        ways = [way for way in ways if way[0] == ONE and way[-2:] != (FIVE, FOUR)]
    return [way for way in ways if way[-1] == ONE]


@cache
def made(seed: int) -> Made:
    """Return the first tune of a seed that has one lawful way."""
    dice = random.Random(seed)  # noqa: S311 (no secret)
    while True:
        key, metre = dice.choice([*PRIMARY]), dice.choice([*METRES])
        size, in_bar = METRES[metre]
        count = 8 if in_bar == 1 else 2 * dice.choice((4, 6, 8)) - 1
        slots: list[tuple[int, list[str], tuple[int, ...]]] = []
        for chord in (ONE, *(dice.randrange(3) for _ in range(count - 2)), ONE):
            notes = PRIMARY[key][chord].split()
            lengths = dice.choice(FILLED[size])
            slots.append((size, [dice.choice(notes) for _ in lengths], lengths))
        # The last note fills its bar.
        slots[-1] = (size * in_bar, slots[-1][1][:1], (size * in_bar,))
        plain = [(quavers, notes) for quavers, notes, _ in slots]
        if len(ways := lawful_ways(key, plain)) == 1:
            return Made(key, metre, _abc(key, metre, slots, dice), plain, ways[0])


def _abc(
    key: str,
    metre: str,
    slots: list[tuple[int, list[str], tuple[int, ...]]],
    dice: random.Random,
) -> str:
    signs, words, at = {"": "=", "#": "^", "b": "_"}, [], 0
    size, in_bar = METRES[metre]
    for quavers, notes, lengths in slots:
        for name, length in zip(notes, lengths, strict=True):
            # All notes lie between C4 and E5.
            high = name[0] in "CDE" and dice.random() < 0.5
            letter = name[0].lower() if high else name[0]
            words.append(f"{signs[name[1:]]}{letter}{length}")
        at += quavers
        words += ["|"] * (at % (size * in_bar) == 0)
    return f"X:1\nM:{metre}\nL:1/8\nK:{key}\n{' '.join(words)}]\n"


def arranged(tune: Made, level: int) -> tuple[Arrangement, Page]:
    (parsed,) = parse_tunes(tune.abc.encode())
    # Under a quick tune the right hand is light; whole triads are struck in blocks.
    done = arrange(parsed, Style(level, texture=Texture.BLOCK))
    return done, read_page(format_musicxml(done))


def onsets(tune: Made) -> Iterator[Fraction]:
    at = Fraction(0)
    for quavers, _ in tune.slots:
        yield at
        at += Fraction(quavers, 2)


def root_of(tune: Made, chord: int) -> int:
    name = PRIMARY[tune.key][chord].split()[0]
    return (SEMITONES[name[0]] + name.count("#") - name[1:].count("b")) % 12


@pytest.mark.parametrize("level", [1, 2])
@pytest.mark.parametrize("seed", FORTY)
def test_the_only_lawful_way_comes_out_with_whole_triads(seed: int, level: int) -> None:
    tune = made(seed)
    _, page = arranged(tune, level)
    for at, chord, (_, notes) in zip(onsets(tune), tune.way, tune.slots, strict=True):
        symbol = in_force(page, at)
        assert symbol
        assert symbol.root == root_of(tune, chord), tune.abc
        if len(notes) == 1:
            sounding = [t for t in (*page.hands, *page.tune) if t.onset <= at < t.end]
            right = sorted(tone.midi for tone in sounding)[1:]
            assert len({midi % 12 for midi in right}) == 3, tune.abc


def test_the_made_tunes_are_of_all_kinds() -> None:
    tunes = [made(seed) for seed in FORTY]
    assert {tune.key for tune in tunes} == {*PRIMARY}
    assert {tune.metre for tune in tunes} == {*METRES}
    # In most of them a note leaves two chords, and only their order decides.
    for tune in tunes:
        assert tune.way[0] == tune.way[-1] == ONE
        assert (FIVE, FOUR) not in pairwise(tune.way)
    open_ones = sum(
        len([c for c in PRIMARY[tune.key] if set(notes) <= set(c.split())]) > 1
        for tune in tunes
        for _, notes in tune.slots
    )
    assert open_ones > 50


SCALE = """Key: C
C - G - | A - E - | D - C - | D - B3 - |
E - G - | F - E - | A - D - | C - - -"""


def test_reasons_name_what_leaves_one_chord() -> None:
    (parsed,) = parse_tunes(SCALE.encode())
    done = arrange(parsed, Style(2))
    told = [slot.reason for slot in done.slots]
    assert told[0] == (
        "tune C (1): C or F would fit. C, because the tune begins on the tonic."
    )
    assert told[1] == (
        "tune G (5): C, G or G7 would fit. "
        "C, because G would lead straight into F (V–IV)."
    )
    assert told[-1] == (
        "tune C (1): C or F would fit. C, because the tune ends on the tonic."
    )


@pytest.mark.parametrize("rhythm", [HarmonicRhythm.BAR, HarmonicRhythm.HALF_BAR])
def test_a_long_note_counts_once_however_it_is_cut(rhythm: HarmonicRhythm) -> None:
    # 5 before 4 can only be I, also in both halves of its bar.
    (parsed,) = parse_tunes(b"Key: C\nC - - - | G - - - | F - - - | B - - - | C - - -")
    done = arrange(parsed, Style(1, rhythm))
    bars = {slot.place.bar: slot.chord and slot.chord.symbol for slot in done.slots}
    assert bars == {1: "C", 2: "C", 3: "F", 4: "G", 5: "C"}


def test_short_notes_may_pass() -> None:
    # D and B pass in quavers; what opens the slots leaves I before IV.
    (parsed,) = parse_tunes(b"Key: C\nC - G - | A.B A C5.D5 E5 | D5 - C5 -")
    done = arrange(parsed, Style(1))
    assert [slot.numeral for slot in done.slots] == ["I", "I", "IV", "I", "V", "I"]


def test_a_lock_wins_and_the_other_chords_stay() -> None:
    (free,) = parse_tunes(SCALE.encode())
    typed = SCALE.replace("D - B3 - |", "D - B3 - |\nChords: ? G | ? | ? | ?")
    (locked,) = parse_tunes(typed.encode())
    ours, theirs = (
        arrange(free, Style(1)),
        arrange(locked, Style(1, locks=locked.locks)),
    )
    changed = [
        (a.place.bar, b.numeral)
        for a, b in zip(ours.slots, theirs.slots, strict=True)
        if a.chord != b.chord
    ]
    assert changed == [(1, "V")]
