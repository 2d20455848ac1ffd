"""Works as other programs write them: music21, verovio, LilyPond, mido.

A layout of `outside_layouts` is read by the program and written anew, as MusicXML or
as MIDI, so that what is marked went through a writer that knows nothing of us. Run as a
program this writes `cases/exports.tsv`: recall and precision of every thirteenth slip,
by program and layout. What MIDI cannot show is left out.
"""

import base64
import io
import subprocess
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import mido
import music21  # noqa: TID251 - the writer that is tried
import verovio
from music21.musicxml.m21ToXml import (  # noqa: TID251 - the writer that is tried
    GeneralObjectExporter,
)

from harmonise.marking.marked import Marking
from makers.outside_layouts import LAYOUTS
from makers.outside_slips import Slip
from makers.outside_table import every_slip, marked_data, told
from makers.outside_works import PAGES, Work, right_work

TABLE = Path(__file__).parents[1] / "cases" / "exports.tsv"
HEAD = ("program", "layout", "planted", "recall %", "precision %")
MIDI = "MIDI"
STRIDE = 13
"""Prime to the kinds and pages that take turns."""
ONE_LENGTH = ("two staves, chords in one voice", "tune note too short")
"""What no program but ours writes: a chord of one voice with notes of two lengths."""
ONE_TRACK = ("verovio, MIDI", "left hand and inner voice first")
"""Where the lower staff comes first in a bar, verovio puts both hands in one track."""


def by_music21(data: bytes) -> bytes:
    score = music21.converter.parseData(data.decode(), format="musicxml")
    return bytes(GeneralObjectExporter(score).parse())


def midi_by_music21(data: bytes) -> bytes:
    score = music21.converter.parseData(data.decode(), format="musicxml")
    # Chord names would sound as chords of their own.
    for name in list(score.recurse().getElementsByClass("ChordSymbol")):
        name.activeSite.remove(name)
    return bytes(music21.midi.translate.streamToMidiFile(score).writestr())


@cache
def engraver() -> verovio.toolkit:
    verovio.enableLog(verovio.LOG_OFF)
    return verovio.toolkit()


def midi_by_verovio(data: bytes) -> bytes:
    engraver().loadData(data.decode())
    return base64.b64decode(engraver().renderToMIDI())


def midi_by_lilypond(data: bytes) -> bytes:
    """Return what LilyPond makes of a score that its own converter read.

    The converter sets parts for MIDI one after the other, with the chord names among
    them; both are mended in its text, as a user would.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        score, text = folder / "work.xml", folder / "work.ly"
        score.write_bytes(data)
        call = ["musicxml2ly", "-m", "-o", str(text), str(score)]
        subprocess.run(call, check=True, capture_output=True)  # noqa: S603 (fixed words and our own file)
        before, word, block = text.read_text("utf-8").rpartition("\\score")
        block = block.replace("\\articulate {", "\\articulate <<")
        block = block.replace("        }\n    \\midi", "        >>\n    \\midi")
        lines = [line for line in block.split("\n") if "ChordNames" not in line]
        text.write_text("\n".join([before + word + lines[0], *lines[1:]]), "utf-8")
        call = ["lilypond", "-dno-print-pages", "-o", str(folder / "work"), str(text)]
        subprocess.run(call, check=True, capture_output=True)  # noqa: S603 (fixed words and our own file)
        return next(folder.glob("*.mid*")).read_bytes()


def midi_by_mido(data: bytes) -> bytes:
    """Return a MIDI file read and written anew, all in one track."""
    file = mido.MidiFile(file=io.BytesIO(data))
    file.tracks[:] = [file.tracks[0], mido.merge_tracks(file.tracks[1:])]
    file.tracks[1].pop()
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


SCORES = [name for name in LAYOUTS if not name.startswith((MIDI, "typed"))]
PROGRAMS: dict[str, tuple[Callable[[bytes], bytes], list[str]]] = {
    "music21, MusicXML": (by_music21, SCORES),
    "music21, MIDI": (midi_by_music21, SCORES),
    "verovio, MIDI": (midi_by_verovio, SCORES),
    "mido, MIDI": (midi_by_mido, [MIDI]),
}
"""What writes works anew, and the layouts that it can read."""


def exported(page: str, work: Work, program: str, layout: str) -> Marking:
    """Return a work that a program wrote, marked."""
    write, _ = PROGRAMS[program]
    return marked_data(page, work, write(LAYOUTS[layout].write(work)))


def shown(slip: Slip, program: str, layout: str) -> bool:
    """Whether a slip can be seen in a layout as a program writes it."""
    cannot = LAYOUTS[layout].cannot
    if program.endswith(MIDI):
        cannot += LAYOUTS[MIDI].cannot
    if (program, layout) == ONE_TRACK:
        cannot += LAYOUTS["one staff"].cannot
    return slip.kind not in cannot and (layout, slip.kind) != ONE_LENGTH


def cases() -> Iterator[tuple[str, str, Slip]]:
    """Yield every thirteenth slip in every layout that a program reads."""
    tried = list(every_slip())[::STRIDE]
    for program, (_, layouts) in PROGRAMS.items():
        for layout in layouts:
            for slip in tried:
                if shown(slip, program, layout):
                    yield program, layout, slip


def told_of(program: str, layout: str, slip: Slip) -> set[tuple[str, int]]:
    """Return what is told of a slip that a program wrote."""
    write, _ = PROGRAMS[program]
    data = write(LAYOUTS[layout].write(slip.work))
    return told(marked_data(slip.page, slip.work, data, strict=slip.strict))


def rows() -> Iterator[tuple[str, ...]]:
    """Yield the rows of the table."""
    planted, found, alone = (Counter[tuple[str, str]]() for _ in range(3))
    for program, layout, slip in cases():
        said = told_of(program, layout, slip)
        planted[program, layout] += 1
        found[program, layout] += slip.told <= said
        alone[program, layout] += said == slip.told
    for key, many in planted.items():
        shares = (f"{100 * part[key] / many:.0f}" for part in (found, alone))
        yield *key, str(many), *shares


def right_pages() -> Iterator[tuple[str, str, str, Work]]:
    """Yield each program and layout with the right work of a page, which take turns."""
    pages = list(PAGES)
    pairs = [(name, own) for name, (_, row) in PROGRAMS.items() for own in row]
    for number, (program, layout) in enumerate(pairs):
        page = pages[number % len(pages)]
        yield program, layout, page, right_work(PAGES[page])


def main() -> None:
    """Write the table."""
    lines = ["\t".join(row) for row in (HEAD, *rows())]
    TABLE.write_text("\n".join(lines) + "\n", "utf-8")


if __name__ == "__main__":
    main()
