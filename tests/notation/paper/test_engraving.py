"""Engraved lines: every note where it belongs, nothing off the paper, nothing met."""

import re
import subprocess
import sys
from functools import lru_cache
from itertools import combinations
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from makers.profiles import spread
from oracles.engraved_reader import (
    FONTS,
    HALF_SPACE,
    Box,
    bar_edges,
    heads,
    inner,
    shift,
    size,
    staff_edges,
    texts,
)

from harmonise.arranging.job import arrange
from harmonise.errors import LibraryError, OutputError
from harmonise.lessons.model import related_keys
from harmonise.notation.formats import read_tune
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.paper.blocks import Look, Page, Paper, System, music_look
from harmonise.notation.paper.engraving import engrave, engrave_plan
from harmonise.notation.score.printed_labels import (
    new_lines,
    printed_slots,
    thin_legend,
)
from harmonise.notation.score.score_plan import plan_score
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Labels,
    LeftHand,
    Style,
    Texture,
)
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.transposing import transposed

TUNES = sorted((Path(__file__).parents[3] / "tunes").glob("*.txt"))
NAMES = [path.stem for path in TUNES]
LOOKS = {
    "A4": music_look(Page()),
    "large print": music_look(Page(large_print=True)),
    "letter on its side": music_look(Page(Paper.LETTER, landscape=True)),
    "narrow": Look(width=110),
}
FULL = Style(level=4, fingering=True, labels=Labels.WORDS)
LOWEST = {1: parse_pitch("E4").staff_step, 2: parse_pitch("G2").staff_step}
"""Staff step of the lowest line of each staff."""


@lru_cache
def arranged(name: str, style: Style = FULL) -> Arrangement:
    path = next(path for path in TUNES if path.stem == name)
    return arrange(read_tune(path), style)


@lru_cache
def lines(
    name: str, look: Look = LOOKS["A4"], style: Style = FULL
) -> tuple[System, ...]:
    return engrave_plan(plan_score(arranged(name, style)), look)


def line(text: str, style: Style = FULL, look: Look = LOOKS["A4"]) -> System:
    found = engrave_plan(plan_score(arrange(read_tune(text), style)), look)
    assert len(found) == 1
    return found[0]


def of_kind(system: System, *kinds: str, bold: bool = False) -> list[Box]:
    return [box for box in texts(system, bold=bold) if box.kind in kinds]


@pytest.mark.parametrize("name", NAMES)
def test_every_sounding_note_has_its_head_at_its_place(name: str) -> None:
    done = arranged(name)
    seen: set[int] = set()
    for system in lines(name):
        for head in heads(system):
            found = re.fullmatch(r"n(\d+)(-\d+)?(g\d+)?", head.name)
            assert found, head
            if found[3]:
                continue
            note = done.notes[int(found[1])]
            assert head.staff == (1 if note.hand is Hand.RIGHT else 2)
            assert head.steps == note.pitch.staff_step - LOWEST[head.staff]
            if not found[2]:
                assert int(found[1]) not in seen
                seen.add(int(found[1]))
    assert seen == set(range(len(done.notes)))


@pytest.mark.parametrize("look", LOOKS)
@pytest.mark.parametrize("name", NAMES)
def test_nothing_runs_off_and_no_texts_meet(name: str, look: str) -> None:
    for system in lines(name, LOOKS[look]):
        check_room(system, LOOKS[look])


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_nothing_runs_off_in_any_key_and_size(name: str) -> None:
    tune = read_tune(next(path for path in TUNES if path.stem == name))
    at = NAMES.index(name)
    # By night every size in every key; in CI some of the keys, in one size each.
    for turn, key in enumerate(spread(related_keys(tune.key), 4, at), at):
        score = plan_score(arrange(transposed(tune, key), FULL))
        for look in spread(list(LOOKS.values()), 1, turn):
            for system in engrave_plan(score, look):
                check_room(system, look)


def check_room(system: System, look: Look) -> None:
    """Check that all texts of a line lie within it and keep apart."""
    width, height = size(system)
    right, down = shift(system)
    found = texts(system, bold=look.bold)
    assert any(box.kind == "harm" for box in found)
    for box in found:
        assert box.left + right >= 0, box
        assert box.right + right <= width, box
        assert box.top + down >= 0, box
        assert box.bottom + down <= height, box
    for box, other in combinations(found, 2):
        assert not box.meets(other), (box, other)


@pytest.mark.parametrize("name", NAMES)
def test_bars_end_where_the_paper_ends(name: str) -> None:
    for look in LOOKS.values():
        for system in lines(name, look):
            paths = re.findall(r"M(-?\d+),? (-?\d+) L(-?\d+),? (-?\d+)", system.svg)
            assert max(int(x) for way in paths for x in way[::2]) <= size(system)[0]
            assert system.width == pytest.approx(look.width, abs=0.2)


