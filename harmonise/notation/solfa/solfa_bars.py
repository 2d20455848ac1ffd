"""Accents and pulses into bars with numbers and time signatures that agree.

A strong accent begins a bar, a double bar ends one; a bar may run over the end of a
line. The pulses of a bar are counted, so no `Time:` line is needed; one that is there
is checked, and tells which note a pulse is.
"""

import re
from collections import Counter
from fractions import Fraction
from typing import NamedTuple, NoReturn

from harmonise.errors import Place, Remark, shorten
from harmonise.notation.solfa.solfa_names import (
    ACCENTS,
    DOUBLE,
    UNTOLD,
    groups_of,
    pattern_of,
    spaced,
    time_of,
)
from harmonise.notation.tune_text.typed_bars import (
    MOST_BARS,
    TypedBar,
    TypedWord,
    first_wrong,
    name_sections,
    number_bars,
    too_many_bars,
)
from harmonise.notation.tune_text.typed_lines import TypedPassage
from harmonise.notation.tune_text.word_faults import (
    fault,
)
from harmonise.theory.metre import TimeSignature

_SHOWN = 16


def settle_times(
    bars: list[TypedBar], accents: list[str], passages: list[TypedPassage]
) -> list[Remark]:
    """Give every bar its time signature and its number.

    Args:
        bars: Bars whose time is that of the line they begin in, told or not.
        accents: Accents of each bar, such as "|:!:".
        passages: Lines of the tune; those without a told time get one.

    Returns:
        What is to be told about accents.

    Raises:
        NotationError: If bars disagree with each other or with a `Time:` line.
    """
    remarks: list[Remark] = []
    patterns: list[str] = [""] * len(bars)
    for first, last in _regions(bars, passages):
        part = slice(first, last)
        usual = _usual(accents[part], bars[first].time)
        time = _time(bars[first], usual, passages)
        pattern = pattern_of(time)
        plain = "|" + ":" * (time.beats - 1)
        # Many books leave the medium accent out; the number of pulses tells the rest.
        if usual == plain != pattern:
            remarks.append(_few_accents(usual, pattern))
            pattern = plain
        for index in range(first, last):
            bars[index].time = time
            patterns[index] = pattern
    number_bars(bars)
    _assert_sums(bars, accents, passages)
    remarks += _assert_accents(bars, accents, patterns, passages)
    return remarks


def _regions(
    bars: list[TypedBar], passages: list[TypedPassage]
) -> list[tuple[int, int]]:
    """Return first bar and end of each stretch under one time signature."""
    starts = [0]
    for index, bar in enumerate(bars):
        for before, word in zip(bar.words, bar.words[1:], strict=False):
            if passages[before.passage].time != passages[word.passage].time:
                raise fault(
                    "Time: changes at a bar line only.",
                    passages[word.passage].line,
                    place=Place(index + 1),
                    remedy="Finish the bar before it.",
                )
        if index and bar.time != bars[index - 1].time:
            starts.append(index)
    return list(zip(starts, [*starts[1:], len(bars)], strict=True))


def _usual(accents: list[str], time: TimeSignature) -> str:
    """Return the accents that most full bars have; of equally many, the first."""
    # Pickups have no strong accent, and tell nothing of the measure.
    whole = [pattern for pattern in accents if pattern.startswith("|")] or accents
    whole = [pattern for pattern in whole if len(pattern) == time.beats] or whole
    return Counter(whole).most_common(1)[0][0]


def _time(bar: TypedBar, usual: str, passages: list[TypedPassage]) -> TimeSignature:
    """Return the time signature of bars: as told, or as counted."""
    line = passages[bar.words[0].passage].line
    counted = time_of(usual)
    # A told time is checked by the accents, never changed by them.
    if bar.time != UNTOLD:
        if not pattern_of(bar.time):
            what = f"Time: {bar.time} has no accents in sol-fa."
            raise fault(what, line, remedy=_MEASURES)
        return _grouped(bar.time, counted)
    if not counted:
        what = f"the accents {spaced(usual[:_SHOWN])} make no measure."
        raise fault(what, line, place=Place(1), remedy=_MEASURES)
    return counted


def _grouped(time: TimeSignature, found: TimeSignature | None) -> TimeSignature:
    """Return a told time in the groups of the accents, where these are others."""
    if not found or time.groups or found.beats != time.beats or not found.groups:
        return time
    same = groups_of(pattern_of(time)) == found.groups
    return time if same else time._replace(groups=found.groups)


_MEASURES = (
    'Two pulses are "| :", three "| : :", four "| : ! :", six "| : : ! : :"; "|" '
    "stands before the strong pulse of each bar."
)


def _few_accents(usual: str, pattern: str) -> Remark:
    return Remark(
        "S03",
        f"The bars have the accents {spaced(usual)}.",
        None,
        f'They are read as "{spaced(pattern)}", as {len(pattern)} pulses are written.',
    )


