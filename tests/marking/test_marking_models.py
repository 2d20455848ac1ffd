"""Model arrangements get full marks, at every level and in every key."""

from pathlib import Path

import pytest
from makers.profiles import PROFILE, spread
from makers.scripts import script_of
from oracles.full_marks import assert_full

from harmonise.arranging.job import arrange
from harmonise.marking.mark import mark
from harmonise.marking.marked import MarkingManner
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import MarkingStyle, read_points
from harmonise.marking.tasks import task_of_model, task_of_tune
from harmonise.notation.formats import read_tune
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.spoken.spoken_score import format_spoken
from harmonise.rules.table import WORK_RULES, check
from harmonise.theory.arrangement import Arrangement, LeftHand, Style, Texture, Voice
from harmonise.theory.key import keys_of
from harmonise.theory.transposing import transposed

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
every_tune = pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
levels = pytest.mark.parametrize("level", [1, 2, 3])
STRICT = MarkingManner(read_points(), MarkingStyle.STRICT)
JOINING = ("M04", "M05", "M12", "M03r")


@every_tune
@levels
def test_an_arrangement_gets_full_marks_from_musicxml(path: Path, level: int) -> None:
    task = task_of_tune(read_tune(path), Style(level=level))
    script = parse_script(format_musicxml(task.model), task.model.tune)
    assert_full(mark(script, task))
    assert_full(mark(script, task, STRICT))


@every_tune
def test_an_arrangement_gets_full_marks_from_words_and_from_midi(path: Path) -> None:
    task = task_of_tune(read_tune(path), Style(level=3))
    for data in (format_spoken(task.model).encode(), format_midi(task.model)):
        assert_full(mark(parse_script(data, task.model.tune), task))


@every_tune
def test_our_scores_keep_the_rules_of_joining_with_nothing_excused(path: Path) -> None:
    for level in (1, 2, 3):
        done = arrange(read_tune(path), Style(level=level))
        found = [own for own in check(done, WORK_RULES) if own.rule in JOINING]
        assert [str(own) for own in found] == []


@pytest.mark.slow
@every_tune
@levels
def test_an_arrangement_gets_full_marks_in_all_keys(path: Path, level: int) -> None:
    tune = read_tune(path)
    keys = spread(list(keys_of(tune.key.mode)), 3, TUNES.index(path))
    for key in keys:
        task = task_of_tune(transposed(tune, key), Style(level=level))
        assert_full(mark(script_of(task.model), task))


MOVING = [
    pytest.param(path, left_hand, id=f"{path.stem} {left_hand.value}")
    for path in TUNES
    for left_hand in (LeftHand.ROOT_FIFTH, LeftHand.BROKEN)
    if left_hand.suits(read_tune(path).bars[-2].time)
]


@pytest.mark.parametrize(("path", "left_hand"), MOVING)
def test_a_left_hand_that_moves_gets_full_marks(
    path: Path, left_hand: LeftHand
) -> None:
    tune = read_tune(path)
    task = task_of_model(arrange(tune, Style(3, left_hand=left_hand)))
    assert_full(mark(script_of(task.model), task))


OFFERED = [
    pytest.param(path, texture, left_hand, id=f"{path.stem} {texture} {left_hand}")
    for number, path in enumerate(TUNES)
    for at, left_hand in enumerate(LeftHand)
    for texture in ("block", "held", "light")
    if (PROFILE == "night" or (number + at) % 15 == 0)
    and (left_hand is LeftHand.AUTO or left_hand.suits(read_tune(path).bars[-1].time))
]
"""All that is offered; in CI every pattern with some tunes in turn."""


@pytest.mark.parametrize(("path", "texture", "left_hand"), OFFERED)
def test_a_page_of_ours_is_right_in_every_manner(
    path: Path, texture: str, left_hand: LeftHand
) -> None:
    tune = read_tune(path)
    done = arrange(tune, Style(1, texture=Texture(texture), left_hand=left_hand))
    marking = mark(
        parse_script(format_musicxml(done), tune), task_of_tune(tune, Style())
    )
    assert [(own.kind.key, own.what) for own in marking.lines if own.points] == []
    assert marking.blanks == ()


WALKED = ("old_hundredth", "bobby_shafto", "ferry_steps")
SUNG = ("ferry_steps", "old_hundredth", "five_bar_gate")
PLAYED = [
    *((name, Style(1, left_hand=LeftHand.WALKING)) for name in WALKED),
    *(
        (name, Style(3, left_hand=LeftHand.WALKING, texture=Texture.LIGHT))
        for name in WALKED
    ),
    *(
        (path.stem, Style(level, texture=Texture.HYMN))
        for number, path in enumerate(TUNES)
        for level in (1, 2, 3, 4)
        if PROFILE == "night" or level == number % 4 + 1
    ),
    *((name, Style(3, texture=Texture.LIGHT)) for name in SUNG),
]
"""Walking basses, hymns in four parts and light hands, each with its own freedoms."""


@pytest.mark.parametrize(("name", "style"), PLAYED)
def test_walking_basses_hymns_and_light_hands_are_right(
    name: str, style: Style
) -> None:
    tune = read_tune(next(path for path in TUNES if path.stem == name))
    task = task_of_tune(tune, Style(style.level))
    done = mark(parse_script(format_musicxml(arrange(tune, style)), tune), task)
    assert [(own.kind.key, own.what) for own in done.lines if own.points] == []
    assert done.got == done.worth


@pytest.mark.parametrize("path", TUNES[::3], ids=lambda path: path.stem)
def test_a_bar_without_its_chord_costs_under_a_light_hand_too(path: Path) -> None:
    # The tune alone over a held root in a bar where a light hand would have more.
    tune = read_tune(path)
    task = task_of_tune(tune, Style())
    done = arrange(tune, Style(texture=Texture.LIGHT, left_hand=LeftHand.HELD))
    inner = [note for note in done.notes if note.voice is Voice.INNER]
    bar = tune.bar_at(inner[len(inner) // 2].onset)
    gone = [n for n in inner if n.onset < bar.end and n.end > bar.start]
    kept = tuple(note for note in done.notes if note not in gone)
    marking = mark(script_of(done._replace(notes=kept)), task)
    assert marking.got < marking.worth


def test_a_model_may_be_any_arrangement() -> None:
    done: Arrangement = arrange(read_tune(TUNES[0]), Style(4))
    assert_full(mark(script_of(done), task_of_model(done)))
