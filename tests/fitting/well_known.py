"""How often the chords under old songs are those that everybody plays.

    python -m fitting.well_known            the shares at levels 1, 3 and auto
    python -m fitting.well_known --told     and every slot with another chord

`cases/well_known.tsv` holds the songs in the project's tune text. Under each line stand
the chords of the bars that begin in it, as school song books and hymnals print them
("common practice") or as pianists play them ("from memory"). An inversion is as good
as the root position. Where a seventh chord is right its triad is too, unless the tune
has the seventh and no note of the triad. At level 1 a slot is left out that no chord
of the level can hold and all books give another.
"""

import argparse
import sys
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from harmonise.arranging.job import arrange
from harmonise.notation.formats import parse_tunes
from harmonise.theory.arrangement import AUTO_LEVEL, Slot, Style
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import Mode
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tune

CASES = Path(__file__).parent.parent / "cases" / "well_known.tsv"
LEVELS = (1, 3, AUTO_LEVEL)
MARKS = ("common practice", "from memory")
FIRST_ROOTS = {
    Mode.MAJOR: (0, 5, 7),
    Mode.MINOR: (0, 5, 7, 10),
    Mode.DORIAN: (0, 5, 10),
    Mode.MIXOLYDIAN: (0, 5, 10),
    Mode.AEOLIAN: (0, 8, 10),
}
"""Roots of the chords of level 1, in semitones above the keynote (common practice)."""


class Stretch(NamedTuple):
    """A part of a bar and the chords of which any is right there."""

    onset: Fraction
    length: Fraction
    accepted: frozenset[str]


class Song(NamedTuple):
    """A well-known tune with the chords that are accepted under it."""

    tune: Tune
    mark: str
    stretches: tuple[Stretch, ...]


def songs(path: Path = CASES) -> Iterator[Song]:
    """Yield the songs of a file in its order."""
    rows = [line.split("\t") for line in path.read_text("utf-8").splitlines()]
    rows = [row for row in rows if not row[0].startswith("#")]
    starts = [at for at, row in enumerate(rows) if row[0] == "tune"]
    for start, end in zip(starts, [*starts[1:], len(rows)], strict=True):
        yield song_of(rows[start], rows[start + 1 : end])


def song_of(head: list[str], rows: list[list[str]]) -> Song:
    """Return the song of a heading and the rows under it."""
    _, title, key, time, mark = head
    lines = [text for name, text in rows if name == "bars"]
    cells = [
        cell.split()
        for name, text in rows
        if name == "chords"
        for cell in text.split("|")
    ]
    text = "\n".join([f"Title: {title}", f"Key: {key}", f"Time: {time}", *lines])
    tune = parse_tunes(f"{text}\n".encode())[0]
    # Song books print no chord over a pickup.
    bars = [bar for bar in tune.bars if bar.number > 0]
    stretches = [
        stretch
        for bar, cell in zip(bars, cells, strict=True)
        for stretch in _stretches(tune, bar, cell)
    ]
    return Song(tune, mark, tuple(stretches))


def _stretches(tune: Tune, bar: Bar, words: list[str]) -> Iterator[Stretch]:
    """Yield the equal parts of a bar; the parts of a short last bar are as long."""
    length = bar.time.bar_length / len(words)
    accepted = frozenset[str]()
    for at, word in enumerate(words):
        onset = bar.start + at * length
        if word != "-":
            accepted = frozenset(_allowed(word, heard(tune, onset, onset + length)))
        yield Stretch(onset, length, accepted)


def heard(tune: Tune, start: Fraction, end: Fraction) -> set[int]:
    """Return the pitch classes of the tune's notes that sound within a time."""
    return {
        note.pitch.pitch_class
        for note in tune.notes
        if note.pitch and note.onset < end and start < note.onset + note.length
    }


def _allowed(word: str, notes: set[int]) -> Iterator[str]:
    """Yield the chords of a word, and the triads of its sevenths where they do."""
    for name in word.split(","):
        yield name
        *triad, seventh = parse_symbol(name).pitch_classes
        if name.endswith("7") and (seventh not in notes or notes & set(triad)):
            yield name.removesuffix("7")


def is_accepted(song: Song, slot: Slot) -> bool:
    """Whether the chord of a slot is right where it begins and at each half-bar in it.

    On weaker beats a chord that goes on is no fault: notes pass over it.
    """
    symbol = str(slot.chord).partition("/")[0]
    # A triad may stand for a seventh that passes: 4 3 2 over V.
    notes = heard(song.tune, slot.onset, slot.end)
    passes = bool(notes & set(parse_symbol(symbol).pitch_classes))
    return all(
        symbol in stretch.accepted or (passes and f"{symbol}7" in stretch.accepted)
        for stretch in _strong_stretches(song, slot)
    )


def _strong_stretches(song: Song, slot: Slot) -> list[Stretch]:
    """Return the stretch where a slot begins, and those on strong beats within it."""
    within = [s for s in song.stretches if s.onset < slot.end]
    first = [s for s in within if s.onset <= slot.onset][-1:]
    strong = [s for s in within if s.onset > slot.onset and _is_strong(song, s.onset)]
    return [*first, *strong]


def is_within_reach(song: Song, slot: Slot) -> bool:
    """Whether level 1 has a chord that is accepted and holds the slot's first note."""
    key = song.tune.key_at(slot.onset)
    roots = {(key.tonic.pitch_class + above) % 12 for above in FIRST_ROOTS[key.mode]}
    notes = heard(song.tune, slot.onset, slot.onset + Fraction(1, 64))
    (stretch, *_) = _strong_stretches(song, slot)
    for name in stretch.accepted:
        root, *others = parse_symbol(name.removesuffix("7")).pitch_classes
        if root in roots and notes <= {root, *others}:
            return True
    return False


def _is_strong(song: Song, onset: Fraction) -> bool:
    bar = next(bar for bar in reversed(song.tune.bars) if bar.start <= onset)
    return onset - bar.start in (0, _half(bar.time))


def _half(time: TimeSignature) -> Fraction:
    """Return where the second half of a bar begins; its start if there is none."""
    return time.bar_length / 2 if time.beats % 2 == 0 else Fraction(0)


def verdicts(song: Song, level: int) -> Iterator[tuple[Slot, bool]]:
    """Yield every slot that has a chord, and whether that is an accepted one."""
    first = song.stretches[0].onset
    done = arrange(song.tune, Style(level=level), explained=False)
    for slot in done.slots:
        if not slot.chord or slot.onset < first:
            continue
        if done.style.level != 1 or is_within_reach(song, slot):
            yield slot, is_accepted(song, slot)


def share(level: int, found: list[Song], *, told: bool = False) -> float:
    """Return the share of slots with an accepted chord; tell the others if asked."""
    good = total = 0
    for song in found:
        for slot, accepted in verdicts(song, level):
            good, total = good + accepted, total + 1
            if told and not accepted:
                sys.stdout.write(f"{song.tune.title}, {slot.place}: {slot.chord}\n")
    return good / total


def main() -> None:
    """Print the shares."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--told", action="store_true")
    given = parser.parse_args()
    found = list(songs())
    for level in LEVELS:
        accepted = share(level, found, told=given.told)
        sys.stdout.write(f"level {level or 'auto'}: {accepted:.3f} accepted\n")


if __name__ == "__main__":
    main()
