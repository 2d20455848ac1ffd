"""A second reader for ABC: what music21 hears in the tunes that we read.

    python -m oracles.abc_reading        (from tests/)

reads all tunes of music21's four ABC collections twice, which takes ten minutes, and
prints how many agree and why the others do not. Compared are the struck notes in
written order: onset, length, spelled pitch; tied notes count as one, of a chord the top
note counts. music21 is told that the book follows ABC 2.1, as it would let an
accidental hold for one note alone otherwise (section 11.3 wants it to the bar line).
"""

import quopri
import re
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import NamedTuple

import music21  # noqa: TID251 (the oracle of the tests)
from music21.harmony import Harmony  # noqa: TID251

from harmonise.errors import HarmoniseError
from harmonise.notation.abc.abc_text import AbcText
from harmonise.notation.abc.abc_tune import parse_abc_tune, split_abc
from harmonise.theory.pitch import Pitch, parse_pitch
from harmonise.theory.tune import Tune

CORPUS = Path(music21.__file__).parent / "corpus"
COLLECTIONS = ("essenFolksong", "airdsAirs", "oneills1850", "ryansMammoth")
_NEVER = 1_000_000


class Struck(NamedTuple):
    """A note as it sounds.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets.
        pitch: Its pitch.
    """

    onset: Fraction
    length: Fraction
    pitch: Pitch

    def __str__(self) -> str:
        """Return the pitch and the length in crotchets: "A4 3/2"."""
        return f"{self.pitch} {self.length}"


class Song(NamedTuple):
    """One tune of a collection.

    Attributes:
        name: Collection, file, number (`X:`) and title.
        source: The tune as our reader takes it.
        text: The same lines of the file, without the marks of mail.
    """

    name: tuple[str, str, str, str]
    source: AbcText
    text: str


@cache
def songs(collection: str) -> list[Song]:
    """Return the tunes of a collection, by file and place."""
    paths = sorted((CORPUS / collection).glob("*.abc"))
    return [song for path in paths for song in _songs(path)]


def _songs(path: Path) -> Iterator[Song]:
    book = path.read_text("utf-8", "replace")
    lines = re.split("\r\n|\r|\n", book)
    for source in split_abc(book):
        first, last = source.lines[0], source.lines[-1]
        name = (path.parent.name, path.name, first.value, source.title)
        text = "\n".join(lines[first.number - 1 : last.number])
        # Some tunes came by mail, whose marks Python's own reader takes out.
        if re.search("=(20|0D)?$", text, re.MULTILINE):
            text = quopri.decodestring(text.encode()).decode("utf-8", "replace")
        yield Song(name, source, text)


def our_tune(song: Song) -> Tune | None:
    """Return what we read; None if we refuse."""
    try:
        return parse_abc_tune(song.source)
    except HarmoniseError:
        return None


def our_notes(tune: Tune) -> list[Struck]:
    """Return the notes that we hear."""
    return [
        Struck(note.onset, note.length, note.pitch) for note in tune.notes if note.pitch
    ]


def their_notes(text: str) -> list[Struck]:
    """Return the notes that music21 hears in the first voice of a tune."""
    book = f"%abc-2.1\n{text}\n"
    score = music21.converter.parse(book, format="abc", forceSource=True)
    part = score.parts[0] if score.parts else score
    found: list[Struck] = []
    onset, tied = Fraction(0), False
    for note in part.recurse().notesAndRests:
        if isinstance(note, Harmony) or note.duration.isGrace:
            continue
        length = Fraction(note.quarterLength)
        if not note.isRest:
            top = max(note.notes, key=_midi) if note.isChord else note
            pitch = parse_pitch(top.pitch.nameWithOctave.replace("-", "b"))
            tie = top.tie.type if top.tie else ""
            if tied and tie in ("stop", "continue") and found[-1].pitch == pitch:
                found[-1] = found[-1]._replace(length=found[-1].length + length)
            else:
                found.append(Struck(onset, length, pitch))
            tied = tie in ("start", "continue")
        onset += length
    return found


def _midi(note: music21.note.Note) -> int:
    return int(note.pitch.midi)


def first_difference(ours: Sequence[Struck], theirs: Sequence[Struck]) -> int | None:
    """Return the number of the first note that differs; None if all agree."""
    for index in range(max(len(ours), len(theirs))):
        if ours[index : index + 1] != theirs[index : index + 1]:
            return index
    return None


