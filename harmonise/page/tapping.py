r"""Tapped notes become typed tune text: text in, text out.

A beat that is not full yet is filled up with a rest, whose place the next note takes,
so that the text can be read at any moment. How much of its last beat was tapped goes
along with the text; without that, a rest at the end could not be told from one that is
meant.
"""

import re
from collections.abc import Sequence
from fractions import Fraction
from itertools import accumulate

from msgspec import Struct, field

from harmonise.errors import NotationError
from harmonise.notation.formats import FORMATS, format_of
from harmonise.notation.midi.spelling import spell
from harmonise.notation.tune_text.typed_bars import BAR_LINES
from harmonise.notation.tune_text.typed_headers import HEADERS
from harmonise.notation.tune_text.typed_lines import (
    TypedSheet,
    is_tune_line,
    parse_sheets,
)
from harmonise.notation.tune_text.typed_notes import kind_of, typed_word
from harmonise.notation.tune_text.word_faults import (
    NoteKind,
)
from harmonise.page.beats import (
    HOLD,
    REST,
    Part,
    joined,
    length_of,
    word_of,
)
from harmonise.page.caret import (
    is_in_tune,
    letters,
    mark_put_in,
    put_in,
    typed_notes,
    units,
)
from harmonise.page.offers import BLANK
from harmonise.page.requests import Stretch, TapRequest
from harmonise.page.sung_taps import words_kept
from harmonise.theory.key import Key
from harmonise.theory.pitch import PitchName
from harmonise.theory.tune import Tune

BAR_LINE, LINE_END, REPEAT_END = "|", "\n", ":|"
_NOTE = re.compile(r"[A-Za-z1-8]")
_HEADER = r"(?im)^([^\S\n]*{}[^\S\n]*:).*$"
_NOTHING_YET = "Tap a note first."


class TappedText(Struct, frozen=True, forbid_unknown_fields=True):
    """A text that is being tapped.

    Attributes:
        text: The text.
        taken: How much of its last beat was tapped; 0 if all of it was.
        at: From where to where the note stands that gave way to another, or twice the
            place behind what was put in; None if something was put at the end.
    """

    text: str
    taken: Fraction = field(default_factory=Fraction)
    at: Stretch | None = None


def tapped(asked: TapRequest) -> TappedText:
    r"""Return a text with something put at its end, at a caret, or a time at its top.

    Raises:
        NotationError: If this text cannot be tapped into.

    >>> tapped(TapRequest("Key: G\nG A", 66, Fraction(1, 2)))
    TappedText(text='Key: G\nG A F#.0', taken=Fraction(1, 2), at=None)
    """
    put, text = asked.put, asked.text if asked.text.strip() else BLANK
    row = format_of(text.encode())
    if row is not FORMATS[-1]:
        raise NotationError(
            f"Tapping writes letters, and this tune is in {row.name}.",
            None,
            "Begin with an empty page to tap one.",
        )
    if put not in (REST, HOLD, BAR_LINE, LINE_END) and isinstance(put, str):
        return TappedText(_with_time(text, put))
    if asked.at and (changed := _changed(text, asked.at, put, asked.length)):
        return changed
    if put in (BAR_LINE, LINE_END):
        return TappedText(_ended(text, str(put)))
    base, parts = _opened(text, asked.taken)
    sheet = last_sheet(base)
    if put == HOLD and not (parts or _begun(sheet)):
        raise NotationError(_NOTHING_YET)
    sign = put if isinstance(put, str) else _named(put, sheet)
    return _laid(base, parts, (sign, asked.length / sheet.passages[-1].time.unit))