def test_the_watch_over_texts_sees_them_meet() -> None:
    here = Box("harm", "Bb7", 0, 500, 0, 300)
    assert here.meets(Box("harm", "C", 480, 700, 0, 300))
    assert not here.meets(Box("harm", "C", 500, 700, 0, 300))
    assert not here.meets(Box("syl", "C", 0, 500, 300, 600))


@pytest.mark.parametrize("name", NAMES)
def test_words_keep_clear_of_bar_lines(name: str) -> None:
    for system in lines(name):
        for box in of_kind(system, "syl"):
            assert not any(box.left < at < box.right for at in bar_edges(system))


@pytest.mark.parametrize("name", NAMES)
def test_every_line_is_a_braced_pair_of_staves(name: str) -> None:  # N01
    for system in lines(name):
        assert system.svg.count('class="grpSym"') == 1
        for measure in inner(system).iter():
            if measure.get("class") == "measure":
                staves = [own for own in measure if own.get("class") == "staff"]
                signs = [
                    [g.get("class") for g in staff.iter() if g.get("class") in SIGNS]
                    for staff in staves
                ]
                assert len(staves) == 2
                assert signs[0] == signs[1]


SIGNS = ("keyAccid", "meterSig")


@pytest.mark.parametrize("name", NAMES)
def test_bar_lines_run_through_both_staves(name: str) -> None:  # N01
    for system in lines(name):
        top, _, _, bottom = staff_edges(system)
        bars = re.findall(r'class="barLine">(.*?)</g>', system.svg)
        assert len(bars) >= len(system.bars)
        for drawn in bars:
            heights = [int(y) for y in re.findall(r"[ML]-?\d+ (-?\d+)", drawn)]
            if heights:
                assert (min(heights), max(heights)) == (top, bottom)


@pytest.mark.parametrize("name", NAMES)
def test_seconds_are_offset_and_no_head_is_shared(name: str) -> None:  # N03
    for system in lines(name):
        found = list(heads(system))
        for head, other in combinations(found, 2):
            near = abs(head.x - other.x) < HALF_SPACE
            if head.staff == other.staff and near:
                assert abs(head.steps - other.steps) > 1, (head, other)


@pytest.mark.parametrize("name", NAMES)
def test_symbols_stand_above_and_numerals_below(name: str) -> None:  # N04
    for system in lines(name):
        top, low, high, bottom = staff_edges(system)
        assert all(box.bottom < top for box in of_kind(system, "harm"))
        roman = re.compile(r"[♯♭]?[IViv]+[°ø+]?[⁰-⁹₀-₉¹²³]*(/[IViv]+)?")
        words = of_kind(system, "syl")
        numerals = [box for box in words if box.top > bottom]
        assert all(roman.fullmatch(box.text) for box in numerals)
        others = [box for box in words if box.top <= bottom]
        assert all(low < box.bottom and box.top < high for box in others)  # N08


def heights(boxes: list[Box]) -> list[float]:
    return [box.bottom for box in boxes]


def test_symbols_of_a_line_stand_in_one_row() -> None:
    for system in lines("greensleeves", LOOKS["large print"]):
        assert len({box.bottom for box in of_kind(system, "harm")}) == 1
        bottom = staff_edges(system)[-1]
        numerals = [box for box in of_kind(system, "syl") if box.top > bottom]
        assert max(heights(numerals)) - min(heights(numerals)) < 10


def test_figures_are_stacked_with_the_upper_one_first() -> None:  # N06
    system = line("Key: C\nE G C5 G | E - D - | C - - -\nChords: C | C/G G7 | C")
    assert re.search(r'>I<tspan font-size="466px">⁶<tspan dx="-163">₄', system.svg)
    assert re.search(r'>V<tspan font-size="466px">⁷</tspan>', system.svg)


@pytest.mark.parametrize("name", NAMES)
def test_fingers_stand_in_note_order(name: str) -> None:  # N07
    for system in lines(name):
        top, _, _, bottom = staff_edges(system)
        stacks: dict[tuple[int, bool], list[Box]] = {}
        for box in of_kind(system, "fing"):
            middle = round((box.left + box.right) / 2)
            stacks.setdefault((middle, box.bottom <= top + 720), []).append(box)
        for (_, above), stack in stacks.items():
            stack.sort(key=lambda box: box.top)
            numbers = [int(box.text) for box in stack]
            assert numbers == sorted(set(numbers), reverse=above)
            assert above or all(box.bottom > bottom for box in stack)


