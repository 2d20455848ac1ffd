"""A recording in, a tune out: the whole way from top to bottom.

    waves      bytes -> one channel of sound
    contour    its pitch (swift-f0) and its levels
    refusals   what is no tune gets a sentence
    semitones  the line in semitones, by the singer's own A
    pulse      where the beats lie, to a click
    free_pulse the same as a guess, where nobody gave a click
    repeats    where a held pitch is struck again
    line       the notes, with what is doubtful about them
    likely_time  the bars, where nobody named the time
    on_paper   bars, places, lengths and key; what is doubtful told

From there on it is a performance like any other, and the reader of MIDI files sets it
on paper: the same grid, lengths, pickup, key and spelling. Nothing is silent: what was
heard, guessed or doubted is told with bar and beat, and stands in the tune text too.
"""

from collections.abc import Sequence

from harmonise.errors import MelodyError, RemarkList
from harmonise.notation.recording.click import FREE, Click
from harmonise.notation.recording.contour import VOICED, SungContour, hear_contour
from harmonise.notation.recording.likely_time import likely_time
from harmonise.notation.recording.line import HeardLine, HeardNote, hear_line
from harmonise.notation.recording.on_paper import EarCode, set_on_paper
from harmonise.notation.recording.refusals import assert_tune_heard
from harmonise.notation.recording.semitones import tuning
from harmonise.notation.recording.waves import read_sound
from harmonise.theory.tune import Tune

_LOW, _HIGH = 57, 84
"""A3 and C6: where a tune lies well under the right hand."""
_CLIPPED = 0.002
"""Share of cut-off frames from which the user is told."""
_CENTS = 20


def parse_recording(data: bytes, click: Click = FREE) -> tuple[Tune, ...]:
    """Return the one tune of a recording.

    Args:
        data: A sound file, ten minutes at most: WAV, or what soundfile reads.
        click: What the singer heard.

    Raises:
        NotationError: If the file cannot be read.
        LibraryError: If a library that listens is not installed.
        MelodyError: If no line of notes is heard in it.
    """
    return (_heard(data, click),)


def _listened(data: bytes) -> tuple[SungContour, float]:
    wave = read_sound(data)
    contour = hear_contour(wave.frames)
    assert_tune_heard(wave.frames, contour)
    return contour, wave.clipped


def _heard(data: bytes, click: Click) -> Tune:
    contour, clipped = _listened(data)
    remarks = RemarkList()
    line, click = _counted(contour, click, remarks)
    if not line.notes:
        what = "No note is held in this recording."
        raise MelodyError(what, None, "Sing the tune louder, and hold each note.")
    _tell_sound(contour, clipped, remarks)
    shift = _octaves(line.notes)
    if shift:
        way = "higher" if shift > 0 else "lower"
        many = "an octave" if abs(shift) == 12 else f"{abs(shift) // 12} octaves"
        what = f"The tune is written {many} {way} than it was heard, for the piano."
        remarks.add(EarCode.OCTAVE, what)
    return set_on_paper(line, click, shift, remarks)


def _counted(
    contour: SungContour, click: Click, remarks: RemarkList
) -> tuple[HeardLine, Click]:
    """Return the line and how it is counted, which is a guess if nobody said."""
    line = hear_line(contour, click)
    if click.tempo is not None or click.time is not None:
        return line, click
    guess = likely_time(line)
    counted = click._replace(time=guess.time)
    what = (
        f"Nobody named the time: read in {guess.time}, which is a guess by the notes."
    )
    if guess.other:
        what += f" Is it {guess.other}, which fits nearly as well?"
    remarks.add(EarCode.TIME, what, None, "Name the time if it is another.")
    return hear_line(contour, counted), counted


def _tell_sound(contour: SungContour, clipped: float, remarks: RemarkList) -> None:
    if clipped > _CLIPPED:
        what = "The recording is too loud: its tops are cut off, so pitch and beat may "
        what += "be heard wrongly."
        remedy = "Go further from the microphone, or turn it down, and record it again."
        remarks.add(EarCode.CLIPPED, what, None, remedy)
    sure = contour.voiced >= VOICED
    off = tuning(contour)[sure]
    cents = round(100 * float(off.mean())) if len(off) else 0
    cents = (cents + 50) % 100 - 50
    if abs(cents) > _CENTS:
        way = "higher" if cents > 0 else "lower"
        what = f"The line lies about {abs(cents)} cents {way} than a piano; its notes "
        remarks.add(EarCode.TUNING, f"{what}are named by its own pitch.")


def _octaves(notes: Sequence[HeardNote]) -> int:
    """Return by how many semitones, whole octaves, a line moves to lie well."""
    low, high = min(n.midi for n in notes), max(n.midi for n in notes)
    if low >= _LOW and high <= _HIGH:
        return 0
    middle = (low + high) / 2
    return 12 * round(((_LOW + _HIGH) / 2 - middle) / 12)
