"""The tunes that we give away: complete, and note for note as they were printed."""

from fractions import Fraction
from pathlib import Path

import music21  # noqa: TID251 (its corpus is the source from outside)
import pytest
from makers.corpus import abc_tune, from_score

from harmonise.notation.tune_text.tune_text import format_tune_text, parse_tune_text
from harmonise.theory.key import Mode
from harmonise.theory.tune import Tune, TuneNote

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
MINSTRELSY = "miscFolk/northumbrianminstrelsyopus.abc"


def read(name: str) -> Tune:
    path = next(path for path in TUNES if path.stem == name)
    (tune,) = parse_tune_text(path.read_text("utf-8"))
    return tune


def sounds(notes: tuple[TuneNote, ...]) -> list[str]:
    return [f"{note.pitch or 0}:{note.length}" for note in notes]


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_a_tune_says_what_it_is_and_where_it_comes_from(path: Path) -> None:
    tune = read(path.stem)
    assert tune.title
    assert any(char.isdigit() for char in tune.origin), "the origin names a year"
    assert not tune.key_guessed
    assert tune.tempos
    assert {remark.code for remark in tune.remarks} <= {"E15"}


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_a_tune_is_read_back_from_what_we_write(path: Path) -> None:
    tune = read(path.stem)
    (again,) = parse_tune_text(format_tune_text(tune))
    plain = [
        one._replace(
            notes=tuple(note._replace(line=0) for note in one.notes), remarks=()
        )
        for one in (tune, again)
    ]
    assert plain[0] == plain[1]


def test_the_collection_covers_metres_modes_and_forms() -> None:
    tunes = [read(path.stem) for path in TUNES]
    metres = {str(tune.bars[0].time) for tune in tunes}
    assert metres >= {"2/4", "3/4", "4/4", "6/8", "9/8", "3+2/4"}
    modes = {tune.key.mode for tune in tunes}
    assert modes >= {Mode.MAJOR, Mode.MINOR, Mode.DORIAN, Mode.MIXOLYDIAN}
    assert any(tune.bars[0].offset for tune in tunes)
    assert any(bar.ending == (2,) for tune in tunes for bar in tune.bars)
    assert max(tune.verses for tune in tunes) == 2
    assert any(tune.locks for tune in tunes)
    names = {frozenset(n.pitch.name for n in t.sounding if n.pitch) for t in tunes}
    assert min(map(len, names)) == 5


@pytest.mark.parametrize(
    ("name", "book", "title"),
    [
        ("rakes_of_mallow", "airdsAirs/book2.abc", "The Rakes of Mallo."),
        ("greensleeves", "airdsAirs/book1.abc", "Green Sleeves."),
        ("widows_rant", "airdsAirs/book1.abc", "The Widows Rant."),
        ("the_bucket", "airdsAirs/book2.abc", "The Bucket."),
        ("bobby_shafto", MINSTRELSY, "Bobby Shaftoe"),
        ("water_of_tyne", MINSTRELSY, "The Water of Tyne"),
        ("oak_and_ash", MINSTRELSY, "O the Oak and the Ash"),
        ("buy_broom_besoms", MINSTRELSY, "Buy Broom Buzzems"),
    ],
)
def test_a_traditional_tune_is_note_for_note_the_printed_one(
    name: str, book: str, title: str
) -> None:
    ours, theirs = read(name), abc_tune(book, title)
    assert sounds(ours.notes) == sounds(theirs.notes)
    assert ours.key == theirs.key
    assert (ours.bars[0].end if ours.bars[0].offset else 0) == theirs.downbeat


def test_yankee_doodle_is_the_first_two_strains_of_the_printed_one() -> None:
    ours = read("yankee_doodle")
    theirs = abc_tune("airdsAirs/book1.abc", "Yanky Doodle.")
    assert sounds(ours.notes) == sounds(theirs.notes)[: len(ours.notes)]


def test_old_hundredth_is_the_tune_of_bachs_chorale_but_for_one_note() -> None:
    # BWV 326 (in B flat, 3/4) sets the same psalm tune. At the thirteenth note the
    # psalm falls to its keynote and leaps a fourth; Bach's soprano goes up by steps.
    theirs = from_score(music21.corpus.parse("bach/bwv326"))
    heights = [note.pitch.midi for note in theirs.notes if note.pitch]
    ours = [note.pitch.midi for note in read("old_hundredth").notes if note.pitch]
    up = heights[0] - ours[0]
    different = [
        index
        for index, (own, his) in enumerate(zip(ours, heights, strict=True))
        if own + up != his
    ]
    assert different == [12]


def test_the_early_morning_ends_as_the_shanty_in_the_fifers_book() -> None:
    # An American fife tune keeps the shanty as its third strain, a fifth higher and in
    # values half as long; its last four bars are the last four of the song.
    theirs = abc_tune("miscFolk/americanfifeopus.abc", "The Drunken Sailor")
    pairs = list(
        zip(read("the_early_morning").notes[-16:], theirs.notes[-16:], strict=True)
    )
    assert {
        his.pitch.midi - own.pitch.midi for own, his in pairs if own.pitch and his.pitch
    } == {7}
    assert {own.length / his.length for own, his in pairs[:-1]} == {Fraction(2)}
