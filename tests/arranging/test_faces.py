"""Command, book and page answer one request alike; what is typed wins everywhere."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from makers.profiles import spread
from makers.visitor import TUNES, Visitor, tune

from harmonise.cli import main
from harmonise.lessons.worksheet import SheetKind
from harmonise.notation.formats import read_tune
from harmonise.rules.players import with_player
from harmonise.theory.arrangement import (
    HarmonicRhythm,
    LeftHand,
    Player,
    Style,
    Texture,
)

WISHES: list[tuple[dict[str, object], str]] = [
    ({}, ""),
    ({"level": "4", "harmonicRhythm": "beat"}, "--level 4 --harmonic-rhythm beat"),
    ({"level": "4", "harmonicRhythm": "bar"}, "--level 4 --harmonic-rhythm bar"),
    ({"level": "auto", "texture": "held"}, "--level auto --texture held"),
    ({"transpose": "B", "fingering": True}, "--transpose B --fingering"),
    (
        {"voices": "tenor", "leftHand": "repeated"},
        "--singers tenor --left-hand repeated",
    ),
    ({"player": "advanced", "labels": "words"}, "--player advanced --labels words"),
    ({"texture": "hymn", "numerals": False}, "--texture hymn --no-numerals"),
    (
        {"key": "A mixolydian", "labels": "figures"},
        "--key A.mixolydian --labels figures",
    ),
    ({"voices": "alto", "player": "beginner"}, "--singers alto --player beginner"),
    ({"player": "beginner", "level": "4"}, "--player beginner --level 4"),
    ({"player": "beginner", "transpose": "+6"}, "--player beginner --transpose +6"),
    (
        {"player": "beginner", "leftHand": "broken", "harmonicRhythm": "beat"},
        "--player beginner --left-hand broken --harmonic-rhythm beat",
    ),
    ({"voices": "bass", "transpose": "Eb"}, "--singers bass --transpose Eb"),
]


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*words: str) -> str:
    done = CliRunner().invoke(main, list(words))
    assert done.exit_code == 0, done.output
    return done.output


@pytest.mark.parametrize(
    ("name", "settings", "words"),
    [
        (name, *wish)
        for turn, wish in enumerate(WISHES)
        for name in spread(["greensleeves", "rakes_of_mallow"], 1, turn)
    ],
)
def test_command_book_and_page_make_the_same_of_the_same_wishes(
    visitor: Visitor, name: str, settings: dict[str, object], words: str
) -> None:
    line = [word.replace(".", " ") for word in words.split()]
    book, page = Path("book"), Path("page.musicxml")
    book.mkdir()
    (book / f"{name}.txt").write_bytes((TUNES / f"{name}.txt").read_bytes())
    told = run("arrange", str(book / f"{name}.txt"), "-o", str(page), *line)
    run("arrange", "book", "-o", "pages", *line)
    asked = {**tune(name), "settings": settings}
    reply = visitor.ask("/file", {**asked, "kind": "musicxml"})
    assert reply.content == page.read_bytes()
    assert Path("pages", f"{name}.musicxml").read_bytes() == page.read_bytes()
    contents = Path("pages", "contents.txt").read_text("utf-8")
    remarks = [row["sentence"] for row in visitor.told("/arrange", asked)["remarks"]]
    for remark in remarks:
        assert remark in told
        assert remark in contents


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("--player beginner --level 4", "a beginner is promised level 1"),
        ("--player beginner --transpose B", "key: up to 5, where a beginner"),
        ("--singers alto --transpose C", "For altos the best is"),
    ],
)
@pytest.mark.parametrize("command", ["arrange", "explain", "listen"])
def test_every_command_tells_the_promise_that_a_typed_wish_breaks(
    command: str, words: str, sentence: str
) -> None:
    source = str(TUNES / "morning_steps.txt")
    target = () if command == "explain" else ("--force", "-o", "page.mid")
    for wishes, broken in ((words.split(), True), (words.split()[:2], False)):
        told = run(command, source, *target, *wishes)
        assert (sentence in told) is broken, told


def test_a_promise_that_breaks_in_one_of_several_keys_is_told_with_the_key() -> None:
    source = str(TUNES / "morning_steps.txt")
    words = ("--player", "beginner", "--level", "4", "--keys", "C, B", "-o", "p.mid")
    told = run("arrange", source, *words)
    assert told.count("a beginner is promised level 1") == 1
    assert "\nB major: Bar 1, beat 1: sharps or flats of the key: up to 5, " in told


TYPED = [
    *(("harmonic_rhythm", Style(harmonic_rhythm=own)) for own in HarmonicRhythm),
    *(("texture", Style(texture=own)) for own in Texture),
    *(("left_hand", Style(left_hand=own)) for own in LeftHand),
    ("fingering", Style(fingering=True)),
]


@pytest.mark.parametrize("player", Player)
@pytest.mark.parametrize(("field", "typed"), TYPED)
def test_whatever_is_typed_is_stronger_than_the_player(
    player: Player, field: str, typed: Style
) -> None:
    wish = getattr(typed, field)
    if getattr(wish, "value", "") != "auto":
        tune = read_tune(TUNES / "morning_steps.txt")
        assert getattr(with_player(typed, player, tune), field) == wish


@pytest.mark.parametrize("kind", SheetKind, ids=lambda kind: kind.value)
def test_the_page_prints_the_worksheet_of_the_command(
    visitor: Visitor, kind: SheetKind
) -> None:
    source = str(TUNES / "auld_lang_syne.txt")
    run("worksheet", source, "--kind", kind.value, "-o", "w.pdf")
    asked = {**tune("auld_lang_syne"), "sheet": {"kind": kind.value}}
    for copy, path in (("sheet", "w-A.pdf"), ("answers", "w-A-answers.pdf")):
        reply = visitor.ask("/worksheet", {**asked, "copy": copy})
        assert reply.content == Path(path).read_bytes()


@pytest.mark.parametrize(
    ("names", "keys"),
    [(["D1"], ["C", "Eb"]), (["D4", "D7"], []), (["D10"], ["A minor"])],
)
@pytest.mark.parametrize(
    ("kind", "ending"), [("pdf", "pdf"), ("musicxml", "musicxml"), ("midi", "mid")]
)
def test_the_page_makes_the_drill_of_the_command(
    visitor: Visitor, names: list[str], keys: list[str], kind: str, ending: str
) -> None:
    words = [word for key in keys for word in ("--keys", key)]
    run("drill", *names, *words, "-o", f"d.{ending}")
    reply = visitor.ask("/drill", {"names": names, "keys": keys, "kind": kind})
    assert reply.content == Path(f"d.{ending}").read_bytes()
