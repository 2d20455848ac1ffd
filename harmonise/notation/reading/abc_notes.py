"""From notes as written to notes as struck: ties, slurs, grace notes.

Two tied notes are one `TuneNote`. A tie that leads to another pitch, to a rest or back
over a repeat is none, and a remark says so; the same holds where the second note has
grace notes or words of its own, for then it is struck. Source: ABC 2.1, section 4.11.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from fractions import Fraction

from harmonise.notation.reading.abc_faults import Code, Remarks
from harmonise.notation.reading.abc_pitches import Head
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Grace, Syllable, TuneNote


class Draft:
    """One note or rest as written.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets.
        pitch: None for a rest.
        line: Number of its line.
        bar: Number of the mark before it, counted from 0.
        head: The note as written; None for a rest and in a chord.
        graces: Grace notes before it.
        fermata: Whether a fermata stands over it.
        slur_starts: Number of slurs that begin here.
        slur_ends: Number of slurs that end here.
        tied: Whether a tie leads to the next note.
        symbols: Texts of the chord symbols over it.
        words: What is sung on it, by verse.
    """

    head: Head | None
    __slots__ = (
        "bar",
        "fermata",
        "graces",
        "head",
        "length",
        "line",
        "onset",
        "pitch",
        "slur_ends",
        "slur_starts",
        "symbols",
        "tied",
        "words",
    )

    def __init__(
        self, onset: Fraction, length: Fraction, pitch: Pitch | None, line: int
    ) -> None:
        """Begin with a bare note or rest."""
        self.onset = onset
        self.length = length
        self.pitch = pitch
        self.line = line
        self.bar = 0
        self.head = None
        self.graces: tuple[Grace, ...] = ()
        self.fermata = False
        self.slur_starts = 0
        self.slur_ends = 0
        self.tied = False
        self.symbols: tuple[str, ...] = ()
        self.words: dict[int, Syllable | str] = {}


HOLD, DASH = "_", "-"
"""What stands under a note on which a syllable, or the hyphen after it, goes on."""


def strike(
    drafts: Sequence[Draft], repeats: set[int], verses: int, remarks: Remarks
) -> tuple[TuneNote, ...]:
    """Return the notes as they are struck.

    Args:
        drafts: Notes and rests as written, in order.
        repeats: Numbers of the bars (as drafts count them) behind a repeat sign or at
            the beginning of a second ending: no tie leads there.
        verses: Number of verses.
        remarks: Told of ties and slurs that cannot be.
    """
    groups = list(_tie(drafts, repeats, remarks))
    _balance_slurs(groups, remarks)
    held = _held(groups, verses) if verses else [()] * len(groups)
    return tuple(
        _struck(group, words) for group, words in zip(groups, held, strict=True)
    )


def _tie(
    drafts: Sequence[Draft], repeats: set[int], remarks: Remarks
) -> Iterator[list[Draft]]:
    """Yield the notes that are written as one, tied ones together."""
    group: list[Draft] = []
    for draft in drafts:
        if group and group[-1].tied:
            why = _not_tied(group[-1], draft, repeats)
            if not why:
                group.append(draft)
                continue
            said = f"the tie here {why}; it was left out."
            remarks.add(Code.TIE, said, group[-1].onset, kind="tie")
        if group:
            yield group
        group = [draft]
    if group:
        if group[-1].tied:
            said = "the tie here leads to no note; it was left out."
            remarks.add(Code.TIE, said, group[-1].onset, kind="tie")
        yield group


def _not_tied(before: Draft, draft: Draft, repeats: set[int]) -> str:
    """Return why two notes are not tied; "" if they are."""
    if draft.pitch is None:
        return "leads to a rest"
    if draft.pitch != before.pitch:
        return f"leads from {before.pitch} to {draft.pitch}"
    if draft.bar in repeats and draft.bar != before.bar:
        return "leads over a repeat sign"
    if draft.graces:
        return "leads to a note with grace notes"
    if any(isinstance(word, Syllable) for word in draft.words.values()):
        return "leads to a note with a syllable of its own"
    return ""


def _balance_slurs(groups: Sequence[list[Draft]], remarks: Remarks) -> None:
    """Take away slurs that begin or end nowhere, and those on one note alone."""
    opened: deque[Draft] = deque()
    for group in groups:
        waiting = len(opened)
        for draft in group:
            opened += [draft] * draft.slur_starts
        for draft in group:
            for _ in range(draft.slur_ends):
                if not opened:
                    draft.slur_ends -= 1
                    remarks.add(Code.SLUR, _NO_START, draft.onset)
                elif waiting:
                    opened.popleft()
                    waiting -= 1
                else:
                    opened.pop().slur_starts -= 1
                    draft.slur_ends -= 1
    for draft in opened:
        draft.slur_starts -= 1
        remarks.add(Code.SLUR, _NO_END, draft.onset)


_NO_START = "a slur ends here that did not begin; it was left out."
_NO_END = "a slur begins here that does not end; it was left out."


def _held(
    groups: Sequence[list[Draft]], verses: int
) -> list[tuple[Syllable | None, ...]]:
    """Return the syllables of each note, told whether they run on."""
    found: list[list[Syllable | None]] = [[None] * verses for _ in groups]
    for verse in range(verses):
        last: int | None = None
        for index, group in enumerate(groups):
            word = group[0].words.get(verse)
            if isinstance(word, Syllable):
                found[index][verse], last = word, index
            elif word and last is not None:
                found[last][verse] = _run_on(found[last][verse], word)
            elif group[0].pitch is not None:
                last = None
            for draft in group[1:]:
                if last is not None and draft.words.get(verse) == DASH:
                    found[last][verse] = _run_on(found[last][verse], DASH)
    return [tuple(words) for words in found]


def _run_on(syllable: Syllable | None, sign: str) -> Syllable | None:
    if syllable is None:
        return None
    if sign == DASH:
        return syllable._replace(joins=True, extends=False)
    return syllable._replace(extends=not syllable.joins)


def _struck(group: list[Draft], words: tuple[Syllable | None, ...]) -> TuneNote:
    first = group[0]
    if len(group) == 1:
        length, fermata = first.length, first.fermata
        starts, ends = first.slur_starts, first.slur_ends
    else:
        length = sum((draft.length for draft in group), Fraction(0))
        fermata = any(draft.fermata for draft in group)
        starts = sum(draft.slur_starts for draft in group)
        ends = sum(draft.slur_ends for draft in group)
    return TuneNote(
        first.onset,
        length,
        first.pitch,
        words if first.pitch is not None else (),
        first.graces,
        fermata,
        starts,
        ends,
        first.line,
    )
