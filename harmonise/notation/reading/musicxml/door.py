"""MusicXML in, a tune out: the whole way, top to bottom."""

from fractions import Fraction

from harmonise.errors import MelodyError, Place
from harmonise.notation.reading.musicxml.bars import Page, lay_bars
from harmonise.notation.reading.musicxml.guard import read_tree
from harmonise.notation.reading.musicxml.harmony import (
    Setting,
    has_symbols,
    read_symbols,
)
from harmonise.notation.reading.musicxml.keys import (
    name_keys,
    read_signatures,
    spell_shifts,
)
from harmonise.notation.reading.musicxml.line import Struck, choose_line, clip
from harmonise.notation.reading.musicxml.marks import Marks, read_marks
from harmonise.notation.reading.musicxml.notes import read_notes
from harmonise.notation.reading.musicxml.parts import (
    Part,
    choose_part,
    list_parts,
    read_origin,
    read_title,
)
from harmonise.notation.reading.musicxml.remarks import Code, Remarks
from harmonise.notation.reading.musicxml.second import assert_agrees
from harmonise.notation.reading.musicxml.shift import Shift, read_shifts
from harmonise.notation.reading.musicxml.simile import fill_repeated
from harmonise.notation.reading.musicxml.tree import read_pitch
from harmonise.notation.reading.musicxml.voices import choose_staff
from harmonise.notation.reading.musicxml.walk import walk_part
from harmonise.theory.tune import Bar, ChordAt, KeyChange, Tune, TuneNote


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
    remarks = Remarks()
    score = read_tree(data)
    parts = list_parts(score)
    chosen = choose_part(parts, part, remarks)
    page = _page(chosen, remarks)
    struck = choose_line(page, remarks)
    assert_agrees(struck, chosen.element, page)
    struck = fill_repeated(clip(struck, remarks), page, remarks)
    signatures = read_signatures(page)
    shifts = spell_shifts(read_shifts(page), signatures)
    notes, verses = read_notes(struck, shifts, page, remarks)
    if not any(note.pitch for note in notes):
        raise MelodyError("There is no note in this tune.", None, "Add its notes.")
    _tell_shift(struck, notes, shifts, remarks)
    keys, guessed = name_keys(signatures, shifts, notes, page, remarks)
    marks = _marks(parts, chosen, page, remarks)
    tune = Tune(
        title=read_title(score),
        notes=notes,
        bars=_labelled(page.bars, marks),
        keys=keys,
        tempos=marks.tempos,
        phrases=_phrases(notes, marks, page),
        symbols=_symbols(parts, chosen, page, keys, remarks),
        verses=verses,
        origin=read_origin(score),
        key_guessed=guessed,
        end_text=marks.jumps,
    )
    return tune._replace(remarks=remarks.told(tune))


def _page(part: Part, remarks: Remarks) -> Page:
    measures = walk_part(part.element)
    if not measures:
        raise MelodyError(f'The part "{part}" has no bars.', None, "Name another part.")
    return lay_bars(measures, choose_staff(measures), remarks)


def _tell_shift(
    struck: tuple[Struck, ...],
    notes: tuple[TuneNote, ...],
    shifts: tuple[Shift, ...],
    remarks: Remarks,
) -> None:
    """Say that notes sound elsewhere than written, with the first as an example."""
    first = next(note for note in struck if not note.rest)
    written = read_pitch(first.notes[0], Place(0))
    sounding = next(note.pitch for note in notes if note.pitch)
    if any(shift.steps or shift.semitones for shift in shifts):
        remarks.add(
            Code.TRANSPOSED,
            "the part is written for a transposing instrument; notes, key and chords "
            f"are given as they sound (written {written} sounds {sounding}).",
        )


def _marks(
    parts: tuple[Part, ...], chosen: Part, page: Page, remarks: Remarks
) -> Marks:
    """Return the marks of the tune's part, or where it has none those of the first."""
    own = read_marks(page.measures, page, remarks)
    if chosen is parts[0]:
        return own
    first = read_marks(walk_part(parts[0].element), page, remarks)
    return Marks(
        own.tempos or first.tempos,
        own.jumps or first.jumps,
        own.labels or first.labels,
    )


def _symbols(
    parts: tuple[Part, ...],
    chosen: Part,
    page: Page,
    keys: tuple[KeyChange, ...],
    remarks: Remarks,
) -> tuple[ChordAt, ...]:
    """Return the chord symbols of the tune's part, or of the first part with any."""
    carriers = [part for part in (chosen, *parts) if has_symbols(part.element)]
    if not carriers:
        return ()
    source = page
    if carriers[0] is not chosen:
        source = _page(carriers[0], Remarks())
        remarks.add(
            Code.SYMBOLS, f'the chord symbols were taken from the part "{carriers[0]}".'
        )
    shifts = spell_shifts(read_shifts(source), read_signatures(source))
    return read_symbols(source.measures, Setting(page, shifts, keys), remarks)


def _labelled(bars: tuple[Bar, ...], marks: Marks) -> tuple[Bar, ...]:
    labels = dict(marks.labels)
    return tuple(bar._replace(section=labels.get(bar.start, "")) for bar in bars)


def _phrases(
    notes: tuple[TuneNote, ...], marks: Marks, page: Page
) -> tuple[Fraction, ...]:
    """Return where sections end and where a fermata closes a line, as in hymns."""
    ends = {page.end, *page.barlines.sections, *(onset for onset, _ in marks.labels)}
    ends |= {ending.end for ending in page.barlines.endings}
    ends |= {note.end for note in notes if note.fermata and note.pitch}
    return tuple(sorted(end for end in ends if 0 < end <= page.end))
