"""The chord chart and guitar sheet as plain text: every chord over its syllable."""

import re
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from makers.chart_tunes import TUNES, TWO_VERSES, arranged, typed
from makers.score_dice import random_arrangement
from makers.scores import arrange as arrange_by_hand
from makers.scores import make_tune

from harmonise import arrange, read_tune
from harmonise.errors import OutputError
from harmonise.notation.chart.plain_charts import format_words_chart
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.key import parse_key
from harmonise.theory.transposing import capo_choices, capo_on
from harmonise.theory.tune import KeyChange, Tempo

LYRICS = [path for path in TUNES if read_tune(path).verses == 1]

AULD_LANG_SYNE = """\
Auld Lang Syne (verse)
Scots traditional, printed with these words in 1799
Key: F major   Time: 4/4   Tempo: crotchet = 88

       F                 C             F                Bb
Should auld acquaintance be forgot and never brought to mind,

       F                 C             F       Bb   C    F
should auld acquaintance be forgot and days of auld lang syne?"""

GUITAR = """\
Auld Lang Syne (verse)
Scots traditional, printed with these words in 1799
Key: F major   Time: 4/4   Tempo: crotchet = 88
Capo 5, play C; the piano is in F.
Chords you play: C G F
Other choices: capo 3, play D; capo 1, play E.

       | C               | G           | C              | F
Should auld acquaintance be forgot and never brought to mind,

       | C               | G           | C     F    G    | C
should auld acquaintance be forgot and days of auld lang syne?"""

LONG_ROAD = """\
The Long Road
Key: E flat major   Time: 4/4   Tempo: crotchet = 100
Capo 1, play D; the piano is in E flat.
Chords you play: D G Bm Em7 A7
Other choices: capo 3, play C.

       | D           G     |     D           | Bm    Em7       | A7
1. O   come with me    the long  way round   across  the hills home, and
2. The evening falls   and bells will sound, no need to walk         a-

| G     A7     | D   G     | D                  G      A7     | D
sing as we go. Home, home, never again shall we wander alone, dear."""

KITCHEN_CLOCK = """\
Kitchen Clock
own tune, 2026
Key: A minor   Time: 3/4   Tempo: crotchet = 92

[Repeat from here]
| Am / /  | / / /   | Dm / /  | E / /   |
| Am / /  |
| E / /   |

[First time]
| Am / /  |
[Go back]

[Second time]
| Am / /  |

Each / is one more beat of the same chord."""


def body(chart: str) -> list[str]:
    """Return the blocks of a chart without its heading."""
    return chart.split("\n\n")[1:]


def test_chords_stand_over_the_syllables_they_begin_on() -> None:
    assert format_words_chart(arranged("auld_lang_syne")) == AULD_LANG_SYNE


def test_the_guitar_sheet_is_the_chart_in_the_shapes_of_the_hand() -> None:
    made = arranged("auld_lang_syne")
    assert format_words_chart(made, capo_on(made.tune.key, 5)) == GUITAR


def test_verses_stand_below_one_another_and_a_refrain_has_no_number() -> None:
    made = typed(TWO_VERSES)
    assert format_words_chart(made, capo_on(made.tune.key, 1)) == LONG_ROAD


def test_a_tune_without_words_is_told_in_bars() -> None:
    assert format_words_chart(arranged("kitchen_clock")) == KITCHEN_CLOCK


def test_a_line_that_is_too_wide_goes_on_below_with_its_chords() -> None:
    # In E flat the names are longer than in D, and the line needs two rows.
    first = body(format_words_chart(typed(TWO_VERSES)))[0]
    assert first.splitlines() == [
        "       Eb            Ab           Eb",
        "1. O   come with me     the long  way",
        "2. The evening falls    and bells will",
        "          Cm      Fm7       Bb7",
        "   round  across  the hills home, and",
        "   sound, no need to walk         a-",
    ]


def sung_lines(chart: str) -> Iterator[tuple[str, str]]:
    """Yield rows of chords with the row of words below, for charts of one verse."""
    rows = [row for block in body(chart) for row in block.splitlines()]
    rows = [row for row in rows if not row.startswith(("[", "|"))]
    chords = ""
    for row in rows:
        names = row.split()
        if names and all(
            re.fullmatch(r"[A-G][#b]*(m|7|m7|dim)?", own) for own in names
        ):
            chords = row
        else:
            yield chords, row
            chords = ""


