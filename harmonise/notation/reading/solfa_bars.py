"""Accents and pulses into bars with numbers and time signatures.

A strong accent begins a bar, a double bar ends one; a bar may run over the end of a
line. The pulses of a bar are counted, so no `Time:` line is needed; one that is there
is checked, and tells which note a pulse is.
"""

import re
from fractions import Fraction
from typing import NamedTuple, NoReturn

from harmonise.errors import NotationError, Place, Remark
from harmonise.notation.reading.solfa_lines import ACCENTS, DOUBLE
from harmonise.notation.reading.solfa_sums import settle_times
from harmonise.notation.reading.tune_text_bar import TypedBar, Word, number_bars
from harmonise.notation.reading.tune_text_bars import MOST_BARS
from harmonise.notation.reading.tune_text_faults import fault, shorten
from harmonise.notation.reading.tune_text_lines import Passage

_JUMP = re.compile(r"(?:^|\s)(D\.\s?C\.(?:\s+al\s+Fine)?|Fine)\.?$")
_SIGN = re.compile(r"D\.\s?S\.")
_STRONG = "|"


class Laid(NamedTuple):
    """The bars of a tune in sol-fa.

    Attributes:
        bars: The bars.
        jumps: Jump words, with the number of the bar in the list that they close.
        remarks: What is to be told about accents.
    """

    bars: list[TypedBar]
    jumps: list[tuple[int, str]]
    remarks: list[Remark]


def lay_pulses(passages: list[Passage]) -> Laid:
    """Return the bars of a tune.

    Raises:
        NotationError: If a pulse has no accent, a bar the wrong number of pulses, or a
            jump word stands inside a bar.
    """
    builder = _Builder(passages)
    for number, passage in enumerate(passages):
        builder.take_line(number, passage)
    if not builder.bars:
        return Laid([], [], [])
    remarks = settle_times(builder.bars, builder.accents, passages)
    return Laid(builder.bars, _placed(builder, passages), remarks)


class _Jump(NamedTuple):
    """A jump word where it was found, before bars are whole."""

    bar: int
    beats: int
    text: str
    passage: int


class _Builder:
    """The bar that is open and the accent that waits for its pulse."""

    def __init__(self, passages: list[Passage]) -> None:
        self.passages = passages
        self.bars: list[TypedBar] = []
        self.accents: list[str] = []  # Of each bar, such as "|:!:".
        self.jumps: list[_Jump] = []
        self.waiting = ""  # An accent whose pulse is to come.
        self.waits_in = 0  # The passage in which it stands.
        self.is_open = False
        self.after_double = False

    def take_line(self, number: int, passage: Passage) -> None:
        """Read one line of the tune."""
        for token in passage.tokens:
            if token in ACCENTS:
                self._accent(token, number)
            elif token == DOUBLE:
                self._double(number)
            else:
                self._text(token, number)
        if self.waiting not in ("", _STRONG):
            self._pulse("", number)

    def _accent(self, sign: str, number: int) -> None:
        """Let an accent wait; two in a row have a silent pulse between them.

        A strong accent at the end of a line is the bar line of the next, which may
        bring its own.
        """
        doubled = sign == self.waiting == _STRONG and self.waits_in != number
        if self.waiting and not doubled:
            self._pulse("", self.waits_in)
        self.waiting = sign
        self.waits_in = number

    def _double(self, number: int) -> None:
        if self.waiting and (self.waiting != _STRONG or self.waits_in == number):
            self._pulse("", self.waits_in)
        self.waiting = ""
        self.after_double = True
        self.is_open = False
        if self.bars:
            self.bars[-1].close = DOUBLE

    def _text(self, text: str, number: int) -> None:
        """Read what stands between two accents: a pulse, a jump word after it."""
        if _SIGN.search(text):
            self._no_sign(number)
        found = _JUMP.search(text)
        music = text[: found.start()].strip() if found else text
        if music or self.waiting not in ("", _STRONG):
            self._pulse(music, number)
        if found:
            beats = self.bars[-1].beats if self.bars else 0
            words = " ".join(found.group(1).replace("D. C", "D.C").split())
            self.jumps.append(_Jump(len(self.bars) - 1, beats, words, number))

    def _pulse(self, text: str, number: int) -> None:
        accent = self.waiting or (_STRONG if self.after_double else "")
        if not accent:
            self._no_accent(text, number)
        if accent == _STRONG or not self.is_open:
            self._open(number)
        self.bars[-1].words.append(Word(text, number))
        self.accents[-1] += accent
        self.waiting = ""
        self.after_double = False

    def _open(self, number: int) -> None:
        if len(self.bars) == MOST_BARS:
            raise NotationError(
                "The tune has more than 2,000 bars.", None, "Split it into parts."
            )
        self.bars.append(TypedBar(self.passages[number].time))
        self.accents.append("")
        self.is_open = True

    def _no_sign(self, number: int) -> NoReturn:
        raise fault(
            "D.S. goes back to a sign, and sol-fa text has none.",
            self.passages[number].line,
            place=Place(max(len(self.bars), 1)),
            remedy="Type the music again in place of it.",
        )

    def _no_accent(self, text: str, number: int) -> NoReturn:
        bar = len(self.bars)
        place = Place(max(bar, 1), Fraction(self.bars[-1].beats + 1 if bar else 1))
        remedy = 'Type "|" before a strong pulse, ":" before a weak one.'
        if re.search(r"[^\W\d_]{3,}", text):
            remedy += " The words of a song go on a line that begins with Words:."
        raise fault(
            f'no accent stands before "{shorten(text)}".',
            self.passages[number].line,
            place=place,
            remedy=remedy,
        )


def _placed(builder: _Builder, passages: list[Passage]) -> list[tuple[int, str]]:
    """Return jump words with their bars; they stand at the end of one."""
    for jump in builder.jumps:
        if jump.bar < 0 or jump.beats != builder.bars[jump.bar].beats:
            number_bars(builder.bars)
            place = Place(builder.bars[max(jump.bar, 0)].number)
            raise fault(
                f'"{jump.text}" stands inside a bar.',
                passages[jump.passage].line,
                place=place,
                remedy="Put it at the end of one.",
            )
    return list(dict.fromkeys((jump.bar, jump.text) for jump in builder.jumps))
