"""`--level auto` and the harmonic rhythm that "auto" settles on."""

from pathlib import Path

import pytest

from harmonise.arranging.job import arrange, settle
from harmonise.arranging.remarks import STRONG
from harmonise.errors import NoHarmonyError
from harmonise.notation.formats import read_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import AUTO_LEVEL, Arrangement, HarmonicRhythm, Style
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").iterdir())


def tune_of(body: str, *heads: str) -> Tune:
    return parse_tune_text("\n".join(["Key: C", *heads, body]))[0]


def broken(done: Arrangement) -> int:
    return sum(remark.code in STRONG for remark in done.remarks)


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_auto_takes_the_lowest_level_that_breaks_the_fewest_rules(path: Path) -> None:
    tune = read_tune(path)
    done = arrange(tune, Style(AUTO_LEVEL))
    counts = [broken(arrange(tune, Style(level))) for level in (1, 2, 3, 4)]
    best = counts.index(0) if 0 in counts else counts.index(min(counts))
    assert done.style.level == best + 1
    assert done.slots == arrange(tune, Style(best + 1)).slots
    told = [remark for remark in done.remarks if remark.code == "LEVEL"]
    assert len(told) == 1


def test_auto_says_what_the_level_below_lacks() -> None:
    # A tonic triad with the flat seventh asks for V7/IV: common practice, level 4.
    done = arrange(
        tune_of("E - G - | Bb - - - | A - - - | D - B3 - | C - - -"), Style(AUTO_LEVEL)
    )
    assert done.style.level == 4
    assert str(done.remarks[0]) == (
        "Level 4 is the lowest that keeps every strong rule. At level 3: Bar 2, "
        "beat 1: no chord of level 3 has the tune note Bb. "
        "Level 4 has C7 (V7/IV)."
    )


def test_auto_refuses_when_strict_and_no_level_fits() -> None:
    # No chord of any level in C major has a D# in it (common practice).
    odd = tune_of("C - - - | D# - - - | C - - -")
    assert any(r.code == "H05" for r in arrange(odd, Style(AUTO_LEVEL)).remarks)
    with pytest.raises(NoHarmonyError, match="has the tune note D#"):
        arrange(odd, Style(AUTO_LEVEL, strict=True))


RHYTHMS = [
    # Common practice: hymns a chord a beat, jigs and reels a chord a bar or half-bar.
    pytest.param("C D E F | G A G -", ("Tempo: 72",), "beat", id="slow, in crotchets"),
    pytest.param("C D E F | G A G -", ("Tempo: 110",), "half-bar", id="walking pace"),
    pytest.param("C D E F | G A G -", (), "half-bar", id="no tempo"),
    pytest.param("C.D.E.F D E F | G A G -", ("Tempo: 72",), "half-bar", id="quavers"),
    pytest.param("C - - - | G - - -", ("Tempo: 72",), "half-bar", id="long notes"),
    pytest.param("C D E F | G A G -", ("Tempo: 250",), "bar", id="very quick"),
    pytest.param("C D | G A", ("Time: 2/4", "Tempo: 126"), "bar", id="quick 2/4"),
    pytest.param("C D | G A", ("Time: 2/4", "Tempo: 116"), "half-bar", id="2/4"),
    pytest.param("C D E | G A G", ("Time: 3/4", "Tempo: 116"), "bar", id="3/4"),
]


@pytest.mark.parametrize(("body", "heads", "rhythm"), RHYTHMS)
def test_auto_settles_the_harmonic_rhythm_by_metre_tempo_and_notes(
    body: str, heads: tuple[str, ...], rhythm: str
) -> None:
    settled = settle(tune_of(body, *heads), Style())
    assert settled.harmonic_rhythm is HarmonicRhythm(rhythm)


def test_a_tune_that_ends_on_5_may_end_open_and_says_how_to_close() -> None:
    # Human arrangers leave such tunes on V more often than they close on I.
    done = arrange(tune_of("C E G E | F D B3 D | C E G E | D F G -"))
    assert str(done.changes[-1].chord) == "G"
    assert str(done.remarks[-1]) == (
        "Bar 4, beat 1: the tune ends on G over G, not on C. "
        "So it can go round again; lock C to close."
    )
    assert "it ends open." in str(done.remarks[0])
