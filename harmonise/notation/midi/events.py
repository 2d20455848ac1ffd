r"""What stands beside the notes of a MIDI file: tempos, markers of sections, words.

Tempos are told in whole beats a minute where they are within a hundredth of it. Changes
of less than a twentieth (a player's freedom, a ritardando drawn in steps) are not
marks; what is left stands at the nearest note.

A syllable belongs to the note that begins within an eighth of a crotchet of it. Where
syllables end in hyphens, those join the next one; where some end (or begin) with a
blank, those without one do (MIDI Association, RP-017, which also gives line ends as
carriage returns; "/" and "\" are used for them too).
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple, TypeVar

from harmonise.errors import RemarkList
from harmonise.notation.midi.placing import MidiBars
from harmonise.notation.midi.tracks import (
    MidiCode,
    MidiScore,
    PlayedNote,
    count,
    plain_line,
)
from harmonise.theory.tune import Syllable, Tempo

_Time = TypeVar("_Time", Fraction, int)
_MINUTE = 60_000_000
_CHANGE = Fraction(1, 20)
_USABLE = (Fraction(5), Fraction(1000))
_MOST = 12
"""More changes than this are a performance: only the first tempo is taken."""
_NEAR = Fraction(1, 8)
_LINE_ENDS = "\r\n/\\"
_HELD = ("_", "-", "+")


def pace(score: MidiScore) -> float:
    """Return crotchets a second at the beginning; two if the file does not say."""
    first = next((tempo for _, tempo in score.tempos if tempo), 500_000)
    return 1_000_000 / first


def read_tempos(
    score: MidiScore, page: MidiBars, onsets: Sequence[Fraction], remarks: RemarkList
) -> tuple[Tempo, ...]:
    """Return the tempo marks.

    Args:
        score: The file.
        page: The bars of the tune.
        onsets: Onsets of its notes, in order.
        remarks: Told of changes left out.
    """
    tempos: list[Tempo] = []
    for tick, micros in score.tempos:
        at = Fraction(tick, score.ticks) - page.start
        # What stands behind the last note is a program switching off.
        if not micros or at > onsets[-1]:
            continue
        onset = Fraction(0) if at <= 0 else onsets[_nearest(onsets, at)]
        tempo = _tempo(onset, micros, page)
        # Of two tempos at one note the last one is in force.
        if tempos and tempos[-1].onset == onset:
            tempos.pop()
        before = (tempos[-1].pace if tempos else None) or Fraction(0)
        pace = tempo.pace or Fraction(0)
        change = abs(pace - before)
        usable = _USABLE[0] <= pace / tempo.beat <= _USABLE[1]
        if usable and change >= before * _CHANGE:
            tempos.append(tempo)
    if len(tempos) > _MOST:
        remarks.add(
            MidiCode.TEMPO,
            f"{count(len(tempos) - 1, 'change')} of tempo, as in a performance: only "
            "the first tempo was taken.",
        )
        return tuple(tempos[:1])
    return tuple(tempos)


def _nearest(places: Sequence[_Time], at: _Time) -> int:
    """Return the number of the place that lies nearest, the earlier of two."""
    after = min(bisect_left(places, at), len(places) - 1)
    return min((max(after - 1, 0), after), key=lambda number: abs(places[number] - at))


def _tempo(onset: Fraction, micros: int, page: MidiBars) -> Tempo:
    bars = page.bars
    number = bisect_left([bar.end for bar in bars], onset + Fraction(1, 64))
    time = bars[min(number, len(bars) - 1)].time
    beat = time.beat if time.is_compound else Fraction(1)
    # Microseconds round the number of beats: 96 comes back as 95.9999.
    exact = Fraction(_MINUTE, micros) / beat
    whole = Fraction(round(exact))
    near = abs(exact - whole) < Fraction(1, 100)
    return Tempo(onset, whole if near else Fraction(round(exact * 10), 10), beat)


def label_bars(score: MidiScore, page: MidiBars) -> MidiBars:
    """Return the bars with the markers that stand on bar lines as their labels."""
    labels: dict[Fraction, str] = {}
    for tick, text in score.markers:
        at = Fraction(tick, score.ticks) - page.start
        if text and at >= 0:
            labels.setdefault(at, " ".join(text.split())[:60])
    bars = (bar._replace(section=labels.get(bar.start, "")) for bar in page.bars)
    return page._replace(bars=tuple(bars))


class MidiWords(NamedTuple):
    """Words under the notes.

    Attributes:
        syllables: By number of the note in the line.
        line_starts: Numbers of notes that begin a line of text.
    """

    syllables: dict[int, Syllable]
    line_starts: frozenset[int]


def read_words(
    score: MidiScore, track: int, notes: Sequence[PlayedNote], remarks: RemarkList
) -> MidiWords:
    """Return the syllables of a line.

    Args:
        score: The file.
        track: Number of the tune's track; another track's words are taken if it has
            none.
        notes: The line in order.
        remarks: Told of syllables without a note.
    """
    tracks = [score.tracks[track], *score.tracks]
    texts = next((track.lyrics for track in tracks if track.lyrics), ())
    texts = tuple((tick, text) for tick, text in texts if text)
    starts = [note.start for note in notes]
    joins = _joining([text for _, text in texts])
    syllables: dict[int, Syllable] = {}
    lines: set[int] = set()
    lost: list[str] = []
    ended = False
    for (tick, text), join in zip(texts, joins, strict=True):
        # Of grace notes and their note the note is sung.
        number = bisect_right(starts, starts[_nearest(starts, tick)]) - 1
        begins = ended or text[:1] in _LINE_ENDS
        ended = text[-1:] in _LINE_ENDS
        plain = plain_line(text).strip(" " + _LINE_ENDS)
        if abs(starts[number] - tick) > _NEAR * score.ticks or number in syllables:
            lost += [plain] * (plain not in ("", *_HELD))
        elif plain and plain not in _HELD:
            lines |= {number} if begins else set()
            syllables[number] = Syllable(plain.rstrip("-") or plain, join)
        ended = ended or (begins and not plain)
    _tell_lost(lost, remarks)
    return MidiWords(syllables, frozenset(lines - {0}))


def _joining(texts: Sequence[str]) -> list[bool]:
    """Return of each text whether the next one continues its word."""
    plain = [plain_line(text).strip(" " + _LINE_ENDS) for text in texts]
    # One hyphen anywhere shows that this file joins syllables by hyphens.
    if any(len(text) > 1 and text.endswith("-") for text in plain):
        return [text.endswith("-") for text in plain]
    ends = tuple(" \t" + _LINE_ENDS)
    blanks = [(text.startswith(ends), text.endswith(ends)) for text in texts]
    spaced = any(end or start for start, end in blanks)
    following = [start for start, _ in (*blanks[1:], (True, True))][: len(blanks)]
    return [
        spaced and not end and not start
        for (_, end), start in zip(blanks, following, strict=True)
    ]


def _tell_lost(lost: Sequence[str], remarks: RemarkList) -> None:
    if lost:
        remarks.add(
            MidiCode.WORDS,
            f"On no note of the tune, so left out: {count(len(lost), 'syllable')}, the "
            f'first "{lost[0][:20]}".',
        )
