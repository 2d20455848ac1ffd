"""What stands under a line of a typed tune: its words, both ways, and its chords.

`Words:` lines follow the alignment signs of ABC 2.1, section 5.1: a hyphen parts
syllables (after a blank or another hyphen it takes a note of its own), `_` holds the
syllable before it over one more note, `*` leaves a note without words, `~` is a blank
inside a syllable, `|` goes on to the next bar, and a backslash before any sign makes
it a letter.
"""

import re
from bisect import bisect_left
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, Place, Remark, shorten
from harmonise.notation.tune_text.typed_bars import BAR_LINES, TypedBar
from harmonise.notation.tune_text.typed_headers import TypedLine, fault
from harmonise.notation.tune_text.typed_lines import (
    IN_TUNE_TEXT,
    Beat,
    TypedPassage,
    end_of,
    new_keys,
    struck_in,
    tempo_lines,
    time_lines,
    unsayable,
)
from harmonise.notation.tune_text.typed_notes import Typed
from harmonise.theory.key import Key
from harmonise.theory.tune import Syllable, Tune, TuneNote

_PIECE = re.compile(r"\\(.?)|([-_*|\s])|([^-_*|\s\\]+)")
_SIGNS = str.maketrans(
    {sign: f"\\{sign}" for sign in "-_*|\\%"} | {" ": "~", "~": "\\~"}
)


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


class TypedVerses:
    """The words, written line by line; a held syllable may run into the next line."""

    def __init__(self, tune: Tune) -> None:
        """Begin with the first line."""
        self.tune = tune
        self.owed = [False] * tune.verses  # A held syllable whose "_" is to come.
        self.held = [False] * tune.verses
        self.promised = tune.verses

    def lines(self, start: Fraction, end: Fraction) -> list[str]:
        """Return the `Words:` lines under one line of the tune."""
        struck = [note for note in struck_in(self.tune, start, end) if note.pitch]
        if not struck:
            return []
        verses = range(self.tune.verses)
        used = [
            verse
            for verse in verses
            if self.owed[verse] or any(note.syllables[verse] for note in struck)
        ]
        # The reader counts the verses by the fullest line, so one line must have them
        # all.
        needed = max(self.promised, 1 + max(used, default=-1))
        self.promised = 0  # One full set of lines fixes the number of verses.
        return [
            "Words: " + " ".join(self._word(note, verse) for note in struck)
            for verse in range(needed)
        ]

    def _word(self, note: TuneNote, verse: int) -> str:
        syllable = note.syllables[verse]
        # Without a sign the reader would put the next syllable here.
        if syllable is None or not syllable.text:
            self.owed[verse] = False
            return "_" if self.held[verse] else "*"
        self.held[verse] = self.owed[verse] = syllable.extends
        return syllable.text.translate(_SIGNS) + ("-" if syllable.joins else "")


class TypedPage(NamedTuple):
    """A tune on its way to lines of typed text.

    Attributes:
        tune: The tune.
        notation: How sentences name the notation.
        key_line: Gives the header of a key.
    """

    tune: Tune
    notation: str
    key_line: Callable[[Key], str]

    def lines(self, passages: list[list[Beat]], rows: list[str]) -> Iterator[str]:
        """Yield the lines of music with the headers over and the words under them.

        Args:
            passages: The beats line by line.
            rows: The same lines as text.
        """
        verses = TypedVerses(self.tune)
        for passage, row in zip(passages, rows, strict=True):
            onset = passage[0].onset
            yield from map(self.key_line, new_keys(self.tune, onset))
            yield from (*time_lines(self.tune, onset), *tempo_lines(self.tune, onset))
            yield row
            yield from verses.lines(onset, end_of(self.tune, passage))
            if self.tune.locks:
                yield chord_line(self.tune, passage, self.notation)


def chord_line(tune: Tune, passage: list[Beat], notation: str = IN_TUNE_TEXT) -> str:
    """Return the `Chords:` line under a line of the tune.

    Raises:
        OutputError: If a chord begins or ends inside a beat.
    """
    groups: list[list[str]] = []
    previous = -1
    for beat in passage:
        if beat.bar != previous:
            groups.append([])
            previous = beat.bar
        groups[-1].append(_chord(tune, beat, notation))
    # One sign stands for the whole bar where it says all.
    plain = [
        group[:1] if set(group[1:]) <= {"-"} or set(group) == {"?"} else group
        for group in groups
    ]
    return "Chords: " + " | ".join(" ".join(group) for group in plain)


def _chord(tune: Tune, beat: Beat, notation: str) -> str:
    unit = tune.bars[beat.bar].time.unit
    # Only the last chord that has begun can reach into the beat.
    last = bisect_left(tune.locks, beat.onset + unit, key=lambda lock: lock.onset) - 1
    if last < 0:
        return "?"
    lock = tune.locks[last]
    if lock.onset > beat.onset or beat.onset < lock.end < beat.onset + unit:
        raise unsayable(tune.place(beat.onset), "a chord inside a beat", notation)
    if lock.onset == beat.onset:
        return lock.chord.symbol
    return "-" if beat.onset < lock.end else "?"
