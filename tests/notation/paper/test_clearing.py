"""Nothing meets on paper: every text is measured against all that is drawn."""

import re
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from makers.forms import with_form
from makers.profiles import spread
from oracles.engraved_boxes import Ink, inks, text_inks
from oracles.engraved_reader import shift, size

from harmonise import arrange, read_tune
from harmonise.form.plan import Introduction, SongForm
from harmonise.notation.paper.blocks import Music, Page, Paper
from harmonise.notation.paper.clearing import clear
from harmonise.notation.paper.score_sheet import (
    congregation_blocks,
    lead_sheet_blocks,
    score_blocks,
)
from harmonise.theory.arrangement import (
    Arrangement,
    Labels,
    LeftHand,
    Style,
    Texture,
)

TUNES = sorted((Path(__file__).parents[3] / "tunes").glob("*.txt"))
NAMES = [path.stem for path in TUNES]
PAGES = [
    Page(paper, landscape=landscape, large_print=large)
    for paper in Paper
    for large in (True, False)
    for landscape in (False, True)
]
"""Four sizes on two papers."""
STYLES = [
    Style(level=4, fingering=True, labels=Labels.WORDS),
    Style(level=4, texture=Texture.HYMN),
    Style(level=3, fingering=True, labels=Labels.FIGURES, texture=Texture.BLOCK),
]
FORM = SongForm(introduction=Introduction.LAST_LINE, amen=True, verses=2)


def meetings(done: Arrangement, page: Page) -> list[tuple[str, Ink, Ink | None]]:
    """Return all that meets or runs off in score and lead sheet, with the line."""
    found: list[tuple[str, Ink, Ink | None]] = []
    vocal = score_blocks(done, page, vocal=True)
    blocks = (*score_blocks(done, page), *lead_sheet_blocks(done, page), *vocal)
    for block in blocks:
        if not isinstance(block, Music):
            continue
        texts, drawn = (
            text_inks(block.system, bold=page.large_print),
            inks(block.system),
        )
        width, height = size(block.system)
        right, down = shift(block.system)
        for one in (*texts, *drawn):
            off = one.right + right > width + 30 or one.left + right < -60
            if off or one.bottom + down > height + 5 or one.top + down < -5:
                found.append((block.told, one, None))
        pairs = [(text, shape) for text in texts for shape in drawn]
        for one, other in (*pairs, *combinations(texts, 2)):
            # The number of an ending stands in its own bracket.
            if "voltaBracket" not in (one.kind, other.kind) and one.strikes(other):
                found.append((block.told, one, other))
    return found


@pytest.mark.parametrize("name", NAMES)
def test_nothing_meets_on_any_page(name: str) -> None:
    at = NAMES.index(name)
    tune = read_tune(TUNES[at])
    # By night every style, form, size and paper of every tune.
    ways = [(style, form) for style in STYLES for form in (True, False)]
    for style, form in spread(ways, 1, at):
        done = arrange(tune, style)
        done = with_form(done, FORM) if form else done
        for page in spread(PAGES, 1, at):
            assert meetings(done, page) == []


_HYPHEN = re.compile(r'<rect x="(-?\d+)" y="(-?\d+)" height="26" width="(\d+)"/>')


@pytest.mark.parametrize(
    "page", [Page(), Page(large_print=True)], ids=["usual", "large print"]
)
def test_hyphens_touch_no_syllable_and_lines_can_be_seen(page: Page) -> None:
    # Syllables are measured by the widths that the font itself states.
    for name in spread(["water_of_tyne", "bobby_shafto", "old_hundredth"], 1):
        done = arrange(read_tune(TUNES[NAMES.index(name)]))
        for block in (*score_blocks(done, page), *congregation_blocks(done, page)):
            if not isinstance(block, Music):
                continue
            words = text_inks(block.system, bold=page.large_print)
            for left, high, wide in _HYPHEN.findall(block.system.svg):
                row = [
                    one
                    for one in words
                    if one.kind == "syl" and 0 < one.bottom - int(high) < 300
                ]
                assert int(wide) >= 100
                for one in row:
                    assert (
                        one.right < int(left) + 10
                        or one.left > int(left) + int(wide) - 10
                    ), (name, one)


def test_labels_are_clear_of_the_numbers_of_triplets() -> None:
    style = Style(fingering=True, labels=Labels.FIGURES, left_hand=LeftHand.WALTZ)
    done = arrange(read_tune(TUNES[NAMES.index("kitchen_clock")]), style)
    line = next(one for one in score_blocks(done) if isinstance(one, Music))
    (number,) = (one for one in inks(line.system) if one.kind == "tupletNum")
    (label,) = (one for one in text_inks(line.system) if one.text.startswith("D F A"))
    # Half a millimetre, as between all that must not meet.
    assert label.top - number.bottom > 50


