"""Bars and sections with a left hand or a texture of their own."""

import pytest
from makers.left_hands import tune_of, typed

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError, NotationError
from harmonise.left_hand.sections import parse_sections
from harmonise.theory.arrangement import (
    HarmonicRhythm,
    LeftHand,
    Section,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.tune import Tune


def test_a_change_of_time_falls_back_to_the_held_root_with_a_remark() -> None:
    tune = tune_of("E5 - C5 | D5 - B4 |\nTime: 4/4\nE5 - C5 - | C5 - - -", "Time: 3/4")
    done = arrange(tune, Style(3, HarmonicRhythm.BAR, left_hand=LeftHand.WALTZ))
    told = [str(remark) for remark in done.remarks if remark.code == "LEFT"]
    assert told == ["Bar 3: a waltz does not suit 4/4; the left hand holds the root."]
    assert typed(done, 3) == "C3:4"
    assert typed(done, 1).startswith("C3:1 ")


def labelled(tune: Tune, **labels: int) -> Tune:
    """Return a tune with labels over some bars, by their index."""
    bars = list(tune.bars)
    for label, index in labels.items():
        bars[index] = bars[index]._replace(section=label)
    return tune._replace(bars=tuple(bars))


LABELLED = labelled(
    tune_of("E5 - G5 - | D5 - G5 - | E5 - G5 - | D5 - G5 - | C5 - - -"),
    Verse=0,
    Chorus=2,
)


def test_a_section_has_a_left_hand_of_its_own() -> None:
    style = Style(1, HarmonicRhythm.BAR, left_hand=LeftHand.HELD)
    own = style._replace(sections=parse_sections("chorus root-fifth, 2 repeated"))
    done = arrange(LABELLED, own)
    plain = arrange(LABELLED, style)
    assert typed(done, 1, 2, 3) == "C3:4 G2:1 G2:1 G2:1 G2:1 C3:2 G3:2"
    assert [s.numeral for s in done.slots] == [s.numeral for s in plain.slots]


def test_a_section_has_a_texture_of_its_own() -> None:
    tune = tune_of("E5 G5 E5 C5 | E5 G5 E5 C5 | C5 - - -")
    style = Style(1, HarmonicRhythm.BAR, Texture.HELD, left_hand=LeftHand.HELD)
    done = arrange(tune, style._replace(sections=parse_sections("2-2 block")))
    inner = [n.onset for n in done.notes if n.voice is Voice.INNER]
    assert len({onset for onset in inner if onset < 4}) < 4
    assert {onset for onset in inner if 4 <= onset < 8} == {4, 5, 6, 7}


def test_sections_are_read_and_written() -> None:
    text = "9-16 broken, Chorus octave held, Verse 2 block, 3 held"
    found = parse_sections(text)
    assert found == (
        Section("", 9, 16, LeftHand.BROKEN),
        Section("Chorus", left_hand=LeftHand.OCTAVE, texture=Texture.HELD),
        Section("Verse 2", texture=Texture.BLOCK),
        Section("", 3, 3, LeftHand.HELD),
    )


WRONG = [
    (
        "Chorus loud",
        (
            '"Chorus loud" does not end in a left hand or a texture (held, repeated, '
            "octave, root-fifth, chords, drone, waltz, march, broken, jig, walking, "
            "block, light). Write it as in 9-16 broken, Chorus octave."
        ),
    ),
    (
        "16-9 broken",
        (
            '"16-9 broken": bar 9 comes before bar 16. '
            "Write it as in 9-16 broken, Chorus octave."
        ),
    ),
]


@pytest.mark.parametrize(("text", "sentence"), WRONG)
def test_sections_typed_wrong_are_told_how_to_type_them(
    text: str, sentence: str
) -> None:
    with pytest.raises(NotationError) as caught:
        parse_sections(text)
    assert str(caught.value) == sentence


MISSING = [
    (
        "Bridge octave",
        'The tune has no section "Bridge". Its sections are Verse, Chorus.',
    ),
    ("4-9 octave", "The tune has no bars 4-9. Its last bar is 5."),
    (
        "Chorus jig",
        (
            "Chorus: a jig does not suit 4/4. Choose one of held, repeated, octave, "
            "root-fifth, chords, drone, march, broken, walking."
        ),
    ),
]


@pytest.mark.parametrize(("text", "sentence"), MISSING)
def test_sections_that_the_tune_lacks_are_refused(text: str, sentence: str) -> None:
    with pytest.raises(HarmoniseError) as caught:
        arrange(LABELLED, Style(sections=parse_sections(text)))
    assert str(caught.value) == sentence
