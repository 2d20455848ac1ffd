"""Lines of words and bar lines into typed bars with numbers, repeats and endings.

A word is one beat, so bars can be laid out before any word is understood, and every
later fault knows its bar and beat.
"""

import re
from fractions import Fraction
from typing import NamedTuple, NoReturn

from harmonise.errors import NotationError, Place, Remark
from harmonise.notation.tune_text.typed_lines import TypedPassage
from harmonise.notation.tune_text.word_faults import (
    abc_fault,
    fault,
)
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar


class TypedWord(NamedTuple):
    """One typed beat.

    Attributes:
        text: As typed.
        passage: Number of its passage, from 0.
    """

    text: str
    passage: int


class TypedBar:
    """A bar while it is being read.

    Attributes:
        time: Time signature in force.
        words: Its beats.
        close: The bar line that closes it; "" for none.
        repeat_start: Whether a repeat begins at its start.
        repeat_end: How often the music up to its end is played.
        ending: Numbers of its ending.
        section: Name of the section that begins with it; "" if none does.
        number: As printed; 0 for a pickup.
        offset: Beats that it lacks at its front.
        told: How a fault in it calls it: as `number`, but bar 1 where a first bar is
            short that no later bar makes whole, for then it may be no pickup.
        start: Crotchets from the start of the tune.
    """

    def __init__(self, time: TimeSignature) -> None:
        """Begin an empty bar."""
        self.time = time
        self.words: list[TypedWord] = []
        self.close = ""
        self.repeat_start = False
        self.repeat_end = 1
        self.ending: tuple[int, ...] = ()
        self.section = ""
        self.number = 0
        self.offset = 0
        self.told = 0
        self.start = Fraction(0)

    @property
    def beats(self) -> int:
        """Number of its beats."""
        return len(self.words)

    def finished(self) -> Bar:
        """Return the bar as the tune keeps it."""
        unit = self.time.unit
        return Bar(
            self.number,
            self.start,
            unit * len(self.words),
            self.time,
            repeat_start=self.repeat_start,
            repeat_end=self.repeat_end,
            ending=self.ending,
            double=self.close == "||",
            section=self.section,
            offset=unit * self.offset,
        )


def name_sections(bars: list[TypedBar], passages: list[TypedPassage]) -> None:
    """Give the names of sections to the bars with which they begin.

    Raises:
        NotationError: If a section has no bar of its own.
    """
    waiting = [passage for passage in passages if passage.section][::-1]
    for bar in bars:
        line = passages[bar.words[0].passage].line
        here = []
        while waiting and waiting[-1].line <= line:
            here.append(waiting.pop())
        if here:
            _assert_begun(here[:-1])
            bar.section = here[-1].section
    _assert_begun(waiting[-1:])


def _assert_begun(sections: list[TypedPassage]) -> None:
    for passage in sections:
        what = f"Section: no bar begins in {passage.section}."
        remedy = "Put it above the line with which it begins."
        raise fault(what, passage.line, remedy=remedy)


def number_bars(bars: list[TypedBar]) -> None:
    """Give every bar its number, its start and the beats that it lacks in front.

    A short first bar is the pickup, number 0. After a double bar line or a repeat sign
    a short bar is either the rest of the short bar before it, or, up to half a bar
    long, a pickup of its own; both carry the number of the bar before.
    """
    number = 0
    start = Fraction(0)
    for index, bar in enumerate(bars):
        bar.offset = _lacks(bars, index)
        if not bar.offset:
            number += 1
        bar.number = bar.told = number
        bar.start = start
        start += bar.time.unit * bar.beats
    if bars and not any(bar.beats == bars[0].offset for bar in bars[1:]):
        # Who typed no pickup knows of no bar 0.
        bars[0].told = 1


def _lacks(bars: list[TypedBar], index: int) -> int:
    bar = bars[index]
    missing = bar.time.beats - bar.beats
    if missing <= 0:
        return 0
    if index == 0:
        return missing if len(bars) > 1 else 0
    before = bars[index - 1]
    # Only a sign that all can see may part a bar or let a new pickup begin; a short bar
    # elsewhere is a slip of typing.
    breaks = before.close in ("||", ":|") or bar.repeat_start
    if not breaks or (bar.ending and bar.ending != before.ending):
        return 0
    if before.beats == missing and before.time == bar.time and not before.offset:
        return missing
    is_last = index == len(bars) - 1
    return missing if 2 * bar.beats <= bar.time.beats and not is_last else 0


