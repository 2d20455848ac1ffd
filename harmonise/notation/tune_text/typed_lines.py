"""Typed text into sheets and back: headers, lines of the tune, what stands under them.

Word processors and web pages leave curly quotes, music signs, non-breaking spaces,
tabs, byte-order marks and Windows line ends behind; all are read as what they mean.
Where a tune is written, a line ends at each phrase end that falls on a beat and where
key, time or tempo change. All this tune text and sol-fa have in common.
"""

import re
from bisect import bisect_left
from collections.abc import Callable
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import (
    SAMPLE_LINE,
    MelodyError,
    NotationError,
    OutputError,
    Place,
    seen_at,
)
from harmonise.notation.tune_text.typed_headers import (
    TempoText,
    TypedLine,
    fault,
    header_kind,
    key_value,
    octave_value,
    signature_value,
    tempo_value,
    time_value,
)
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tempo, Tune, TuneNote

MOST_BYTES = 2_000_000
MOST_TUNES = 1_000

_NAME = re.compile(r"[^\W\d_][\w -]*$")
_REMARK = re.compile(r"(?<!\\)%.*")
_MUSIC = str.maketrans("’‘‛′ʼ´`–—−‐‑‚∣｜♩", "''''''" + "'-----,|| ")
"""Signs that keyboards and word processors put in place of ours."""
_SPACES = dict.fromkeys(map(ord, "\t\u00a0\u2007\u202f\u2009\u3000"), " ")
_SPACES |= dict.fromkeys(map(ord, "\ufeff\u200b\u200c\u200d\u00ad"), "")
_LINE_END = re.compile(r"\r\n|[\n\r\x0b\x0c\u2028\u2029\x85]")
_SHORT = ("Key", "Time", "Tempo", "Octave", "Signature")
_LONGEST_VALUE = 80
_ONCE = ("Title", "Origin", "Octave", "Signature")
IN_TUNE_TEXT, IN_SOLFA = "typed in tune text", "written in sol-fa"
"""How sentences name the two notations that are typed."""


class TextKind(NamedTuple):
    """How one notation reads the lines of its text.

    Attributes:
        line: Gives a line its kind, from its number and its text.
        tokens: Splits a line of the tune.
        key: Reads the value of a header of the kind "Key".
        time: Time signature while no line tells one.
        example: A line of a tune, for those who typed none.
    """

    line: Callable[[int, str], TypedLine]
    tokens: Callable[[str], list[str]]
    key: Callable[[TypedLine], Key]
    time: TimeSignature
    example: str


class TypedPassage(NamedTuple):
    """One line of the tune with what stands under it.

    Attributes:
        line: Its number in the text.
        tokens: Its words and bar lines.
        time: Time signature in force.
        key: Key in force; None when no line has told one.
        tempo: Tempo that begins here, if one does.
        words: The `Words:` lines under it, one a verse.
        chords: The `Chords:` lines under it; at most one.
    """

    line: int
    tokens: list[str]
    time: TimeSignature
    key: Key | None
    tempo: TempoText | None
    words: list[TypedLine]
    chords: list[TypedLine]


class TypedSheet(NamedTuple):
    """The lines of one tune.

    Attributes:
        title: "" if it has none.
        origin: "" if none is told.
        octave: Octave of bare letters and of the keynote of numbers.
        signature: Whether letters are read under the key signature.
        passages: The lines of the tune; never empty.
    """

    title: str
    origin: str
    octave: int
    signature: bool
    passages: list[TypedPassage]


def parse_sheets(text: str, text_kind: TextKind | None = None) -> list[TypedSheet]:
    """Return the tunes of a text as sheets.

    Args:
        text: The text.
        text_kind: How its lines are read; tune text if None.

    Raises:
        NotationError: If the text is no text, too long, or a header is wrong.
        MelodyError: E24, if a tune has no notes.
    """
    text_kind = text_kind or _TUNE_TEXT
    _assert_text(text)
    groups: list[list[TypedLine]] = [[]]
    for line in _lines(text, text_kind):
        # Only a title after a tune, or after another title, begins the next tune.
        if line.kind == "Title" and any(
            other.kind in ("tune", "Title") for other in groups[-1]
        ):
            groups.append([])
        groups[-1].append(line)
    if len(groups) > MOST_TUNES:
        what = f"The text holds {len(groups)} tunes; at most 1,000 are read."
        raise NotationError(what, None, "Split it into several files.")
    return [_sheet(group, text_kind) for group in groups]


