"""Old printed tunes that music21's corpus carries, note by note, in our spelling.

Used as a source from outside: who typed them had the book before him, not us.
"""

import re
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import music21  # noqa: TID251 (its corpus holds the books)

from harmonise.errors import HarmoniseError
from harmonise.notation.abc.abc_tune import parse_abc_tune, split_abc
from harmonise.theory.key import Key, Mode
from harmonise.theory.pitch import Pitch, parse_name, parse_pitch
from harmonise.theory.tune import Tune, TuneNote

CORPUS = Path(music21.__file__).parent / "corpus"


class CorpusTune(NamedTuple):
    """A tune as music21 reads it.

    Attributes:
        notes: Notes and rests, tied notes as one.
        key: The key that its page names; None if the mode is not one of ours.
        downbeat: End of the pickup, in crotchets.
    """

    notes: tuple[TuneNote, ...]
    key: Key | None
    downbeat: Fraction


def abc_blocks(book: str) -> list[str]:
    """Return the tunes of an ABC book of the corpus as texts of their own."""
    text = (CORPUS / book).read_text("latin-1")
    return [part for part in re.split(r"\n(?=X:)", text) if "\nK:" in part]


def abc_tune(book: str, title: str) -> CorpusTune:
    """Return the first tune of a book whose title begins so."""
    wanted = re.compile(rf"^T:\s*{re.escape(title)}", re.MULTILINE)
    return parse_abc_block(next(b for b in abc_blocks(book) if wanted.search(b)))


def parse_abc_block(block: str) -> CorpusTune:
    """Return what music21 makes of one ABC tune."""
    return from_score(music21.converter.parse(block, format="abc"))


def from_score(score: music21.stream.Score) -> CorpusTune:
    """Return the top part of a score."""
    part = score.parts[0] if score.parts else score
    plain = part.stripTies()
    notes = tuple(
        TuneNote(
            Fraction(note.getOffsetInHierarchy(plain)),
            Fraction(note.quarterLength),
            None if note.isRest else _pitch(note.pitch),
        )
        for note in plain.recurse().notesAndRests
        if note.quarterLength and not note.isChord
    )
    return CorpusTune(notes, _key(part), _downbeat(part))


def _pitch(pitch: music21.pitch.Pitch) -> Pitch:
    return parse_pitch(pitch.nameWithOctave.replace("-", "b"))


def _key(part: music21.stream.Stream) -> Key | None:
    found = next(iter(part.recurse().getElementsByClass(music21.key.Key)), None)
    if found is None or found.mode not in {mode.value for mode in Mode}:
        return None
    return Key(parse_name(found.tonic.name.replace("-", "b")), Mode(found.mode))


def _downbeat(part: music21.stream.Stream) -> Fraction:
    bars = list(part.getElementsByClass("Measure"))
    if len(bars) < 2:
        return Fraction(0)
    first, second = bars[:2]
    short = first.duration.quarterLength < second.barDuration.quarterLength
    return Fraction(second.offset) if short else Fraction(0)


def sampled_tunes(book: str, *, every: int) -> Iterator[CorpusTune]:
    """Yield each n-th tune of a book."""
    for block in abc_blocks(book)[1::every]:
        yield parse_abc_block(block)


def tunes_of(folder: str, every: int, most: int) -> Iterator[Tune]:
    """Yield at most so many tunes of a book, taking every n-th."""
    texts = [
        text
        for path in sorted((CORPUS / folder).glob("*.abc"))
        for text in split_abc(path.read_text("utf-8", "replace"))
    ]
    count = 0
    for text in texts[::every]:
        if count == most:
            return
        try:
            tune = parse_abc_tune(text)
        except HarmoniseError:
            continue
        count += 1
        yield tune
