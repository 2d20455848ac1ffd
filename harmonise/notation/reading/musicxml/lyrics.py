"""Words: the syllables of each verse under the notes that are struck.

Verses are told apart by the lyric's number. Several lyrics of one number on one note
(a file may also give them names, and the standard does not say which counts) become
verses of their own, so that nothing is lost. Elided syllables stay on their note,
joined by the file's own sign or by an undertie.
Source: W3C, MusicXML 4.0, `lyric`, `syllabic`, `elision`, `extend`.
"""

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from harmonise.notation.reading.musicxml.line import Struck
from harmonise.notation.reading.musicxml.tree import Element, text, whole, words
from harmonise.theory.tune import Syllable

_UNDERTIE = "\u203f"


class Verse(NamedTuple):
    """What tells one verse from another.

    Attributes:
        label: Number or name of the lyric.
        nth: Count from 0 among the lyrics of that label on one note.
    """

    label: str
    nth: int


def read_syllables(struck: Struck) -> dict[Verse, Syllable]:
    """Return the syllables under a note, by verse."""
    found: dict[Verse, Syllable] = {}
    counts: Counter[str] = Counter()
    said: set[tuple[str, Syllable]] = set()
    for note in struck.notes:
        for lyric in note.iterfind("lyric"):
            syllable = _syllable(lyric)
            label = words(lyric.get("number")) or "1"
            # Some programs put the same words on every note of a chord.
            if syllable is None or (label, syllable) in said:
                continue
            said.add((label, syllable))
            found[Verse(label, counts[label])] = syllable
            counts[label] += 1
    return found


def order_verses(found: Sequence[dict[Verse, Syllable]]) -> tuple[Verse, ...]:
    """Return all verses: numbers in order, then names in the order of the page."""
    verses = list(dict.fromkeys(verse for under in found for verse in under))
    labels = {verse.label: count for count, verse in enumerate(verses)}

    def rank(verse: Verse) -> tuple[int, int, int]:
        number = whole(verse.label)
        if number is None:
            return (1, labels[verse.label], verse.nth)
        return (0, number, verse.nth)

    return tuple(sorted(verses, key=rank))


def line_up(
    under: dict[Verse, Syllable], verses: tuple[Verse, ...]
) -> tuple[Syllable | None, ...]:
    """Return the syllable of each verse, or None where it has none here."""
    return tuple(under.get(verse) for verse in verses)


def _syllable(lyric: Element) -> Syllable | None:
    """Return the syllable of a lyric; None if it only draws a line."""
    said: list[str] = []
    for child in lyric:
        if child.tag == "text":
            said.append(child.text or "")
        elif child.tag == "elision":
            said.append(child.text or _UNDERTIE)
    joined = "".join(said).strip()
    if not joined or not any(child.text for child in lyric.iterfind("text")):
        return None
    kinds = [text(kind, ".") for kind in lyric.iterfind("syllabic")]
    extend = lyric.find("extend")
    extends = extend is not None and extend.get("type", "start") == "start"
    return Syllable(
        joined, joins=kinds[-1:] in (["begin"], ["middle"]), extends=extends
    )
