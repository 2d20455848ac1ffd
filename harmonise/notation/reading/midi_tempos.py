"""Tempo marks of a MIDI file, and the markers that name sections.

Tempos are told in whole beats a minute where they are within a hundredth of it. Changes
of less than a twentieth (a player's freedom, a ritardando drawn in steps) are not
marks; what is left stands at the nearest note.
"""

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction

from harmonise.notation.reading.midi_bars import Page
from harmonise.notation.reading.midi_file import MidiScore
from harmonise.notation.reading.midi_remarks import Code, count
from harmonise.notation.reading.remark_list import RemarkList
from harmonise.theory.tune import Bar, Tempo

_MINUTE = 60_000_000
_CHANGE = Fraction(1, 20)
_USABLE = (Fraction(5), Fraction(1000))
_MOST = 12
"""More changes than this are a performance: only the first tempo is taken."""


def pace(score: MidiScore) -> float:
    """Return crotchets a second at the beginning; two if the file does not say."""
    first = next((tempo for _, tempo in score.tempos if tempo), 500_000)
    return 1_000_000 / first


def read_tempos(
    score: MidiScore, page: Page, onsets: Sequence[Fraction], remarks: RemarkList
) -> tuple[Tempo, ...]:
    """Return the tempo marks.

    Args:
        score: The file.
        page: The bars of the tune.
        onsets: Onsets of its notes, in order.
        remarks: Told of changes left out.
    """
    found: list[Tempo] = []
    for tick, micros in score.tempos:
        at = Fraction(tick, score.ticks) - page.start
        if not micros or at > onsets[-1]:
            continue
        onset = Fraction(0) if at <= 0 else _nearest(onsets, at)
        tempo = _tempo(onset, micros, page)
        if found and found[-1].onset == onset:
            found.pop()
        if _USABLE[0] <= tempo.per_minute <= _USABLE[1] and _differs(tempo, found):
            found.append(tempo)
    if len(found) > _MOST:
        remarks.add(
            Code.TEMPO,
            f"{count(len(found) - 1, 'change')} of tempo, as in a performance: only "
            "the first tempo was taken.",
        )
        return tuple(found[:1])
    return tuple(found)


def _nearest(onsets: Sequence[Fraction], at: Fraction) -> Fraction:
    after = min(bisect_left(onsets, at), len(onsets) - 1)
    pair = onsets[max(after - 1, 0)], onsets[after]
    return min(pair, key=lambda onset: abs(onset - at))


def _tempo(onset: Fraction, micros: int, page: Page) -> Tempo:
    bars = page.bars
    number = bisect_left([bar.end for bar in bars], onset + Fraction(1, 64))
    time = bars[min(number, len(bars) - 1)].time
    beat = time.beat if time.is_compound else Fraction(1)
    exact = Fraction(_MINUTE, micros) / beat
    whole = Fraction(round(exact))
    near = abs(exact - whole) < Fraction(1, 100)
    return Tempo(onset, whole if near else Fraction(round(exact * 10), 10), beat)


def _differs(tempo: Tempo, found: Sequence[Tempo]) -> bool:
    if not found:
        return True
    before = found[-1].per_minute * found[-1].beat
    return abs(tempo.per_minute * tempo.beat - before) >= before * _CHANGE


def label_bars(score: MidiScore, page: Page) -> tuple[Bar, ...]:
    """Return the bars, with markers that stand on bar lines as labels of sections."""
    labels: dict[Fraction, str] = {}
    for tick, text in score.markers:
        at = Fraction(tick, score.ticks) - page.start
        if text and at >= 0:
            labels.setdefault(at, " ".join(text.split())[:60])
    return tuple(bar._replace(section=labels.get(bar.start, "")) for bar in page.bars)
