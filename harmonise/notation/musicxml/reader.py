"""MusicXML in, a tune out: which part holds it, and the whole way from top to bottom.

MusicXML 1.0 to 4.0, plain or compressed, part by part or bar by bar. In this room alone
a bar is called a measure, where the format says so.

    elements      bytes -> tree, within limits, no entities; remarks
    walk          when everything in a part happens, in exact crotchets
    staff_voices  voices and chords, and which voice is the tune
    tune_line     its notes, with what hangs on them and what was left out
    barlines      repeats and endings     measures    metre, bar numbers, pickups
    signatures    keys, modes, and what transposing instruments sound
    tune_notes    ties, graces, slurs, words
    signs         tempos, jumps, labels   harmony     chord symbols
"""

import re
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import MelodyError, NotationError, Place
from harmonise.notation.musicxml.elements import (
    LINES,
    LOCKED,
    Element,
    XmlCode,
    XmlRemarks,
    read_tree,
    text,
    words,
)
from harmonise.notation.musicxml.harmony import has_symbols, read_symbols
from harmonise.notation.musicxml.measures import LaidPart, lay_bars
from harmonise.notation.musicxml.signatures import (
    Shift,
    name_keys,
    read_shifts,
    read_signatures,
)
from harmonise.notation.musicxml.signs import Directions, read_marks
from harmonise.notation.musicxml.staff_voices import choose_staff, read_pitch
from harmonise.notation.musicxml.tune_line import (
    LineNote,
    choose_line,
    clip,
    fill_repeated,
)
from harmonise.notation.musicxml.tune_notes import read_notes
from harmonise.notation.musicxml.walk import walk_part
from harmonise.notation.part_names import PartName, find_part
from harmonise.notation.told_locks import told_locks
from harmonise.theory.phrases import find_lines
from harmonise.theory.tune import ChordAt, KeyChange, Tune

_PITCH = "measure/note/pitch"
_COMPOSER = "composer"
"""The type of creator that MusicXML itself names so."""
_LINE_END = re.compile(r"[0-9]{1,9}(/[1-9][0-9]{0,4})?")


class ScorePart(NamedTuple):
    """One part of a score.

    Attributes:
        name: As printed before its first staff; "" if it has none.
        ident: Its id in the file.
        element: Its measures.
    """

    name: str
    ident: str
    element: Element

    def __str__(self) -> str:
        """Return the name, or the id of a nameless part."""
        return self.name or self.ident or "without a name"


def list_parts(score: Element) -> tuple[ScorePart, ...]:
    """Return the parts of a score in its own order, named by its part list.

    Raises:
        NotationError: If there is none.
    """
    names = {
        entry.get("id", ""): words(entry.findtext("part-name"))
        for entry in score.iterfind("part-list/score-part")
    }
    parts = []
    for element in score.iterfind("part"):
        ident = element.get("id", "")
        parts.append(ScorePart(names.get(ident, ""), ident, element))
    if not parts:
        what = "The file has no part with music in it."
        raise NotationError(what, None, "Export it again.")
    return tuple(parts)


def list_score_parts(data: bytes) -> tuple[PartName, ...]:
    """Return the parts of a score that have pitches.

    Raises:
        NotationError: If the score cannot be read.
    """
    parts = list_parts(read_tree(data))
    singing = (part for part in parts if part.element.find(_PITCH) is not None)
    return tuple(PartName(part.ident or str(part), str(part)) for part in singing)


def choose_part(
    parts: tuple[ScorePart, ...], wanted: str, remarks: XmlRemarks
) -> ScorePart:
    """Return the part that was asked for, or else the first that has pitches.

    Args:
        parts: All parts, never empty.
        wanted: Name or id; "" for the first.
        remarks: Told when there was a choice.

    Raises:
        NotationError: If no part, or more than one, is called so.
        MelodyError: If no part has a note with a pitch.
    """
    if wanted.strip():
        idents = [part.ident for part in parts]
        return parts[find_part(words(wanted), idents, [str(part) for part in parts])]
    singing = [part for part in parts if part.element.find(_PITCH) is not None]
    if not singing:
        raise MelodyError(_no_pitch(parts), None, "Add the notes of the tune.")
    if len(parts) > 1:
        remarks.add(
            XmlCode.PART,
            f'the file has {len(parts)} parts; the tune was taken from "{singing[0]}"'
            + (", the first that has notes." if singing[0] != parts[0] else "."),
            None,
            "Name another part if the tune is there.",
        )
    return singing[0]


def _no_pitch(parts: tuple[ScorePart, ...]) -> str:
    measures = max(len(part.element.findall("measure")) for part in parts)
    where = "its 1 bar" if measures == 1 else f"its {measures} bars"
    whose = "The file" if len(parts) == 1 else f"Each of the file's {len(parts)} parts"
    drums = any(
        part.element.find("measure/note/unpitched") is not None for part in parts
    )
    held = "rests and notes without pitch only" if drums else "rests only"
    return f"{whose} holds {held} in {where}: there is no tune."


def read_title(score: Element) -> str:
    """Return the title: work and movement, or the credit that is marked as title."""
    work = words(score.findtext("work/work-title"))
    movement = words(score.findtext("movement-title"))
    if work and movement and work != movement:
        return f"{work}: {movement}"
    if work or movement:
        return work or movement
    for credit in score.iterfind("credit"):
        if "title" in [text(kind, ".") for kind in credit.iterfind("credit-type")]:
            return words(credit.findtext("credit-words"))
    return ""


def read_composer(score: Element) -> str:
    """Return who made the tune, as the file tells it."""
    creators = score.iterfind("identification/creator")
    made = (words(by.text) for by in creators if by.get("type") == _COMPOSER)
    return "; ".join(dict.fromkeys(name for name in made if name))


