"""The words that stand under the lines of a typed tune, onto its notes.

`Words:` lines follow the alignment signs of ABC 2.1, section 5.1: a hyphen parts
syllables (after a blank or another hyphen it takes a note of its own), `_` holds the
syllable before it over one more note, `*` leaves a note without words, `~` is a blank
inside a syllable, `|` goes on to the next bar, and a backslash before any sign makes
it a letter.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

from harmonise.errors import NotationError, Place, Remark, listed, shorten
from harmonise.notation.tune_text.typed_bars import BAR_LINES, TypedBar
from harmonise.notation.tune_text.typed_headers import TypedLine
from harmonise.notation.tune_text.typed_lines import TypedPassage
from harmonise.notation.tune_text.typed_notes import Typed
from harmonise.notation.tune_text.word_faults import (
    fault,
)
from harmonise.theory.tune import Syllable

_SHOWN = 6
"""So many lines are told of before the rest is counted."""
_BOTH = "syllables and signs"
_PIECE = re.compile(r"\\(.?)|([-_*|\s])|([^-_*|\s\\]+)")


class AlignedWords(NamedTuple):
    """The words of a tune on its notes.

    Attributes:
        syllables: One list a note, one entry a verse.
        verses: Number of verses.
        remarks: Lines that leave notes without words.
        last: The last note of each verse that has a syllable so far; -1 for none.
    """

    syllables: list[list[Syllable | None]]
    verses: int
    remarks: list[Remark]
    last: list[int]


class _Verse(NamedTuple):
    """A line of words and the notes that it may use."""

    line: TypedLine
    number: int  # Of the line of words, from 1, in the whole tune.
    verse: int
    notes: list[int]
    bars: list[int]
    lines: list[tuple[int, int]]  # Lines of notes: their numbers, and how many notes.


class _Misfit(NamedTuple):
    """A line of words with more or fewer syllables than there are notes."""

    sung: _Verse
    taken: list[tuple[str, str]]
    at: int  # The first note that has none; the number of notes if all have.
    place: Place | None

    def __str__(self) -> str:
        whose = f"line {self.sung.number} of words"
        if self.place is None and len(self.taken) <= len(self.sung.notes):
            # The notes would do, but a bar line went past them.
            given = _count(_bars_in(self.sung.line.text), "bar")
            return f"{whose} has {given} for {_count(len(self.sung.bars), 'bar')}"
        number = len(self.taken)
        plain = all(text for _, text in self.taken)
        given = _count(number, "syllable") if plain else f"{number} {_BOTH}"
        lines = self.sung.lines
        each = [f"line {line}: {count}" for line, count in lines[:_SHOWN]]
        each += ["…"] * bool(lines[_SHOWN:])
        notes = _count(len(self.sung.notes), "note")
        # Under several lines it is not plain which of them has how many notes.
        notes += f" ({', '.join(each)})" if lines[1:] else ""
        return f"{whose} has {given} for {notes}"


def align_words(
    passages: list[TypedPassage], bars: list[TypedBar], notes: list[Typed]
) -> AlignedWords:
    """Return the syllables of a tune.

    Words are meant for the line of notes above them; those that are too many for it
    fill all lines since the last words.

    Raises:
        NotationError: E17, if a syllable has no note.
    """
    remarks: list[Remark] = []
    struck = _struck(passages, notes)
    sung = list(_verses(passages, struck, _bars_of(passages, bars), remarks))
    verses = max((line.verse + 1 for line in sung), default=0)
    syllables: list[list[Syllable | None]] = [[None] * verses for _ in notes]
    aligned = AlignedWords(syllables, verses, remarks, [-1] * verses)
    found = [_align(line, aligned, notes, bars) for line in sung]
    misfits = [misfit for misfit in found if misfit]
    if any(misfit.place is None for misfit in misfits):
        raise _too_many(misfits)
    if misfits:
        remarks.append(_too_few(misfits))
    return aligned


def _verses(
    passages: list[TypedPassage],
    struck: list[list[int]],
    inside: list[list[int]],
    remarks: list[Remark],
) -> Iterator[_Verse]:
    """Yield the lines of words with the notes for which they are meant."""
    number = 0
    above: list[int] = []
    for index, passage in enumerate(passages):
        above.append(index)
        if not passage.words:
            continue
        bars = len(inside[index])
        meant = _meant(passage.words, above, struck, bars)
        if meant[0][1] != meant[-1][1]:
            remarks.append(_in_turn(number + 1, number + len(meant)))
        for line, (verse, part) in zip(passage.words, meant, strict=True):
            number += 1
            # People begin both lines alike; the bar line in front moves nothing.
            copied = line.text[:1] == "|" and passages[part[0]].tokens[0] in BAR_LINES
            yield _Verse(
                line._replace(text=line.text[1:]) if copied else line,
                number,
                verse,
                [note for at in part for note in struck[at]],
                list(dict.fromkeys(bar for at in part for bar in inside[at])),
                [(passages[at].line, len(struck[at])) for at in part],
            )
        above = []


def _in_turn(first: int, last: int) -> Remark:
    to = "and" if last == first + 1 else "to"
    what = f"Lines {first} {to} {last} of words are sung one after the other."
    remedy = 'For verses of one line type an empty "Words:" under the lines before it.'
    return Remark("E29", what, None, remedy)


def _meant(
    words: list[TypedLine], above: list[int], struck: list[list[int]], bars: int
) -> list[tuple[int, list[int]]]:
    """Return for each line of words its verse and the lines of notes it is meant for.

    Args:
        words: Lines of words that stand together.
        above: Numbers of the lines of notes above them that have none yet.
        struck: The notes of each line of notes.
        bars: How many bars the last of them has.
    """
    counts = [len(_taken(line.text)) for line in words]
    last = len(struck[above[-1]])
    sung = [at for at in above if struck[at]]
    if len(sung) > 1 and len(words) > 1:
        parts = _filled(counts, sung, struck)
        # As many lines of words as of notes are a line each, if they fit so best.
        by_line = sum(
            abs(len(struck[at]) - n) for at, n in zip(sung, counts, strict=False)
        )
        whole = sum(len(struck[at]) for at in sung)
        other = min(sum(abs(size - n) for n in counts) for size in (last, whole))
        if not parts and len(sung) == len(words) and by_line <= other:
            parts = [[at] for at in sung]
        if parts:
            return [(0, part) for part in parts]
    fits = max(counts) <= last and all(_bars_in(line.text) <= bars for line in words)
    part = above[-1:] if fits else above
    return [(verse, part) for verse in range(len(words))]


def _filled(
    counts: list[int], sung: list[int], struck: list[list[int]]
) -> list[list[int]]:
    """Return the lines that each of some lines of words fills, as parts of one verse.

    [] if they do not fill all, or if one does not end where a line ends.
    """
    parts: list[list[int]] = []
    lines = iter(sung)
    for count in counts:
        part: list[int] = []
        left = count
        while left > 0 and (index := next(lines, None)) is not None:
            part.append(index)
            left -= len(struck[index])
        if left or not part:
            return []
        parts.append(part)
    return [] if next(lines, None) is not None else parts


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
) -> _Misfit | None:
    """Put a line of words on its notes; return what does not fit."""
    at = 0
    bar = 0
    pieces = _pieces(sung.line.text)
    for sign, text in pieces:
        if sign == "|":
            bar += 1
            # Words may have passed the bar line already; they never go back.
            at = max(at, _first_in(sung, notes, bar))
            continue
        if at < len(sung.notes) and text:
            aligned.last[sung.verse] = sung.notes[at]
            aligned.syllables[sung.notes[at]][sung.verse] = Syllable(text, sign == "-")
        # The syllable may stand in the line before: a hold runs over line ends.
        elif at < len(sung.notes) and sign != "*" and aligned.last[sung.verse] >= 0:
            _hold(aligned.syllables[aligned.last[sung.verse]], sung.verse, sign)
        at += 1
    taken = _taken(sung.line.text)
    if at > len(sung.notes):
        return _Misfit(sung, taken, at - len(sung.notes), None)
    if at == len(sung.notes) or not pieces:
        return None
    note = notes[sung.notes[at]]
    bar_of = bars[note.bar]
    beat = (note.onset - bar_of.start) / bar_of.time.unit + 1
    return _Misfit(sung, taken, at, Place(bar_of.number, beat))


def _bars_in(words: str) -> int:
    """Return how many bars a line of words goes through."""
    return _pieces(words.strip(" |")).count(("|", "")) + 1


def _taken(text: str) -> list[tuple[str, str]]:
    """Return the pieces of a line of words that take a note: a bar line takes none."""
    return [(sign, syllable) for sign, syllable in _pieces(text) if sign != "|"]


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


def _hold(syllables: list[Syllable | None], verse: int, sign: str) -> None:
    """Let a syllable run on: by "_" within it, by "-" to the next one."""
    before = syllables[verse]
    if before and sign == "-":
        syllables[verse] = before._replace(joins=True)
    elif before:
        # The hyphen of a divided word already draws it on.
        syllables[verse] = before._replace(extends=not before.joins)


def _too_many(misfits: list[_Misfit]) -> NotationError:
    first = next(misfit for misfit in misfits if misfit.place is None)
    sign, text = first.taken[-first.at]
    return fault(
        f'{_capital(str(first))}: "{shorten(text or sign)}" has no note.'
        f"{_also(first, misfits)}",
        first.sung.line.number,
        remedy="Use _ to hold a syllable, - inside words.",
    )


def _too_few(misfits: list[_Misfit]) -> Remark:
    first = misfits[0]
    count = len(first.sung.notes) - first.at
    rest = "the last note has" if count == 1 else f"the last {count} notes have"
    what = f"line {first.sung.number} of words ends here: {rest} none."
    if first.sung.lines[1:]:
        what += f" {_capital(str(first))}."
    remedy = "Use _ to hold a syllable, * for a note without words."
    return Remark("E17", what + _also(first, misfits), first.place, remedy)


def _also(first: _Misfit, misfits: list[_Misfit]) -> str:
    """Return what is told of further lines of words that do not fit; "" for none."""
    others = [str(misfit) for misfit in misfits if misfit is not first]
    shown = others[:_SHOWN]
    if others[_SHOWN:]:
        shown.append(f"{len(others) - _SHOWN} more lines do not fit")
    return f" Also {listed(shown)}." if shown else ""


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
