"""Scripts in every format: both hands with all that a pupil wrote beside them.

The readers of tunes take one line and leave the rest; a script is taken as it stands,
faults and all, so nothing here mends or refuses what a teacher would mark. What a file
is, its content says and not its name.
"""

import re
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from harmonise.errors import MelodyError, NotationError
from harmonise.marking.script import (
    BLANK,
    Script,
    Written,
    in_order,
    is_typed,
    parse_played,
    parse_typed,
)
from harmonise.marking.staves import Staff, by_hands
from harmonise.marking.typed_tunes import parse_tune_lines
from harmonise.notation.formats import FORMATS, LARGEST, decode, format_of, read_bytes
from harmonise.notation.musicxml.elements import (
    Element,
    XmlRemarks,
    read_tree,
    whole,
    words,
)
from harmonise.notation.musicxml.harmony import has_symbols, read_symbols
from harmonise.notation.musicxml.measures import LaidPart, lay_bars
from harmonise.notation.musicxml.reader import ScorePart, list_parts, read_title
from harmonise.notation.musicxml.signatures import (
    Shift,
    name_keys,
    read_shifts,
    read_signatures,
    shift_at,
)
from harmonise.notation.musicxml.staff_voices import is_cue, read_pitch
from harmonise.notation.musicxml.walk import walk_part
from harmonise.notation.spoken.spoken_reading import parse_spoken
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import ChordAt, KeyChange, Tune

_UNPRINTED = re.compile(r"[\x00-\x08\x0e-\x1f]")
_OF_NAME = {row.name: row.endings for row in FORMATS}
ENDINGS = (*_OF_NAME["MusicXML"], *_OF_NAME["MIDI"], *_OF_NAME["tune text"])
"""What the names of scripts end in."""