def test_fingers_of_a_chord_make_one_stack() -> None:  # N07
    style = Style(fingering=True, texture=Texture.HELD)
    system = line("Key: C\nTime: 4/4\nG - -.A G | E - C -", style)
    fingers = of_kind(system, "fing")
    first = [box for box in fingers if box.left == fingers[0].left]
    assert [box.text for box in sorted(first, key=lambda own: own.top)][:3] == [
        "5", "3", "1"
    ]  # fmt: skip


def test_verses_are_numbered_where_there_are_several() -> None:  # N08
    first, *others = lines("old_hundredth")
    numbered = [box for box in of_kind(first, "syl") if box.text[0].isdigit()]
    assert [box.text for box in numbered] == ["1.\u00a0All", "2.\u00a0The"]
    words = [box.text for system in others for box in of_kind(system, "syl")]
    assert not any(text[0].isdigit() for text in words)
    words = [box.text for box in of_kind(lines("auld_lang_syne")[0], "syl")]
    assert not any(text[0].isdigit() for text in words)


@pytest.mark.parametrize("name", NAMES)
def test_lines_begin_with_the_number_of_their_bar(name: str) -> None:  # N09
    bars = arranged(name).tune.bars
    for number, system in enumerate(lines(name)):
        own = [bars[int(name.removeprefix("m"))] for name in system.bars]
        first = next(bar for bar in own if not bar.offset)
        shown = [str(first.number)] if number else []
        assert [box.text for box in of_kind(system, "mNum")] == shown


def test_a_fermata_stands_over_both_hands() -> None:  # N10
    tune = "X:1\nT:t\nM:4/4\nL:1/4\nK:C\nCEGE|HC4|]"
    assert line(tune).svg.count('class="fermata"') == 2


def test_a_raised_seventh_is_marked_every_time() -> None:  # N11
    system = line("Key: A minor\nA G# A - | B G# A -")
    assert system.svg.count('class="accid"') >= 2


@pytest.mark.parametrize("name", NAMES)
def test_lines_end_where_phrases_end(name: str) -> None:  # N12
    wanted = {f"m{at}" for at in new_lines(arranged(name).tune)}
    for look in LOOKS.values():
        found = lines(name, look)
        assert wanted <= {system.bars[0] for system in found}
    everything = [bar for system in lines(name) for bar in system.bars]
    assert everything == [f"m{at}" for at in range(len(arranged(name).tune.bars))]


def test_a_line_too_long_is_broken_near_its_middle() -> None:
    tune = "Key: C\n" + " | ".join(["C D E F"] * 4)
    whole, narrow = [
        engrave(format_musicxml(arrange(read_tune(tune))), Look(width))
        for width in (180, 90)
    ]
    assert [len(system.bars) for system in whole] == [4]
    assert [len(system.bars) for system in narrow] == [2, 2]


def test_tempo_stands_above_as_word_and_note() -> None:  # N13
    first = lines("old_hundredth")[0]
    (tempo,) = of_kind(first, "reh")
    assert tempo.text.split() == ["Steadily", "\U0001d15f", "=", "80"]
    assert tempo.bottom < staff_edges(first)[0]
    # Where a chord begins with the tune, its symbol is nearer to the staff.
    first = lines("bobby_shafto")[0]
    assert of_kind(first, "reh")[0].bottom < of_kind(first, "harm")[0].top


def test_short_phrases_share_a_line_and_each_line_says_its_chord() -> None:
    phrase = "C - E - | C - C - |"
    done = arrange(
        parse_tune_text("Key: C\nTime: 4/4\n" + f"{phrase}\n" * 4)[0], Style(1)
    )
    assert new_lines(done.tune) == {4}
    printed = [str(slot.onset) for slot in printed_slots(done)]
    assert printed == ["0", "16"]
    symbols = engrave_plan(plan_score(done))
    assert [of_kind(system, "harm")[0].text for system in symbols] == ["C", "C"]


@pytest.mark.parametrize("name", NAMES)
def test_nothing_is_written_an_octave_off_and_clefs_stay(name: str) -> None:  # N14
    for system in lines(name):
        assert 'class="octave"' not in system.svg
        assert system.svg.count('class="clef"') == 2


def test_labels_stand_between_the_staves_under_the_words() -> None:
    for labels, shown in [
        (Labels.WORDS, ["first", "root"]),
        (Labels.FIGURES, ["⁶₃", "⁵₃"]),
        (Labels.LETTERS, ["b", "a"]),
    ]:
        style = Style(labels=labels)
        system = line("Key: C\nC5 - - - | D5 - - -\nWords: Ah, oh.", style)
        _, low, high, _ = staff_edges(system)
        words = [box for box in of_kind(system, "syl") if low < box.top < high]
        rows = sorted({box.bottom for box in words})
        assert [box.text for box in words if box.bottom == rows[0]] == ["Ah,", "oh."]
        assert [box.text for box in words if box.bottom == rows[1]] == shown


