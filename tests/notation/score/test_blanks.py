import re
from fractions import Fraction
from pathlib import Path

import pytest
from makers.profiles import spread
from oracles.engraved_reader import heads, texts

from harmonise.arranging.job import arrange
from harmonise.notation.formats import read_tune
from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.paper.blocks import System
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.score.copies import ScoreCopy, copy_plan, text_width
from harmonise.notation.score.score_plan import ScoreBox, plan_score
from harmonise.theory.arrangement import Arrangement, Style, Texture, Voice

TUNES = sorted((Path(__file__).parents[3] / "tunes").glob("*.txt"))

every_tune = pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)


def done(path: Path, texture: Texture = Texture.BLOCK) -> Arrangement:
    return arrange(read_tune(path), Style(texture=texture))


def engraved(model: Arrangement, copy: ScoreCopy) -> tuple[System, ...]:
    return engrave_plan(copy_plan(plan_score(model), copy))


def written(model: Arrangement, copy: ScoreCopy) -> bytes:
    return format_plan(copy_plan(plan_score(model), copy))


def shown(systems: tuple[System, ...]) -> set[str]:
    """Return the ids of the notes that are to be seen."""
    svg = "".join(system.svg for system in systems)
    unseen = set(re.findall(r'id="([^"]*)" class="note" visibility="hidden"', svg))
    return {head.name for system in systems for head in heads(system)} - unseen


def of_voice(model: Arrangement, voice: Voice) -> frozenset[int]:
    return frozenset(n for n, note in enumerate(model.notes) if note.voice is voice)


@every_tune
def test_hidden_notes_go_and_all_else_stays_where_it_was(path: Path) -> None:
    for texture in spread((Texture.BLOCK, Texture.HELD), 1, TUNES.index(path)):
        model = done(path, texture)
        inner = of_voice(model, Voice.INNER)
        whole = engraved(model, ScoreCopy())
        heads_of_all, lines = shown(whole), [system.bars for system in whole]
        others = of_voice(model, Voice.TUNE), of_voice(model, Voice.BASS)
        for hidden in (inner, *others, inner | others[1]):
            copy = engraved(model, ScoreCopy(hidden))
            gone = {name for name in heads_of_all if _number(name) in hidden}
            assert gone
            assert shown(copy) == heads_of_all - gone
            assert [system.bars for system in copy] == lines
            if hidden == inner:
                assert _words(copy) == _words(whole)


def _number(name: str) -> int:
    found = re.match(r"n(\d+)", name)
    return int(found[1]) if found else -1


def _words(systems: tuple[System, ...]) -> list[str]:
    boxes = [box for system in systems for box in texts(system)]
    return sorted(box.text for box in boxes if box.kind in ("syl", "verse"))


@every_tune
def test_a_copy_of_the_tune_has_the_treble_staff_alone(path: Path) -> None:
    model = done(path)
    tune = of_voice(model, Voice.TUNE)
    alone = model._replace(notes=tuple(model.notes[n] for n in sorted(tune)))
    systems = engraved(alone, ScoreCopy(symbols=False, tune_only=True))
    staves = [head.staff for system in systems for head in heads(system)]
    assert set(staves) == {1}


def test_a_frame_stands_at_its_place_with_its_text() -> None:
    model = done(TUNES[0])
    bar = model.tune.bars[1]
    frames = (
        ScoreBox(bar.start, "Am", 4, above=True),
        ScoreBox(bar.start, "", 4, above=False),
    )
    systems = engraved(model, ScoreCopy(frames=frames))
    svg = "".join(system.svg for system in systems)
    assert svg.count('fill-opacity="0"') == 2
    assert "Am" in re.sub("<[^>]*>", "", svg).replace("\N{NO-BREAK SPACE}", "")


def test_a_frame_inside_a_long_note_is_offset_from_it() -> None:
    model = done(TUNES[0])
    bar = model.tune.bars[1]
    frame = ScoreBox(bar.start + Fraction(1, 2), "x", 2, above=False)
    score = written(model, ScoreCopy(frames=(frame,)))
    direction = re.search(
        rb"<direction placement=\"below\">.*?</direction>", score, re.DOTALL
    )
    assert direction
    assert b"<offset>" in direction[0]


def test_symbols_can_be_left_out() -> None:
    model = done(TUNES[0])
    score = written(model, ScoreCopy(symbols=False))
    assert b"<harmony" not in score


def test_wide_letters_count_as_wider() -> None:
    assert text_width("second") > text_width("first") > text_width("IV")
