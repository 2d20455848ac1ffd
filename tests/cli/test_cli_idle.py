"""An option that changes nothing says so, and one that changes something does not."""

import re
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from makers.profiles import PROFILE
from oracles.poppler import poppler

from harmonise.arranging.effects import OPTIONS
from harmonise.cli import main
from harmonise.cli.arrange import arrange

TUNES = Path(__file__).parents[2] / "tunes"

RICH = """X:1
T:Rich
M:4/4
L:1/4
Q:1/4=96
K:G
"G"G A B d|"D"A B d e|"C"e c B A|"G"G4|
w: one two three four five six se-ven eight nine ten e-le-ven
w: un deux trois qua-tre cinq six sept huit neuf dix on-ze douze
"G"G2 B2|A G F E|"D7"D2 F2|"G"G4|]
"""
"""Two verses, chord symbols, and room for richer chords."""
BARE = "Key: C\nTime: 4/4\nC D E F | G A B C5 | C5 B A G | F D C - |\n"

TYPED = {
    "introduction": "--introduction last-line",
    "verses": "--verses 3",
    "gap": "--gap bar",
    "last_verse": "--last-verse left-octaves",
    "slow_ending": "--slow-ending",
    "amen": "--amen",
    "major_amen": "--major-amen",
    "capo": "--capo 5",
    "numerals": "--no-numerals",
    "labels": "--labels words",
    "fingering": "--fingering",
    "keyboards": "--keyboards",
    "paper": "--paper letter",
    "landscape": "--landscape",
    "large_print": "--large-print",
    "level": "--level 3",
    "harmonic_rhythm": "--harmonic-rhythm beat",
    "texture": "--texture hymn",
    "player": "--player advanced",
    "left_hand": "--left-hand broken",
    "sections": "--sections 5-8 broken",
    "keep_chords": "--keep-chords",
    "transpose": "--transpose C",
}
"""Options of one tune that may change its page, each with something to change."""
PAGES = [
    "score.musicxml", "score.mid", "score.wav", "score.svg", "lead-sheet.svg",
    "vocal-score.svg", "congregation.svg", "chart.txt", "chart.pdf", "guitar.txt",
    "spoken.txt", "walk.txt", "letters.txt", "numbers.txt", "sol-fa.txt", "abc.abc",
]  # fmt: skip
CASES = [(option, page) for option in TYPED for page in PAGES]
CASES = CASES if PROFILE == "night" else CASES[::11]


@pytest.fixture(autouse=True)
def _inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("rich.abc").write_text(RICH, "utf-8")
    Path("bare.txt").write_text(BARE, "utf-8")


def run(*words: str) -> Result:
    return CliRunner().invoke(main, words, catch_exceptions=False)


def page_of(page: str, *options: str) -> tuple[bytes, str]:
    """Return a page of the rich tune as a file holds it, and what is printed.

    Names of notes in a picture, which nobody sees, and the mark that is worked out of
    them are left out.
    """
    sheet, _, ending = page.partition(".")
    name = f"page.{ending}"
    words = ["arrange", "rich.abc", "--sheet", sheet, "-o", name, "--force", *options]
    done = run(*words)
    assert done.exit_code == 0, done.output
    made = Path(name).read_bytes()
    if ending == "svg":
        made = re.sub(rb"\bv?n\d+|harmonise \(\w+\)", b"", made)
    return made, done.output


@cache
def plain(page: str) -> bytes:
    return page_of(page)[0]


@pytest.mark.parametrize(("option", "page"), CASES)
def test_an_option_says_that_it_has_no_effect_just_where_it_has_none(
    option: str, page: str
) -> None:
    words = TYPED[option].split(" ", 1)
    made, told = page_of(page, *words)
    has_none = f"\n--{option.replace('_', '-')}" in told.replace("--no-", "--")
    assert has_none is (made == plain(page))


def test_the_table_names_options_that_there_are() -> None:
    names = {option.name for option in arrange.params}
    # The order of tunes is the option of the order of keys.
    assert names >= OPTIONS.keys()