@pytest.mark.parametrize("path", LYRICS, ids=lambda path: path.stem)
def test_every_chord_of_every_tune_is_over_its_own_syllable(path: Path) -> None:
    made = arrange(read_tune(path))
    at = {note.onset: note for note in made.tune.notes}
    wanted = []
    for slot in made.changes:
        note = at.get(slot.onset)
        syllable = note.syllables[0] if note and note.syllables else None
        if syllable:
            wanted.append((str(slot.chord), syllable.text))
    found = [
        (name[0], words[name.start() :])
        for chords, words in sung_lines(format_words_chart(made))
        for name in re.finditer(r"\S+", chords)
    ]
    spoken = [own for own in found if own[1][:1].strip(" -")]
    assert [name for name, _ in spoken] == [name for name, _ in wanted]
    for (_, text), (_, sung) in zip(spoken, wanted, strict=True):
        assert text.startswith(sung)


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_no_row_is_wider_than_72_columns_and_no_word_is_lost(path: Path) -> None:
    made = arrange(read_tune(path))
    for capo in (None, *capo_choices(made.tune.key)):
        chart = format_words_chart(made, capo)
        assert max(map(len, chart.splitlines())) <= 72
        assert not any(row != row.rstrip() for row in chart.splitlines())
        shown = re.sub(r"[\s-]", "", chart)
        for note in made.tune.sounding:
            for own in filter(None, note.syllables):
                assert re.sub(r"[\s-]", "", own.text) in shown


@pytest.mark.parametrize("seed", range(0, 300, 30))
def test_random_charts_keep_their_width_and_name_every_chord(seed: int) -> None:
    for number in range(seed, seed + 30):
        made = random_arrangement(number)
        chart = format_words_chart(made)
        assert max(map(len, chart.splitlines())) <= 72, number
        names = set(re.split(r"[\s()|]+", chart))
        assert {str(slot.chord) for slot in made.changes} <= names, number


def words_typed(words: str, notes: str, chords: str, time: str = "4/4") -> str:
    """Return the chart of a hand-made line, without its heading."""
    tune = make_tune(notes, "C", time, words=(words,) if words else ())
    return "\n\n".join(body(format_words_chart(arrange_by_hand(tune, chords))))


def test_a_chord_on_a_held_syllable_stands_after_it() -> None:
    found = words_typed("Home now", "C5:4 D5:4", "C:2 F:2 G:4")
    assert found == "C    F G\nHome   now"


def test_a_word_that_chords_pull_apart_gets_a_hyphen() -> None:
    found = words_typed("a- gain", "C5:2 D5:2", "F#m7:2 G:2")
    assert found == "F#m7 G\na -  gain"
    held = words_typed("for- got", "C5:2 D5:2", "C:1 F:1 G:2")
    assert held == "C  F G\nfor- got"


def test_a_word_broken_by_the_end_of_a_line_keeps_its_hyphen() -> None:
    tune = make_tune("C5:4 D5:4", "C", words=("a- gain",))
    tune = tune._replace(phrases=(Fraction(4), Fraction(8)))
    assert body(format_words_chart(arrange_by_hand(tune, "C:4 G:4"))) == [
        "C\na-",
        "G\ngain",
    ]


def test_long_lines_break_at_the_ends_of_words() -> None:
    words = "twen- ty " * 20
    found = words_typed(words, "C5:1 D5:1 " * 20, "C:40")
    rows = found.splitlines()
    assert rows[0] == "C"
    assert [set(row.split()) for row in rows[1:]] == [{"twenty"}] * 2
    assert [len(row) for row in rows[1:]] == [69, 69]


def test_chords_within_a_beat_stand_in_brackets() -> None:
    found = words_typed("", "C5:4 D5:4", "C:1/2 F:1/2 G:3/2 C:3/2 F:4")
    assert found.splitlines()[0] == "| (C F) G (/ C) / | F / / /         |"


def test_compound_time_is_counted_in_dotted_beats() -> None:
    found = words_typed("", "C5:3 D5:3", "C:3/2 F:3/2 G:3", "6/8")
    assert found.splitlines()[0] == "| C F     | G /     |"


def test_busy_bars_stand_two_in_a_row() -> None:
    chords = "F#m7:1 C#m7:1 G#m7:1 D#m7:1 " * 4
    rows = words_typed("", "C5:4 D5:4 C5:4 D5:4", chords).splitlines()
    assert rows == ["| F#m7 C#m7 G#m7 D#m7 | F#m7 C#m7 G#m7 D#m7 |"] * 2