def difference(song: Song, tune: Tune) -> tuple[str, str, str] | None:
    """Return place, our note and music21's where they first differ."""
    ours, theirs = our_notes(tune), their_notes(song.text)
    index = first_difference(ours, theirs)
    if index is None:
        return None
    mine, other = ours[index : index + 1], theirs[index : index + 1]
    place = str(tune.place((mine or other)[0].onset))
    heard = str(other[0]) if other else "none"
    if mine and other and mine[0][1:] == other[0][1:]:
        heard += f", {mine[0].onset - other[0].onset} early"
    return place, str(mine[0]) if mine else "none", heard


# The same music in plainer signs, which shows why music21 hears something else.

_GUARDED = r'("[^"]*"|\[[A-Za-z]:[^\]]*\]|![^!\s]+!|\{[^}]*\})'
"""Parts of a line of music whose letters are no signs of their own."""
_DECORATION = r"[~H-Wh-w]|\.(?![|:\[])"


def _outside(pattern: str, instead: str) -> Callable[[str], str]:
    def rewrite(line: str) -> str:
        parts = re.split(_GUARDED, line)
        parts[::2] = [re.sub(pattern, instead, part) for part in parts[::2]]
        return "".join(parts)

    return rewrite


def _anywhere(pattern: str, instead: str) -> Callable[[str], str]:
    return lambda line: re.sub(pattern, instead, line)


PLAINER: dict[str, Callable[[str], str]] = {
    "rests": _outside(rf"(?:{_DECORATION})*[xz]", "z"),
    "decorations": _outside(_DECORATION, ""),
    "annotations": _anywhere(r'"[^"]*"', ""),
    "slurs": _outside(r"\((?!\d)|\)", ""),
    "false ties": _outside(
        r"([A-Ga-g])([,']*[\d/]*)(?:-([<>]+)|([<>]+)-)(?!\1)", r"\1\2\3\4"
    ),
    "graces": _anywhere(r"\{[^}]*\}", ""),
    "repeats": _outside(r"(?<=[\w,'/)]):", " :"),
    "tied accidentals": _anywhere(
        r"([_^=]+)([A-Ga-g][,']*)((?:[^|]*[^|_^=]\2)?[\d/]*-\s*\|\s*)\2", r"\1\2\3\1\2"
    ),
    # A note between < and > is lengthened twice: 3/2 of 3/2 (4.4).
    "broken twice": _outside(
        r"([A-Ga-g])<([A-Ga-g])>([A-Ga-g])", r"\g<1>/2\g<2>9/4\g<3>/2"
    ),
    "voices": _anywhere(r"^\[V:(?!1\]).*", "%"),
}
"""Rewritings of a line of music that let the same notes sound by the standard."""


def plainer(text: str, *names: str) -> str:
    """Return a tune with all its lines of music rewritten."""
    lines = text.split("\n")
    for index, line in enumerate(lines):
        if not line.startswith("%") and not re.match("[A-Za-z]:(?![|:])", line):
            for name in names:
                line = PLAINER[name](line)  # noqa: PLW2901 (rewritten step by step)
        lines[index] = line
    return "\n".join(lines)


def place_in(text: str, ours: Sequence[Struck]) -> int:
    """Return how many notes agree before music21 hears another; many if all do."""
    index = first_difference(ours, their_notes(text))
    return _NEVER if index is None else index


def cause(song: Song, tune: Tune) -> str:
    """Return the first rewriting after which the first difference is gone."""
    ours = our_notes(tune)
    before = place_in(song.text, ours)
    for name in PLAINER:
        if place_in(plainer(song.text, name), ours) > before:
            return name
    moved = place_in(plainer(song.text, *PLAINER), ours) > before
    return "several at once" if moved else "other"


def main() -> None:
    """Compare all tunes and print the counts."""
    for collection in COLLECTIONS:
        counts, others = Counter[str](), list[str]()
        for song in songs(collection):
            tune = our_tune(song)
            if tune is None:
                counts["refused by us"] += 1
            elif difference(song, tune) is None:
                counts["agree"] += 1
            else:
                why = cause(song, tune)
                counts[why] += 1
                others += [" ".join(song.name[1:3])] * (why == "other")
        print(collection, counts.total(), dict(counts.most_common()), others)  # noqa: T201
        sys.stdout.flush()


if __name__ == "__main__":
    main()