SENTENCES = {
    "--capo 2": "on a score; it is for --sheet guitar",
    "--landscape": "on a file that ends in .musicxml; it is for printed pages (.pdf, "
    ".svg or .png)",
    "--keyboards": "on a file that ends in .musicxml; it is for a printed score (.pdf, "
    ".svg or .png)",
    "--keep-chords": ": the tune has no chord symbols",
    "--gap bar": ": one verse is sung",
    "--order fourths": "without --keys all",
    "--tunes-by title": "on one tune; it is for booklets",
    "--title Airs": "on one tune; it is for booklets",
    "--transpose D --keys C,G": "beside --keys",
    "--amen --major-amen": "beside --major-amen",
    "--singers-table voices.toml": "without --singers",
    "--gb": ": no page is in a key of six flats",
    "--workers 2": "on one tune; it is for books",
    "--cluster host:8786": "on one tune; it is for books",
    "--file-ending pdf": "on one tune; it is for books",
    "--again": "on one tune; it is for books",
    "--tempo 90": ": the tune is no recording",
    "--time 3/4": ": the tune is no recording",
    "--pickup 1": ": the tune is no recording",
    "--left-hand broken --sheet lead-sheet": "on a lead sheet; it is for --sheet score",
    "--no-numerals --sheet abc": "on a tune in ABC; it is for a score on staves",
    "--level 3 --sheet sol-fa": "on a tune in sol-fa; it is for pages with chords",
    "--slow-ending --sheet letters": "on a tune in letters; it is for pages of a whole "
    "song",
}


@pytest.mark.parametrize("words", SENTENCES)
def test_each_sentence_says_why_and_what_the_option_is_for(words: str) -> None:
    Path("voices.toml").write_text("", "utf-8")
    target = [] if "--sheet" in words else ["-o", "page.musicxml"]
    done = run("arrange", "bare.txt", *target, *words.split())
    assert done.exit_code == 0, done.output
    option = words.partition(" --")[0]
    why = SENTENCES[words]
    there = why if why[0] == ":" else f" {why}"
    lines = [line for line in done.output.splitlines() if " has no effect" in line]
    assert lines == [f"{option} has no effect{there}."]


def test_options_with_an_effect_say_nothing() -> None:
    # Eleven semitones above G are F sharp or G flat.
    done = run("arrange", "rich.abc", "-o", "a.pdf", "--gb", "--transpose", "+11")
    assert done.exit_code == 0, done.output
    assert "has no effect" not in done.output
    done = run(
        "arrange", "bare.txt", "-o", "b.pdf", "--keys", "all", "--order", "fifths"
    )
    assert "has no effect" not in done.output


def test_what_is_heard_or_told_alone_has_the_same_table() -> None:
    done = run("listen", "bare.txt", "-o", "a.mid", "--gap", "bar", "--keep-chords")
    assert "--gap bar has no effect: one verse is sung.\n" in done.output
    assert "--keep-chords has no effect" in done.output
    done = run("explain", "bare.txt", "--left-hand", "broken")
    sentence = "--left-hand broken has no effect on what is told of chords; it is for "
    assert f"{sentence}--sheet score.\n" in done.output


def test_a_book_is_told_once() -> None:
    Path("book").mkdir()
    for name in ("one", "two"):
        (Path("book") / f"{name}.txt").write_text(BARE, "utf-8")
    done = run("arrange", "book", "-o", "pages", "--capo", "2", "--workers", "1")
    assert done.exit_code == 0, done.output
    assert done.output.count("has no effect") == 1
    words = ("--tunes-by", "title", "--title", "Airs", "--landscape", "--workers", "1")
    idle = ("--capo", "2", "--file-ending", "pdf")
    done = run("arrange", "book", "-o", "book.pdf", *words, *idle)
    assert done.exit_code == 0, done.output
    lines = [line for line in done.output.splitlines() if "no effect" in line]
    assert sorted(lines) == [
        "--capo 2 has no effect on a score; it is for --sheet guitar.",
        "--file-ending pdf has no effect on a booklet.",
    ]


def test_four_parts_say_what_they_have_no_place_for() -> None:
    done = run(
        "arrange", "bare.txt", "-o", "a.pdf", "--texture", "hymn", "--labels", "words"
    )
    assert "Four parts have no left-hand patterns, sections, fingering or labels. " in (
        done.output
    )
    text = poppler(Path("a.pdf").read_bytes())
    assert "Shape of the right hand" not in text


