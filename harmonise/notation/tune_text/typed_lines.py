"""Typed text into sheets: headers, lines of the tune, what stands under them.

Word processors and web pages leave curly quotes, music signs, non-breaking spaces,
tabs, byte-order marks and Windows line ends behind; all are read as what they mean.
All this tune text and sol-fa have in common.
"""

import re
from collections.abc import Callable
from itertools import takewhile
from typing import NamedTuple

from harmonise.errors import (
    SAMPLE_LINE,
    MelodyError,
    NotationError,
    Remark,
    seen_at,
)
from harmonise.notation.tune_text.typed_headers import (
    AS_TYPED,
    TempoText,
    TypedLine,
    header_kind,
    key_value,
    octave_value,
    section_name,
    section_value,
    signature_value,
    split_header,
    tempo_value,
    time_value,
)
from harmonise.notation.tune_text.word_faults import (
    fault,
    is_prose,
)
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature

MOST_BYTES = 2_000_000
MOST_TUNES = 1_000
UNNAMED = "no header"
"""The name of a line that bears none."""

_NAME = re.compile(r"[^\W\d_][\w -]*$")
_REMARK = re.compile(r"(?<!\\)%.*")
_MUSIC = str.maketrans("’‘‛′ʼ´`–—−‐‑‚∣｜♩", "''''''" + "'-----,|| ")
"""Signs that keyboards and word processors put in place of ours."""
_SPACES = dict.fromkeys(map(ord, "\t\u00a0\u2007\u202f\u2009\u3000"), " ")
_SPACES |= dict.fromkeys(map(ord, "\ufeff\u200b\u200c\u200d\u00ad"), "")
_LINE_END = re.compile(r"\r\n|[\n\r\x0b\x0c\u2028\u2029\x85]")
_SHORT = ("Key", "Time", "Tempo", "Octave", "Signature", "Section")
_LONGEST_VALUE = 80
_ONCE = ("Title", "Composer", "Origin", "Octave", "Signature")


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
        section: Name of the section that begins here; "" if none does.
        words: The `Words:` lines under it, one a verse.
        chords: The `Chords:` lines under it; at most one.
    """

    line: int
    tokens: list[str]
    time: TimeSignature
    key: Key | None
    tempo: TempoText | None
    section: str
    words: list[TypedLine]
    chords: list[TypedLine]


class TypedSheet(NamedTuple):
    """The lines of one tune.

    Attributes:
        title: "" if it has none.
        composer: "" if none is told.
        origin: "" if none is told.
        octave: Octave of bare letters and of the keynote of numbers.
        signature: Whether letters are read under the key signature.
        timed: Whether any line tells its time.
        passages: The lines of the tune; never empty.
        remarks: What is to be told of how its lines were read.
    """

    title: str
    composer: str
    origin: str
    octave: int
    signature: bool
    timed: bool
    passages: list[TypedPassage]
    remarks: list[Remark]


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
    lines = _lines(text, text_kind)
    for line in _with_prose(lines) if text_kind is _TUNE_TEXT else lines:
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


def _with_prose(lines: list[TypedLine]) -> list[TypedLine]:
    """Return lines with those that are no music as what they are without a header.

    The first line of a text is its title, one under notes has the words of the song.
    """
    known: list[TypedLine] = []
    heads = list(takewhile(lambda line: line.kind != "tune", lines[1:]))
    is_titled = not lines[1:] or any(line.kind == "Title" for line in heads)
    for at, line in enumerate(lines):
        under = known and known[-1].kind in ("tune", "Words", "Chords")
        kind = "Words" if under else "" if at or is_titled else "Title"
        if line.kind == "tune" and kind and is_prose(line.text):
            line = TypedLine(line.number, kind, line.text, UNNAMED)  # noqa: PLW2901
        known.append(line)
    return known


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
        what = "This is no text, MIDI or MusicXML: no keyboard types what it holds."
        raise fault(what, line, remedy="Save it again as one of them.")


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
    if section := section_name(plain):
        return TypedLine(number, "Section", section)
    name, _, value = plain.partition(":")
    name, value = name.strip(), value.strip()
    if bare := split_header(plain):
        name, value = bare
    elif not _is_header(name, plain):
        return TypedLine(number, "tune", plain.translate(_MUSIC).strip())
    kind = header_kind(name, number)
    if kind not in AS_TYPED:
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
    remarks = [_read_as(line) for line in lines if line.name == UNNAMED]
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
    title, composer, origin = (
        once[name].text if name in once else "" for name in _ONCE[:3]
    )
    return TypedSheet(
        title=title,
        composer=composer,
        origin=origin,
        octave=octave_value(once["Octave"]) if "Octave" in once else 4,
        signature=signature,
        timed=any(line.kind == "Time" for line in lines),
        passages=passages,
        remarks=remarks,
    )


def _read_as(line: TypedLine) -> Remark:
    """Return the remark about a line whose header was left out (E30)."""
    read = "the title" if line.kind == "Title" else "words of the song"
    what = f"Line {line.number} is read as {read}."
    return Remark("E30", what, None, f"Type {line.kind}: in front of it.")


def _passage(
    line: TypedLine,
    waiting: dict[str, TypedLine],
    passages: list[TypedPassage],
    text_kind: TextKind,
) -> TypedPassage:
    time = passages[-1].time if passages else text_kind.time
    key = passages[-1].key if passages else None
    tempo, section = None, ""
    if waiting:
        time = time_value(waiting["Time"]) if "Time" in waiting else time
        key = text_kind.key(waiting["Key"]) if "Key" in waiting else key
        tempo = tempo_value(waiting["Tempo"]) if "Tempo" in waiting else None
        section = section_value(waiting["Section"]) if "Section" in waiting else ""
    tokens = text_kind.tokens(line.text)
    return TypedPassage(line.number, tokens, time, key, tempo, section, [], [])


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


_PIECES = re.compile(
    r":\|?\|?:|:\|\||\|\|:|\|\||\|:|:\||\||\[[1-9](?:,[1-9])*|[^|:\[\]]+"
)
_TWO = {
    **dict.fromkeys((":|:", "::", ":||:"), (":|", "|:")),
    ":||": (":|", "||"),
    "||:": ("||", "|:"),
}
"""Bar lines that books print as one and that are two here."""


def _tokens(text: str) -> list[str]:
    """Return beats, bar lines and endings; a bar line needs no blanks around it.

    >>> _tokens("|C D:|[2 E|]")
    ['|', 'C', 'D', ':|', '[2', 'E|]']
    """
    tokens: list[str] = []
    for word in text.split():
        # Most words are beats and need no look inside.
        signs = "|" in word or "[" in word or "::" in word
        pieces = _PIECES.findall(word) if signs else [word]
        # What does not come apart without a rest is told as it was typed.
        pieces = pieces if "".join(pieces) == word else [word]
        tokens += [sign for piece in pieces for sign in _TWO.get(piece, (piece,))]
    return tokens


_TUNE_TEXT = TextKind(_line, _tokens, key_value, TimeSignature(4, 4), SAMPLE_LINE)