def is_tune_line(text: str) -> bool:
    """Whether a line of a text holds notes, rests or bar lines of its tune.

    >>> is_tune_line("C D E F |"), is_tune_line("Words: la la la la")
    (True, False)
    """
    return any(line.kind == "tune" for line in _lines(text, _TUNE_TEXT))


def no_tune(line: int = 0, example: str = SAMPLE_LINE) -> MelodyError:
    """Return the error of a text without a tune (E24)."""
    remedy = f"Type one line such as: {example}"
    if line:
        remedy = f"{remedy} {seen_at(line)}"
    return MelodyError("There is no tune yet.", None, remedy)


def _assert_text(text: str) -> None:
    # Counting bytes of an endless text would itself take long.
    size = len(text) if len(text) > MOST_BYTES else len(text.encode(errors="replace"))
    if size > MOST_BYTES:
        what = f"The text is {size / 1_000_000:.1f} MB long; at most 2 MB are read."
        raise NotationError(what, None, "Split it into several files.")
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        what = "This is not a text: it holds bytes that no keyboard types."
        raise fault(what, line, remedy="Save it as plain text.")


def _lines(text: str, text_kind: TextKind) -> list[TypedLine]:
    lines = []
    for number, raw in enumerate(_LINE_END.split(text), 1):
        plain = raw.translate(_SPACES)
        # A % begins a remark, as in ABC; with a backslash it is a letter.
        if "%" in plain:
            plain = _REMARK.sub("", plain).replace(r"\%", "%")
        if plain and not plain.isspace():
            lines.append(text_kind.line(number, plain))
    return lines


def _line(number: int, plain: str) -> TypedLine:
    name, _, value = plain.partition(":")
    name, value = name.strip(), value.strip()
    if not _is_header(name, plain):
        return TypedLine(number, "tune", plain.translate(_MUSIC).strip())
    kind = header_kind(name, number)
    # Titles and words keep the quotes and dashes that were typed.
    if kind not in ("Title", "Origin", "Tempo", "Words"):
        value = value.translate(_MUSIC)
    return short_enough(TypedLine(number, kind, value))


def short_enough(line: TypedLine) -> TypedLine:
    """Return a line whose header has no endless value.

    Raises:
        NotationError: If it has.
    """
    if line.kind in _SHORT and len(line.text) > _LONGEST_VALUE:
        what = f"{line.shown}: has a value too long to be one."
        raise fault(what, line.number, line.text)
    return line


def _is_header(name: str, plain: str) -> bool:
    """Whether a name and a colon stand in front; ":|" and "::" are no such colons."""
    before, colon, after = plain.partition(":")
    # ":|" and "::" are bar lines.
    if not colon or after[:1] in ("|", ":") or len(before) > _LONGEST_VALUE:
        return False
    # No header has a word of one letter, and every line of notes has, as "C D E F: G".
    words = name.split()
    is_beats = len(words) > 1 and any(len(word) == 1 for word in words)
    return bool(_NAME.match(name)) and not is_beats


