"""Richer chords: they suit the tune, lead on as textbooks say, and are explained."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from makers.forms import NAMES, tune_of, verse_of, with_form
from makers.profiles import examples
from makers.scores import make_tune
from makers.tunes import tunes

from harmonise.arranging.job import arrange
from harmonise.choice.palette import palette
from harmonise.choice.richer import leads_on
from harmonise.form.last_verse import cadence_slots, last_verse
from harmonise.form.plan import LastVerse, SongForm
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import (
    Arrangement,
    HarmonicRhythm,
    Player,
    Slot,
    Style,
)
from harmonise.theory.key import Mode, parse_key
from harmonise.theory.tune import Tune

SEVENTH = (0, 4, 7, 10)
SAINTS = """
Title: When the saints
Key: F
Time: 4/4
0 F A Bb | C5 - - - | - F A Bb | C5 - - - |
- F A Bb | C5 - A - | F - A - | G - - - |
- A A G | F - - F | A - C5 - | C5 Bb - - |
- - A Bb | C5 - A - | F - G - | F - - - |
"""
ODE = """
Title: Ode to joy
Key: D
Time: 4/4
F# F# G A | A G F# E | D D E F# | F# -.E E - |
F# F# G A | A G F# E | D D E F# | E -.D D - |
E E F# D | E F#.G F# D | E F#.G F# E | D E A3 - |
F# F# G A | A G F# E | D D E F# | E -.D D - |
"""


def plainly(tune: Tune, style: Style) -> Arrangement:
    return arrange(tune, style, explained=False)


def both(tune: Tune, level: int = 2) -> tuple[Arrangement, Arrangement]:
    verse = plainly(tune, Style(level))
    return verse, last_verse(verse, (LastVerse.RICHER,), plainly)


def typed(text: str) -> Tune:
    return parse_tune_text(text)[0]


KNOWN = [
    pytest.param(tune_of("old_hundredth"), id="old hundredth"),
    pytest.param(tune_of("auld_lang_syne"), id="auld lang syne"),
    pytest.param(tune_of("morning_steps"), id="morning steps"),
    pytest.param(typed(SAINTS), id="saints"),
    pytest.param(typed(ODE), id="ode"),
]


def degree(slot: Slot) -> int:
    """Return how many semitones the root of a slot's chord lies above the keynote."""
    assert slot.chord
    return (slot.chord.root.pitch_class - slot.key.tonic.pitch_class) % 12


def intervals(slot: Slot) -> tuple[int, ...]:
    """Return the semitones of a chord's notes above its root."""
    assert slot.chord
    root = slot.chord.root.pitch_class
    return tuple((note - root) % 12 for note in slot.chord.pitch_classes)


def changed(verse: Arrangement, richer: Arrangement) -> list[int]:
    pairs = zip(verse.slots, richer.slots, strict=True)
    return [at for at, (old, new) in enumerate(pairs) if old.chord != new.chord]


@pytest.mark.parametrize("tune", KNOWN)
def test_known_tunes_get_several_kinds_of_richer_chords(tune: Tune) -> None:
    verse, richer = both(tune)
    slots = [richer.slots[at] for at in changed(verse, richer)]
    assert 3 * len(slots) >= len(verse.slots) - len(cadence_slots(verse)) - 1
    # A dominant seventh on another degree than the fifth; ii or vi for I or IV.
    assert [slot for slot in slots if intervals(slot) == SEVENTH and degree(slot) != 7]
    assert [slot for slot in slots if degree(slot) in (2, 9) and 3 in intervals(slot)]


@pytest.mark.parametrize("tune", KNOWN)
def test_dominants_lead_a_fourth_up_and_stand_on_their_roots(tune: Tune) -> None:
    verse, richer = both(tune)
    new = changed(verse, richer)
    for at in new:
        slot, after = richer.slots[at : at + 2]
        assert slot.chord
        assert after.chord
        assert slot.chord.bass == slot.chord.root
        rise = (degree(after) - degree(slot)) % 12
        # V7 to I or vi, V7/x to x, ii to V (or V/V on its own root): any textbook.
        if intervals(slot) == SEVENTH:
            assert rise == 5 or (degree(slot), rise) == (7, 2) or after == slot
        if degree(slot) == 2 and 3 in intervals(slot) and after.chord != slot.chord:
            assert rise in (5, 0)
    assert new


@pytest.mark.parametrize("tune", KNOWN)
def test_long_and_opening_notes_are_in_their_richer_chords(tune: Tune) -> None:
    verse, richer = both(tune)
    for at in changed(verse, richer):
        slot = richer.slots[at]
        assert slot.chord
        over = [
            note
            for note in tune.sounding
            if note.onset < slot.end and note.end > slot.onset
        ]
        inside = [
            min(note.end, slot.end) - max(note.onset, slot.onset)
            for note in over
            if note.pitch and note.pitch.pitch_class in slot.chord.pitch_classes
        ]
        assert 2 * sum(inside) >= slot.length or not over