def _changed(
    text: str, at: Stretch, put: int | str, length: Fraction
) -> TappedText | None:
    r"""Return a text with a note in the place of another, or one more at the caret.

    A note that gives way keeps its length. None where the caret is behind the tune.

    >>> _changed("Key: G\nG A.B C5", (11, 12), 66, Fraction(1))
    TappedText(text='Key: G\nG A.F# C5', taken=Fraction(0, 1), at=(11, 13))
    >>> _changed("Key: G\nG A B C5 |", (10, 10), 66, Fraction(1))
    TappedText(text='Key: G\nG A F# B | C5 0 0 0 |', taken=Fraction(0, 1), at=(13, 13))
    """
    at = (min(at), max(at))
    end = letters(text, at[1])
    sheet = last_sheet(text[:end].rpartition("\n")[0] or text)
    sign = put if isinstance(put, str) else _named(put, sheet)
    notes = list(typed_notes(text))
    if at in notes and put not in (BAR_LINE, LINE_END):
        changed = f"{text[: letters(text, at[0])]}{sign}{text[end:]}"
        changed = words_kept(text, changed, notes.index(at))
        return TappedText(changed, at=(at[0], at[0] + len(sign)))
    if not is_in_tune(text, end):
        return None
    if put in (BAR_LINE, LINE_END):
        changed, place = mark_put_in(text, end, sign)
    else:
        time = sheet.passages[-1].time
        changed, place = put_in(text, end, (sign, length / time.unit), time.beats)
        # Words stand below their notes, so the place in the line stays the same unless
        # those of a line above have changed.
        line = changed[:place].count("\n")
        column = place - changed.rfind("\n", 0, place) - 1
        before = sum(start < at[1] for start, _ in notes)
        changed = words_kept(text, changed, before)
        place = sum(len(row) + 1 for row in changed.split("\n")[:line]) + column
    caret = units(changed[:place])
    return TappedText(changed, at=(caret, caret))


def note_places(text: str, tunes: Sequence[Tune]) -> list[tuple[Stretch, ...]]:
    r"""Return where each note of each tune stands in a typed text.

    Args:
        text: The text.
        tunes: The tunes that were read of it.

    Returns:
        From where to where, as browsers count letters; () where notes and words of the
        text do not agree, such as in texts that are not tune text.

    >>> from harmonise import read_tune
    >>> text = "Key: C\nTime: 3/4\nC E.D -"
    >>> note_places(text, [read_tune(text)])
    [((17, 18), (19, 20), (21, 22))]
    """
    counts = [len(tune.sounding) for tune in tunes]
    is_ours = format_of(text.encode()) is FORMATS[-1]
    found = list(typed_notes(text)) if is_ours else []
    if len(found) != sum(counts):
        return [()] * len(tunes)
    ends = [*accumulate(counts)]
    return [
        tuple(found[end - count : end]) for end, count in zip(ends, counts, strict=True)
    ]


def filled_up(text: str) -> str:
    r"""Return a tapped text with rests in its last bar, so that it can be read.

    The last bar stays short if it gives back the beats of a pickup, and a pickup alone
    is given a bar of rest, without which it would be no pickup.

    >>> filled_up("Key: C\nTime: 3/4\nC | D E F | G").splitlines()[-1]
    'C | D E F | G 0 0'
    >>> filled_up("Key: C\nTime: 3/4\nC | D E F | G A").splitlines()[-1]
    'C | D E F | G A'

    A text of another kind is what it is.

    >>> filled_up("X:1\nL:1/4\nK:C\nC D")[-3:]
    'C D'
    """
    if format_of(text.encode()) is not FORMATS[-1]:
        return text
    sheet = last_sheet(text)
    beats = sheet.passages[-1].time.beats
    *closed, last = _beats_of_bars(sheet)
    pickup = closed[0] if closed and closed[0] < beats else 0
    owed = pickup if len(closed) > 1 else 0
    is_alone = pickup > 0 and len(closed) == 1
    missing = beats - last if last or is_alone else 0
    if not (missing <= 0 or (last and missing == owed) or not _begun(sheet)):
        text = _append(text, " ".join([REST] * missing))
    return _append(text, REPEAT_END) if _repeats(sheet) else text


def _repeats(sheet: TypedSheet) -> bool:
    """Whether a repeat has begun whose end is not typed yet."""
    words = [word for passage in sheet.passages[:-1] for word in passage.tokens]
    signs = [word for word in words if ":" in word]
    return bool(signs) and signs[-1].endswith(":") and words[-1] != signs[-1]


def last_sheet(text: str) -> TypedSheet:
    """Return the last tune of a text with one rest more, on a line of its own.

    So there always is a line, and key and time in force at the end are those of it.

    Raises:
        NotationError: If a line of the text cannot be read.
    """
    return parse_sheets(f"{text}\n{REST}")[-1]


def is_blank(text: str) -> bool:
    """Whether nothing but headers is typed."""
    if format_of(text.encode()) is not FORMATS[-1]:
        return False
    # A first line without a header may become a title, but is no empty page.
    *lines, last = text.split("\n")
    # The name of a header is typed before its colon.
    is_begun = len(last) > 1 and any(name.startswith(last) for name in HEADERS)
    return not any(map(is_tune_line, lines if is_begun else [*lines, last]))