def _assert_sums(
    bars: list[TypedBar], accents: list[str], passages: list[TypedPassage]
) -> None:
    index = first_wrong(bars)
    if index is None:
        return
    bar = bars[index]
    words = [
        f"{accent}{'' if accent == ':' else ' '}{shorten(word.text)}".strip()
        for accent, word in zip(accents[index], bar.words, strict=True)
    ]
    shown = " ".join(words[:_SHOWN]) + " …" * (len(words) > _SHOWN)
    first = passages[bar.words[0].passage]
    needs = f"Time: {bar.time} needs" if first.time != UNTOLD else "the bars here have"
    what = f"Bar {bar.number} has {_count(bar.beats)} ({shown}); {needs} "
    remedy = 'To hold a note for a pulse more type ":-".'
    if bar.beats > bar.time.beats:
        remedy = 'Type "|" before the strong pulse of each bar.'
    raise fault(
        f"{what}{bar.time.beats}.", first.line, place=Place(bar.number), remedy=remedy
    )


def _count(beats: int) -> str:
    return f"{beats} pulse{'' if beats == 1 else 's'}"


def _assert_accents(
    bars: list[TypedBar],
    accents: list[str],
    patterns: list[str],
    passages: list[TypedPassage],
) -> list[Remark]:
    for bar, typed, pattern in zip(bars, accents, patterns, strict=True):
        wanted = pattern[bar.offset : bar.offset + bar.beats]
        if typed == wanted:
            continue
        # In a pickup the first accent is often "|" although a weak pulse begins.
        if bar is not bars[0] or typed[1:] != wanted[1:] or not bar.offset:
            _wrong_accents(bar, typed, wanted, passages)
    if bars[0].offset and accents[0].startswith("|"):
        what = f"The first {_count(bars[0].beats)} are read as a pickup"
        if bars[0].beats == 1:
            what = "The first pulse is read as a pickup"
        wanted = patterns[0][bars[0].offset]
        remedy = f'In a pickup type "{wanted}" in front in place of "|".'
        return [Remark("S04", f"{what}, for the bar is short.", None, remedy)]
    return []


def _wrong_accents(
    bar: TypedBar, typed: str, wanted: str, passages: list[TypedPassage]
) -> NoReturn:
    raise fault(
        f"Bar {bar.told} has the accents {spaced(typed)}; here they are "
        f"{spaced(wanted)}.",
        passages[bar.words[0].passage].line,
        place=Place(bar.told),
        remedy='Type "|" before a strong pulse, "!" before a medium one, ":" before a '
        "weak one.",
    )


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


def lay_pulses(passages: list[TypedPassage]) -> Laid:
    """Return the bars of a tune.

    Raises:
        NotationError: If a pulse has no accent, a bar the wrong number of pulses, or a
            jump word stands inside a bar.
    """
    builder = _PulseBuilder(passages)
    for number, passage in enumerate(passages):
        builder.take_line(number, passage)
    if not builder.bars:
        return Laid([], [], [])
    remarks = settle_times(builder.bars, builder.accents, passages)
    name_sections(builder.bars, passages)
    return Laid(builder.bars, _placed(builder, passages), remarks)


class _Jump(NamedTuple):
    """A jump word where it was found, before bars are whole."""

    bar: int
    beats: int
    text: str
    passage: int


class _PulseBuilder:
    """The bar that is open and the accent that waits for its pulse."""

    def __init__(self, passages: list[TypedPassage]) -> None:
        self.passages = passages
        self.bars: list[TypedBar] = []
        self.accents: list[str] = []  # Of each bar, such as "|:!:".
        self.jumps: list[_Jump] = []
        self.waiting = ""  # An accent whose pulse is to come.
        self.waits_in = 0  # The passage in which it stands.
        self.is_open = False
        self.after_double = False

    def take_line(self, number: int, passage: TypedPassage) -> None:
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
        # A line may end with "|" and the next begin with it: both are one bar line.
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
        # The books have D.S. with a sign on the page, which text cannot show.
        if _SIGN.search(text):
            self._no_sign(number)
        jump = _JUMP.search(text)
        music = text[: jump.start()].strip() if jump else text
        if music or self.waiting not in ("", _STRONG):
            self._pulse(music, number)
        if jump:
            beats = self.bars[-1].beats if self.bars else 0
            words = " ".join(jump.group(1).replace("D. C", "D.C").split())
            self.jumps.append(_Jump(len(self.bars) - 1, beats, words, number))

    def _pulse(self, text: str, number: int) -> None:
        # A double bar is an accent, too: a strong pulse comes after it.
        accent = self.waiting or (_STRONG if self.after_double else "")
        if not accent:
            self._no_accent(text, number)
        if accent == _STRONG or not self.is_open:
            self._open(number)
        self.bars[-1].words.append(TypedWord(text, number))
        self.accents[-1] += accent
        self.waiting = ""
        self.after_double = False

    def _open(self, number: int) -> None:
        if len(self.bars) == MOST_BARS:
            raise too_many_bars()
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
        what = f'no accent stands before "{shorten(text)}".'
        raise fault(what, self.passages[number].line, place=place, remedy=remedy)


def _placed(
    builder: _PulseBuilder, passages: list[TypedPassage]
) -> list[tuple[int, str]]:
    """Return jump words with their bars; they stand at the end of one."""
    for jump in builder.jumps:
        if jump.bar < 0 or jump.beats != builder.bars[jump.bar].beats:
            number_bars(builder.bars)
            place = Place(builder.bars[max(jump.bar, 0)].number)
            what = f'"{jump.text}" stands inside a bar.'
            remedy = "Put it at the end of one."
            raise fault(what, passages[jump.passage].line, place=place, remedy=remedy)
    return list(dict.fromkeys((jump.bar, jump.text) for jump in builder.jumps))