def _sheet(lines: list[TypedLine], text_kind: TextKind) -> TypedSheet:
    """Gather the lines of one tune; a header holds from the next tune line on."""
    once: dict[str, TypedLine] = {}
    waiting: dict[str, TypedLine] = {}
    passages: list[TypedPassage] = []
    for line in lines:
        if line.kind == "tune":
            passages.append(_passage(line, waiting, passages, text_kind))
            waiting = {}
        elif line.kind in ("Words", "Chords"):
            _put_under(line, passages)
        else:
            _put_above(line, once if line.kind in _ONCE else waiting, passages)
    if not passages:
        titled = lines and lines[0].kind == "Title"
        raise no_tune(lines[0].number if titled else 0, text_kind.example)
    if waiting:
        line = next(iter(waiting.values()))
        what = f"{line.shown}: stands after the tune."
        raise fault(what, line.number, remedy="Put it above the line that it is for.")
    signature = "Signature" in once and signature_value(once["Signature"])
    if signature and passages[0].key is None:
        what, line = "Signature: on needs a key.", once["Signature"]
        raise fault(what, line.number, remedy="Add a line such as Key: G.")
    return TypedSheet(
        title=once["Title"].text if "Title" in once else "",
        origin=once["Origin"].text if "Origin" in once else "",
        octave=octave_value(once["Octave"]) if "Octave" in once else 4,
        signature=signature,
        passages=passages,
    )


def _passage(
    line: TypedLine,
    waiting: dict[str, TypedLine],
    passages: list[TypedPassage],
    text_kind: TextKind,
) -> TypedPassage:
    time = passages[-1].time if passages else text_kind.time
    key = passages[-1].key if passages else None
    tempo = None
    if waiting:
        time = time_value(waiting["Time"]) if "Time" in waiting else time
        key = text_kind.key(waiting["Key"]) if "Key" in waiting else key
        tempo = tempo_value(waiting["Tempo"]) if "Tempo" in waiting else None
    return TypedPassage(
        line.number, text_kind.tokens(line.text), time, key, tempo, [], []
    )


def _put_under(line: TypedLine, passages: list[TypedPassage]) -> None:
    if not passages:
        remedy = "Put it under the line of the tune that it belongs to."
        raise fault(f"{line.kind}: stands above the tune.", line.number, remedy=remedy)
    if line.kind == "Words":
        passages[-1].words.append(line)
        return
    if passages[-1].chords:
        what = "There are two Chords: lines under one line of the tune."
        raise fault(what, line.number, remedy="Keep one.")
    passages[-1].chords.append(line)


def _put_above(
    line: TypedLine, shelf: dict[str, TypedLine], passages: list[TypedPassage]
) -> None:
    if line.kind in shelf:
        what = f"{line.shown}: is given twice, first on line {shelf[line.kind].number}."
        raise fault(what, line.number, remedy="Keep one.")
    # They say how all the text is read, so they cannot change on the way.
    if passages and line.kind in ("Octave", "Signature"):
        what = f"{line.kind}: holds for the whole tune."
        remedy = "Put it above the first line of the tune."
        raise fault(what, line.number, remedy=remedy)
    shelf[line.kind] = line


_TUNE_TEXT = TextKind(_line, str.split, key_value, TimeSignature(4, 4), SAMPLE_LINE)


class Beat(NamedTuple):
    """One beat of the text.

    Attributes:
        bar: Number of its bar in the tune, from 0.
        onset: Crotchets from the start.
        text: As typed.
    """

    bar: int
    onset: Fraction
    text: str


def unsayable(place: Place, what: str, notation: str = IN_TUNE_TEXT) -> OutputError:
    """Return the error of something that a notation has no sign for."""
    remedy = "Write MusicXML instead."
    return OutputError(f"{what} cannot be {notation}.", place, remedy)


def assert_plain(
    tune: Tune,
    notation: str,
    of_note: Callable[[TuneNote], dict[str, object]],
    of_bar: Callable[[Bar, Bar | None], dict[str, object]],
) -> None:
    """Guard that notes and bars bear nothing that has no sign in a notation.

    Args:
        tune: The tune.
        notation: How sentences name it.
        of_note: What it has no sign for besides, and whether a note bears it.
        of_bar: The same of a bar and the one after it.

    Raises:
        OutputError: If one does; the first place is named, notes before bars.
    """
    for note in tune.notes:
        signs = {
            "a grace note": note.graces,
            "a slur": note.slur_starts or note.slur_ends,
            "a fermata": note.fermata,
            **of_note(note),
        }
        _refuse(signs, tune.place(note.onset), notation)
    for bar, after in zip(tune.bars, [*tune.bars[1:], None], strict=True):
        signs = {
            "a section name": bar.section,
            "a bar with a part of a beat": (bar.length / bar.time.unit).denominator > 1,
            **of_bar(bar, after),
        }
        _refuse(signs, Place(bar.number), notation)


