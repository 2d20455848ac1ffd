"""Which notes of a part are the tune: one staff, one voice, the top of each chord.

The staff is the uppermost one with notes; `upper` says which voice. Cue notes are for
the eye and left out.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import MelodyError, NotationError
from harmonise.notation.reading.musicxml.bars import Page
from harmonise.notation.reading.musicxml.remarks import Code, Remarks
from harmonise.notation.reading.musicxml.tree import Element, text
from harmonise.notation.reading.musicxml.upper import (
    main_voice,
    sounding,
    visible,
    voice_of_measure,
)
from harmonise.notation.reading.musicxml.voices import (
    Group,
    Voices,
    is_cue,
    measure_voices,
)
from harmonise.notation.reading.musicxml.walk import Measure


class Struck(NamedTuple):
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


def choose_line(page: Page, remarks: Remarks) -> tuple[Struck, ...]:
    """Return the notes and written rests of the tune in order.

    Args:
        page: The part.
        remarks: Told wherever something else sounds or is left out.

    Raises:
        NotationError: If a note lasts no time, with its place.
        MelodyError: If there is no note with a pitch.
    """
    voices = [measure_voices(measure, page.staff) for measure in page.measures]
    groups = (group for bar in voices for group in _all_groups(bar))
    if not any(group.kind == "note" and group.has_pitch for group in groups):
        raise MelodyError(
            "The chosen part has no note with a pitch.", None, "Name another part."
        )
    main = main_voice(voices)
    chosen = [voice_of_measure(bar, main) for bar in voices]
    _tell_voices(page, voices, chosen, remarks)
    _tell_left_out(page, main, remarks)
    taken = [
        _Taken(page.starts[count], page.starts[count] + group.onset, group)
        for count, name in enumerate(chosen)
        for group in voices[count].get(name, ())
    ]
    _tell_chords(taken, remarks)
    return tuple(_strike(taken, page, remarks))


def _all_groups(voices: Voices) -> Iterator[Group]:
    for groups in voices.values():
        yield from groups


class _Taken(NamedTuple):
    """A group of the tune's voice with the onsets of its bar and its own."""

    start: Fraction
    onset: Fraction
    group: Group


def _strike(taken: list[_Taken], page: Page, remarks: Remarks) -> Iterator[Struck]:
    """Yield notes with their grace notes, and rests."""
    waiting: list[_Taken] = []
    for here in taken:
        onset, group = here.onset, here.group
        if group.kind == "grace":
            waiting.append(here)
            continue
        if group.length <= 0:
            raise NotationError(
                "a note lasts no time at all.",
                page.place(onset),
                "Check <duration>.",
            )
        rest = group.kind == "rest"
        leading = [grace for grace in waiting if grace.onset == onset and not rest]
        for lost in waiting[: len(waiting) - len(leading)]:
            tell_lost_grace(lost.start, remarks)
        waiting = []
        graces = tuple(grace.group.notes[0] for grace in leading)
        yield Struck(onset, group.length, group.notes, graces, rest)
    for lost in waiting:
        tell_lost_grace(lost.start, remarks)


def tell_lost_grace(bar_start: Fraction, remarks: Remarks) -> None:
    """Say in which bar a grace note was left out: no tune note is struck after it."""
    remarks.add(
        Code.GRACE,
        "grace notes here lead to no note that is struck; they were left out.",
        bar_start,
    )


def clip(struck: tuple[Struck, ...], remarks: Remarks) -> tuple[Struck, ...]:
    """Return the notes, none longer than up to the next.

    Args:
        struck: Notes and rests in order.
        remarks: Told which were shortened.
    """
    whole = []
    for here, after in pairwise(struck):
        if here.end > after.onset:
            remarks.add(
                Code.OVERLAP,
                "a note here overlaps the next one; it was shortened.",
                here.onset,
            )
        length = min(here.length, after.onset - here.onset)
        if length > 0:
            whole.append(here._replace(length=length))
    return (*whole, *struck[-1:])


def _tell_voices(
    page: Page, voices: list[Voices], chosen: list[str], remarks: Remarks
) -> None:
    for count, bar in enumerate(voices):
        start, names = page.starts[count], list(visible(bar))
        if len(names) > 1:
            remarks.add(
                Code.VOICES,
                "several voices share the staff; the upper one was taken.",
                start,
            )
        if any(
            group.hidden for group in sounding(bar.get(chosen[count], ()), hidden=True)
        ):
            remarks.add(
                Code.HIDDEN,
                "notes here are not printed but sound; they were kept.",
                start,
            )


def _tell_chords(taken: list[_Taken], remarks: Remarks) -> None:
    for _, onset, group in taken:
        if group.kind != "rest" and len(group.notes) > 1:
            names = [_name(note) for note in group.notes]
            others = ", ".join(names[1:])
            remarks.add(
                Code.CHORD,
                f"{names[0]} sounds together with {others}; the top note was taken.",
                onset,
            )


def _name(note: Element) -> str:
    alter = {"1": "#", "-1": "b", "2": "##", "-2": "bb"}.get(text(note, "pitch/alter"))
    return f"{text(note, 'pitch/step')}{alter or ''}{text(note, 'pitch/octave')}"


def _tell_left_out(page: Page, main: str, remarks: Remarks) -> None:
    """Say where cue notes stand and where the voice goes to another staff."""
    for count, measure in enumerate(page.measures):
        for item in measure.items:
            if is_cue(item) and item.staff == page.staff:
                remarks.add(
                    Code.CUE,
                    "cue notes stand here; they were left out.",
                    page.starts[count] + item.onset,
                )
        if _crosses(measure, main, page.staff):
            remarks.add(
                Code.STAFF,
                "the tune's voice goes to another staff here; what stands there was "
                "left out.",
                page.starts[count],
            )


def _crosses(measure: Measure, main: str, staff: int) -> bool:
    """Whether a voice has notes on other staves that fill its gaps on its own.

    Some programs number the voices of each staff anew; then the two overlap.
    """
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
