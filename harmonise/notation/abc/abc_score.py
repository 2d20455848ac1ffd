"""What is gathered while an ABC tune is read: notes, bar lines, changes, faults.

The walk through the text puts everything here at its onset; nothing here looks at text.
"""

from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import MelodyError, seen_at
from harmonise.notation.abc.abc_text import AbcCode, AbcRemarks, UnreadableError
from harmonise.notation.abc.abc_words import WordPiece, align_words
from harmonise.notation.abc.bars import BarLine, Mark, Times
from harmonise.notation.abc.key_fields import KeyField
from harmonise.notation.abc.pitches import Draft
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tempo

Verses = list[tuple[WordPiece, ...]]
MOST_BARS = 2000
MOST_NOTES = 50_000


class Jump(NamedTuple):
    """A jump word, or a sign that is jumped to.

    Attributes:
        onset: Of the note or bar line that it stands over.
        words: What it says.
        over_note: Whether it stands over a note: then a jump means the end of its bar,
            a sign its beginning.
        is_sign: Whether it is jumped to.
    """

    onset: Fraction
    words: str
    over_note: bool
    is_sign: bool

    def place(self, bar: Bar) -> Fraction:
        """Return where it belongs, given the bar that holds its onset."""
        if not self.over_note:
            return self.onset
        return bar.start if self.is_sign else bar.end


class Doubt(NamedTuple):
    """A sign that means nothing where it stands, or cannot be read.

    Attributes:
        error: What is wrong if notes are lost by it.
        word: The sign.
        line: Number of its line.
        onset: Where it stands.
        bar: Where its bar begins.
        told: What is told if its bar is whole all the same.
    """

    error: UnreadableError
    word: str
    line: int
    onset: Fraction
    bar: Fraction
    told: str = ""


def _count_bars(drafts: Sequence[Draft], marks: Sequence[Mark]) -> None:
    """Tell every note the number of the mark before it, counted from 0."""
    number = 0
    for draft in drafts:
        # The number tells ties and words which notes lie in which bar.
        while number + 1 < len(marks) and marks[number + 1].onset <= draft.onset:
            number += 1
        draft.bar = number


