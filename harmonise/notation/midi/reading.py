"""A Standard MIDI File in, a tune out: the whole way from top to bottom.

Type 0 and type 1; type 2 and film time (SMPTE) are refused with a sentence.

    tracks     bytes -> tracks of notes and signs, through mido
    parts      which track or channel holds the tune, and its top notes
    beat_grid  bars and beats of the file, and where notes begin on them
    placing    where notes end; where the tune begins, its pickup, its rests
    spelling   the key, a fact or a guess, and F# or Gb
    events     tempos, markers, words

MIDI tells no repeats, slurs, chord symbols or modes; no such thing is invented. A
pickup is known by a rest before it or a time signature of its own. Where lines of the
tune end our own files say by text events; other files by their words, or not at all.
"""

from collections.abc import Sequence
from fractions import Fraction

from harmonise.errors import NotationError, RemarkList
from harmonise.notation.midi.beat_grid import (
    TOLERANCE,
    Metre,
    OnsetGrid,
    find_delay,
    read_metre,
    set_onsets,
)
from harmonise.notation.midi.events import (
    MidiWords,
    label_bars,
    pace,
    read_tempos,
    read_words,
)
from harmonise.notation.midi.parts import Chosen, choose_part, list_parts
from harmonise.notation.midi.placing import (
    REST,
    TOLD_GATE,
    MidiBars,
    Placed,
    cut_rest,
    find_gate,
    lay_bars,
    set_lengths,
)
from harmonise.notation.midi.spelling import read_keys, spell
from harmonise.notation.midi.tracks import (
    MidiCode,
    MidiScore,
    PlayedNote,
    count,
    parse_file,
)
from harmonise.notation.part_names import PartName
from harmonise.theory.phrases import find_lines
from harmonise.theory.tune import Grace, KeyChange, Tune, TuneNote

MOST_NOTES = 20_000
"""Most notes that are read; a tune of 2,000 bars has fewer."""


def parse_midi(data: bytes, part: str = "") -> tuple[Tune, ...]:
    """Return the one tune of a Standard MIDI File.

    Args:
        data: The file, at most 2 MB and 2,000 bars.
        part: Name of the track that holds the tune, or of the channel ("Channel 1")
            in a file of one track; "" for the one whose name says it, or the highest.

    Returns:
        The tune. Whatever was chosen, moved, guessed or left out is among its remarks.

    Raises:
        NotationError: If the file cannot be read, or mido is missing.
        MelodyError: If it was read but has no note with a pitch.
    """
    remarks = RemarkList()
    score = parse_file(data)
    chosen = choose_part(score, part, remarks)
    line = chosen.line.notes
    if len(line) > MOST_NOTES:
        what = f"The tune has more than {MOST_NOTES:,} notes."
        raise NotationError(what, None, "Take one tune out of it.")
    metre = read_metre(score, remarks)
    line = _in_time(line, score, metre, remarks)
    ticks = [note.start for note in line]
    grid = set_onsets(ticks, score.ticks, metre, pace(score))
    placed = set_lengths(line, grid, score.ticks, metre)
    page = lay_bars(placed, metre, remarks)
    _tell_ends(placed[-1], find_gate(line, grid), score.ticks, page, remarks)
    _tell_moved(placed, grid, score.ticks, page, remarks)
    return (_tune(score, chosen, placed, page, remarks),)


def list_midi_parts(data: bytes) -> tuple[PartName, ...]:
    """Return the parts of a Standard MIDI File that have notes.

    Raises:
        NotationError: If the file cannot be read, or mido is missing.
    """
    names = dict.fromkeys(part.name for part in list_parts(parse_file(data)))
    return tuple(PartName(name, name) for name in names)


def _in_time(
    line: tuple[PlayedNote, ...], score: MidiScore, metre: Metre, remarks: RemarkList
) -> tuple[PlayedNote, ...]:
    """Return a line without the delay that all its notes share, and tell of it."""
    speed = pace(score)
    late = find_delay([note.start for note in line], score.ticks, metre, speed)
    if not late:
        return line
    milliseconds = round(1000 * abs(late) / score.ticks / speed)
    remarks.add(
        MidiCode.LATE,
        f"All notes come about {milliseconds} milliseconds "
        f"{'late' if late > 0 else 'early'}, as in a recording; put in time together.",
    )
    return tuple(
        note._replace(start=max(note.start - late, 0), end=max(note.end - late, 0))
        for note in line
    )


def _tell_ends(
    last: Placed, gate: Fraction, ticks: int, page: MidiBars, remarks: RemarkList
) -> None:
    """Tell where notes end otherwise than they were played."""
    if gate < TOLD_GATE:
        remarks.add(
            MidiCode.STACCATO,
            f"The notes stop after about {round(100 * gate)} per cent of their time, "
            "as in staccato; each is written as long as the beat that it takes.",
        )
    over = Fraction(last.played.end, ticks) - last.end
    if over >= REST / 2:
        remarks.add(
            MidiCode.OVER,
            "the last note is held on beyond its beat; cut here.",
            last.end - page.start,
        )


