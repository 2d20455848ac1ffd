"""Which notes of a part are the tune: one staff, one voice, the top of each chord.

The staff is the uppermost one with notes; `staff_voices` says which voice. Cue notes
are for the eye and left out. An empty bar under a sign that repeats whole bars sounds
like the bars before: the standard wants their notes written out under the sign, and
where a file leaves them out they are filled in.
Source: W3C, MusicXML 4.0, `measure-repeat`.
"""

from bisect import bisect_left
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from operator import attrgetter
from typing import NamedTuple

from harmonise.errors import MelodyError, NotationError
from harmonise.notation.musicxml.elements import (
    Element,
    XmlCode,
    XmlRemarks,
    text,
    whole,
)
from harmonise.notation.musicxml.measures import LaidPart
from harmonise.notation.musicxml.staff_voices import (
    Group,
    Voices,
    is_cue,
    main_voice,
    measure_voices,
    sounding,
    visible,
    voice_of_measure,
)
from harmonise.notation.musicxml.walk import Measure

_SIGNS = {"1": "#", "-1": "b", "2": "##", "-2": "bb"}


class LineNote(NamedTuple):
    """A note, chord or rest of the tune as the file writes it.

    Attributes:
        onset: Crotchets from the start of the tune.
        length: Crotchets, more than 0.
        notes: Elements that begin together, the tune's own first; one for a rest.
        graces: The top note of each grace note or chord before it.
        rest: Whether it is a rest.
        copied: Whether it repeats the notes of an earlier bar; then words, ties and
            slurs of its elements are not its own.
    """

    onset: Fraction
    length: Fraction
    notes: tuple[Element, ...]
    graces: tuple[Element, ...] = ()
    rest: bool = False
    copied: bool = False

    @property
    def end(self) -> Fraction:
        """Onset of what follows, in crotchets."""
        return self.onset + self.length


def choose_line(page: LaidPart, remarks: XmlRemarks) -> tuple[LineNote, ...]:
    """Return the notes and written rests of the tune in order.

    Args:
        page: The part.
        remarks: Told wherever something else sounds or is left out.

    Raises:
        NotationError: If a note lasts no time, with its place.
        MelodyError: If there is no note with a pitch.
    """
    voices = [measure_voices(measure, page.staff) for measure in page.measures]
    if not any(any(sounding(g, hidden=True)) for bar in voices for g in bar.values()):
        what = "The chosen part has no note with a pitch."
        raise MelodyError(what, None, "Name another part.")
    # Programs number voices anew in each measure, and leave out those that rest.
    main = main_voice(voices)
    chosen = [voice_of_measure(bar, main) for bar in voices]
    _tell_voices(page, voices, chosen, remarks)
    _tell_left_out(page, main, remarks)
    taken = [
        (page.starts[count] + group.onset, group)
        for count, name in enumerate(chosen)
        for group in voices[count].get(name, ())
    ]
    _tell_chords(taken, remarks)
    return tuple(_strike(taken, page, remarks))


def _strike(
    taken: list[tuple[Fraction, Group]], page: LaidPart, remarks: XmlRemarks
) -> Iterator[LineNote]:
    """Yield notes with their grace notes, and rests."""
    waiting: list[tuple[Fraction, Group]] = []
    for onset, group in taken:
        if group.kind == "grace":
            waiting.append((onset, group))
            continue
        if group.length <= 0:
            what = "a note lasts no time at all."
            raise NotationError(what, page.place(onset), "Check <duration>.")
        rest = group.kind == "rest"
        graces: list[Element] = []
        for at, grace in waiting:
            # Of a chord of grace notes the top one is the tune's.
            if at == onset and not rest:
                graces.append(grace.notes[0])
            else:
                tell_lost_grace(at, remarks)
        waiting = []
        yield LineNote(onset, group.length, group.notes, tuple(graces), rest)
    for at, _ in waiting:
        tell_lost_grace(at, remarks)


def tell_lost_grace(onset: Fraction, remarks: XmlRemarks) -> None:
    """Say in which bar a grace note was left out: no tune note is struck after it."""
    what = "grace notes here lead to no note that is struck; they were left out."
    remarks.add(XmlCode.GRACE, what, onset)


def clip(
    struck: tuple[LineNote, ...], end: Fraction, remarks: XmlRemarks
) -> tuple[LineNote, ...]:
    """Return the notes, none longer than up to the next.

    Args:
        struck: Notes and rests in order.
        end: The end of the music: a further note of a chord may claim to last longer.
        remarks: Told which were shortened.
    """
    whole = []
    for here, after in pairwise(struck):
        if here.end > after.onset:
            what = "a note here overlaps the next one; it was shortened."
            remarks.add(XmlCode.OVERLAP, what, here.onset)
        # A tune is one line: what would sound under the next note is let go of.
        length = min(here.length, after.onset - here.onset)
        if length > 0:
            whole.append(here._replace(length=length))
    return (*whole, *_up_to(end, struck[-1:], remarks))