def test_a_tempo_stands_above_the_symbols_beside_it() -> None:
    done = arrange(read_tune(TUNES[NAMES.index("auld_lang_syne")]), STYLES[0])
    line = next(one for one in score_blocks(done) if isinstance(one, Music))
    texts = text_inks(line.system)
    (tempo,) = (one for one in texts if one.kind == "reh" and "=" in one.text)
    assert tempo.bottom < min(one.top for one in texts if one.kind == "harm")


@pytest.mark.parametrize(
    ("name", "amen"), [("old_hundredth", True), ("kitchen_clock", False)]
)
def test_an_amen_is_not_stretched_over_the_page(name: str, *, amen: bool) -> None:
    tune = arrange(read_tune(TUNES[NAMES.index(name)]))
    done = with_form(tune, SongForm(amen=amen))
    lines = [one for one in score_blocks(done) if isinstance(one, Music)]
    ends = [
        max(one.right for one in inks(line.system) if one.kind == "barLine")
        for line in lines
    ]
    assert max(ends[:-1]) - min(ends[:-1]) < 200
    # Another last line fills its width, like all.
    assert (ends[-1] < 0.5 * ends[0]) == amen
    assert amen or ends[0] - ends[-1] < 200


@pytest.mark.parametrize("page", [Page(), Page(large_print=True)])
def test_words_do_not_run_together(page: Page) -> None:
    done = arrange(read_tune(TUNES[NAMES.index("old_hundredth")]), Style(level=3))
    for line in (one for one in score_blocks(done, page) if isinstance(one, Music)):
        words = [
            one
            for one in text_inks(line.system, bold=page.large_print)
            if one.kind == "syl" and one.text.strip()
        ]
        rows: dict[float, list[Ink]] = {one.bottom: [] for one in words}
        for one in words:
            rows[one.bottom].append(one)
        for row in rows.values():
            row.sort(key=lambda one: one.left)
            for one, after in pairwise(row):
                # A space of the font is a quarter of its size wide; 60 is half of it.
                assert after.left - one.right > 60, (one.text, after.text)


def test_the_watch_sees_what_meets() -> None:
    tune = read_tune("Key: C\nC5 D5 E5 C5 | G4 - C5 -")
    done = arrange(tune, Style(fingering=True))
    block = next(one for one in score_blocks(done) if isinstance(one, Music))
    digits = [one for one in text_inks(block.system) if one.kind == "fing"]
    stems = [one for one in inks(block.system) if one.kind == "stem"]
    assert digits
    assert stems
    stem = next(one for one in stems if one.top > digits[0].bottom)
    moved = stem._replace(top=digits[0].top, left=digits[0].left, right=digits[0].right)
    assert digits[0].strikes(moved)
    assert not digits[0].strikes(stem)


STAFF = '<g class="staff">' + "".join(
    f'<path d="M0 {y} L900 {y}" stroke-width="13"/>' for y in range(1000, 1721, 180)
)
TEXT = (
    '<g id="a" class="{}"><text x="{}" y="{}">'
    '<tspan font-size="400px">{}</tspan></text></g>'
)
PICTURE = (
    '<svg viewBox="0 0 100 300"><svg viewBox="0 0 1000 3000">'
    '<g class="page-margin" transform="translate(60, 40)">{}</g></svg></svg>'
)


def places(svg: str, kind: str) -> list[tuple[int, ...]]:
    found = re.findall(rf'class="{kind}"><text x="(-?\d+)" y="(-?\d+)"', svg)
    return [tuple(map(int, place)) for place in found]


def test_fingers_stand_beside_a_stem_in_one_stack() -> None:
    stem = '<g class="stem"><path d="M520 600 L520 1300" stroke-width="18"/></g>'
    fingers = TEXT.format("fing", 400, 800, "1") + TEXT.format("fing", 400, 420, "3")
    # The digit is 200 wide and would end at 600 were it not moved to the left.
    svg = PICTURE.format(STAFF + stem + fingers)
    cleared = clear(svg)
    (x, y), (other, above) = places(cleared, "fing")
    assert (y, above) == (800, 420)
    assert x == other
    assert x < 400


def test_a_heading_is_lifted_over_symbols_and_the_picture_grows() -> None:
    signs = TEXT.format("harm", 300, 300, "F") + TEXT.format("reh", 250, 350, "Verse")
    cleared = clear(PICTURE.format(STAFF + signs))
    assert places(cleared, "harm") == [(300, 300)]
    ((x, y),) = places(cleared, "reh")
    assert x == 250
    assert y < 300 - 0.66 * 400
    up = re.findall(r"translate\(60, (\d+)\)", cleared)[0]
    assert y - 0.7 * 400 + int(up) > 0
    heights = [int(own) for own in re.findall(r'viewBox="0 0 \d+ (\d+)"', cleared)]
    assert heights == [300 + (int(up) - 40) // 10, 3000 + int(up) - 40]


def test_what_is_clear_already_stays_as_it_is() -> None:
    signs = TEXT.format("harm", 300, 800, "F") + TEXT.format("fing", 500, 900, "1")
    svg = PICTURE.format(STAFF + signs)
    assert clear(svg) == svg
