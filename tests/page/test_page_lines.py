"""Lines of music engraved one by one, held against the whole score engraved at once."""

import re
from typing import Any

import pytest
from makers.visitor import TUNES, Visitor, names, tune

from harmonise import Style, arrange, read_tune
from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.paper.blocks import Look
from harmonise.notation.paper.engraving import engrave, engrave_line, finger_leaders
from harmonise.notation.score.score_plan import plan_score
from harmonise.page.excerpts import score_lines
from harmonise.theory.arrangement import Labels

_STYLES = (
    (Style(level=4, fingering=True), 200),
    (Style(level=2, labels=Labels.WORDS), 100),
)


def shapes(svg: str) -> list[str]:
    """Return all that is drawn, in any order: ties of a chord have no order."""
    svg = re.sub(r' id="[^"]*"|href="#[^"]*"', "", svg)
    return sorted(re.findall(r"<(?!g\b|/)[^>]*>[^<]*", svg))


@pytest.mark.slow
@pytest.mark.parametrize(("style", "width"), _STYLES, ids=["fingers", "narrow"])
@pytest.mark.parametrize("name", names())
def test_a_line_by_itself_looks_as_in_the_whole_score(
    name: str, style: Style, width: int
) -> None:
    arrangement = arrange(read_tune(TUNES / f"{name}.txt"), style)
    plan, look = plan_score(arrangement), Look(width=width)
    musicxml, leaders = format_plan(plan), finger_leaders(plan)
    whole = engrave(musicxml, look, (), leaders)
    starts = [system.bars[0] for system in whole]
    lines = score_lines(musicxml.decode(), starts, leaders)
    assert len(lines) == len(whole)
    for line, system in zip(lines, whole, strict=True):
        alone = engrave_line(line.excerpt, look)
        assert alone.bars == system.bars
        assert shapes(alone.svg) == shapes(system.svg)


def lines_of(visitor: Visitor, asked: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = visitor.told("/draw", asked)["svg"]
    return found


def test_only_lines_that_changed_are_sent_again() -> None:
    visitor = Visitor()
    free = {**tune("greensleeves"), "settings": {"level": "3"}, "width": 120}
    before = lines_of(visitor, free)
    answer = visitor.told("/arrange", free)
    slot = next(slot for slot in answer["slots"] if slot["alternatives"])
    lock = {key: slot[key] for key in ("onset", "end")}
    lock["chord"] = slot["alternatives"][0]["chord"]
    known = [line["key"] for line in before]
    after = lines_of(visitor, {**free, "locks": [lock], "known": known})
    assert [line["bars"] for line in after] == [line["bars"] for line in before]
    sent = [at for at, line in enumerate(after) if line["markup"] is not None]
    bar = next(
        at for at, it in enumerate(answer["bars"]) if it["number"] == slot["bar"]
    )
    assert any(bar in after[at]["bars"] for at in sent)
    assert len(sent) < len(after) > 3
    # What was not sent is what the page had, and nobody else needs to know.
    whole = lines_of(visitor, {**free, "locks": [lock]})
    for at, line in enumerate(whole):
        same = line["markup"] == before[at]["markup"]
        assert same == (at not in sent)


def test_a_picture_is_the_same_with_and_without_its_reasons() -> None:
    visitor = Visitor()
    asked = {**tune("auld_lang_syne"), "settings": {"level": "4", "fingering": True}}
    assert lines_of(visitor, asked) == visitor.told("/arrange", asked)["svg"]


def test_narrow_lines_have_fewer_bars() -> None:
    visitor = Visitor()
    wide, narrow = (
        lines_of(visitor, {**tune("auld_lang_syne"), "width": width})
        for width in (200, 80)
    )
    assert len(narrow) > len(wide)
    # Every line is as wide as was asked for, in the engraver's own measure.
    boxes = {re.findall(r'viewBox="0 0 (\d+)', line["markup"])[0] for line in narrow}
    assert len(boxes) == 1


_FORM = {"introduction": "two-bars", "verses": 2, "lastVerse": ["left-octaves"]}


def test_chords_of_the_verse_alone_have_a_place_in_the_tune() -> None:
    visitor = Visitor()
    plain = visitor.told("/arrange", tune("auld_lang_syne"))
    formed = visitor.told(
        "/arrange", {**tune("auld_lang_syne"), "settings": {"form": _FORM}}
    )
    assert formed["order"] == "Introduction – verse 1 – last verse"
    written = [slot["written"] for slot in formed["slots"] if slot["written"]]
    assert written == [[slot["onset"], slot["end"]] for slot in plain["slots"]]
    # Two bars of 4/4 and what is missing of the bar before the pickup come first.
    first = next(slot for slot in formed["slots"] if slot["written"] is not None)
    assert float(first["onset"]) > 4
