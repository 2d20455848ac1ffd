"""Whether the bars of a tune in sol-fa agree: number of pulses, order of accents."""

from collections import Counter
from typing import NoReturn

from harmonise.errors import Place, Remark
from harmonise.notation.reading.solfa_metre import (
    UNTOLD,
    groups_of,
    pattern_of,
    spaced,
    time_of,
)
from harmonise.notation.reading.tune_text_bar import TypedBar, number_bars
from harmonise.notation.reading.tune_text_faults import fault, shorten
from harmonise.notation.reading.tune_text_lines import Passage
from harmonise.notation.reading.tune_text_sums import first_wrong
from harmonise.theory.metre import TimeSignature

_SHOWN = 16


def settle_times(
    bars: list[TypedBar], accents: list[str], passages: list[Passage]
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


def _regions(bars: list[TypedBar], passages: list[Passage]) -> list[tuple[int, int]]:
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
    whole = [own for own in accents if own.startswith("|")] or accents
    whole = [own for own in whole if len(own) == time.beats] or whole
    return Counter(whole).most_common(1)[0][0]


def _time(bar: TypedBar, usual: str, passages: list[Passage]) -> TimeSignature:
    """Return the time signature of bars: as told, or as counted."""
    line = passages[bar.words[0].passage].line
    found = time_of(usual)
    if bar.time != UNTOLD:
        if not pattern_of(bar.time):
            what = f"Time: {bar.time} has no accents in sol-fa."
            raise fault(what, line, remedy=_MEASURES)
        return _grouped(bar.time, found)
    if not found:
        raise fault(
            f"the accents {spaced(usual[:_SHOWN])} make no measure.",
            line,
            place=Place(1),
            remedy=_MEASURES,
        )
    return found


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
    bars: list[TypedBar], accents: list[str], passages: list[Passage]
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
    passages: list[Passage],
) -> list[Remark]:
    for bar, own, pattern in zip(bars, accents, patterns, strict=True):
        wanted = pattern[bar.offset : bar.offset + bar.beats]
        if own == wanted:
            continue
        if bar is not bars[0] or own[1:] != wanted[1:] or not bar.offset:
            _wrong_accents(bar, own, wanted, passages)
    if bars[0].offset and accents[0].startswith("|"):
        what = f"the first {_count(bars[0].beats)} are read as a pickup"
        if bars[0].beats == 1:
            what = "the first pulse is read as a pickup"
        wanted = patterns[0][bars[0].offset]
        remedy = f'In a pickup type "{wanted}" in front in place of "|".'
        return [Remark("S04", f"{what}, for the bar is short.", Place(0), remedy)]
    return []


def _wrong_accents(
    bar: TypedBar, own: str, wanted: str, passages: list[Passage]
) -> NoReturn:
    raise fault(
        f"Bar {bar.number} has the accents {spaced(own)}; here they are "
        f"{spaced(wanted)}.",
        passages[bar.words[0].passage].line,
        place=Place(bar.number),
        remedy='Type "|" before a strong pulse, "!" before a medium one, ":" before a '
        "weak one.",
    )
