"""Remarks on real tunes: few, true, and what they say to do helps.

The notes and chords of each remark are looked up in the arrangement by the few lines
below; what it says to do is done, and then the remark must be gone.
"""

import random
import re
from collections import Counter
from fractions import Fraction
from functools import cache

import pytest
from fitting.well_known import songs
from makers.corpus import CORPUS, tunes_of

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError, Remark
from harmonise.notation.formats import parse_tunes
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import Arrangement, Slot, Style
from harmonise.theory.chord import Chord, parse_symbol
from harmonise.theory.phrases import before_pickup
from harmonise.theory.pitch import Pitch, parse_name
from harmonise.theory.tune import ChordAt, Tune

BOOKS = (("ryansMammoth", 10, 7), ("airdsAirs", 11, 6), ("oneills1850", 12, 7))
OF_NOTES = ("H05", "H08", "H35")


@cache
def real_tunes() -> list[Tune]:
    """Return twenty dance tunes, ten chorale sopranos and ten well-known songs."""
    dice = random.Random(20261130)  # noqa: S311 (a sample, no secret)
    tunes = [
        tune
        for book, every, count in BOOKS
        for tune in dice.sample(list(tunes_of(book, every, 100)), count)
    ]
    paths = sorted((CORPUS / "bach").glob("bwv*.mxl"))
    for path in random.Random(7).sample(paths, 12):  # noqa: S311
        try:
            tunes.append(parse_tunes(path.read_bytes())[0])
        except HarmoniseError:
            continue
    return [*tunes[:30], *(song.tune for song in list(songs())[::4][:10])]


def onset_of(done: Arrangement, remark: Remark) -> Fraction:
    """Return where a remark stands, in crotchets."""
    assert remark.place
    bar = next(bar for bar in done.tune.bars if bar.number == remark.place.bar)
    return bar.start + ((remark.place.beat or Fraction(1)) - 1) * bar.time.unit


def slot_of(done: Arrangement, remark: Remark) -> Slot:
    """Return the slot that a remark stands in."""
    onset = onset_of(done, remark)
    return next(s for s in done.slots if s.chord and s.onset <= onset < s.end)


def bars_of(remark: Remark) -> list[str]:
    """Return the bars that a remark names, its own and those where the same holds."""
    others = re.search(r"The same in bars? ([\d, and]+)\.", remark.what)
    own = str(remark.place.bar) if remark.place else ""
    return [own, *(re.findall(r"\d+", others[1]) if others else ())]


def pitches_in(done: Arrangement, slot: Slot) -> list[Pitch]:
    """Return the tune notes that sound in a slot."""
    return [
        note.pitch
        for note in done.tune.sounding
        if note.pitch and note.onset < slot.end and note.end > slot.onset
    ]


def advised(remark: Remark) -> tuple[int | None, Chord] | None:
    """Return level and chord that a remark names; no level for its own."""
    if at := re.match(r"Level (\d) has (\S+) \(", remark.remedy):
        return int(at[1]), parse_symbol(at[2])
    if own := re.match(r"(\S+) \(\S+\) (?:has it|does not clash): lock", remark.remedy):
        return None, parse_symbol(own[1])
    assert remark.remedy.startswith("No level has a ")
    return None


def of_notes(done: Arrangement) -> list[Remark]:
    return [remark for remark in done.remarks if remark.code in OF_NOTES]


def test_no_more_than_one_bar_in_ten_is_remarked_on() -> None:
    for level in (1, 3):
        bars, told = 0, Counter[str]()
        for tune in real_tunes():
            done = arrange(tune, Style(level), explained=False)
            bars += len(tune.bars)
            for remark in done.remarks:
                told[remark.code] += len(bars_of(remark))
            # One remark at most on the notes of one chord.
            slots = [slot_of(done, remark).onset for remark in of_notes(done)]
            assert len(slots) == len(set(slots))
        assert 10 * sum(told[code] for code in OF_NOTES) <= bars
        assert 10 * (told["H07"] + told["H12"] + told["H11"]) <= bars


def check_true(done: Arrangement, remark: Remark) -> None:
    """Check that the note named is in the tune and not in the chord."""
    slot = slot_of(done, remark)
    assert slot.chord
    names = [pitch.name for pitch in pitches_in(done, slot)]
    if clash := re.match(r"(\S+) in the tune clashes with the (\S+) of", remark.what):
        one, other = parse_name(clash[1]), parse_name(clash[2])
        assert one in names
        assert other in slot.chord.members
        assert (one.letter, one.alter) != (other.letter, other.alter)
        assert one.letter == other.letter
        return
    note = re.search(
        r"(?:^|note )([A-G][#b]*)(?: is not in|, which needs|\.$)",
        remark.what.partition(" The same in")[0],
    )
    assert note
    name = parse_name(note[1])
    assert name in names
    assert name.pitch_class not in slot.chord.pitch_classes
    if remark.code == "H08":
        # Sixths over the root are ordinary.
        above = (name.pitch_class - slot.chord.root.pitch_class) % 12
        assert above not in (8, 9)