def _begun(sheet: TypedSheet) -> str:
    """Return the first letter or number of a note; "" if there is no note yet."""
    words = [word for passage in sheet.passages[:-1] for word in passage.tokens]
    # The number of an ending is no note.
    match = _NOTE.search(" ".join(word for word in words if word[0] != "["))
    return match[0] if match else ""


def _beats_of_bars(sheet: TypedSheet) -> list[int]:
    """Return how many beats each bar has, at last the one that is open, 0 or more."""
    beats = [0]
    for passage in sheet.passages[:-1]:
        for word in passage.tokens:
            if word in BAR_LINES:
                beats += [0] if beats[-1] else []
            elif word[0] != "[":
                beats[-1] += 1
        # As the reader has it, a bar that is full at the end of its line is closed.
        beats += [0] if beats[-1] == passage.time.beats else []
    return beats


def _named(midi: int, sheet: TypedSheet) -> str:
    """Return a key of the piano as this tune would have it typed."""
    key = sheet.passages[-1].key or Key(PitchName(0))
    (pitch,) = spell([midi], [key])
    kind = kind_of(sheet) or NoteKind.LETTERS
    if _begun(sheet).isdigit():
        kind = NoteKind.NUMBERS
    word = typed_word(pitch, key, sheet.octave, kind)
    natural = sheet.signature and not pitch.alter and key.degree(pitch.name)[1] != 0
    return f"{word[0]}n{word[1:]}" if natural and not kind.by_key else word


def _opened(text: str, taken: Fraction) -> tuple[str, list[Part]]:
    """Return a text without its last beat if that is open, and what fills that."""
    word = text.rpartition(" ")[2].rpartition("\n")[2]
    if not taken or not word:
        return text, []
    signs = word.split(".")
    length = Fraction(1, len(signs))
    parts: list[Part] = []
    for sign in signs:
        # A rest that was tapped is one with the rest that fills the beat up.
        part = min(length, taken - length_of(parts))
        parts = joined(parts, sign, part) if part > 0 else parts
    return text[: -len(word)], parts


def _laid(base: str, parts: list[Part], put: Part) -> TappedText:
    """Return a text with a note laid over as many beats as it lasts."""
    sheet = last_sheet(base)
    beats = sheet.passages[-1].time.beats
    count = _beats_of_bars(sheet)[-1]
    sign, left = put
    while left:
        part = min(1 - length_of(parts), left)
        parts = joined(parts, sign, part)
        left -= part
        sign = sign if sign == REST else HOLD
        if length_of(parts) == 1:
            base = _append(base, word_of(parts))
            parts, count = [], count + 1
            base = _append(base, BAR_LINE) if count % beats == 0 else base
    taken = length_of(parts)
    if parts:
        base = _append(base, word_of(joined(parts, REST, 1 - taken)))
    return TappedText(base, taken)


def _append(text: str, word: str) -> str:
    """Return a text with a word more: on its last line if that is one of the tune."""
    line = text.rpartition("\n")[2]
    if not line.strip():
        return f"{text}{word}"
    # What is put behind a remark (%) would be part of it.
    goes_on = is_tune_line(line) and "%" not in line
    return f"{text.rstrip(' ')} {word}" if goes_on else f"{text}\n{word}"


def _ended(text: str, sign: str) -> str:
    """Return a text with a bar line, or the end of a line, unless one is there."""
    if not _begun(last_sheet(text)):
        raise NotationError(_NOTHING_YET)
    if sign == LINE_END:
        return text.rstrip("\n") + LINE_END
    is_there = text.rsplit(maxsplit=1)[-1] in BAR_LINES
    return text if is_there else _append(text.rstrip(), sign)


def _with_time(text: str, time: str) -> str:
    """Return a text with its `Time:` line written anew, or put below its key."""
    header = re.compile(_HEADER.format("Time"))
    if header.search(text):
        return header.sub(rf"\1 {time}", text, count=1)
    key = re.compile(_HEADER.format("Key"))
    if key.search(text):
        return key.sub(rf"\g<0>\nTime: {time}", text, count=1)
    return f"Time: {time}\n{text}"