def read_script(path: Path, tune: Tune) -> Script:
    """Return the script that a file holds.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    return parse_script(read_bytes(path), tune)


def parse_script(data: bytes, tune: Tune) -> Script:
    """Return the script that some bytes hold; pure.

    Args:
        data: MusicXML, MIDI, or text.
        tune: The tune of the task, whose bars and key are meant where the script has
            none of its own.

    Raises:
        NotationError: If it cannot be read.
        MelodyError: If there is nothing in it.
    """
    if len(data) > LARGEST:
        raise NotationError("This file is larger than 2 MB.", None, "Hand in one work.")
    name = format_of(data).name
    if name == "MusicXML":
        return parse_score(data)
    if name == "MIDI":
        return parse_played(data, tune)
    text = decode(data)
    if is_typed(text) and not _UNPRINTED.search(text):
        return parse_tune_lines(text, tune) or parse_typed(text, tune)
    if "Bar " not in text:
        raise NotationError(*_refused(text, name))
    return Script(tuple(sorted(parse_spoken(text), key=in_order)))


def _refused(text: str, name: str) -> tuple[str, None, str]:
    """Return why a text is no work that can be marked, and what to do."""
    remedy = "Write lines such as: 1.3: F | C4 F4 A4 | F2"
    if not text.strip():
        return "This file is empty.", None, "Save the work again and hand that in."
    if _UNPRINTED.search(text):
        what = "This is neither notation nor text."
        return what, None, "Export MusicXML or MIDI where it was made."
    if name == "ABC":
        what = "This is ABC, which has a tune and no hands."
        return what, None, "Export MusicXML or MIDI, or type the chords."
    return "This text is no work that can be marked.", None, remedy


class _Printed(NamedTuple):
    """A printed note before ties are joined."""

    onset: Fraction
    end: Fraction
    pitch: Pitch
    from_before: bool
    goes_on: bool


def parse_score(data: bytes) -> Script:
    """Return the script that a MusicXML file holds.

    Which staff is which hand `by_hands` tells. What is not printed, small or without
    pitch is left out.

    Raises:
        NotationError: If the file cannot be read; with bar and beat where known.
        MelodyError: If it has no bars.
    """
    remarks = XmlRemarks()
    tree = read_tree(data)
    parts = [part for part in list_parts(tree) if part.element.find("measure")]
    if not parts:
        raise MelodyError("There are no bars in this work.", None, "Export it again.")
    pages = [_page(part, remarks) for part in parts]
    staves = [s for row in map(_staves, parts, pages) for s in row]
    hands = by_hands(staves)
    shifts = read_shifts(pages[0])
    keys = name_keys(read_signatures(pages[0]), shifts, (), pages[0], XmlRemarks())[0]
    bare = Tune("", (), pages[0].bars, keys)
    return Script(
        tuple(sorted(hands.notes, key=in_order)),
        pages[0].bars,
        _symbols(parts, pages, keys, remarks),
        tuple(sorted(word for page in pages for word in _words(page))),
        read_title(tree),
        remarks=remarks.told(bare.place),
        assumed=hands.assumed,
    )


def _staves(part: ScorePart, page: LaidPart) -> Iterator[Staff]:
    """Yield the staves of a part, those without notes too."""
    printed: dict[int, list[_Printed]] = defaultdict(list)
    for number, note in _printed(page, read_shifts(page)):
        printed[number].append(note)
    clefs = _clefs(page)
    for number in sorted({1, *printed, *clefs}):
        notes = tuple(_joined(sorted(printed[number], key=_by_time)))
        yield Staff(part.name, number, clefs.get(number, ""), notes)


def _clefs(page: LaidPart) -> dict[int, str]:
    """Return the letter of the first clef of each staff that has one."""
    clefs: dict[int, str] = {}
    for _, item in page.items("attributes"):
        for clef in item.element.iterfind("clef"):
            number = whole(clef.get("number")) or 1
            clefs.setdefault(number, words(clef.findtext("sign")))
    return clefs


def _page(part: ScorePart, remarks: XmlRemarks) -> LaidPart:
    return lay_bars(walk_part(part.element), 1, remarks)


def _by_time(note: _Printed) -> tuple[int, Fraction]:
    return note.pitch.midi, note.onset


def _printed(
    page: LaidPart, shifts: tuple[Shift, ...]
) -> Iterator[tuple[int, _Printed]]:
    """Yield the printed notes, each with the number of its staff."""
    for onset, item in page.items("note"):
        note = item.element
        shown = note.get("print-object") != "no" and item.length > 0
        if not shown or is_cue(item) or note.find("pitch") is None:
            continue
        place = page.place(onset)
        pitch = shift_at(shifts, onset).sounding(read_pitch(note, place), place)
        ties = {sign.get("type") for sign in _ties(note)}
        yield (
            item.staff,
            _Printed(
                onset,
                onset + item.length,
                pitch,
                bool(ties & {"stop", "continue"}),
                bool(ties & {"start", "continue"}),
            ),
        )


def _ties(note: Element) -> list[Element]:
    # One tells what sounds and the other what is drawn; some programs write one alone.
    return [*note.iterfind("tie"), *note.iterfind("notations/tied")]


def _joined(printed: list[_Printed]) -> Iterator[SoundingNote]:
    """Yield tied notes as one; those of one pitch follow each other."""
    run: _Printed | None = None
    for note in printed:
        if run and _binds(run, note):
            run = run._replace(end=note.end, goes_on=note.goes_on)
            continue
        if run:
            yield _sounding(run)
        run = note
    if run:
        yield _sounding(run)


def _binds(run: _Printed, note: _Printed) -> bool:
    # A tie goes to the same pitch only; between two pitches the sign is a slur.
    same = (run.pitch, run.end) == (note.pitch, note.onset)
    return same and run.goes_on and note.from_before


def _sounding(run: _Printed) -> SoundingNote:
    # Whose it is, the staves say together.
    length = run.end - run.onset
    return SoundingNote(run.onset, length, run.pitch, Hand.RIGHT, Voice.INNER)


def _symbols(
    parts: list[ScorePart],
    pages: list[LaidPart],
    keys: tuple[KeyChange, ...],
    remarks: XmlRemarks,
) -> tuple[ChordAt, ...]:
    """Return the chord symbols of the first part that has any."""
    for part, page in zip(parts, pages, strict=True):
        if has_symbols(part.element):
            return read_symbols(page, pages[0], keys, remarks)
    return ()


def _words(page: LaidPart) -> Iterator[Written]:
    """Yield the words of directions and under the left hand, each at its place.

    Words under the right hand are sung, unless they are named.
    """
    for onset, item in page.items("direction"):
        for element in item.element.iterfind("direction-type/words"):
            yield from _written(onset, element)
    for onset, item in page.items("note"):
        for lyric in item.element.iterfind("lyric"):
            text = lyric.find("text")
            if text is not None and (item.staff > 1 or lyric.get("name")):
                yield from _written(onset, text)


def _written(onset: Fraction, element: Element) -> Iterator[Written]:
    text = words((element.text or "").replace("\N{NO-BREAK SPACE}", " "))
    if text and text != BLANK:
        yield Written(onset, text)
