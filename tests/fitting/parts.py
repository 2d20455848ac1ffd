"""How our alto, tenor and bass under a chorale's soprano move, beside Bach's own.

Run it in the folder above this one:

    python -m fitting.parts [EVERY]

Reads every n-th chorale of music21's corpus (all of them without EVERY) and prints a
table in Markdown. The soprano goes through the engine with a chord a beat at level 4.
Both settings are looked at on the counted beats alone, where all four voices sound;
what voices do between the beats is left out. Inversions are music21's
`Chord.inversion()` of beats whose notes make a triad or a seventh chord. Doublings are
those of triads in four voices. The key is music21's analysis of the whole chorale.
"""

import sys
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import music21  # noqa: TID251 (its corpus is the outside check)
from music21 import chord, stream  # noqa: TID251

from fitting.chorales import FOLDER, STYLE, key_of
from harmonise.arranging.job import settle
from harmonise.choice.parts.choose_parts import choose_parts
from harmonise.errors import HarmoniseError
from harmonise.notation.formats import parse_tunes
from harmonise.theory.tune import KeyChange, Tune

Setting = dict[Fraction, tuple[int, ...]]
"""MIDI numbers of soprano, alto, tenor and bass by onset in crotchets."""
Count = Counter[tuple[str, str]]
VOICES = ("soprano", "alto", "tenor", "bass")
MOVES = ("held or repeated", "a step", "a third", "a fourth or fifth", "wider")
INVERSIONS = ("root position", "first inversion", "second inversion", "third inversion")
DOUBLED = ("root", "third", "fifth")


def tune_of(path: Path, score: stream.Score) -> Tune:
    """Return the soprano of a chorale in the key that music21 finds."""
    (tune,) = parse_tunes(path.read_bytes())
    return tune._replace(keys=(KeyChange(Fraction(0), key_of(score)),), symbols=())


def bach(score: stream.Score) -> Setting:
    """Return what Bach's four voices sound on each beat where none of them rests."""
    found: dict[Fraction, list[int]] = {}
    for part in score.parts[:4]:
        for note in part.flatten().notes:
            start = Fraction(note.offset).limit_denominator(48)
            end = start + Fraction(note.quarterLength).limit_denominator(48)
            onset = Fraction(-(-start // 1))
            while onset < end:
                found.setdefault(onset, []).append(note.pitches[-1].midi)
                onset += 1
    return {at: tuple(own) for at, own in sorted(found.items()) if len(own) == 4}


def ours(tune: Tune) -> Setting:
    """Return what our four parts sound at the start of each slot."""
    parts = choose_parts(tune, settle(tune, STYLE))
    grid = parts.choice.grid
    starts = [Fraction(tick, grid.ticks) for tick in grid.slot_start[:-1].tolist()]
    return dict(zip(starts, map(tuple, parts.notes.tolist()), strict=True))


def measure(setting: Setting) -> Count:
    """Count moves, chords and distances of one setting."""
    count = Count()
    for before, here in pairwise(setting):
        if here - before > 2:
            continue
        for voice, old, new in zip(VOICES, setting[before], setting[here], strict=True):
            count[voice, _move(abs(new - old))] += 1
        bass, top = (setting[here][v] - setting[before][v] for v in (3, 0))
        count["outer voices", _outer(top * bass)] += 1
    for notes in setting.values():
        for name, value in _of_chord(notes):
            count[name, value] += 1
        for pair, (high, low) in zip(pairwise(VOICES), pairwise(notes), strict=True):
            count["between", "-".join(pair)] += high - low
        count["between", "chords"] += 1
    return count


def _move(semitones: int) -> str:
    edges = (0, 2, 4, 7)
    return MOVES[sum(semitones > edge for edge in edges)]


def _outer(product: int) -> str:
    return "similar" if product > 0 else "contrary" if product < 0 else "oblique"


def _of_chord(notes: tuple[int, ...]) -> Iterator[tuple[str, str]]:
    found = chord.Chord(list(notes))
    if not (found.isTriad() or found.isSeventh()):
        yield "chord", "other"
        return
    yield "chord", "triad" if found.isTriad() else "seventh"
    yield "inversion", INVERSIONS[found.inversion()]
    if found.isTriad() and found.inversion() < 2:
        classes = [note % 12 for note in notes]
        members = (found.root(), found.third, found.fifth)
        for name, member in zip(DOUBLED, members, strict=True):
            if classes.count(member.pitchClass) == 2:
                where = "root position" if found.inversion() == 0 else "first inversion"
                yield f"doubled in {where}", name


def table(pairs: list[tuple[Count, Count]]) -> str:
    """Return the figures of both settings as a Markdown table, in per cent."""
    us, them = Count(), Count()
    for ours_too, theirs in pairs:
        us, them = us + ours_too, them + theirs
    lines = ["| | ours | Bach's |", "| --- | --- | --- |"]
    rows: list[tuple[str, tuple[str, ...]]] = [(voice, MOVES) for voice in VOICES[1:]]
    rows += [("outer voices", ("contrary", "oblique", "similar"))]
    rows += [("inversion", INVERSIONS), ("chord", ("triad", "seventh", "other"))]
    rows += [(f"doubled in {name}", DOUBLED) for name in INVERSIONS[:2]]
    for name, values in rows:
        for value in values:
            shares = [f"{_share(own, name, value):.0%}" for own in (us, them)]
            lines.append(f"| {name}: {value} | {' | '.join(shares)} |")
    for pair in pairwise(VOICES):
        key = ("between", "-".join(pair))
        means = [f"{own[key] / own['between', 'chords']:.1f}" for own in (us, them)]
        lines.append(f"| semitones {' to '.join(pair)} | {' | '.join(means)} |")
    return "\n".join(lines)


def _share(count: Count, name: str, value: str) -> float:
    whole = sum(number for (own, _), number in count.items() if own == name)
    return count[name, value] / max(1, whole)


def compare(paths: list[Path]) -> list[tuple[Count, Count]]:
    """Return the counts of ours and of Bach's for each chorale that can be read."""
    found = []
    for path in paths:
        score = music21.converter.parse(path)
        if len(score.parts) < 4:
            continue
        try:
            tune = tune_of(path, score)
            found.append((measure(ours(tune)), measure(bach(score))))
        except (HarmoniseError, ValueError):
            continue
    return found


def main() -> None:
    """Print the table."""
    every = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    found = compare(sorted(FOLDER.glob("bwv*.mxl"))[::every])
    sys.stdout.write(f"{len(found)} chorales\n\n{table(found)}\n")


if __name__ == "__main__":
    main()
