"""Four parts under a tune: what one chord and one step must be, case by case."""

from fractions import Fraction
from itertools import product

import pytest
from fitting.parts import Setting, measure
from oracles.part_faults import heights, lower

from harmonise.arranging.job import settle
from harmonise.choice.palette import palette
from harmonise.choice.parts.choose_parts import Parts, choose_parts
from harmonise.choice.parts.forms import FURTHER, ChordForm, forms_of
from harmonise.choice.parts.setting import part_remarks, sounding_parts
from harmonise.choice.parts.spots import PartSlot
from harmonise.choice.parts.voicings import ALTO, BASS, STRICT, TENOR, outside, voicings
from harmonise.choice.weights import BASS_LEAPS, INNER_LEAPS, PART_WEIGHTS
from harmonise.errors import NoHarmonyError
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import (
    Hand,
    HarmonicRhythm,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.key import parse_key
from harmonise.theory.tune import Tune

STYLE = Style(4, HarmonicRhythm.BEAT)


def tune_of(text: str) -> Tune:
    (tune,) = parse_tune_text(text)
    return tune


def parts_of(tune: Tune, style: Style = STYLE) -> Parts:
    return choose_parts(tune, settle(tune, style))


def numerals(text: str, style: Style = STYLE) -> str:
    return " ".join(offer.numeral for offer in parts_of(tune_of(text), style).offers)


def remarks(text: str) -> list[str]:
    tune = tune_of(text)
    return [str(remark) for remark in part_remarks(tune, parts_of(tune))]


def form(name: str, key: str = "C", level: int = 4) -> ChordForm:
    beside = FURTHER.get(parse_key(key).mode, ())
    offers = palette(parse_key(key), level, beside)
    return next(
        own
        for own in forms_of(parse_key(key), offers, level)
        if own.offer.numeral == name
        and (name in beside or not offers[own.column].chord.inversion)
    )


def spot(midi: int, step: int, *forms: ChordForm) -> PartSlot:
    return PartSlot(midi, midi, midi, midi, 12, step, forms)


def by_hand(top: int, own: ChordForm, *, fifth: bool) -> set[tuple[int, ...]]:
    """All settings of a form that the textbook allows, tried one by one."""
    found: set[tuple[int, ...]] = set()
    bass = own.classes[own.inversion]
    lines = [range(r.lowest, r.highest + 1) for r in (ALTO, TENOR, BASS)]
    for a, t, b in product(*lines):
        classes = [note % 12 for note in (top, a, t, b)]
        if not top > a > t > b or b % 12 != bass or set(classes) - set(own.classes):
            continue
        if top - a > 12 or a - t > 12 or t - b > 16:
            continue
        missing = set(own.classes) - set(classes)
        if missing and not (fifth and missing == {own.classes[2]}):
            continue
        single = {own.single, own.seventh} - {-1}
        if any(classes.count(note) > 1 for note in single):
            continue
        found.add((top, a, t, b))
    return found


@pytest.mark.parametrize(
    ("name", "top", "step", "fifth"),
    [
        ("I", 72, 35, True),
        ("I", 76, 37, True),
        ("I6", 67, 32, False),
        ("I6/4", 72, 35, False),
        ("V", 71, 34, True),
        ("V7", 65, 31, True),
        ("V6/5", 67, 32, False),
        ("V4/2", 74, 36, False),
        ("ii6/5", 72, 35, False),
        ("ii6/5", 69, 33, False),
        ("vii°6", 74, 36, False),
        ("vii°6", 71, 34, False),
        ("ii", 69, 33, True),
    ],
)
def test_the_voicings_are_all_that_the_textbook_allows(
    name: str, top: int, step: int, fifth: bool
) -> None:
    found = voicings(spot(top, step, form(name)), PART_WEIGHTS)
    rows = [tuple(row) for row in found.notes.tolist()]
    assert found.gives == STRICT
    assert len(rows) == len(set(rows))
    assert set(rows) == by_hand(top, form(name), fifth=fifth)
    assert rows


def test_voicings_of_c_major_from_c3_to_c5_are_counted_by_hand() -> None:
    """G4 E4, E4 G3; and without the fifth E4 C4, E4 E3, C4 E3. No others have an E."""
    found = voicings(spot(72, 35, form("I")), PART_WEIGHTS)
    over_c3 = {tuple(row[1:3]) for row in found.notes.tolist() if row[3] == 48}
    assert over_c3 == {(67, 64), (64, 55), (64, 60), (64, 52), (60, 52)}


def test_diminished_triads_keep_their_fifth_and_prefer_the_first_inversion() -> None:
    own = list(forms_of(parse_key("A minor"), palette(parse_key("A minor"), 3), 3))
    two = [f.offer.numeral for f in own if f.diminished]
    assert two == ["ii°", "ii°6"]
    found = voicings(spot(74, 36, *(f for f in own if f.diminished)), PART_WEIGHTS)
    cheapest = {f: int(found.cost[found.form == f].min()) for f in range(2)}
    assert cheapest[1] < cheapest[0]
    assert all(
        {74 % 12, 5, 11} <= {n % 12 for n in row} for row in found.notes.tolist()
    )


def test_sixth_four_chords_wait_for_level_four() -> None:
    key = parse_key("C")
    for level, wanted in ((1, ["I", "I6"]), (4, ["I", "I6", "I6/4"])):
        own = forms_of(key, palette(key, level), level)
        ones = [f.offer.numeral for f in own if f.is_tonic]
        assert list(dict.fromkeys(ones))[: len(wanted)] == wanted
        assert ("I6/4" in ones) == (level == 4)


@pytest.mark.parametrize(
    ("name", "key", "leading", "single", "seventh"),
    [
        ("V", "C", 11, 11, -1),
        ("V7", "C", 11, 11, 5),
        ("iii", "C", -1, 11, -1),
        ("I", "C", -1, -1, -1),
        ("V/V", "C", 6, 6, -1),
        ("V7/IV", "C", 4, 4, 10),
        ("ii6/5", "C", -1, -1, 0),
        ("vii°6", "C", 11, 11, -1),
        ("V", "A minor", 8, 8, -1),
        ("III", "A minor", -1, -1, -1),
        ("VII", "D dorian", -1, -1, -1),
        ("VII", "G mixolydian", -1, -1, -1),
    ],
)
def test_leading_notes_and_sevenths_are_known(
    name: str, key: str, leading: int, single: int, seventh: int
) -> None:
    own = form(name, key)
    assert (own.leading, own.single, own.seventh) == (leading, single, seventh)


def test_leaps_cost_more_the_wider_they_are_but_fourths_suit_the_bass() -> None:
    assert list(INNER_LEAPS[:6]) == sorted(INNER_LEAPS[:6])
    assert BASS_LEAPS[5] < INNER_LEAPS[5]
    assert BASS_LEAPS[6] > BASS_LEAPS[7]


def test_old_hundredth_begins_and_closes_as_a_hymn_does() -> None:
    text = (
        "Key: G\nTime: 4/4\nG | G F# E D | G A B\nB | B B A G | C5 B A\n"
        "G | A B A G | E F# G\nD5 | B G A C5 | B A G |"
    )
    parts = parts_of(tune_of(text))
    names = [offer.numeral for offer in parts.offers]
    assert names[0] == "I"
    assert names[-2:] in (["V7", "I"], ["V", "I"])
    assert names[15] in ("V", "V7")  # The second line ends on A.
    assert len(names) == 32  # The pickup is harmonised too.


def test_a_tune_note_that_sings_seven_one_over_five_six_doubles_the_third() -> None:
    tune = tune_of("Key: C\nTime: 2/4\nC5 B | C5 - |\nChords: C G | Am |")
    parts = parts_of(tune)
    classes = [note % 12 for note in list(heights(parts))[2]]
    assert classes.count(0) == 2
    assert part_remarks(tune, parts) == ()


def test_a_lock_keeps_its_bass() -> None:
    text = "Key: C\nTime: 2/4\nG C5 | B C5 |\nChords: C/E F | G C |"
    assert numerals(text) == "I6 IV V I"


def test_lines_end_in_root_position() -> None:
    text = "Key: F\nTime: 3/4\nF A C5 | Bb A G |\nA C5 Bb | A G F |"
    names = numerals(text).split()
    assert [names[5], names[-1]] in (["V", "I"], ["V7", "I"])


def notes_of(text: str, rhythm: HarmonicRhythm) -> list[SoundingNote]:
    tune = tune_of(text)
    parts = parts_of(tune, STYLE._replace(harmonic_rhythm=rhythm))
    return list(sounding_parts(tune, parts))


def test_all_parts_strike_with_the_words_and_tune_notes_pass_above() -> None:
    notes = notes_of("Key: C\nTime: 2/4\nC5.B A | G - |", HarmonicRhythm.BEAT)
    struck = {
        (hand, voice): [
            str(n.onset) for n in notes if (n.hand, n.voice) == (hand, voice)
        ]
        for hand, voice in {(n.hand, n.voice) for n in notes}
    }
    assert struck[Hand.RIGHT, Voice.TUNE] == ["0", "1/2", "1", "2"]
    for part in (
        (Hand.RIGHT, Voice.INNER),
        (Hand.LEFT, Voice.INNER),
        (Hand.LEFT, Voice.BASS),
    ):
        assert struck[part] == ["0", "1", "2"]


def test_a_part_that_keeps_its_note_under_a_held_tune_note_holds_it() -> None:
    text = "Key: C\nTime: 4/4\nG - - - | C5 - - - |\nChords: C F/C C C | C |"
    notes = notes_of(text, HarmonicRhythm.BEAT)
    first = [n for n in notes if n.voice is Voice.BASS]
    assert first[0].length == Fraction(4)


def test_all_parts_rest_with_the_tune() -> None:
    notes = notes_of("Key: C\nTime: 4/4\nC5 0 C5 C5 | C5 - - - |", HarmonicRhythm.BAR)
    for note in notes:
        assert not note.onset < 1 < note.onset + note.length
    assert {n.onset for n in notes if n.voice is Voice.BASS} == {0, 2, 4}


def test_the_alto_lets_go_where_the_tune_leaps_out_of_reach() -> None:
    text = "Key: C\nTime: 2/4\nC E5 | C5 - |"
    notes = notes_of(text, HarmonicRhythm.BAR)
    high = next(n for n in notes if str(n.pitch) == "E5")
    assert not [
        n
        for n in notes
        if n.hand is Hand.RIGHT
        and n is not high
        and n.onset <= high.onset < n.onset + n.length
    ]


def test_a_tune_with_no_room_under_it_is_refused() -> None:
    with pytest.raises(NoHarmonyError) as caught:
        parts_of(tune_of("Key: C\nOctave: 2\nTime: 2/4\nC3 B | C3 - |"))
    assert str(caught.value) == (
        "Bar 1, beat 2: B2 is too low for three voices under it. "
        "Move the tune up an octave."
    )


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        (
            "Key: C\nTime: 2/4\nC A3 | B3 C |",
            (
                "Bar 1, beat 2: A3 lies below the soprano's range (C4 to A5). Choose "
                "another key; the other parts go along as far as they must."
            ),
        ),
        (
            "Key: C\nTime: 2/4\nC5 B5 | C6 C5 |",
            (
                "Bar 1, beat 2: B5 lies above the soprano's range (C4 to A5). Choose "
                "another key; the other parts go along as far as they must."
            ),
        ),
        (
            "Key: C\nTime: 2/4\nE5 F5 | C5 - |\nChords: C G7 | C |",
            (
                "Bar 2, beat 1: from G7 to C there is no way without a seventh that "
                "does not fall."
            ),
        ),
    ],
)
def test_what_gives_way_is_told(text: str, wanted: str) -> None:
    assert wanted in remarks(text)