def _refuse(signs: dict[str, object], place: Place, notation: str) -> None:
    for what, found in signs.items():
        if found:
            raise unsayable(place, what, notation)


def opening(tune: Tune) -> list[str]:
    """Return the headers of a whole tune: title and origin."""
    heads = (("Title", tune.title), ("Origin", tune.origin))
    return [f"{name}: {_one_line(text)}" for name, text in heads if text]


def tempo_lines(tune: Tune, onset: Fraction) -> list[str]:
    """Return the `Tempo:` lines of what begins at an onset."""
    return [
        f"Tempo: {_tempo_text(tune, tempo)}"
        for tempo in tune.tempos
        if tempo.onset == onset
    ]


def _tempo_text(tune: Tune, tempo: Tempo) -> str:
    """Return the value of a `Tempo:` line.

    Raises:
        OutputError: If its reader would take it for another tempo.
    """
    words = " ".join(tempo.words.split())
    if tempo.per_minute is None:
        text, wanted = words, TempoText(None, words)
    else:
        words = words.rstrip(" ,=(")
        number = f"{float(tempo.per_minute):.4f}".rstrip("0").rstrip(".")
        beat = None if tempo.beat == tune.bar_at(tempo.onset).time.beat else tempo.beat
        # A bare number counts the beat of the bar.
        note = f"{beat.numerator}/{4 * beat.denominator} = " if beat else ""
        text = f"{words} {note}{number}".strip()
        wanted = TempoText(Fraction(number), words, beat)
    try:
        read = tempo_value(TypedLine(0, "Tempo", text))
    except NotationError:
        read = None
    if read != wanted:
        raise unsayable(tune.place(tempo.onset), "this tempo")
    return _one_line(text)


def time_lines(tune: Tune, onset: Fraction) -> list[str]:
    """Return the `Time:` line of what begins at an onset, if time changes there."""
    bar = tune.bar_at(onset)
    before = tune.bar_at(onset - bar.time.unit / 64) if onset else None
    return [f"Time: {bar.time}"] if not before or before.time != bar.time else []


def new_keys(tune: Tune, onset: Fraction) -> list[Key]:
    """Return the key that begins at an onset, if one does."""
    return [change.key for change in tune.keys if change.onset == onset]


def passages_of(
    tune: Tune, beats: list[Beat], notation: str = IN_TUNE_TEXT
) -> list[list[Beat]]:
    """Return the beats line by line.

    Raises:
        OutputError: If the key changes inside a beat.
    """
    # Headers stand between lines, so a change begins a line.
    breaks = {change.onset for change in tune.keys} | set(tune.phrases)
    breaks |= {tempo.onset for tempo in tune.tempos}
    for before, bar in zip(tune.bars, tune.bars[1:], strict=False):
        if before.time != bar.time:
            breaks.add(bar.start)
    onsets = {beat.onset for beat in beats}
    for change in tune.keys:
        if change.onset not in onsets:
            place = tune.place(change.onset)
            raise unsayable(place, "a key change inside a beat", notation)
    passages: list[list[Beat]] = []
    for beat in beats:
        if not passages or beat.onset in breaks:
            passages.append([])
        passages[-1].append(beat)
    return passages


def end_of(tune: Tune, passage: list[Beat]) -> Fraction:
    """Return where a line ends, in crotchets."""
    return passage[-1].onset + tune.bars[passage[-1].bar].time.unit


def struck_in(tune: Tune, start: Fraction, end: Fraction) -> list[TuneNote]:
    """Return the notes and rests that begin in a stretch."""
    first = bisect_left(tune.notes, start, key=lambda note: note.onset)
    last = bisect_left(tune.notes, end, first, key=lambda note: note.onset)
    return list(tune.notes[first:last])


def _one_line(text: str) -> str:
    return " ".join(text.replace("%", "\\%").split())