MOST_BARS = 2_000
BAR_LINES = ("|", "||", "|:", ":|")
ENDING = re.compile(r"\[([1-9])((?:,[1-9])*)$")


def too_many_bars() -> NotationError:
    """Return the error of a tune that is too long."""
    what = "The tune has more than 2,000 bars."
    return NotationError(what, None, "Split it into parts.")


def lay_bars(passages: list[TypedPassage]) -> tuple[list[TypedBar], list[Remark]]:
    """Return the numbered bars of a tune and what is to be told about its repeats.

    Raises:
        NotationError: E08, E22, and what else is wrong about bar lines.
    """
    builder = _BarBuilder(passages)
    for number, passage in enumerate(passages):
        builder.take_line(number, passage)
    bars = builder.finish()
    for _, start in builder.assumed:
        bars[start].repeat_start = start > 0
    number_bars(bars)
    name_sections(bars, passages)
    return bars, [_assumed(bars, *repeat) for repeat in builder.assumed]


def _assumed(bars: list[TypedBar], end: int, start: int) -> Remark:
    since = f"bar {bars[start].number}" if start else "the beginning"
    what = f"Repeat from {since} assumed."
    remedy = 'Type "|:" where the repeat begins.'
    return Remark("E21", what, Place(bars[end].number), remedy)


