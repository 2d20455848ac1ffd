"""What makes a pianist laugh, counted in the written score alone.

    python -m fitting.sense                 all counts, levels 1, 3 and auto
    python -m fitting.sense --every 10      a tenth of the tunes, for a quick look

The tunes are 300 of music21's corpus (Ryan's Mammoth Collection, Aird's Airs, O'Neill's
Music of Ireland) and the sopranos of its Bach chorales. Each is arranged by the program
and read back from its MusicXML by the few lines below, which share nothing with the
chooser: bars, the tune, the chord symbols and what the hands strike. All counts are
common practice, per 100 bars:

* clash: a tune note of half a beat or more meets its letter otherwise spelled;
* bare: a long foreign note of the key that no step and no new chord resolves;
* beyond: the same of a chromatic note, which chords of levels 1 to 3 seldom hold;
* turned: a section closes off the root;
* twin: a bar with the same bar after it has other chords than its likes;
* noclose: a section ends on 1 from 2, 5 or 7 without V-I (VII-I in minor, mixolydian);
* stuck: bars beyond four on one chord with two strong foreign notes;
* retreat: V-IV within a phrase;
* doubled: the right hand doubles a seventh or the third of V.

Beside them stands busy, the share of full strikes under notes shorter than a beat.
"""

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple
from xml.etree import ElementTree as ET

from makers.corpus import CORPUS, tunes_of

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError
from harmonise.notation.formats import parse_tunes
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.arrangement import AUTO_LEVEL, Style
from harmonise.theory.tune import Tune

LETTERS = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
KINDS = {
    "major": (0, 4, 7),
    "minor": (0, 3, 7),
    "diminished": (0, 3, 6),
    "augmented": (0, 4, 8),
    "dominant": (0, 4, 7, 10),
    "major-seventh": (0, 4, 7, 11),
    "minor-seventh": (0, 3, 7, 10),
    "half-diminished": (0, 3, 6, 10),
    "diminished-seventh": (0, 3, 6, 9),
    "suspended-fourth": (0, 5, 7),
    "power": (0, 7),
}
# Semitones of the keynote above the major key of the signature; minor third or not.
MODES = {
    "major": (0, False),
    "minor": (9, True),
    "dorian": (2, True),
    "mixolydian": (7, False),
    "aeolian": (9, True),
}
SIX = ("clash", "bare", "turned", "twin", "noclose", "stuck")
BESIDE = ("retreat", "doubled", "beyond")


class Tone(NamedTuple):
    """A note of the page: letter, MIDI number, onset, length in crotchets, staff."""

    letter: str
    midi: int
    onset: Fraction
    length: Fraction
    staff: str = "1"

    @property
    def end(self) -> Fraction:
        """When it ends."""
        return self.onset + self.length


class Symbol(NamedTuple):
    """A chord symbol: pitch classes of root, bass and members, from an onset on."""

    onset: Fraction
    root: int
    bass: int
    members: frozenset[int]
    minor: bool


class Measure(NamedTuple):
    """A bar: where it begins and ends, its beat and half, and what closes it."""

    start: Fraction
    end: Fraction
    beat: Fraction
    half: Fraction
    closes: bool


class Page(NamedTuple):
    """A score read back from its MusicXML.

    Attributes:
        measures: Its bars.
        tune: The notes of the tune, tied ones joined.
        symbols: Its chord symbols.
        hands: The other notes of both hands, tied ones joined.
        tonic: Pitch class of the keynote.
        minor: Whether the third of the scale is minor.
        halts: Where a fermata of the tune ends.
    """

    measures: list[Measure]
    tune: list[Tone]
    symbols: list[Symbol]
    hands: list[Tone]
    tonic: int
    minor: bool
    halts: frozenset[Fraction]


def read_page(data: bytes) -> Page:
    """Return what a two-staff score of ours says."""
    part = ET.fromstring(data).find("part")  # noqa: S314 (our own pages)
    assert part is not None
    reader = _Reader()
    for measure in part.iterfind("measure"):
        reader.read_measure(measure)
    return reader.page()


