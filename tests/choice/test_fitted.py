"""The fitted costs inside the engine: they add up, and palettes follow the tune."""

import numpy as np
import pytest

from harmonise.choice.choose import choose
from harmonise.choice.fitted.costing import price, product
from harmonise.choice.palette import Heard, palette, suited
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import HarmonicRhythm, Style, Texture
from harmonise.theory.key import parse_key

LINE = "Key: C\nE E G E | D D B3 - | C E G C5 | C5 - C5 - |\n"


def test_a_chord_a_bar_costs_what_its_halves_cost() -> None:
    tune = parse_tune_text(LINE)[0]
    whole = choose(tune, Style(3, HarmonicRhythm.BAR, Texture.HELD)).costs
    halves = choose(tune, Style(3, HarmonicRhythm.HALF_BAR, Texture.HELD)).costs
    bars = price(whole.table, whole.seen, whole.kinds, whole.kind)
    parts = price(halves.table, halves.seen, halves.kinds, halves.kind)
    stay = np.diagonal(parts.step, axis1=1, axis2=2)[1::2]
    assert (bars.here == parts.here[::2] + parts.here[1::2] + stay).all()
    assert (bars.step == parts.step[::2]).all()


def test_a_product_worked_out_in_pieces_is_the_product() -> None:
    dice = np.random.default_rng(3)
    rows = dice.integers(-64, 64, (5000, 90)).astype(float)
    cells = dice.integers(-2000, 2000, (90, 49)).astype(float)
    assert (product(rows, cells) == rows @ cells).all()


@pytest.mark.parametrize(
    ("key", "level", "heard", "chords"),
    [
        # Common practice, and what human arrangers did: flat sevenths ask for VII.
        ("C", 1, (0, 3, 2), "C F G"),
        ("C", 1, (3, 1, 2), "C F Bb"),
        ("C", 3, (3, 1, 2), "C F Bb Dm Gm Am G"),
        ("A minor", 1, (0, 3, 0), "Am Dm E"),
        ("A minor", 1, (2, 3, 0), "Am Dm E G"),
        ("A minor", 1, (2, 0, 1), "Am Dm E G"),
        # The major IV of minor comes with the raised 6th alone.
        ("A minor", 3, (2, 0, 1), "Am Dm E E7 F C G Bdim Em D"),
        ("A minor", 3, (2, 0, 0), "Am Dm E E7 F C G Bdim Em"),
        ("A minor", 4, (0, 2, 0), "Am Dm E E7 F C G Bdim Em A7 Am/E Am/C E/G#"),
        ("D dorian", 1, (4, 0, 3), "Dm G C"),
    ],
)
def test_a_palette_follows_level_and_sevenths(
    key: str, level: int, heard: tuple[int, int, int], chords: str
) -> None:
    own, extra = suited(parse_key(key), level, Heard(*heard))
    names = [str(offer.chord) for offer in palette(own, level, extra)]
    assert " ".join(names) == chords
