"""What the hands play, for every chord and kind of shape at once."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.tunes import tune_of, tunes

from harmonise.choice.grid import chord_slots, cut, ticks_per_crotchet
from harmonise.choice.palette import Menu, lay_out
from harmonise.choice.shapes import ABSENT, HandNotes, RightHandManner, play
from harmonise.theory.arrangement import HarmonicRhythm
from harmonise.theory.key import parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.tune import Tune

MANNERS = st.builds(RightHandManner, st.booleans(), st.sampled_from([9, 12]))
RHYTHMS = st.sampled_from(
    [HarmonicRhythm.BAR, HarmonicRhythm.HALF_BAR, HarmonicRhythm.BEAT]
)


def hands_and_menu(
    tune: Tune, manner: RightHandManner, rhythm: HarmonicRhythm, level: int = 4
) -> tuple[HandNotes, Menu]:
    ticks = ticks_per_crotchet(tune)
    starts, _ = chord_slots(tune, rhythm, ticks, (), range(len(tune.bars)))
    # Spare slots would cut the last bar, where a shape is to be followed through.
    starts = tuple(start for start in starts if not start.spare)
    grid = cut(tune, starts, ticks)
    menu = lay_out(tune, grid, level, ())
    return play(grid, menu, manner), menu


def hands_of(
    tune: Tune, manner: RightHandManner, rhythm: HarmonicRhythm, level: int = 4
) -> tuple[HandNotes, np.ndarray]:
    hands, menu = hands_and_menu(tune, manner, rhythm, level)
    return hands, menu.member[menu.stretch]


@given(tunes(lowest=3), MANNERS, RHYTHMS)
@settings(max_examples=examples(300), deadline=None, derandomize=True)
def test_inner_notes_stay_below_the_tune_in_order_within_the_span(
    tune: Tune, manner: RightHandManner, rhythm: HarmonicRhythm
) -> None:
    hands, _ = hands_of(tune, manner, rhythm)
    top = hands.tune[:, None, None, :]
    sounds = top >= 0
    first, second = hands.inner[..., 0], hands.inner[..., 1]
    assert ((first < top) | ~sounds).all()
    assert ((second < first) | (second == ABSENT)).all()
    lowest = np.where(second >= 0, second, first)
    reach = np.where(sounds & (first >= 0), top - lowest, 0)
    assert (reach <= manner.span).all()


@given(tunes(lowest=3), MANNERS, RHYTHMS)
@settings(max_examples=examples(200), deadline=None, derandomize=True)
def test_every_inner_note_is_in_its_chord(
    tune: Tune, manner: RightHandManner, rhythm: HarmonicRhythm
) -> None:
    hands, member = hands_of(tune, manner, rhythm)
    slot, column, kind, part, voice = np.nonzero(hands.inner >= 0)
    notes = hands.inner[slot, column, kind, part, voice]
    assert member[slot, column, notes % 12].all()


@given(tunes(lowest=3), MANNERS, RHYTHMS)
@settings(max_examples=examples(200), deadline=None, derandomize=True)
def test_the_left_hand_keeps_three_semitones_below_the_right(
    tune: Tune, manner: RightHandManner, rhythm: HarmonicRhythm
) -> None:
    hands, _ = hands_of(tune, manner, rhythm)
    bass = hands.bass[:, :, :, None]
    top = np.where(hands.tune >= 0, hands.tune, 127)[:, None, None, :]
    inner = np.where(hands.inner >= 0, hands.inner, 127).min(axis=-1)
    assert ((bass + 3 <= np.minimum(top, inner)) | (bass == ABSENT)).all()
    assert ((bass >= 36) | (bass == ABSENT)).all()


@given(tunes(), MANNERS, RHYTHMS)
@settings(max_examples=examples(200), deadline=None, derandomize=True)
def test_inner_notes_are_new_only_where_they_are_struck(
    tune: Tune, manner: RightHandManner, rhythm: HarmonicRhythm
) -> None:
    hands, _ = hands_of(tune, manner, rhythm)
    before, here = hands.inner[..., :-1, :], hands.inner[..., 1:, :]
    kept = (here[..., :, None] == before[..., None, :]).any(axis=-1) | (here < 0)
    assert (kept.all(axis=-1) | hands.struck[..., 1:]).all()


def bound(numeral: str, classes: tuple[int, ...]) -> set[int]:
    """Return what one voice has alone: a seventh, the third of V or of V of a chord."""
    dominant = numeral.startswith("V") and not numeral.startswith(("VI", "VII"))
    return {*classes[3:], *(classes[1:2] if dominant else ())}


RUNS = st.lists(
    st.sampled_from(["D4", "G4", "B4", "F5", "B5"]), min_size=16, max_size=16
)


@given(RUNS, st.booleans(), RHYTHMS)
@settings(max_examples=examples(100), deadline=None, derandomize=True)
def test_a_struck_hand_doubles_no_seventh_and_no_third_of_the_dominant(
    names: list[str],
    block: bool,
    rhythm: HarmonicRhythm,
) -> None:
    # Common practice: such notes go on by step, so two of one would go in octaves.
    notes = [(Fraction(1, 2), parse_pitch(name)) for name in names]
    tune = tune_of(notes, TimeSignature(4, 4), parse_key("C"))
    manner = RightHandManner(block=block)
    hands, menu = hands_and_menu(tune, manner, rhythm)
    for slot, stretch in enumerate(menu.stretch.tolist()):
        for column, offer in enumerate(menu.offers[stretch]):
            alone = bound(offer.numeral, offer.chord.pitch_classes)
            for part in np.flatnonzero(hands.tune[slot] >= 0).tolist():
                top = int(hands.tune[slot, part]) % 12
                below = hands.inner[slot, column, :, part]
                double = (below >= 0) & (below % 12 == top)
                struck = hands.struck[slot, column, :, part]
                assert top not in alone or not double.any(axis=-1)[struck].any()


NINE = [
    # Textbook table of the nine close voicings in C (common practice, keyboard style).
    ("C5", "I", "E4 G4"), ("E5", "I", "G4 C5"), ("G4", "I", "C4 E4"),
    ("F4", "IV", "A3 C4"), ("A4", "IV", "C4 F4"), ("C5", "IV", "F4 A4"),
    ("G4", "V", "B3 D4"), ("B4", "V", "D4 G4"), ("D5", "V", "G4 B4"),
]  # fmt: skip


@pytest.mark.parametrize(("tune_note", "numeral", "inner"), NINE)
def test_the_nine_close_voicings_come_out(
    tune_note: str, numeral: str, inner: str
) -> None:
    time = TimeSignature(4, 4)
    pitch = parse_pitch(tune_note)
    tune = tune_of([(time.bar_length, pitch)], time, parse_key("C"))
    hands, _ = hands_of(tune, RightHandManner(block=True), HarmonicRhythm.BAR, 1)
    column = ["I", "IV", "V"].index(numeral)
    notes = sorted(hands.inner[0, column, 0, 0].tolist())
    assert notes == [parse_pitch(name).midi for name in inner.split()]


def played(text: str, numeral: str = "I", *, block: bool = False) -> list[str]:
    """Return the inner notes at each part of one bar in C, higher first."""
    time = TimeSignature(4, 4)
    words = text.split()
    notes = [(time.bar_length / len(words), parse_pitch(word)) for word in words]
    tune = tune_of(notes, time, parse_key("C"))
    manner = RightHandManner(block=block)
    hands, _ = hands_of(tune, manner, HarmonicRhythm.BAR, 1)
    column = ["I", "IV", "V"].index(numeral)
    rows = zip(
        hands.inner[0, column, 0].tolist(),
        hands.struck[0, column, 0].tolist(),
        strict=True,
    )
    names = {n: str(parse_pitch(f"{x}{o}")) for o in (2, 3, 4, 5) for x in "CDEFGAB"
             for n in [parse_pitch(f"{x}{o}").midi]}  # fmt: skip
    return [
        ("*" if struck else "") + " ".join(names[n] for n in inner if n >= 0)
        for inner, struck in rows
    ]


HELD = [
    # What held inner notes do while the tune moves: common practice of accompaniment.
    pytest.param("G4 A4 G4 C5", ["*E4 C4", "E4 C4", "E4 C4", "E4 C4"], id="hold"),
    pytest.param(
        "G4 E5 C5 G4", ["*E4 C4", "*C5 G4", "*G4 E4", "*E4 C4"], id="too wide"
    ),
    pytest.param(
        "G4 E4 G4 G4", ["*E4 C4", "*C4 G3", "C4 G3", "C4 G3"], id="down to it"
    ),
    pytest.param("G4 F4 E4 F4", ["*E4 C4", "C4", "*C4 G3", "C4 G3"], id="let go"),
]


@pytest.mark.parametrize(("text", "expected"), HELD)
def test_held_notes_make_way_for_the_tune(text: str, expected: list[str]) -> None:
    assert played(text) == expected


def test_block_texture_strikes_under_every_beat_of_the_chord() -> None:
    assert played("C5 E5 G5 E5", block=True) == ["*G4 E4", "*C5 G4", "*E5 C5", "*C5 G4"]


def test_the_octave_below_a_seventh_is_left_out_of_a_shape_that_stays() -> None:
    # The run comes down to B4, so its shape is struck at once: under F5 without F4.
    time = TimeSignature(2, 4)
    names = ("F5", "B4", "D5", "B4")
    notes = [(Fraction(1, 2), parse_pitch(name)) for name in names]
    tune = tune_of(notes, time, parse_key("C"))
    manner = RightHandManner(block=False)
    hands, menu = hands_and_menu(tune, manner, HarmonicRhythm.BAR, 2)
    column = [offer.numeral for offer in menu.offers[0]].index("V7")
    assert hands.inner[0, column, 0, 0].tolist() == [parse_pitch("G4").midi, ABSENT]


def test_a_low_tune_is_thinned_and_a_very_low_one_goes_alone() -> None:
    assert played("B3 B3 G3 D3", "V") == ["*G3", "G3", "*B2", ""]