class _Reader:
    """Reads the measures of a part one after the other."""

    def __init__(self) -> None:
        self.measures: list[Measure] = []
        self.symbols: list[Symbol] = []
        self.tune: list[tuple[Tone, bool]] = []
        self.hands: list[tuple[Tone, bool]] = []
        self.halts: set[Fraction] = set()
        self.divisions = Fraction(1)
        self.beats, self.unit, self.fifths, self.mode = 4, 4, 0, "major"
        # Where the next item stands, where the last note began, the end of the bar.
        self.at = self.last = self.furthest = Fraction(0)

    def read_measure(self, measure: ET.Element) -> None:
        """Read a bar; it begins where the longest voice of the one before ended."""
        start = self.at = self.last = self.furthest
        for item in measure:
            if item.tag == "attributes":
                self._read_attributes(item)
            elif item.tag == "harmony":
                self.symbols.append(_symbol(item, self.at))
            elif item.tag in ("note", "forward", "backup"):
                self._move(item)
            self.furthest = max(self.furthest, self.at)
        beat, half = self._beat_and_half()
        closes = any(_closes(line) for line in measure.iterfind("barline"))
        self.measures.append(Measure(start, self.furthest, beat, start + half, closes))

    def _read_attributes(self, item: ET.Element) -> None:
        self.divisions = Fraction(item.findtext("divisions") or self.divisions)
        self.beats = int(item.findtext("time/beats") or self.beats)
        self.unit = int(item.findtext("time/beat-type") or self.unit)
        self.fifths = int(item.findtext("key/fifths") or self.fifths)
        self.mode = item.findtext("key/mode") or self.mode

    def _move(self, item: ET.Element) -> None:
        """Go on by a note, a rest or a space, or back to another voice."""
        step = Fraction(item.findtext("duration") or 0) / self.divisions
        if item.tag == "backup":
            self.at -= step
            return
        if item.find("chord") is None:
            self.last, self.at = self.at, self.at + step
        if item.tag == "note" and item.find("grace") is None:
            _put(item, self.last, step, self.tune, self.hands)
            if item.find("notations/fermata") is not None:
                self.halts.add(self.last + step)

    def _beat_and_half(self) -> tuple[Fraction, Fraction]:
        """Return the length of a beat, and of half a bar if that is whole beats."""
        compound = self.unit == 8 and self.beats % 3 == 0 and self.beats > 3
        beat = Fraction(3 if compound else 1) * Fraction(4, self.unit)
        whole = Fraction(4 * self.beats, self.unit)
        return beat, whole / 2 if (whole / beat) % 2 == 0 else whole

    def page(self) -> Page:
        """Return all that was read."""
        return Page(
            self.measures,
            _tied(self.tune),
            sorted(self.symbols, key=lambda symbol: symbol.onset),
            _tied(self.hands),
            (self.fifths * 7 + MODES.get(self.mode, (0, False))[0]) % 12,
            MODES.get(self.mode, (0, False))[1],
            frozenset(self.halts),
        )


def _closes(line: ET.Element) -> bool:
    style = line.findtext("bar-style") or ""
    if line.get("location") != "right":
        return False
    return style in ("light-heavy", "light-light") or line.find("repeat") is not None


def _symbol(item: ET.Element, at: Fraction) -> Symbol:
    root = _class(item.find("root"), "root")
    bass = item.find("bass")
    kind = item.findtext("kind") or "major"
    shape = KINDS.get(kind, (0, 4, 7))
    members = frozenset((root + step) % 12 for step in shape)
    low = root if bass is None else _class(bass, "bass")
    return Symbol(at, root, low, members, shape[1] == 3)


def _class(item: ET.Element | None, name: str) -> int:
    assert item is not None
    letter = (item.findtext(f"{name}-step") or "C").strip()
    return (LETTERS[letter] + int(item.findtext(f"{name}-alter") or 0)) % 12


def _put(
    item: ET.Element,
    at: Fraction,
    step: Fraction,
    tune: list[tuple[Tone, bool]],
    hands: list[tuple[Tone, bool]],
) -> None:
    """Keep a sounding note: of the first voice of the upper staff, or of the hands."""
    pitch = item.find("pitch")
    if pitch is None:
        return
    letter = pitch.findtext("step") or "C"
    midi = LETTERS[letter] + int(pitch.findtext("alter") or 0)
    midi += 12 * (int(pitch.findtext("octave") or 4) + 1)
    goes_on = any(tie.get("type") == "stop" for tie in item.iterfind("tie"))
    staff = item.findtext("staff") or "1"
    first = item.findtext("voice") == "1" and staff == "1"
    tone = Tone(letter, midi, at, step, staff)
    if first and item.find("chord") is not None and tune and tune[-1][0].onset == at:
        # Of a chord the highest note is the tune, in whatever order it is written.
        other, *_ = tune[-1]
        if other.midi > midi:
            first = False
        else:
            hands.append(tune.pop())
    (tune if first else hands).append((tone, goes_on))


def _tied(found: list[tuple[Tone, bool]]) -> list[Tone]:
    """Join tied notes into one."""
    out: list[Tone] = []
    for tone, goes_on in sorted(found, key=lambda pair: (pair[0].onset, pair[0].midi)):
        for at in range(len(out) - 1, -1, -1):
            if goes_on and out[at].midi == tone.midi and out[at].end == tone.onset:
                out[at] = out[at]._replace(length=out[at].length + tone.length)
                break
        else:
            out.append(tone)
    return out


