"""How often our chords under a chorale's soprano have Bach's own root.

Run it in the folder above this one:

    python -m fitting.chorales [EVERY]

Reads every n-th chorale of music21's corpus (all of them without EVERY). The soprano
goes through the engine with a chord a beat at level 4; Bach's chord on a beat is what
his four voices sound there, and its root is music21's `Chord.root()`. Where the voices
make no triad or seventh chord (`isTriad`, `isSeventh`) that analysis leaves the root
undecided; that share is printed beside the agreement and the beat is left out. The key
is music21's analysis of the whole chorale.
"""

import sys
from collections import Counter
from fractions import Fraction
from pathlib import Path

import music21  # noqa: TID251 (its corpus is the outside check)
from music21 import chord, stream  # noqa: TID251

from harmonise.arranging.job import settle
from harmonise.choice.choose import choose
from harmonise.errors import HarmoniseError
from harmonise.notation.formats import parse_tunes
from harmonise.theory.arrangement import HarmonicRhythm, Style
from harmonise.theory.key import Key, parse_key
from harmonise.theory.tune import KeyChange, Tune

FOLDER = Path(music21.__file__).parent / "corpus" / "bach"
STYLE = Style(4, HarmonicRhythm.BEAT)


def roots_of_bach(score: stream.Score) -> dict[Fraction, int | None]:
    """Return the root of Bach's chord on each beat; None where it is undecided.

    Returns:
        Pitch classes by onset in crotchets.
    """
    found: dict[Fraction, int | None] = {}
    for sonority in score.chordify().recurse().getElementsByClass(chord.Chord):
        onset = Fraction(sonority.getOffsetInHierarchy(score)).limit_denominator(48)
        if onset.denominator == 1:
            decided = sonority.isTriad() or sonority.isSeventh()
            found[onset] = sonority.root().pitchClass if decided else None
    return found


def key_of(score: stream.Score) -> Key:
    """Return the key that music21 finds, in our words."""
    key = score.analyze("key")
    return parse_key(f"{key.tonic.name.replace('-', 'b')} {key.mode}")


def our_roots(tune: Tune) -> dict[Fraction, int]:
    """Return the root of our chord at the onset of each slot."""
    choice = choose(tune, settle(tune, STYLE))
    starts = choice.grid.slot_start[:-1].tolist()
    return {
        Fraction(start, choice.grid.ticks): choice.menu.offer(
            slot, int(choice.columns[slot])
        ).chord.root.pitch_class
        for slot, start in enumerate(starts)
    }


def compare(path: Path) -> Counter[str]:
    """Count, for one chorale, beats that agree, differ and are undecided."""
    score = music21.converter.parse(path)
    (tune,) = parse_tunes(path.read_bytes())
    tune = tune._replace(keys=(KeyChange(Fraction(0), key_of(score)),), symbols=())
    bach, count = roots_of_bach(score), Counter[str]()
    for onset, root in our_roots(tune).items():
        if onset in bach:
            theirs = bach[onset]
            same = "agree" if theirs == root else "differ"
            count["undecided" if theirs is None else same] += 1
    return count


def agreement(paths: list[Path]) -> tuple[float, float, int]:
    """Return share of equal roots, share of undecided beats, and chorales counted."""
    total, chorales = Counter[str](), 0
    for path in paths:
        try:
            total += compare(path)
        except HarmoniseError:
            continue
        chorales += 1
    decided = total["agree"] + total["differ"]
    return total["agree"] / decided, total["undecided"] / total.total(), chorales


def main() -> None:
    """Print the figures."""
    every = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    same, undecided, chorales = agreement(sorted(FOLDER.glob("bwv*.mxl"))[::every])
    sys.stdout.write(
        f"{chorales} chorales: root as Bach's {same:.3f} of decided beats; "
        f"undecided {undecided:.3f} of all beats\n"
    )


if __name__ == "__main__":
    main()