class AbcScore:
    """A tune that grows.

    Attributes:
        onset: Where the next note begins, in crotchets.
        drafts: Notes and rests as written.
        struck: Those of them that sound.
        marks: Bar lines by place; the first at 0.
        times: Metres; the first at 0.
        keys: Onsets and `K:` fields.
        tempos: Tempo marks.
        sections: Labels by onset of their bar.
        jumps: Jump words and signs, with what they stand over.
        words: Adjacent `w:` lines, with the numbers of the first sounding note that
            they may use and of the first that they may not.
        phrases: Where lines of the score end.
        line: Number of the line of text that is being read.
        fault: The first thing that cannot be read.
        doubts: Signs that mean nothing where they stand.
        remarks: What is to be told.
    """

    keys: list[tuple[Fraction, KeyField]]
    tempos: list[Tempo]

    def __init__(self, time: TimeSignature | None, remarks: AbcRemarks) -> None:
        """Begin with a metre, None for a free one, and what is told already."""
        self.onset = Fraction(0)
        self.drafts: list[Draft] = []
        self.struck: list[Draft] = []
        self.marks = [Mark(Fraction(0))]
        self.times = [Times(Fraction(0), time)]
        self.keys = []
        self.tempos = []
        self.sections: dict[Fraction, str] = {}
        self.jumps: list[Jump] = []
        self.words: list[tuple[Verses, int, int]] = []
        self.phrases: list[Fraction] = []
        self.line = 0
        self.fault: Doubt | None = None
        self.doubts: list[Doubt] = []
        self.remarks = remarks
        self._label = ""
        self._full: Fraction | None = None

    @property
    def time(self) -> TimeSignature | None:
        """The metre in force; None if it is free."""
        return self.times[-1].time

    @property
    def at_bar(self) -> bool:
        """Whether a bar line was the last thing that took its place."""
        return self.onset == self.marks[-1].onset

    @property
    def too_many(self) -> str:
        """What the tune is full of, such as "2000 bars", or nothing: "".

        An endless text must not hold the program: the limits lie far above any book.
        """
        if len(self.drafts) == MOST_NOTES:
            return f"{MOST_NOTES} notes"
        if len(self.marks) > MOST_BARS and self.at_bar:
            return f"{MOST_BARS} bars"
        return ""

    def take_fault(self, error: UnreadableError, word: str) -> None:
        """Keep a fault with its place, if it is the first.

        The reading goes on, so that bars can be counted when the fault is told.
        """
        if self.fault is None:
            bar = self.marks[-1].onset
            self.fault = Doubt(error, word, self.line, self.onset, bar)

    def doubt(self, error: UnreadableError, word: str, told: str = "") -> None:
        """Keep a sign that means nothing here; when bars are counted, it is judged.

        Args:
            error: What is wrong if notes are lost by it.
            word: The sign.
            told: What is told otherwise; "" that it was passed over.
        """
        told = told or f'"{word}" means nothing here; it was passed over.'
        bar = self.marks[-1].onset
        self.doubts.append(Doubt(error, word, self.line, self.onset, bar, told))

    def judge(self, bars: Sequence[Bar]) -> None:
        """Pass over signs whose bars are whole without them; keep the rest as a fault.

        A bar that holds what its time signature says has lost no note; one that closes
        a section, what the pickup leaves.
        """
        # The parts of a bar that a repeat sign splits are whole together.
        filled: defaultdict[int, Fraction] = defaultdict(Fraction)
        for bar in bars:
            filled[bar.number] += bar.length
        free = any(time is None for _, time in self.times)
        pickup = bars[0].length if bars and not bars[0].number else Fraction(0)
        whole = {
            bar.start
            for bar in bars
            if filled[bar.number] + pickup * _closes(bar, bars) == bar.time.bar_length
            or filled[bar.number] == bar.time.bar_length
        }
        for doubt in self.doubts:
            inside = [bar.start for bar in bars if bar.start <= doubt.bar]
            if not free and whole.intersection(inside[-1:]):
                self.remarks.add(AbcCode.STRAY, doubt.told, doubt.onset)
            elif self.fault is None or doubt.onset < self.fault.onset:
                self.fault = doubt

    def remark(
        self, code: AbcCode, what: str, remedy: str = "", kind: str = ""
    ) -> None:
        """Keep a remark on this place."""
        self.remarks.add(code, what, self.onset, remedy, kind)

    def add_note(self, draft: Draft) -> None:
        """Put a note or rest at the end."""
        if too_many := self.too_many:
            what = f"this tune has more than {too_many}."
            raise UnreadableError(what, "Take a part out of it.")
        self.drafts.append(draft)
        if draft.pitch is not None:
            self.struck.append(draft)
        self.onset += draft.length

    def add_bar(self, line: BarLine) -> None:
        """Put a bar line at the end."""
        if self._full == self.onset:
            self._full = None  # It was not left out: it stands on the next line.
        if self.at_bar:
            self.marks[-1].add(line)
        else:
            # Only now is it known whether a bar line was left out at the line end
            # before.
            self._settle(closes=bool(line.ends or line.starts or line.double))
            self._put(Mark(self.onset, line))

    def add_ending(self, numbers: tuple[int, ...]) -> None:
        """Begin an ending, at a bar line or inside a bar."""
        self._settle(closes=False)
        if self.at_bar:
            self.marks[-1].ending = numbers
        else:
            mark = Mark(self.onset, BarLine(ending=numbers))
            # A bracket may begin in the middle of a bar (4.9); the bar goes on under
            # it.
            mark.inside = True
            self._put(mark)

    def end_line(self) -> None:
        """Take the end of a line of text.

        Where a bar is full there, the line may have left out its bar line. Whether it
        did shows at the next one: then what lies between must be a full bar too.
        """
        # In free metre no bar can be full, so no bar line can be missing.
        start = self.marks[-1].onset if self._full is None else self._full
        if self.time is None or self.onset - start != self.time.bar_length:
            return
        self._settle(closes=False)
        self._full = self.onset

    def _settle(self, *, closes: bool) -> None:
        """Decide on a bar line that may have been left out.

        Args:
            closes: Whether a section ends here, whose last bar may be short.
        """
        start, self._full = self._full, None
        if start is None or self.time is None:
            return
        rest = self.time.bar_length - (self.onset - start)
        # Three bars show it: one that ends here, a full one, and a short one that
        # closes.
        here = start == self.onset
        if here or rest == 0 or (closes and rest > 0):
            mark = Mark(start)
            mark.implied = True
            self._put(mark)

    def open_bar(self) -> bool:
        """Return whether a bar can begin here, which settles a bar line left out."""
        if self._full == self.onset:
            self._settle(closes=False)
        return self.at_bar

    def _put(self, mark: Mark) -> None:
        self.marks.append(mark)
        if self._label:
            self.add_label(self._label)

    def add_label(self, text: str) -> None:
        """Put a label over the bar that begins here or, inside a bar, over the next."""
        opens = self.open_bar()
        # A label inside a bar (3.1.9) waits for the next bar line.
        self._label = "" if opens else text
        if opens:
            there = self.sections.get(self.onset)
            self.sections[self.onset] = f"{there}, {text}" if there else text

    def add_time(self, time: TimeSignature | None) -> None:
        """Change the metre at a bar line."""
        if not self.open_bar():
            what = "the time changes in the middle of a bar."
            raise UnreadableError(what, "Put a bar line before the M: field.")
        # Two M: fields in a row: the second holds.
        if self.times[-1].onset == self.onset:
            self.times.pop()
        self.times.append(Times(self.onset, time))

    def add_phrase(self) -> None:
        """End a line of the score here."""
        if self.onset and (not self.phrases or self.phrases[-1] != self.onset):
            self.phrases.append(self.onset)

    def end_tune(self) -> None:
        """Decide on the last bar line that may have been left out."""
        if self._full != self.onset:
            self._settle(closes=True)

    def finish(self, line: int) -> None:
        """Close the last bar.

        Args:
            line: Number of the tune's first line.

        Raises:
            MelodyError: If there is no note.
        """
        if not self.at_bar:
            self.marks.append(Mark(self.onset))
        _count_bars(self.drafts, self.marks)
        if not self.struck and self.fault is None:
            remedy = f"Write notes after its K: field. {seen_at(line)}"
            raise MelodyError("There is no note in this tune.", None, remedy)

    def align_words(self) -> int:
        """Put all words under their notes; return the number of verses."""
        for lines, first, last in self.words:
            align_words(lines, self.struck[first:last], self.remarks)
        return max((len(lines) for lines, _, _ in self.words), default=0)


def _closes(bar: Bar, bars: Sequence[Bar]) -> bool:
    """Whether a section ends with a bar."""
    return bar.double or bar.repeat_end > 1 or bar is bars[-1]