def in_force(page: Page, onset: Fraction) -> Symbol | None:
    """Return the chord symbol in force at an onset."""
    before = [symbol for symbol in page.symbols if symbol.onset <= onset]
    return before[-1] if before else None


def measure_at(page: Page, onset: Fraction) -> Measure:
    """Return the bar that an onset stands in."""
    return next(m for m in reversed(page.measures) if m.start <= onset)


def sections(page: Page) -> Iterator[list[Measure]]:
    """Yield the bars of each section: up to a double bar, a repeat or the end."""
    now: list[Measure] = []
    for measure in page.measures:
        now.append(measure)
        if measure.closes:
            yield now
            now = []
    if now:
        yield now


def is_bare(page: Page, at: int) -> bool:
    """Whether a tune note stands bare: long, strong, foreign, and led nowhere."""
    note = page.tune[at]
    measure, chord = measure_at(page, note.onset), in_force(page, note.onset)
    strong = note.onset in (measure.start, measure.half)
    long = note.length >= (measure.beat if strong else 2 * measure.beat)
    if chord is None or not long or note.midi % 12 in chord.members:
        return False
    if (note.midi - chord.root) % 12 == 10 and not chord.minor:
        return False
    if at + 1 == len(page.tune):
        return True
    after = page.tune[at + 1]
    later = in_force(page, after.onset)
    if later and later != chord and note.midi % 12 in later.members:
        return False
    distance = abs(after.midi - note.midi)
    return after.onset > note.end or distance == 0 or distance > 2


def is_in_key(page: Page, note: Tone) -> bool:
    """Whether a note is of the page's scale; minor has both its 6ths and 7ths."""
    scale = (0, 2, 3, 5, 7, 8, 9, 10, 11) if page.minor else (0, 2, 4, 5, 7, 9, 11)
    return (note.midi - page.tonic) % 12 in scale


def foreign_strong(page: Page, measure: Measure) -> bool:
    """Whether a bar has a strong note of a beat that its chord does not hold."""
    return any(
        tone.length >= measure.beat
        and tone.onset in (measure.start, measure.half)
        and (chord := in_force(page, tone.onset)) is not None
        and tone.midi % 12 not in chord.members
        for tone in page.tune
        if measure.start <= tone.onset < measure.end
    )


def _notes_of(page: Page, measure: Measure) -> tuple[tuple[Fraction, int], ...]:
    return tuple(
        (t.onset - measure.start, t.midi)
        for t in page.tune
        if measure.start <= t.onset < measure.end
    )


def _chords_of(page: Page, measure: Measure) -> tuple[tuple[Fraction, int], ...]:
    before = in_force(page, measure.start)
    inside = [s for s in page.symbols if measure.start < s.onset < measure.end]
    whole = ([before] if before else []) + inside
    return tuple((max(s.onset - measure.start, Fraction(0)), s.root) for s in whole)


def twins(page: Page) -> int:
    """Count bars whose likes, with the same bar after them, have other chords."""
    known: dict[object, Counter[object]] = {}
    for here, after in pairwise(page.measures):
        notes = _notes_of(page, here)
        if notes:
            key = (notes, _notes_of(page, after))
            known.setdefault(key, Counter())[_chords_of(page, here)] += 1
    return sum(n.total() - max(n.values()) for n in known.values())


def no_close(page: Page, bars: list[Measure]) -> bool:
    """Whether a section ends on 1 from 2, 5 or 7 on a beat without its close."""
    inside = [t for t in page.tune if bars[0].start <= t.onset < bars[-1].end]
    if len(inside) < 2:
        return False
    before, last = inside[-2:]
    degrees = ((before.midi - page.tonic) % 12, (last.midi - page.tonic) % 12)
    on_beat = (last.onset - measure_at(page, last.onset).start) % bars[-1].beat == 0
    if degrees[1] or degrees[0] not in (2, 7, 10, 11) or not on_beat:
        return False
    end, lead = in_force(page, last.onset), in_force(page, before.onset)
    if end is None or lead is None or end.root != page.tonic:
        return True
    sung = {(note.midi - page.tonic) % 12 for note in page.tune}
    # A tune with the natural 7th alone is mixolydian, whatever its signature says.
    modal = page.minor or (10 in sung and 11 not in sung)
    return (lead.root - page.tonic) % 12 not in ((7, 10) if modal else (7,))


def stuck(page: Page, bars: list[Measure]) -> int:
    """Count bars beyond four on one chord, where two strong notes are foreign to it."""
    found, run, root = 0, 0, None
    foreign = 0
    for measure in [*bars, None]:
        roots = {r for _, r in _chords_of(page, measure)} if measure else set()
        if measure and len(roots) == 1 and roots == {root}:
            run += 1
            foreign += foreign_strong(page, measure)
            continue
        found += max(0, run - 4) if foreign >= 2 else 0
        run, foreign = 1, 0
        root = next(iter(roots)) if len(roots) == 1 else None
        if measure and root is not None:
            foreign = int(foreign_strong(page, measure))
    return found