def test_a_row_begins_with_the_chord_in_force() -> None:
    rows = words_typed("", "C5:4 " * 5, "C:20").splitlines()
    assert rows[1] == "| C / / / |"


def test_a_pickup_without_a_chord_says_so() -> None:
    tune = make_tune("G4:1 C5:4", "C", pickup="1")
    chart = format_words_chart(arrange_by_hand(tune, "-:1 C:4"))
    assert body(chart)[0] == "| N.C.    | C / / / |"
    assert chart.endswith("chord.\nN.C.: no chord.")


def signs(made: Arrangement, changes: dict[int, dict[str, Any]]) -> list[str]:
    """Return what is said between the lines of a tune with other bars."""
    bars = list(made.tune.bars)
    for number, own in changes.items():
        bars[number] = bars[number]._replace(**own)
    made = made._replace(tune=made.tune._replace(bars=tuple(bars)))
    return re.findall(r"^\[(.*)\]$", format_words_chart(made), re.MULTILINE)


def test_repeats_and_endings_are_told_in_words() -> None:
    made = arrange_by_hand(make_tune("C5:4 " * 4, "C"), "C:16")
    assert signs(made, {1: {"repeat_end": 2}}) == [
        "Go back to the beginning and play it again"
    ]
    assert signs(made, {1: {"repeat_start": True}, 2: {"repeat_end": 3}}) == [
        "Repeat from here",
        "Go back: play 3 times in all",
    ]
    endings: dict[int, dict[str, Any]] = {
        0: {"section": "Chorus", "repeat_start": True},
        1: {"ending": (1, 2), "repeat_end": 3},
        2: {"ending": (3,)},
    }
    assert signs(made, endings) == [
        "Repeat from here",
        "Chorus",
        "First and second time",
        "Go back: play 3 times in all",
        "Third time",
        "Go on",
    ]


def test_changes_of_key_time_and_tempo_are_told_where_they_happen() -> None:
    tune = make_tune("Eb5:4 F5:4", "Eb")
    keys = (*tune.keys, KeyChange(Fraction(4), parse_key("Ab")))
    tempos = (Tempo(Fraction(4), Fraction(60), Fraction(3, 2), "Slower"),)
    tune = tune._replace(keys=keys, tempos=tempos, end_text=((tune.end, "Fine"),))
    made = arrange_by_hand(tune, "Eb:4 Ab:4")
    chart = format_words_chart(made, capo_on(tune.key, 3))
    assert re.findall(r"^\[(.*)\]$", chart, re.MULTILINE) == [
        "Key: A flat, play F",
        "Tempo: Slower, dotted crotchet = 60",
        "Fine",
    ]


def test_without_need_for_a_capo_the_sheet_says_so() -> None:
    made = arranged("water_of_tyne")
    chart = format_words_chart(made, capo_choices(made.tune.key)[0])
    assert chart.splitlines()[3:6] == [
        "No capo.",
        "Chords you play: D A G",
        "Other choices: capo 2, play C.",
    ]
    # The same chords, bar lines apart.
    chords = [block.splitlines()[0].replace("|", " ").split() for block in body(chart)]
    plain = body(format_words_chart(made))
    assert chords == [block.splitlines()[0].split() for block in plain]


@pytest.mark.parametrize("name", ["auld_lang_syne", "old_hundredth", "boat_round"])
def test_a_guitarist_can_count_the_bars_over_words(name: str) -> None:
    made = arranged(name)
    chart = format_words_chart(made, capo_choices(made.tune.key)[0])
    # Pickups are bars by no one's count; none of these tunes has a chord line in bars.
    assert chart.count("|") == max(bar.number for bar in made.tune.bars)
    assert "|" not in format_words_chart(made)


def test_a_minor_key_is_named_in_full() -> None:
    made = arranged("oak_and_ash")
    chart = format_words_chart(made, capo_on(made.tune.key, 3))
    assert "Capo 3, play E minor; the piano is in G minor." in chart


def test_a_capo_for_another_key_is_refused() -> None:
    with pytest.raises(OutputError) as found:
        format_words_chart(arranged("auld_lang_syne"), capo_on(parse_key("Eb"), 3))
    assert str(found.value) == (
        "This capo does not give F, the key of the arrangement. "
        "Choose from: capo 3, play D; capo 5, play C; capo 1, play E."
    )