def read_origin(score: Element) -> str:
    """Return who else had a part in the tune and where it was found."""
    said: list[str] = []
    for creator in score.iterfind("identification/creator"):
        name, role = words(creator.text), words(creator.get("type"))
        if name and role != _COMPOSER:
            said.append(f"{role}: {name}" if role else name)
    for kind in ("source", "rights"):
        elements = score.iterfind(f"identification/{kind}")
        said += [f"{kind}: {words(e.text)}" for e in elements if words(e.text)]
    return "; ".join(said)


def parse_musicxml(data: bytes, part: str = "") -> Tune:
    """Return the tune of a MusicXML file.

    Args:
        data: A score, plain (.xml, .musicxml) or compressed (.mxl).
        part: Name or id of the part that holds the tune; "" for the first with notes.

    Returns:
        The tune at sounding pitch. Whatever was chosen, guessed or left out is among
        its remarks.

    Raises:
        NotationError: If the file cannot be read; with bar and beat where known.
        MelodyError: If it was read but has no note with a pitch.
    """
    remarks = XmlRemarks()
    score = read_tree(data)
    parts = list_parts(score)
    chosen = choose_part(parts, part, remarks)
    page = _page(chosen, remarks)
    struck = choose_line(page, remarks)
    # Overlaps go before copies, so that copied bars have none either.
    struck = fill_repeated(clip(struck, page.end, remarks), page, remarks)
    signatures = read_signatures(page)
    shifts = read_shifts(page)
    notes, verses = read_notes(struck, shifts, page, remarks)
    if not any(note.pitch for note in notes):
        raise MelodyError("There is no note in this tune.", None, "Add its notes.")
    _tell_shift(struck, shifts, remarks)
    keys, guessed = name_keys(signatures, shifts, notes, page, remarks)
    marks = _marks(parts, chosen, page, remarks)
    labels = dict(marks.labels)
    bars = tuple(bar._replace(section=labels.get(bar.start, "")) for bar in page.bars)
    symbols = _symbols(parts, chosen, page, keys, remarks)
    tune = Tune(
        title=read_title(score),
        notes=notes,
        bars=bars,
        keys=keys,
        tempos=marks.tempos,
        phrases=_told_lines(score, page.end) or find_lines(notes, bars),
        symbols=symbols,
        were_locked=told_locks(_field(score, LOCKED), symbols),
        verses=verses,
        origin=read_origin(score),
        composer=read_composer(score),
        key_guessed=guessed,
        end_text=marks.jumps,
    )
    return tune._replace(remarks=remarks.told(tune.place))


def _page(part: ScorePart, remarks: XmlRemarks) -> LaidPart:
    measures = walk_part(part.element)
    if not measures:
        raise MelodyError(f'The part "{part}" has no bars.', None, "Name another part.")
    return lay_bars(measures, choose_staff(measures), remarks)


def _tell_shift(
    struck: tuple[LineNote, ...], shifts: tuple[Shift, ...], remarks: XmlRemarks
) -> None:
    """Say that notes sound elsewhere than written, with the first as an example."""
    moved = (
        (shift, note)
        for shift in shifts
        for note in struck
        if (shift.steps or shift.semitones)
        and note.onset >= shift.onset
        and not note.rest
    )
    example = next(moved, None)
    if example:
        shift, first = example
        written = read_pitch(first.notes[0], Place(1))
        remarks.add(
            XmlCode.TRANSPOSED,
            "the part is written for a transposing instrument; notes, key and chords "
            f"are given as they sound (written {written} sounds "
            f"{shift.sounding(written, Place(1))}).",
        )


def _marks(
    parts: tuple[ScorePart, ...], chosen: ScorePart, page: LaidPart, remarks: XmlRemarks
) -> Directions:
    """Return the marks of the tune's part, or where it has none those of the first."""
    marks = read_marks(page.measures, page, remarks)
    if chosen is parts[0]:
        return marks
    # Programs write tempos and jumps once, over the first part.
    first = read_marks(walk_part(parts[0].element), page, remarks)
    return Directions._make(a or b for a, b in zip(marks, first, strict=True))


def _symbols(
    parts: tuple[ScorePart, ...],
    chosen: ScorePart,
    page: LaidPart,
    keys: tuple[KeyChange, ...],
    remarks: XmlRemarks,
) -> tuple[ChordAt, ...]:
    """Return the chord symbols of the tune's part, or of the first part with any."""
    carriers = (part for part in (chosen, *parts) if has_symbols(part.element))
    carrier, source = next(carriers, chosen), page
    if carrier is not chosen:
        source = _page(carrier, XmlRemarks())
        what = f'the chord symbols were taken from the part "{carrier}".'
        remarks.add(XmlCode.SYMBOLS, what)
    return read_symbols(source, page, keys, remarks)


def _field(score: Element, name: str) -> str:
    """Return what a miscellaneous field says; "" if there is none."""
    fields = score.iterfind("identification/miscellaneous/miscellaneous-field")
    return next((words(it.text) for it in fields if it.get("name") == name), "")


def _told_lines(score: Element, end: Fraction) -> tuple[Fraction, ...]:
    """Return where lines end as we wrote it into the file; () if it does not hold.

    It holds if the tune still ends where it ended: then nobody has added bars.
    """
    ends = _field(score, LINES).split()
    if not ends or not all(map(_LINE_END.fullmatch, ends)):
        return ()
    known = tuple(map(Fraction, ends))
    in_order = known[0] > 0 and known == (*sorted({*known}),)
    return known if in_order and known[-1] == end else ()