def clashes(page: Page) -> int:
    """Count tune notes of half a beat that meet their own letter otherwise spelled."""
    return sum(
        2 * note.length >= measure_at(page, note.onset).beat
        and any(
            other.letter == note.letter
            and (other.midi - note.midi) % 12
            and other.onset < note.end
            and note.onset < other.end
            for other in page.hands
        )
        for note in page.tune
    )


def strikes(page: Page) -> Iterator[tuple[Tone, list[Tone]]]:
    """Yield each tune note under which the right hand strikes, with what it strikes."""
    for note in page.tune:
        struck = [t for t in page.hands if t.onset == note.onset and t.staff == "1"]
        if struck:
            yield note, struck


def doubled(page: Page) -> int:
    """Count strikes that double a seventh, or the third of V, with the tune."""
    found = 0
    for note, struck in strikes(page):
        chord = in_force(page, note.onset)
        if chord is None:
            continue
        degree = (note.midi - chord.root) % 12
        dominant = (chord.root - page.tonic) % 12 == 7 and not chord.minor
        tender = degree in (10, 11) and len(chord.members) > 3
        tender |= dominant and degree == 4
        found += tender and any(t.midi % 12 == note.midi % 12 for t in struck)
    return found


def retreats(page: Page) -> int:
    """Count steps from V to IV; a new phrase may begin on any chord."""
    ends = page.halts | {m.end for m in page.measures if m.closes}
    return sum(
        (before.root - page.tonic) % 12 == 7
        and not before.minor
        and (after.root - page.tonic) % 12 == 5
        and not any(before.onset < end <= after.onset for end in ends)
        for before, after in pairwise(page.symbols)
    )


def count(page: Page) -> Counter[str]:
    """Return all counts of a page."""
    found = Counter[str](bars=len(page.measures))
    found["clash"] = clashes(page)
    for at, note in enumerate(page.tune):
        # A chromatic note has no chord at levels 1 to 3, so it is counted apart.
        kind = "bare" if is_in_key(page, note) else "beyond"
        found[kind] += is_bare(page, at)
    found["twin"] = twins(page)
    for bars in sections(page):
        end = in_force(page, bars[-1].end - Fraction(1, 64))
        found["turned"] += end is not None and end.bass != end.root
        found["noclose"] += no_close(page, bars)
        found["stuck"] += stuck(page, bars)
    found["retreat"], found["doubled"] = retreats(page), doubled(page)
    for note, struck in strikes(page):
        full = len(struck) >= 2
        found["full"] += full
        found["under quick"] += full and note.length < measure_at(page, note.onset).beat
    return found


LEVELS = (1, 3, AUTO_LEVEL)
BOOKS = ("ryansMammoth", "airdsAirs", "oneills1850")


def folk(every: int) -> Iterator[Tune]:
    """Yield a hundred tunes of each book, or every n-th of those."""
    for book in BOOKS:
        size = {"ryansMammoth": 10, "airdsAirs": 11, "oneills1850": 12}[book]
        yield from list(tunes_of(book, size, 100))[::every]


def sopranos(every: int) -> Iterator[Tune]:
    """Yield the tunes of the chorales, or every n-th of them."""
    for path in sorted((CORPUS / "bach").glob("bwv*.mxl"))[::every]:
        try:
            yield parse_tunes(path.read_bytes())[0]
        except HarmoniseError:
            continue


def table(tunes: list[Tune], level: int) -> Counter[str]:
    """Return the counts of all tunes at a level."""
    found = Counter[str]()
    for tune in tunes:
        done = arrange(tune, Style(level=level), explained=False)
        found += count(read_page(format_musicxml(done)))
    return found


def line_of(counts: Counter[str]) -> str:
    """Return the counts per 100 bars."""
    per = {name: 100 * counts[name] / counts["bars"] for name in (*SIX, *BESIDE)}
    busy = counts["under quick"] / max(1, counts["full"])
    six = sum(per[name] for name in SIX)
    told = " ".join(f"{name} {per[name]:.2f}" for name in (*SIX, *BESIDE))
    return f"six {six:.2f} ({told}) busy {busy:.2f}, {counts['bars']} bars"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--every", type=int, default=1)
    given = parser.parse_args()
    for name, tunes in (("folk", folk), ("chorales", sopranos)):
        found = list(tunes(given.every))
        for level in LEVELS:
            counts = line_of(table(found, level))
            head = f"{name} {len(found)} level {level or 'auto'}"
            sys.stdout.write(f"{head} {counts}\n")
            sys.stdout.flush()


if __name__ == "__main__":
    main()