class _BarBuilder:
    """The bar that is open, and the repeats and endings that are."""

    def __init__(self, passages: list[TypedPassage]) -> None:
        self.passages = passages
        self.bars: list[TypedBar] = []
        self.open = TypedBar(passages[0].time)
        self.line = passages[0].line
        self.repeat_from: int | None = None  # Number of the bar that "|:" begins.
        self.section = 0  # Number of the bar after the last repeat or its endings.
        self.ending: tuple[int, ...] = ()
        self.assumed: list[tuple[int, int]] = []  # Last and first bar of a repeat.
        self.after_bar_line = False

    def take_line(self, number: int, passage: TypedPassage) -> None:
        """Read one line; a bar that is full at its end needs no bar line."""
        self.line = passage.line
        self._change_time(passage)
        self.after_bar_line = False
        for sign in passage.tokens:
            # Bar lines are words of their own, so that a slip in one can be told from a
            # note.
            if sign in BAR_LINES:
                self._bar_line(sign)
            elif sign[0] == "[" and ENDING.match(sign):
                self._begin_ending(sign)
            elif "|" in sign or sign[0] in ":[]" or sign[-1] in ":]":
                self._bad_bar_line(sign)
            else:
                self.open.words.append(TypedWord(sign, number))
                self.after_bar_line = False
        # People end a line without a bar line as often as with one.
        if self.open.beats == self.open.time.beats:
            self._close("")

    def finish(self) -> list[TypedBar]:
        """Close what is open.

        Raises:
            NotationError: If a repeat or a first ending never ends.
        """
        if self.open.words:
            self._close("")
        self._end_of_ending("the end")
        if self.repeat_from is not None:
            place = self._place(self.repeat_from)
            what = "a repeat begins here and never ends."
            self._fail(what, 'Type ":|" where it ends.', place)
        return self.bars

    def _change_time(self, passage: TypedPassage) -> None:
        if passage.time == self.open.time:
            return
        if self.open.words:
            what = "Time: changes at a bar line only."
            self._fail(what, "Finish the bar before it.", self._place(len(self.bars)))
        self.open.time = passage.time

    def _bar_line(self, sign: str) -> None:
        if self.open.words:
            self._close(sign)
        elif sign == "|" and self.after_bar_line and self.bars:
            rest = " ".join("0" + "-" * (self.open.time.beats - 1))
            what = "there is nothing between two bar lines."
            remedy = f'For a bar of rest type "{rest}".'
            self._fail(what, remedy, self._place(len(self.bars)))
        elif sign != "|" and self.bars and sign != "|:":
            self.bars[-1].close = sign
        self.after_bar_line = True
        if sign == "|:":
            self._open_repeat()
        elif sign == ":|":
            self._close_repeat()
        elif sign == "||":
            self._end_of_ending("||")

    def _close(self, sign: str) -> None:
        """Put the open bar away and open the next."""
        if len(self.bars) == MOST_BARS:
            raise too_many_bars()
        self.open.close = sign
        self.open.ending = self.ending
        self.bars.append(self.open)
        self.open = TypedBar(self.open.time)

    def _open_repeat(self) -> None:
        self._end_of_ending("|:")
        if self.repeat_from is not None:
            first = self._place(self.repeat_from)
            what = f"a repeat begins inside the repeat that begins in {first}."
            self._fail(what, 'Close the first with ":|".', self._place(len(self.bars)))
        self.repeat_from = len(self.bars)
        self.open.repeat_start = True

    def _close_repeat(self) -> None:
        if self.section == len(self.bars):
            what = "a repeat ends where none has begun."
            place = self._place(len(self.bars) - 1)
            self._fail(what, 'Type "|:" where it begins.', place)
        last = len(self.bars) - 1
        # A repeat that begins nowhere goes back to the last one, as on paper; a second
        # ending goes back to where the first did.
        later_ending = self.ending and self.ending[0] > 1
        if self.repeat_from is None and not later_ending:
            self.assumed.append((last, self.section))
        self.repeat_from = None
        self.section = len(self.bars)
        self.bars[last].repeat_end = max(2, len(self.ending) + 1)
        self.ending = ()

    def _begin_ending(self, sign: str) -> None:
        if self.open.words:
            what = f"an ending ({sign}) begins at a bar line only."
            remedy = 'Type "|" before it.'
            self._fail(what, remedy, self._place(len(self.bars), self.open.beats + 1))
        numbers = tuple(map(int, sign[1:].split(",")))
        before = self.bars[-1] if self.bars else None
        wanted = 1
        if before and before.ending and before.repeat_end > 1:
            wanted = before.ending[-1] + 1
        # Endings come in order, so a missing one is a slip.
        if numbers[0] not in (1, wanted):
            self._no_first_ending(numbers[0])
        self._end_of_ending(sign)
        self.ending = numbers
        self.after_bar_line = False

    def _no_first_ending(self, number: int) -> NoReturn:
        names = ("", "first", "second", "third")
        called = names[number] if number < 4 else f"{number}th"
        missing = "a first" if number < 3 else f"the one before ([{number - 1})"
        what = f"{called} ending without {missing}."
        remedy = 'Type "[1" where the first ending begins and ":|" where it ends.'
        self._fail(what, remedy, self._place(len(self.bars)))

    def _end_of_ending(self, sign: str) -> None:
        """End an ending; a first one must have come to its ":|"."""
        if self.ending and self.ending[0] == 1:
            what = f"the first ending runs into {sign}."
            remedy = 'Type ":|" where it ends.'
            self._fail(what, remedy, self._place(len(self.bars) - 1))
        if self.ending:
            self.section = len(self.bars)
        self.ending = ()

    def _bad_bar_line(self, sign: str) -> NoReturn:
        place = self._place(len(self.bars), self.open.beats + 1)
        what, remedy = "put a space before and after a bar line.", ""
        if re.fullmatch(r"[|:\]]+", sign):
            what, remedy = (
                "this is no bar line.",
                'Bar lines are "|", "||", "|:" and ":|".',
            )
        elif re.match(r"[:|]*\[[1-9]", sign):
            what = "put a space before and after an ending such as [1."
        elif "[" in sign or "]" in sign:
            what, remedy = abc_fault(sign)
        elif "|" not in sign:
            what, remedy = "a colon stands in the bar lines |: and :| only.", ""
        raise fault(what, self.line, sign, place, remedy)

    def _place(self, index: int, beat: int | None = None) -> Place:
        """Return the place of a bar while its number is not settled yet."""
        number_bars(self.bars)
        if self.bars and index < len(self.bars):
            number = self.bars[max(index, 0)].told
        else:
            number = self.bars[-1].number + 1 if self.bars else 1
        return Place(number, None if beat is None else Fraction(beat))

    def _fail(self, what: str, remedy: str, place: Place | None = None) -> NoReturn:
        raise fault(what, self.line, place=place, remedy=remedy)


def first_wrong(bars: list[TypedBar]) -> int | None:
    """Return the place in the list of the first bar with too many or too few beats."""
    allowed = bars[0].beats if bars[0].offset else 0
    section = allowed
    for index, bar in enumerate(bars):
        if index and (bar.repeat_start or bars[index - 1].close in ("||", ":|")):
            section = bar.beats if bar.offset else allowed
        missing = bar.time.beats - bar.beats - bar.offset
        is_last = index == len(bars) - 1
        closes = is_last or bar.close in ("||", ":|") or bar.repeat_end > 1
        # The last bar of the tune or of a section gives back what its pickup took.
        gives_back = closes and missing in (allowed, section)
        # A repeat sign in the middle of a bar parts it: the rest of it follows.
        goes_on = not is_last and missing > 0 and bars[index + 1].offset == bar.beats
        if missing and not gives_back and not goes_on:
            return index
    return None