def test_cadences_beginnings_and_locks_stay() -> None:
    for name in NAMES:
        verse, richer = both(tune_of(name))
        kept = cadence_slots(verse)
        for old, new in zip(verse.slots, richer.slots, strict=True):
            assert old.chord == new.chord or old.onset not in kept
            assert old.locked == new.locked


@given(tunes(most_notes=16))
@settings(max_examples=examples(20), deadline=None, derandomize=True)
def test_only_known_chords_and_richer_ones_come_out(tune: Tune) -> None:
    verse, richer = both(tune)
    plain = {0, 5, 7}
    for at in changed(verse, richer):
        slot = richer.slots[at]
        modal = slot.key.mode not in (Mode.MAJOR, Mode.MINOR)
        assert modal or degree(slot) not in plain or len(intervals(slot)) == 4


def test_a_beginner_gets_no_secondary_dominants() -> None:
    style = Style(1, player=Player.BEGINNER)
    for name in ("morning_steps", "auld_lang_syne", "rakes_of_mallow"):
        verse = plainly(tune_of(name), style)
        richer = last_verse(verse, (LastVerse.RICHER,), plainly)
        # Level 3 is the highest that keeps to the notes of the scale.
        for slot in richer.slots:
            assert not slot.chord or set(slot.chord.members) <= set(slot.key.scale)


def test_reasons_tell_what_is_richer_and_what_stays() -> None:
    verse = arrange(tune_of("old_hundredth"), Style(2))
    richer = last_verse(verse, (LastVerse.RICHER,), arrange)
    assert all(slot.reason for slot in richer.slots)
    kept = cadence_slots(verse)
    for slot in richer.slots:
        if slot.onset in kept:
            assert slot.reason.endswith(f": {slot.chord}, as in the other verses.")
        assert "locked" not in slot.reason
    new = [richer.slots[at].reason for at in changed(verse, richer)]
    assert sum(" is richer than " in reason for reason in new) >= 3


def test_a_tune_that_bears_no_richer_chord_says_so() -> None:
    tune = make_tune("C5:4 B4:4 C5:4")
    form = SongForm(verses=2, last_verse=(LastVerse.RICHER,))
    # A chord a bar: the first bar stays, and the others are the cadence.
    style = Style(harmonic_rhythm=HarmonicRhythm.BAR)
    done = with_form(plainly(tune, style), form)
    found = [str(own) for own in done.remarks if own.code == "FORM"]
    sentence = (
        "Away from its cadences the tune bears no richer chords than it has. "
        "The last verse is like the others."
    )
    assert found == [sentence]


def test_the_other_verses_keep_their_chords() -> None:
    form = SongForm(verses=2, last_verse=(LastVerse.RICHER,))
    verse = verse_of("old_hundredth")
    done = with_form(verse, form)
    length = verse.tune.end
    first = [slot.chord for slot in done.slots if slot.onset < length]
    assert first == [slot.chord for slot in verse.slots]
    last = [slot.chord for slot in done.slots][-len(first) :]
    assert last != first


# The trade's table of what follows what (common practice): usual and avoided steps.
STEPS = [
    ("C", "ii V7", True), ("C", "ii I", False), ("C", "ii IV", False),
    ("C", "V7 I", True), ("C", "V7 vi", True), ("C", "V7 IV", False),
    ("C", "V ii", False), ("C", "V7 I6/4", False), ("C", "IV iii", False),
    ("C", "I iii", True), ("C", "iii vi", True), ("C", "iii I", False),
    ("C", "vi IV", True), ("C", "vi ii", True), ("C", "V/ii ii", True),
    ("C", "V/ii V7", False), ("C", "V/V V7", True), ("C", "I V/vi", True),
    ("A minor", "ii° V7", True), ("A minor", "V7 VI", True),
    ("A minor", "VII III", True), ("A minor", "V VII", False),
    ("A minor", "III V", False), ("A minor", "V7/iv iv", True),
]  # fmt: skip


@pytest.mark.parametrize(("key", "step", "fine"), STEPS)
def test_steps_are_those_of_the_table(key: str, step: str, fine: bool) -> None:
    named = parse_key(key)
    offers = {offer.numeral: offer for offer in palette(named, 4, ("VII",))}
    here, there = (offers[numeral] for numeral in step.split())
    assert leads_on(here, there, named) is fine


def test_every_step_of_a_richer_verse_is_usual_or_was_there_before() -> None:
    for name in NAMES:
        verse, richer = both(tune_of(name))
        old = list(pairwise(slot.chord for slot in verse.slots))
        for at, (one, other) in enumerate(pairwise(richer.slots)):
            if (one.chord, other.chord) == old[at] or not (one.chord and other.chord):
                continue
            if one.key.mode not in (Mode.MAJOR, Mode.MINOR):
                continue
            # V7, wherever it is new, neither falls back to IV nor to ii.
            backs = (degree(one), degree(other)) in ((7, 5), (7, 2))
            assert not (backs and one.chord.is_seventh)
