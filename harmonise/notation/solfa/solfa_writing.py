"""A tune with its repeats written out, for notations that have no repeat signs.

Every bar stands where it is played; a bar that a repeat sign had split is whole again.
All verses stay under each playing: the page does not say which is sung when.

A tune into tonic sol-fa, so that reading it again gives the same tune.

It is written by the punctuation of the books of the 19th century, one line a phrase,
pulses in columns; octaves are marked as printed there, d¹ and d₁. What sol-fa cannot
say (grace notes, slurs, fermatas, beats in five parts, a silence of a quarter between
two notes) is refused, not dropped. Sol-fa has no repeat dots, so repeats and endings
are written out in full; `D.C.` and `Fine` without repeats stay words. Chord symbols
that are not locked are left out.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from fractions import Fraction
from itertools import zip_longest
from typing import NamedTuple

from harmonise.errors import Place
from harmonise.notation.solfa.pulses import Sounds, format_pulse
from harmonise.notation.solfa.solfa_names import (
    format_solfa_key,
    pattern_of,
    solfa_name,
    with_filling,
)
from harmonise.notation.tune_text.bar_sums import assert_lengths, typed_bars
from harmonise.notation.tune_text.lyrics import TypedPage
from harmonise.notation.tune_text.typed_lines import (
    IN_SOLFA,
    Beat,
    assert_plain,
    opening,
    passages_of,
    struck_in,
    unsayable,
)
from harmonise.theory.play_order import played_bars
from harmonise.theory.tune import Bar, ChordAt, KeyChange, Tempo, Tune, TuneNote


class _PlayedStretch(NamedTuple):
    """One bar of the page as it is played.

    Attributes:
        bar: The bar on the page.
        at: When it is played, in crotchets.
        jumped: Whether another bar stands before it on the page than in playing.
    """

    bar: Bar
    at: Fraction
    jumped: bool


def played_out(tune: Tune) -> Tune:
    """Return a tune that is played from its first bar to its last."""
    order = _order(tune)
    notes = _notes(tune, order)
    return tune._replace(
        notes=notes,
        bars=_bars(order),
        keys=_keys(tune, order),
        tempos=_tempos(tune, order),
        phrases=_phrases(tune, order),
        locks=_chords(tune.locks, order),
        symbols=_chords(tune.symbols, order),
        end_text=(),
    )


def _order(tune: Tune) -> list[_PlayedStretch]:
    found: list[_PlayedStretch] = []
    before = -1
    at = Fraction(0)
    for index in played_bars(tune):
        found.append(_PlayedStretch(tune.bars[index], at, index != before + 1))
        at += tune.bars[index].length
        before = index
    return found


def _bars(order: list[_PlayedStretch]) -> tuple[Bar, ...]:
    """Return plain bars with new numbers; parts that make one bar are joined."""
    found: list[Bar] = []
    for bar, at, _ in order:
        plain = Bar(0, at, bar.length, bar.time, double=bar.double, offset=bar.offset)
        if found and _goes_on(found[-1], plain):
            whole = found[-1].length + bar.length
            found[-1] = found[-1]._replace(length=whole, double=bar.double)
        else:
            found.append(plain._replace(section=bar.section))
    number = 0
    for index, bar in enumerate(found):
        number += not bar.offset
        found[index] = bar._replace(number=number)
    return tuple(found)


def _goes_on(before: Bar, bar: Bar) -> bool:
    filled = before.offset + before.length
    return bool(bar.offset) and filled == bar.offset and before.time == bar.time


def _notes(tune: Tune, order: list[_PlayedStretch]) -> tuple[TuneNote, ...]:
    """Return the notes as played; one that a jump cuts into is struck again."""
    found: list[TuneNote] = []
    for bar, at, jumped in order:
        first = bisect_right(tune.notes, bar.start, key=lambda note: note.onset) - 1
        last = bisect_left(tune.notes, bar.end, key=lambda note: note.onset)
        for note in tune.notes[first:last]:
            start, end = max(note.onset, bar.start), min(note.end, bar.end)
            held = note.onset < bar.start
            if held and found and (not jumped or found[-1].pitch == note.pitch):
                longer = found[-1].length + end - start
                found[-1] = found[-1]._replace(length=longer)
                continue
            silent = tuple(None for _ in note.syllables)
            syllables = silent if held else note.syllables
            moved = note._replace(onset=at + start - bar.start, length=end - start)
            found.append(moved._replace(syllables=syllables))
    return tuple(found)


def _keys(tune: Tune, order: list[_PlayedStretch]) -> tuple[KeyChange, ...]:
    found: list[KeyChange] = []
    for bar, at, _ in order:
        inside = [own for own in tune.keys if bar.start < own.onset < bar.end]
        marks = [KeyChange(bar.start, tune.key_at(bar.start)), *inside]
        for mark in marks:
            if not found or found[-1].key != mark.key:
                found.append(mark._replace(onset=at + mark.onset - bar.start))
    return tuple(found)


def _tempos(tune: Tune, order: list[_PlayedStretch]) -> tuple[Tempo, ...]:
    found: list[Tempo] = []
    for bar, at, _ in order:
        begun = [own for own in tune.tempos if own.onset <= bar.start][-1:]
        inside = [own for own in tune.tempos if bar.start < own.onset < bar.end]
        for mark in [*begun, *inside]:
            onset = at + max(mark.onset - bar.start, Fraction(0))
            moved = mark._replace(onset=onset)
            if not found or found[-1]._replace(onset=onset) != moved:
                found.append(moved)
    return tuple(found)


def _phrases(tune: Tune, order: list[_PlayedStretch]) -> tuple[Fraction, ...]:
    """Return the ends of phrases; the music before a jump back ends one, too."""
    found = {order[-1].at + order[-1].bar.length}
    for bar, at, jumped in order:
        inside = [end for end in tune.phrases if bar.start < end <= bar.end]
        found |= {at + end - bar.start for end in inside}
        if jumped and at and not bar.ending:
            found.add(at)
    return tuple(sorted(found))


def _chords(
    chords: tuple[ChordAt, ...], order: list[_PlayedStretch]
) -> tuple[ChordAt, ...]:
    found: list[ChordAt] = []
    for bar, at, jumped in order:
        for own in chords:
            if own.end <= bar.start or own.onset >= bar.end:
                continue
            start, end = max(own.onset, bar.start), min(own.end, bar.end)
            move = at - bar.start
            if own.onset < bar.start and found and not jumped:
                found[-1] = found[-1]._replace(end=end + move)
            else:
                found.append(ChordAt(start + move, end + move, own.chord))
    return tuple(found)


_JUMPS = ("D.C.", "D.C. al Fine", "Fine")


def format_solfa(tune: Tune) -> str:
    r"""Return a tune as tonic sol-fa; `parse_solfa` reads it back.

    Notes, bars, words, keys, tempos, locked chords and jump words come back as they
    were, repeats written out; silences within a bar are joined. A line ends at each
    phrase end that falls on a beat and where key, time or tempo change.

    Raises:
        OutputError: If the tune holds what sol-fa cannot say; the place is named.

    >>> from harmonise.notation.tune_text.tune_text import parse_tune_text
    >>> print(format_solfa(parse_tune_text("Key: G\nG A.B C5 -.F# | G - - 0 |")[0]))
    Doh: G
    Time: 4/4
    | d :r.m ! f :-.t₁ | d :- ! - : |
    <BLANKLINE>
    """
    if _needs_playing_out(tune):
        tune = played_out(tune)
    tune = with_filling(tune)
    _assert_sayable(tune)
    beats = [
        beat
        for number, bar in enumerate(tune.bars)
        for beat in _beats(tune, number, bar)
    ]
    passages = passages_of(tune, beats, IN_SOLFA)
    rows = _aligned([_columns(tune, passage) for passage in passages])
    page = TypedPage(tune, IN_SOLFA, format_solfa_key)
    return "\n".join([*opening(tune), *page.lines(passages, rows)]) + "\n"


def _needs_playing_out(tune: Tune) -> bool:
    """Whether repeats, or jump words that sol-fa has not, send the player about."""
    repeats = any(
        bar.repeat_start or bar.repeat_end > 1 or bar.ending for bar in tune.bars
    )
    ends = {bar.end for bar in tune.bars}
    plain = all(text in _JUMPS and at in ends for at, text in tune.end_text)
    return repeats or not plain


def _assert_sayable(tune: Tune) -> None:
    assert_plain(tune, IN_SOLFA, lambda _: {}, _signs_of_bar)
    _assert_bars(tune)


def _signs_of_bar(bar: Bar, _after: Bar | None) -> dict[str, object]:
    return {f"a bar of {bar.time}": not pattern_of(bar.time)}


def _assert_bars(tune: Tune) -> None:
    """Guard that bars are whole, or short where a reader knows them again."""
    typed = typed_bars(tune)
    for own, bar in zip(typed, tune.bars, strict=True):
        if (own.number, own.offset * bar.time.unit) != (bar.number, bar.offset):
            raise unsayable(
                Place(bar.number), "a bar of this length or number", IN_SOLFA
            )
    assert_lengths(tune, typed, IN_SOLFA)


def _beats(tune: Tune, number: int, bar: Bar) -> Iterator[Beat]:
    """Return the pulses of a bar."""
    unit = bar.time.unit
    struck = struck_in(tune, bar.start, bar.end)
    silent = _is_silent(tune, bar.start)
    for count in range(int(bar.length / unit)):
        start = bar.start + unit * count
        inside = [note for note in struck if start <= note.onset < start + unit]
        names = {(note.onset - start) / unit: _name(tune, note) for note in inside}
        text = format_pulse(Sounds(names, silent))
        if text is None:
            raise unsayable(tune.place(start), _what(names), IN_SOLFA)
        yield Beat(number, start, text)
        silent = not inside[-1].pitch if inside else silent


def _is_silent(tune: Tune, onset: Fraction) -> bool:
    """Return whether a silence comes over the bar line."""
    index = bisect_left(tune.notes, onset, key=lambda note: note.onset)
    return index > 0 and tune.notes[index - 1].pitch is None


def _what(names: dict[Fraction, str]) -> str:
    parts = max((at.denominator for at in names), default=1)
    if parts in (1, 2, 3, 4):
        return "this division of a beat"
    return f"a beat in {parts} parts"


def _name(tune: Tune, note: TuneNote) -> str:
    """Return the name of a note, "" for a silence."""
    if not note.pitch:
        return ""
    name = solfa_name(note.pitch, tune.key_at(note.onset))
    if not name:
        what = f"{note.pitch} in {tune.key_at(note.onset)}"
        raise unsayable(tune.place(note.onset), what, IN_SOLFA)
    return name


def _columns(tune: Tune, passage: list[Beat]) -> list[str]:
    """Return the pulses of a line with their accents, and the bar line at its end."""
    found: list[str] = []
    for beat in passage:
        bar = tune.bars[beat.bar]
        accent = _accent(tune, beat)
        if found[-1:] == ["||"] and accent == "| " and beat.text:
            accent = ""  # A double bar is an accent, too.
        found.append(accent + beat.text)
        if beat.onset + bar.time.unit == bar.end:
            found[-1] += _jump(tune, bar, found[-1])
            if bar.double:
                found.append("||")
            elif bar.end == tune.end:
                found.append("|")
    return found


def _accent(tune: Tune, beat: Beat) -> str:
    bar = tune.bars[beat.bar]
    at = int((bar.offset + beat.onset - bar.start) / bar.time.unit)
    accent = pattern_of(bar.time)[at]
    return accent if accent == ":" else f"{accent} "


def _jump(tune: Tune, bar: Bar, pulse: str) -> str:
    """Return the jump word at the end of a bar, with a blank in front."""
    words = [text for onset, text in tune.end_text if onset == bar.end]
    text = " ".join(words)
    if len(words) > 1 or (text and pulse == "| "):
        raise unsayable(Place(bar.number), f'"{text}" in this bar', IN_SOLFA)
    return f" {text}" if text else ""


def _aligned(rows: list[list[str]]) -> list[str]:
    """Return the lines with their pulses in columns.

    Lines that begin with the same accent share their columns.
    """
    widths = {
        accent: [
            max(map(len, columns))
            for columns in zip_longest(
                *(row for row in rows if row[0][0] == accent), fillvalue=""
            )
        ]
        for accent in {row[0][0] for row in rows}
    }
    return [" ".join(map(str.ljust, row, widths[row[0][0]])).rstrip() for row in rows]