def test_labels_of_a_thin_right_hand_name_the_notes_of_both() -> None:
    # Under C the left hand breaks A E A; under B the right hand has D G B, a 6/4 shape.
    text = "Key: Am\nTime: 6/8\nC5 - - C5 - - | B - - D5 - B\nWords: Ah, oh, so be it."
    style = Style(level=3, left_hand=LeftHand.BROKEN, labels=Labels.WORDS)
    system = line(f"{text}\nChords: Am | G", style)
    _, low, high, _ = staff_edges(system)
    words = [box for box in of_kind(system, "syl") if low < box.top < high]
    under = max(box.bottom for box in words)
    told = [box.text for box in words if box.bottom == under]
    assert " ".join(told).split() == ["A", "E", "C", "second"]


def test_letters_are_explained_only_where_some_stand() -> None:
    sentence = "letters name the notes of both hands"
    style = Style(level=3, labels=Labels.WORDS)
    # Under the repeated last note the chord of before goes on, without a label.
    for text, thin in (("C5 - - - | C5 - C5 -", False), ("C D E F | G A B G", True)):
        tune = read_tune(f"Key: C\n{text}\nChords: C | C")
        hand = LeftHand.BROKEN if thin else LeftHand.HELD
        done = arrange(tune, style._replace(left_hand=hand))
        shown = {slot.position for slot in done.changes}
        assert (None in shown) is thin
        assert (sentence in thin_legend(done)) is thin


def test_a_line_needs_nothing_from_outside() -> None:
    for name in NAMES:
        for system in lines(name):
            addresses = set(re.findall(r'https?://[^"]*', system.svg))
            assert addresses == {
                "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
            }  # fmt: skip
            assert "@import" not in system.svg
            assert "Leipzig" not in system.svg
            assert not re.search("[\ue000-\uf8ff]", system.svg)


def test_the_same_score_gives_the_same_text() -> None:
    score = format_musicxml(arranged("greensleeves"))
    assert engrave(score) == engrave(score)


def test_any_thread_engraves() -> None:
    # verovio finds its fonts in the thread that imported it, and there alone.
    code = (
        "import sys, threading; from pathlib import Path\n"
        "from harmonise.notation.paper.engraving import engrave\n"
        "score, found = Path(sys.argv[1]).read_bytes(), []\n"
        "worker = threading.Thread(target=lambda: found.append(engrave(score)))\n"
        "worker.start(); worker.join(); print(found == [engrave(score)])"
    )
    with TemporaryDirectory() as folder:
        score = Path(folder) / "score.musicxml"
        score.write_bytes(format_musicxml(arranged("the_bucket")))
        done = subprocess.run(  # noqa: S603
            [sys.executable, "-c", code, str(score)],
            capture_output=True,
            text=True,
            check=True,
        )
    assert done.stdout == "True\n"


def test_text_is_larger_than_the_staff_alone_in_large_print() -> None:
    plain, large = LOOKS["A4"], LOOKS["large print"]
    assert large.staff >= 1.3 * plain.staff
    assert large.text > plain.text
    for system in lines("auld_lang_syne", large):
        assert "italic" not in re.sub("<defs>.*</defs>", "", system.svg)
        assert ".page-margin text{font-weight:bold}" in system.svg


def test_staves_are_as_high_as_asked() -> None:
    for staff in (6.0, 7.0, 8.0, 12.0):
        system = engrave(format_musicxml(arranged("the_bucket")), Look(180, staff))[0]
        top, low, _, _ = staff_edges(system)
        height = (low - top) / size(system)[1] * system.height
        assert height == pytest.approx(staff, abs=0.05)


def test_a_missing_engraver_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "verovio", None)
    with pytest.raises(LibraryError) as caught:
        engrave(b"")
    assert str(caught.value) == (
        "Engraving needs verovio, which is not installed. "
        "Install it: pip install verovio."
    )


def test_what_is_no_score_is_refused() -> None:
    with pytest.raises(OutputError, match="cannot be engraved"):
        engrave(b"nonsense")


def test_the_licence_lies_beside_the_fonts() -> None:
    names = {path.name for path in FONTS.iterdir()}
    assert {"LICENCE.txt", "LiberationSerif-Bold.ttf", "HarmoniseMusic.ttf"} <= names
    assert "SIL OPEN FONT LICENSE" in (FONTS / "LICENCE.txt").read_text("utf-8")