@pytest.mark.parametrize("level", [1, 3])
def test_what_a_remark_says_to_do_helps(level: int) -> None:
    helped = 0
    for tune in real_tunes():
        done = arrange(tune, Style(level), explained=False)
        for remark in of_notes(done):
            check_true(done, remark)
            if not (advice := advised(remark)):
                continue
            slot = slot_of(done, remark)
            # "Here" is where the remark stands, which may be later than its chord.
            start = slot.onset if advice[0] or " on beat " in remark.remedy else None
            start = max(slot.onset, onset_of(done, remark)) if start is None else start
            lock = ChordAt(start, slot.end, advice[1])
            style = Style(advice[0] or level, locks=(lock,))
            again = arrange(tune, style, explained=False)
            left = [(own.code, own.place) for own in again.remarks]
            assert (remark.code, remark.place) not in left
            assert ("E18", slot.place) not in left
            # A level that is named has the chord, and the one below has it not.
            if advice[0]:
                below = arrange(tune, Style(advice[0] - 1), explained=False)
                assert advice[1] not in [own.chord for own in below.slots]
            helped += 1
    assert helped >= (5 if level == 3 else 10)


def told(text: str, code: str, level: int = 1) -> list[str]:
    done = arrange(parse_tune_text(text)[0], Style(level))
    return [str(remark) for remark in done.remarks if remark.code == code]


def test_a_chord_spelled_against_the_tune_is_told() -> None:
    # Common practice: no B flat under a B natural that lasts.
    text = "Key: F\nF - - - | B D D - | F - - -\nChords: ? | Bb | ?"
    (remark,) = told(text, "H35")
    assert remark.startswith("Bar 2, beat 1: B in the tune clashes with the Bb of Bb")
    assert remark.endswith("Kept as you locked it.")


def test_sixths_and_passing_quavers_are_not_remarked_on() -> None:
    # Common practice: A over C is an ordinary sixth, weak quavers may leap about.
    assert not told("Key: C\nC - E A | G - E G | C - - -", "H08")
    assert not told("Key: C\nC.D.E.C G - - | C.A.G.E C - - | C - - -", "H08")


def test_a_seventh_over_the_dominant_names_the_level_of_v7() -> None:
    line = "Key: C\nC E G - | F D B3 - | C - - -"
    assert told(line, "H08") == [
        "Bar 2, beat 1: F is not in G (G B D). Level 2 has G7 (V7)."
    ]


def test_a_pickup_at_the_end_of_a_page_line_is_no_line_end() -> None:
    # Worked out by hand: the tune begins with a crotchet before the bar, so the line
    # rests on C, and the B that leads on from it asks for no half cadence.
    text = "Key: C\nTime: 4/4\nG | C5 - C5 B |\nC5 - E5 G | C5 - -"
    tune = parse_tune_text(text)[0]
    assert before_pickup(tune, tune.phrases[0]) == tune.phrases[0] - 1
    assert not told(text, "H11")
    # Without the pickup the same line ends on B.
    tune = parse_tune_text(text.replace("G | C5", "C5", 1) + " -")[0]
    assert before_pickup(tune, tune.phrases[0]) == tune.phrases[0]


def test_no_remark_where_nothing_can_be_done() -> None:
    # No V has the C and the A of "C A B", and a note that no chord fits is the tune's.
    assert not told("Key: C\nC5 A C5 A.B |\nC5 - G - | C5 - - -", "H11")
    done = [arrange(tune, Style(1)) for tune in real_tunes()[:20]]
    strays = [r for one in done for r in one.remarks if r.code == "H08"]
    assert strays
    assert all("Level" in r.remedy or "lock" in r.remedy for r in strays)
    assert not any(r.remedy.startswith("No level") for r in strays)


def test_a_chord_held_over_the_bar_line_is_told_with_its_beginning() -> None:
    text = "Key: C\nC - E - | E - G - | G - B3 - | C - - -\nChords: C | C G | G G | C"
    done = arrange(parse_tune_text(text)[0], Style(1))
    assert [str(r) for r in done.remarks if r.code == "H07"] == [
        (
            "Bar 3, beat 1: G came in on beat 3 of bar 2 and is held over a stronger "
            "beat. Change the chord here, or begin it on a strong beat."
        )
    ]