def test_ranges_move_only_as_far_as_the_tune_is_outside() -> None:
    assert [outside(midi) for midi in (59, 60, 81, 84)] == [-1, 0, 0, 3]


def test_every_part_is_spelled_as_a_member_of_its_chord() -> None:
    tune = tune_of("Key: C minor\nTime: 4/4\nC5 D5 Eb5 D5 | C5 Bn C5 - |")
    parts = parts_of(tune)
    for slot, offer in enumerate(parts.offers):
        members = {str(name).replace("b", "-") for name in offer.chord.members}
        assert {name[:-1] for name in lower(parts, slot)} <= members


def test_the_figures_beside_bach_count_moves_and_inversions() -> None:
    """C major, then G major on its third, then C minor seventh over its seventh."""
    setting: Setting = {
        Fraction(0): (72, 67, 64, 48),
        Fraction(1): (74, 67, 62, 47),
        Fraction(2): (75, 67, 60, 46),
    }
    count = measure(setting)
    assert count["alto", "held or repeated"] == 2
    assert count["tenor", "a step"] == 2
    assert count["outer voices", "contrary"] == 2
    assert count["inversion", "root position"] == 1
    assert count["inversion", "first inversion"] == 1
    assert count["inversion", "third inversion"] == 1
    assert count["doubled in root position", "root"] == 1
    assert count["doubled in first inversion", "fifth"] == 1
    assert count["between", "soprano-alto"] == 5 + 7 + 8
