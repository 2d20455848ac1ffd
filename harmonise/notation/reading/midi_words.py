r"""Words of a MIDI file: lyric events that stand on the notes of the tune.

A syllable belongs to the note that begins within an eighth of a crotchet of it. Where
syllables end in hyphens, those join the next one; where some end (or begin) with a
blank, those without one do (MIDI Association, RP-017, which also gives line ends as
carriage returns; "/" and "\" are used for them too).
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.reading.midi_file import MidiScore, Played
from harmonise.notation.reading.midi_remarks import Code, count
from harmonise.notation.reading.remark_list import RemarkList
from harmonise.theory.tune import Syllable

_NEAR = Fraction(1, 8)
_LINE_ENDS = "\r\n/\\"
_HELD = ("_", "-", "+")


class Words(NamedTuple):
    """Words under the notes.

    Attributes:
        syllables: By number of the note in the line.
        line_starts: Numbers of notes that begin a line of text.
    """

    syllables: dict[int, Syllable]
    line_starts: frozenset[int]


def read_words(
    score: MidiScore, track: int, notes: Sequence[Played], remarks: RemarkList
) -> Words:
    """Return the syllables of a line.

    Args:
        score: The file.
        track: Number of the tune's track; another track's words are taken if it has
            none.
        notes: The line in order.
        remarks: Told of syllables without a note.
    """
    texts = _texts(score, track)
    starts = [note.start for note in notes]
    joins = _joining([text for _, text in texts])
    found: dict[int, Syllable] = {}
    lines: set[int] = set()
    lost: list[str] = []
    ended = False
    for (tick, text), join in zip(texts, joins, strict=True):
        number = _nearest(starts, tick)
        begins = ended or text[:1] in _LINE_ENDS
        ended = text[-1:] in _LINE_ENDS
        plain = _plain(text)
        if abs(starts[number] - tick) > _NEAR * score.ticks or number in found:
            lost += [plain] * (plain not in ("", *_HELD))
        elif plain and plain not in _HELD:
            lines |= {number} if begins else set()
            found[number] = Syllable(plain.rstrip("-") or plain, join)
        ended = ended or (begins and not plain)
    _tell_lost(lost, remarks)
    return Words(found, frozenset(lines - {0}))


def _texts(score: MidiScore, track: int) -> tuple[tuple[int, str], ...]:
    tracks = [score.tracks[track], *score.tracks]
    texts = next((track.lyrics for track in tracks if track.lyrics), ())
    return tuple((tick, text) for tick, text in texts if text)


def _joining(texts: Sequence[str]) -> list[bool]:
    """Return of each text whether the next one continues its word."""
    plain = [_plain(text) for text in texts]
    if any(len(text) > 1 and text.endswith("-") for text in plain):
        return [text.endswith("-") for text in plain]
    blanks = [_has_blank(text) for text in texts]
    spaced = any(end or start for start, end in blanks)
    following = [start for start, _ in (*blanks[1:], (True, True))][: len(blanks)]
    return [
        spaced and not end and not start
        for (_, end), start in zip(blanks, following, strict=True)
    ]


def _has_blank(text: str) -> tuple[bool, bool]:
    ends = tuple(" \t" + _LINE_ENDS)
    return text.startswith(ends), text.endswith(ends)


def _plain(text: str) -> str:
    kept = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(kept.strip(" " + _LINE_ENDS).split())


def _nearest(starts: Sequence[int], tick: int) -> int:
    after = min(bisect_left(starts, tick), len(starts) - 1)
    before = max(after - 1, 0)
    number = min((before, after), key=lambda number: abs(starts[number] - tick))
    # Of grace notes and their note the note is sung.
    return bisect_right(starts, starts[number]) - 1


def _tell_lost(lost: Sequence[str], remarks: RemarkList) -> None:
    if lost:
        remarks.add(
            Code.WORDS,
            f"On no note of the tune, so left out: {count(len(lost), 'syllable')}, the "
            f'first "{lost[0][:20]}".',
        )
