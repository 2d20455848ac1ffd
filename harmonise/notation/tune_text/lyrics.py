"""The words that stand under the lines of a typed tune, onto its notes.

`Words:` lines follow the alignment signs of ABC 2.1, section 5.1: a hyphen parts
syllables (after a blank or another hyphen it takes a note of its own), `_` holds the
syllable before it over one more note, `*` leaves a note without words, `~` is a blank
inside a syllable, `|` goes on to the next bar, and a backslash before any sign makes
it a letter.
"""

import re
from typing import NamedTuple

from harmonise.errors import NotationError, Place, Remark, shorten
from harmonise.notation.tune_text.typed_bars import BAR_LINES, TypedBar
from harmonise.notation.tune_text.typed_headers import TypedLine, fault
from harmonise.notation.tune_text.typed_lines import (
    TypedPassage,
)
from harmonise.notation.tune_text.typed_notes import Typed
from harmonise.theory.tune import Syllable

_PIECE = re.compile(r"\\(.?)|([-_*|\s])|([^-_*|\s\\]+)")


class AlignedWords(NamedTuple):
    """The words of a tune on its notes.

    Attributes:
        syllables: One list a note, one entry a verse.
        verses: Number of verses.
        remarks: Lines that leave notes without words.
    """

    syllables: list[list[Syllable | None]]
    verses: int
    remarks: list[Remark]


class _Verse(NamedTuple):
    """A line of words and the notes that it may use."""

    line: TypedLine
    number: int  # Of the line of words, from 1, in the whole tune.
    verse: int
    notes: list[int]
    bars: list[int]


def align_words(
    passages: list[TypedPassage], bars: list[TypedBar], notes: list[Typed]
) -> AlignedWords:
    """Return the syllables of a tune.

    Raises:
        NotationError: E17, if a syllable has no note.
    """
    verses = max(len(passage.words) for passage in passages)
    syllables: list[list[Syllable | None]] = [[None] * verses for _ in notes]
    aligned = AlignedWords(syllables, verses, [])
    if verses:
        struck = _struck(passages, notes)
        inside = _bars_of(passages, bars)
        number = 0
        for index, passage in enumerate(passages):
            for verse, line in enumerate(passage.words):
                number += 1
                # People begin both lines alike; the bar line in front moves nothing.
                if line.text.startswith("|") and passage.tokens[0] in BAR_LINES:
                    line = line._replace(text=line.text[1:])  # noqa: PLW2901
                sung = _Verse(line, number, verse, struck[index], inside[index])
                _align(sung, aligned, notes, bars)
    return aligned


def _struck(passages: list[TypedPassage], notes: list[Typed]) -> list[list[int]]:
    struck: list[list[int]] = [[] for _ in passages]
    for index, note in enumerate(notes):
        if note.pitch is not None:
            struck[note.passage].append(index)
    return struck


def _bars_of(passages: list[TypedPassage], bars: list[TypedBar]) -> list[list[int]]:
    by_passage: list[list[int]] = [[] for _ in passages]
    for index, bar in enumerate(bars):
        for passage in dict.fromkeys(word.passage for word in bar.words):
            by_passage[passage].append(index)
    return by_passage


def _align(
    sung: _Verse, aligned: AlignedWords, notes: list[Typed], bars: list[TypedBar]
) -> None:
    at = 0
    bar = 0
    pieces = _pieces(sung.line.text)
    for sign, text in pieces:
        if sign == "|":
            bar += 1
            # Words may have passed the bar line already; they never go back.
            at = max(at, _first_in(sung, notes, bar))
            continue
        if at >= len(sung.notes):
            raise _too_many(sung, pieces, text or sign)
        if text:
            aligned.syllables[sung.notes[at]][sung.verse] = Syllable(text, sign == "-")
        else:
            _hold(sung, aligned, at, sign)
        at += 1
    if at < len(sung.notes) and pieces:
        aligned.remarks.append(_too_few(sung, at, notes, bars))


def _pieces(text: str) -> list[tuple[str, str]]:
    """Return (sign after it, syllable) in order; a sign alone has an empty syllable."""
    pieces: list[tuple[str, str]] = []
    syllable = ""
    for escaped, sign, letters in _PIECE.findall(text + " "):
        if not sign:
            syllable += escaped or letters.replace("~", " ") or "\\"
            continue
        blank = sign.isspace()
        if syllable:
            pieces.append(("-" if sign == "-" else "", syllable))
        if sign in "_*|" or (sign == "-" and not syllable):
            pieces.append((sign, ""))
        syllable = "" if sign or blank else syllable
    return pieces


def _first_in(sung: _Verse, notes: list[Typed], bar: int) -> int:
    start = sung.bars[bar] if bar < len(sung.bars) else len(notes)
    places = (at for at, note in enumerate(sung.notes) if notes[note].bar >= start)
    return next(places, len(sung.notes))


def _hold(sung: _Verse, aligned: AlignedWords, at: int, sign: str) -> None:
    """Let the syllable before a sign run on: "_" within it, "-" to the next one."""
    if sign == "*":
        return
    # The syllable may stand in the line before: a hold runs over line ends.
    for note in range(sung.notes[at] - 1, -1, -1):
        before = aligned.syllables[note][sung.verse]
        if before:
            if sign == "-":
                changed = before._replace(joins=True)
            else:
                # The hyphen of a divided word already draws it on.
                changed = before._replace(extends=not before.joins)
            aligned.syllables[note][sung.verse] = changed
            return


def _too_many(sung: _Verse, pieces: list[tuple[str, str]], word: str) -> NotationError:
    # A bar line takes no note, so it does not count.
    taken = [(sign, text) for sign, text in pieces if sign != "|"]
    kind = "syllables" if all(text for _, text in taken) else "syllables and signs"
    notes = "1 note" if len(sung.notes) == 1 else f"{len(sung.notes)} notes"
    return fault(
        f"Line {sung.number} of words has {len(taken)} {kind} for {notes}: "
        f'"{shorten(word)}" has no note.',
        sung.line.number,
        remedy="Use _ to hold a syllable, - inside words.",
    )


def _too_few(sung: _Verse, at: int, notes: list[Typed], bars: list[TypedBar]) -> Remark:
    note = notes[sung.notes[at]]
    bar = bars[note.bar]
    count = len(sung.notes) - at
    rest = "the last note has" if count == 1 else f"the last {count} notes have"
    place = Place(bar.number, (note.onset - bar.start) / bar.time.unit + 1)
    what = f"line {sung.number} of words ends here: {rest} none."
    remedy = "Use _ to hold a syllable, * for a note without words."
    return Remark("E17", what, place, remedy)