def _tune(
    score: MidiScore,
    chosen: Chosen,
    placed: Sequence[Placed],
    page: MidiBars,
    remarks: RemarkList,
) -> Tune:
    first = page.bars[0]
    downbeat = page.start + (first.end if first.offset else Fraction(0))
    keys, guessed = read_keys(score, placed, page.start, downbeat, remarks)
    words = read_words(score, chosen.part.track, chosen.line.notes, remarks)
    notes = paper_notes(placed, page, keys, words)
    onsets = [note.onset for note in notes if note.pitch]
    page = label_bars(score, page)
    # The first track is called as the piece, unless it is the tune's own.
    names_tune = chosen.part.track == 0 and score.kind == 1
    tune = Tune(
        title="" if names_tune else score.tracks[0].name,
        notes=notes,
        bars=page.bars,
        keys=keys,
        tempos=read_tempos(score, page, onsets, remarks),
        phrases=_lines(score, placed, notes, page, words),
        verses=int(bool(words.syllables)),
        origin=score.origin,
        composer=score.composer,
        key_guessed=guessed,
    )
    return tune._replace(remarks=remarks.told(tune.place))


def paper_notes(
    placed: Sequence[Placed],
    page: MidiBars,
    keys: tuple[KeyChange, ...],
    words: MidiWords,
) -> tuple[TuneNote, ...]:
    """Return notes and rests; notes that share a place are graces of the last one."""
    bare = Tune("", (), page.bars, keys)
    at = [bare.key_at(note.onset - page.start) for note in placed]
    pitches = spell([note.played.midi for note in placed], at)
    none = (None,) if words.syllables else ()
    notes: list[TuneNote] = []
    graces: list[Grace] = []
    now = Fraction(0)
    for number, (note, pitch) in enumerate(zip(placed, pitches, strict=True)):
        # Notes that the grid has put on one place are graces of the last of them.
        if note.end == note.onset:
            graces.append(Grace(pitch))
            continue
        onset = note.onset - page.start
        notes += _rests(now, onset, page, none)
        now = note.end - page.start
        said = (words.syllables.get(number),) if none else ()
        notes.append(TuneNote(onset, now - onset, pitch, said, tuple(graces)))
        graces = []
    return (*notes, *_rests(now, page.end, page, none))


def _rests(
    start: Fraction, end: Fraction, page: MidiBars, none: tuple[None, ...]
) -> list[TuneNote]:
    if start == end:
        return []
    return [
        TuneNote(at, stop - at, None, none) for at, stop in cut_rest(start, end, page)
    ]


def _lines(
    score: MidiScore,
    placed: Sequence[Placed],
    notes: Sequence[TuneNote],
    page: MidiBars,
    words: MidiWords,
) -> tuple[Fraction, ...]:
    """Return where lines end: as we wrote it, or by the words, else by the tune."""
    ends = {Fraction(tick, score.ticks) - page.start for tick in score.lines}
    if not ends and not words.line_starts:
        return find_lines(notes, page.bars)
    if not ends:
        ends = {placed[number].onset - page.start for number in words.line_starts}
        ends |= {bar.start for bar in page.bars if bar.section}
    return tuple(sorted({end for end in ends if 0 < end < page.end} | {page.end}))


def _tell_moved(
    placed: Sequence[Placed],
    grid: OnsetGrid,
    ticks: int,
    page: MidiBars,
    remarks: RemarkList,
) -> None:
    """Tell how many notes were moved to the grid, and of those far from it."""
    graces = [note for note in placed if note.end == note.onset]
    if graces:
        remarks.add(
            MidiCode.GRACE,
            "played together with the next note, so read as grace notes: "
            f"{count(len(graces), 'note')}, the first here.",
            graces[0].onset - page.start,
        )
    if grid.is_exact:
        return
    ways = [abs(note.onset - Fraction(note.played.start, ticks)) for note in placed]
    moved = sum(way > 0 for way in ways)
    far = [n for n, way in zip(placed, ways, strict=True) if way > TOLERANCE]
    remarks.add(
        MidiCode.MOVED,
        "The notes lie off the grid, as in a performance. Moved to the nearest likely "
        f"place: {moved} of {count(len(placed), 'note')}"
        + ("." if far else f", none by more than {TOLERANCE} of a crotchet."),
    )
    if far:
        remarks.add(
            MidiCode.FAR,
            f"no grid holds them, so moved by more than {TOLERANCE} of a crotchet: "
            f"{count(len(far), 'note')}, the first here.",
            far[0].onset - page.start,
            "Check the rhythm there.",
        )