def _up_to(
    end: Fraction, last: tuple[LineNote, ...], remarks: XmlRemarks
) -> Iterator[LineNote]:
    """Yield the last note, no longer than the music."""
    for note in last:
        if note.end > end:
            what = "a note here lasts longer than its bar; it was shortened."
            remarks.add(XmlCode.OVERLAP, what, note.onset)
        yield note._replace(length=min(note.length, end - note.onset))


def _tell_voices(
    page: LaidPart, voices: list[Voices], chosen: list[str], remarks: XmlRemarks
) -> None:
    for count, bar in enumerate(voices):
        start, names = page.starts[count], list(visible(bar))
        if len(names) > 1:
            what = "several voices share the staff; the upper one was taken."
            remarks.add(XmlCode.VOICES, what, start)
        if any(
            group.hidden for group in sounding(bar.get(chosen[count], ()), hidden=True)
        ):
            what = "notes here are not printed but sound; they were kept."
            remarks.add(XmlCode.HIDDEN, what, start)


def _tell_chords(taken: list[tuple[Fraction, Group]], remarks: XmlRemarks) -> None:
    for onset, group in taken:
        if group.kind != "rest" and len(group.notes) > 1:
            names = [
                text(note, "pitch/step")
                + _SIGNS.get(text(note, "pitch/alter"), "")
                + text(note, "pitch/octave")
                for note in group.notes
            ]
            others = ", ".join(names[1:])
            what = f"{names[0]} sounds together with {others}; the top note was taken."
            remarks.add(XmlCode.CHORD, what, onset)


def _tell_left_out(page: LaidPart, main: str, remarks: XmlRemarks) -> None:
    """Say where cue notes stand and where the voice goes to another staff."""
    for count, measure in enumerate(page.measures):
        for item in measure.items:
            if is_cue(item) and item.staff == page.staff:
                what = "cue notes stand here; they were left out."
                remarks.add(XmlCode.CUE, what, page.starts[count] + item.onset)
        if _crosses(measure, main, page.staff):
            remarks.add(
                XmlCode.STAFF,
                "the tune's voice goes to another staff here; what stands there was "
                "left out.",
                page.starts[count],
            )


def _crosses(measure: Measure, main: str, staff: int) -> bool:
    """Whether a voice has notes on other staves that fill its gaps on its own.

    Some programs number the voices of each staff anew; then the two overlap.
    """
    # A voice that is numbered anew on each staff is two voices of one name.
    notes = [i for i in measure.items if i.voice == main and i.element.tag == "note"]
    pitched = any(
        i.staff != staff and i.element.find("pitch") is not None for i in notes
    )
    if not pitched or all(i.staff != staff for i in notes):
        return False
    ends = {True: Fraction(0), False: Fraction(0)}
    for item in sorted(notes, key=lambda item: item.onset):
        if item.in_chord:
            continue
        here = item.staff == staff
        if ends[not here] > item.onset:
            return False
        ends[here] = max(ends[here], item.onset + item.length)
    return True


def fill_repeated(
    struck: tuple[LineNote, ...], page: LaidPart, remarks: XmlRemarks
) -> tuple[LineNote, ...]:
    """Return the notes with those that bar-repeat signs stand for.

    Args:
        struck: Notes and written rests in order.
        page: The part.
        remarks: Told which bars were filled.
    """
    signs = list(_repeated(page))
    if not signs:
        return struck
    lengths = [end - start for start, end in pairwise(page.starts)]
    cuts = [bisect_left(struck, at, key=attrgetter("onset")) for at in page.starts]
    bars = [list(struck[first:last]) for first, last in pairwise(cuts)]
    for count, size in signs:
        source = count - size
        # Notes that are written out under the sign, as the standard asks, are kept.
        if source < 0 or any(not note.rest for note in bars[count]):
            continue
        if lengths[source] != lengths[count]:
            continue
        shift = page.starts[count] - page.starts[source]
        bars[count] = [
            note._replace(onset=note.onset + shift, copied=True)
            for note in bars[source]
        ]
        what = "the bar holds a repeat sign only; the notes before it were filled in."
        remarks.add(XmlCode.SIMILE, what, page.starts[count])
    return tuple(note for bar in bars for note in bar)


def _repeated(page: LaidPart) -> Iterator[tuple[int, int]]:
    """Yield each measure under a repeat sign, and how many bars the sign repeats."""
    size = 0
    for count, measure in enumerate(page.measures):
        for item in measure.items:
            for sign in item.element.iterfind("measure-style/measure-repeat"):
                starts = sign.get("type") == "start"
                size = max(whole(sign.text) or 1, 1) if starts else 0
        if size:
            yield count, size
