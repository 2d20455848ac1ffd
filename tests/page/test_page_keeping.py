"""Work as a file, locks that are carried, and what a hostile text may cost."""

import base64
import tracemalloc
from typing import Any

import pytest
from makers.visitor import ABC, SHORT, Visitor, dropped, names, tune, typed

from harmonise.notation.formats import parse_tunes


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


SETTINGS = {"key": "C major", "transpose": "D", "level": "3", "numerals": False}
LOCKS = [
    {"onset": "0", "end": "4", "chord": "C", "moved": 0},
    {"onset": "9/2", "end": "6", "chord": "Am/C", "moved": 2},
]


def saved(visitor: Visitor, asked: dict[str, Any]) -> str:
    reply = visitor.ask("/save", asked)
    assert reply.status_code == 200
    return reply.content.decode()


@pytest.mark.parametrize(
    "text",
    [
        SHORT,
        "",
        "no tune | at all",
        "Title: % \\ é\n\n% The tune:\nKey: C\n",
        f"{SHORT}\n\n",
    ],
)
def test_typed_work_comes_back_whole(visitor: Visitor, text: str) -> None:
    asked = {**typed(text), "tune": 1, "settings": SETTINGS, "locks": LOCKS}
    opened = visitor.told("/open", {"text": saved(visitor, asked)})
    found = {name: opened["settings"][name] for name in SETTINGS}
    assert found == SETTINGS
    # What was not said is as usual.
    usual = visitor.told("/open", {"text": saved(visitor, typed(text))})["settings"]
    assert {**opened["settings"], **dict.fromkeys(SETTINGS)} == {
        **usual,
        **dict.fromkeys(SETTINGS),
    }
    del opened["settings"]
    assert opened == {
        "text": text, "name": "", "base64": "", "tune": 1, "locks": LOCKS,
    }  # fmt: skip


def test_work_on_a_file_comes_back_with_the_file(visitor: Visitor) -> None:
    content = visitor.ask("/file", {**tune("the_bucket"), "kind": "mxl"}).content
    work = saved(visitor, {**dropped(content, "über.mxl"), "locks": LOCKS[:1]})
    opened = visitor.told("/open", {"text": work.replace("\n", "\r\n")})
    assert base64.b64decode(opened["base64"]) == content
    assert (opened["name"], opened["text"]) == ("über.mxl", "")
    # Below the remarks the tune stands as it is typed, so every reader finds it there.
    (found,) = parse_tunes(work.encode())
    (given,) = parse_tunes(content)
    assert [note.pitch for note in found.notes] == [note.pitch for note in given.notes]


@pytest.mark.parametrize("name", names())
def test_work_is_a_tune_for_every_reader(visitor: Visitor, name: str) -> None:
    work = saved(visitor, {**tune(name), "settings": SETTINGS, "locks": LOCKS})
    body: Any = tune(name)
    assert parse_tunes(work.encode()) == parse_tunes(
        # Lines of the text are counted, and remarks are lines.
        ("%\n" * work[: work.index("% The tune:\n")].count("\n") + "%\n").encode()
        + body["source"]["text"].encode()
    )


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("version 1", "version 2", "A newer harmonise wrote this piece of work."),
        ("A piece", "No piece", "This is no piece of work."),
        ("% tune: 1", "% tune: x", "This piece of work is damaged: it breaks off."),
        ("% tune: 1", "% tempo: 1", 'This piece of work is damaged: "% tempo: 1".'),
        ('"level":"3"', '"level":"9"', 'This piece of work is damaged: "level" in'),
        ('"end":"4"', '"end":"0"', "A lock has to end after it begins."),
    ],
)
def test_damaged_work_is_told(visitor: Visitor, old: str, new: str, told: str) -> None:
    asked = {**typed(SHORT), "tune": 1, "settings": SETTINGS, "locks": LOCKS}
    work = saved(visitor, asked)
    assert old in work
    error = visitor.refused("/open", {"text": work.replace(old, new)}, 422)
    assert told in str(error["sentence"])


def test_locks_are_carried_to_a_changed_tune(visitor: Visitor) -> None:
    lock = {"onset": "4", "end": "8", "chord": "Dm", "moved": 0}
    line = "C E G E | F A G - | E G F D | D D C - |"
    after = SHORT.replace(line, f"C C C C | {line}")
    asked = {"before": {"text": SHORT}, "source": {"text": after}, "locks": [lock]}
    found = visitor.told("/carry", asked)
    assert found == {"locks": [{**lock, "onset": "8", "end": "12"}], "lost": []}
    # A symbol that was chosen two fifths up is the tune's own, two fifths down.
    asked["locks"] = [{**lock, "chord": "Em", "moved": 2}]
    assert visitor.told("/carry", asked) == found
    # What was tapped so far ends in a bar that is not full.
    asked["before"] = {"text": f"{SHORT.rstrip()} G A"}
    assert visitor.told("/carry", asked) == found
    asked = {**asked, "source": {"text": SHORT.replace("F A G - | ", "")}}
    assert visitor.told("/carry", asked) == {"locks": [], "lost": ["Bar 2, beat 1: Dm"]}


def test_a_file_tells_the_chords_that_stand_over_it(visitor: Visitor) -> None:
    first, second = visitor.told("/read", dropped(ABC.encode(), "a.abc"))["tunes"]
    assert first["chords"] == second["chords"] == []
    own = ABC.replace("|: D F", '|: "Bm7"D "A/C#"F')
    first, _ = visitor.told("/read", dropped(own.encode(), "a.abc"))["tunes"]
    assert first["chords"] == [
        {"onset": "0", "end": "1", "chord": "Bm7", "moved": 0},
        {"onset": "1", "end": "16", "chord": "A/C#", "moved": 0},
    ]


def test_a_book_of_twenty_thousand_tunes_is_refused(visitor: Visitor) -> None:
    tune = "X:{}\nT:Tune\nM:4/4\nL:1/4\nK:D\nDFAF|GFE2|]\n\n"
    book = "".join(tune.format(number) for number in range(20_000))
    error = visitor.refused("/read", typed(book), 422)
    assert error["sentence"] == (
        "This book holds 20,000 tunes; the page takes 1,000. "
        "Split it, or arrange it whole with harmonise arrange."
    )


def test_a_word_of_two_megabytes_costs_little_memory(visitor: Visitor) -> None:
    """Python counts what it allocates: a pattern held 260 bytes a letter before."""
    tracemalloc.start()
    error = visitor.refused("/read", typed("C" * 1_900_000), 422)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert "C and C run together." in str(error["what"])
    assert peak < 40 * 1_900_000