SHEETS = (
    ("--labels figures", "labels", "voices"),
    ("--faults 2", "faults", "keyboards"),
    ("--level 3", "accompany", "transpose"),
)
"""Options of worksheets, with a kind that they change and one that they do not."""


@pytest.mark.parametrize(("words", "reached", "other"), SHEETS)
def test_a_worksheet_says_which_options_do_not_reach_it(
    words: str, reached: str, other: str
) -> None:
    def sheet(kind: str, *options: str) -> tuple[bytes, str]:
        tune = ("worksheet", str(TUNES / "bobby_shafto.txt"), "--kind", kind)
        target = ("-o", "w.pdf", "--copies", "answers", "--force")
        done = run(*tune, *target, *options)
        assert done.exit_code == 0, done.output
        return Path("w-A-answers.pdf").read_bytes(), done.output

    for kind in (reached, other):
        made, told = sheet(kind, *words.split())
        assert (f"{words} has no effect" in told) is (kind == other)
        assert (made == sheet(kind)[0]) is (kind == other)


DRILL_OPTIONS = (
    "--copies answer", "--fingering", "--labels figures", "--start first",
    "--left-hand octave", "--beats 1", "--tempo 80", "--paper letter", "--landscape",
    "--count-in", "--hand left", "--order fourths", "--gb", "--minor",
)  # fmt: skip


@pytest.mark.parametrize("ending", [".musicxml", ".mid"])
def test_a_drill_says_which_options_do_not_reach_it(ending: str) -> None:
    def drill(*words: str) -> tuple[bytes, str]:
        target = ("-o", f"d{ending}", "--force")
        done = run("drill", "D6", "--keys", "C", *target, *words)
        assert done.exit_code == 0, done.output
        return Path(f"d{ending}").read_bytes(), done.output

    plain = drill()[0]
    for words in DRILL_OPTIONS:
        made, told = drill(*words.split())
        assert (f"{words} has no effect" in told) is (made == plain), words


def test_a_drill_says_why() -> None:
    done = run("drill", "D1", "-o", "d.mid", "--landscape", "--copies", "blank")
    assert (
        "--landscape has no effect on a file that ends in .mid; it is for .pdf.\n"
        in (done.output)
    )
    done = run("drill", "D1", "-o", "d.pdf", "--labels", "letters", "--hand", "left")
    copy = "--labels letters has no effect on this copy; it is for --copies answer.\n"
    assert copy in done.output
    hand = "--hand left has no effect on a file that ends in .pdf; it is for MIDI.\n"
    assert hand in done.output


MARKED = {
    "--against bare.txt --bars 4": "--bars 4 has no effect without --kind.",
    "--against bare.txt --key G": "--key G has no effect on this task; it is for "
    "drills.",
    "--against bare.txt --workers 2": "--workers 2 has no effect on one work.",
    "--against bare.txt --large-print": "--large-print has no effect without a slip as "
    ".pdf.",
    "--against D1 --ask none": "--ask none has no effect on a drill; it is for tunes.",
    "--against D1 --level 3": "--level 3 has no effect on a drill; it is for tunes.",
}


@pytest.mark.parametrize("words", MARKED)
def test_marking_says_which_options_do_not_reach_the_task(words: str) -> None:
    run("drill", "D1", "--keys", "C", "--start", "root", "-o", "work.musicxml")
    done = run("mark", "work.musicxml", *words.split())
    lines = [line for line in done.output.splitlines() if "no effect" in line]
    assert lines == [MARKED[words]]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("drill --list --keys C", ["--keys C has no effect beside --list."]),
        ("singers --gb", ["--gb has no effect without a tune."]),
        (
            "singers -o own.toml --part X --force",
            ["--part X has no effect beside --output."],
        ),
        ("singers --singers alto", []),
    ],
)
def test_a_command_that_only_lists_says_what_it_passes_over(
    words: str, told: list[str]
) -> None:
    done = run(*words.split())
    assert done.exit_code == 0
    lines = done.output.splitlines()
    assert [line for line in lines if "has no effect" in line] == told
