"""Pupils' work marked on the page: the sum follows what a teacher sees otherwise."""

import base64
import csv
import io
import re
import subprocess
import zipfile
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from makers.visitor import SHORT, Visitor, typed

PAGE = {**typed(SHORT), "settings": {"level": "1"}}


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


@pytest.fixture(scope="module")
def model(visitor: Visitor) -> str:
    """Return the page's own score, which a pupil may have written."""
    return visitor.ask("/file", {**PAGE, "kind": "musicxml"}).text


def script(name: str, text: str) -> dict[str, str]:
    return {"name": name, "base64": base64.b64encode(text.encode()).decode()}


def wrong_root(score: str) -> str:
    """Return a score whose first bass note is a tone too high, by text alone."""
    bass = re.search(r"<step>C</step>\s*<octave>3</octave>", score)
    assert bass
    there = bass[0].replace("<step>C", "<step>D")
    return score[: bass.start()] + there + score[bass.end() :]


def marked(visitor: Visitor, *scripts: dict[str, str], **more: object) -> Any:  # noqa: ANN401 - JSON
    return visitor.told("/mark", {**PAGE, "scripts": scripts, **more})


def test_the_page_itself_gets_full_marks(visitor: Visitor, model: str) -> None:
    (work,) = marked(visitor, script("Mira.musicxml", model))["works"]
    got, worth = work["marks"].split(" of ")
    assert got == worth
    assert [line["points"] for line in work["lines"] if line["points"]] == []


def test_a_teacher_changes_a_deduction_and_the_sum_follows(
    visitor: Visitor, model: str, tmp_path: Path
) -> None:
    scripts = [
        script("Mira.musicxml", model),
        script("Jon.musicxml", wrong_root(model)),
        script("Lea.musicxml", "<html/>"),
    ]
    first = marked(visitor, *scripts)
    _, jon, lea = first["works"]
    assert lea["failure"]
    at = next(at for at, line in enumerate(jon["lines"]) if line["points"])
    usual = jon["lines"][at]["points"]
    change = {"script": 1, "line": at, "points": "0", "reason": "a fine pedal"}
    after = marked(visitor, *scripts, changes=[change])
    now = after["works"][1]["lines"][at]
    assert (now["points"], now["usual"], now["reason"]) == (0, usual, "a fine pedal")
    head, *rows = after["table"]
    marks = {row[0]: row[head.index("Marks")] for row in rows}
    assert marks["Mira"] == marks["Jon"]
    assert jon["marks"] != after["works"][1]["marks"]
    asked = {"marking": {**PAGE, "scripts": scripts, "changes": [change]}}
    packed = visitor.ask("/slips", asked)
    with zipfile.ZipFile(io.BytesIO(packed.content)) as archive:
        assert archive.namelist() == ["Mira.pdf", "Jon.pdf"]
        path = tmp_path / "jon.pdf"
        path.write_bytes(archive.read("Jon.pdf"))
    text = subprocess.run(  # noqa: S603 - a program of the system
        ["pdftotext", path, "-"],  # noqa: S607
        capture_output=True,
        check=True,
    ).stdout.decode()
    assert "a fine pedal" in " ".join(text.split())
    sheet = visitor.ask("/slips", {**asked, "kind": "csv"}).text
    cells = {row["Pupil"]: row for row in csv.DictReader(io.StringIO(sheet))}
    earned = {name: row["Steps: marks"] for name, row in cells.items()}
    assert float(earned["Jon"]) == float(earned["Mira"])


def test_what_was_left_blank_can_be_seen_otherwise_too(visitor: Visitor) -> None:
    asked: dict[str, Any] = {"against": "sheet", "sheet": {"kind": "accompany"}}
    handed = script("Mira.txt", "1.1: C | E3 G3 C4 | C3")
    (work,) = marked(visitor, handed, **asked)["works"]
    at, blank = next(
        (at, line)
        for at, line in enumerate(work["lines"])
        if "left blank" in line["text"]
    )
    got, worth = map(Fraction, work["marks"].split(" of "))
    asked["changes"] = [
        {"script": 0, "line": at, "points": "0", "reason": "began on paper"}
    ]
    (work,) = marked(visitor, handed, **asked)["works"]
    line = work["lines"][at]
    assert (line["points"], line["usual"]) == (0, blank["points"])
    assert line["reason"] == "began on paper"
    # What was not lost there is earned, and nothing else is another.
    now = (got + Fraction(blank["points"]), worth)
    assert tuple(map(Fraction, work["marks"].split(" of "))) == now
    assert any("began on paper" in note for note in work["notes"])


def test_a_worksheet_is_marked_against_its_own_model(visitor: Visitor) -> None:
    sheet = {"against": "sheet", "sheet": {"kind": "accompany"}}
    (work,) = marked(visitor, script("Mira.txt", "1.1: C | E3 G3 C4 | C3"), **sheet)[
        "works"
    ]
    assert not work["failure"]
    assert [line for line in work["lines"] if "left blank" in line["text"]]
    # A list of faults that were found is marked as a list.
    sheet = {"against": "sheet", "sheet": {"kind": "faults", "faults": 2}}
    (work,) = marked(visitor, script("Mira.txt", "2.1: wrong root | C3"), **sheet)[
        "works"
    ]
    assert work["marks"].endswith(" of 6")


def filled(visitor: Visitor, copy: str) -> str:
    """Return a worksheet in its second version, as an editor has it."""
    sheet = {"kind": "symbols", "version": 2}
    return visitor.ask("/worksheet", {**PAGE, "sheet": sheet, "copy": copy}).text


def test_a_file_that_says_what_it_is_needs_no_choice(
    visitor: Visitor, model: str
) -> None:
    """One class hands in a tune, a worksheet and a drill; each is marked as itself."""
    blank = filled(visitor, "fill-in")
    assert "[harmonise task: symbols, version B" in blank
    asked = {"names": ["D1"], "keys": ["G"], "kind": "musicxml", "version": "blank"}
    drill = visitor.ask("/drill", asked).text
    scripts = [
        script("Mira.musicxml", model),
        script("Jon.musicxml", blank),
        script("Lea.musicxml", drill),
    ]
    answer = marked(visitor, *scripts)
    mira, jon, lea = answer["works"]
    assert not any(work["failure"] for work in answer["works"])
    got, worth = mira["marks"].split(" of ")
    assert got == worth
    # Nothing was filled in; the first chords of a drill are given, and worth nothing.
    assert jon["marks"].startswith("0 of ")
    assert lea["marks"] == "0 of 48"
    assert "Steps; Steps: W8-1 symbols; D1" in answer["task"]
    head, *rows = answer["table"]
    assert head[:2] == ["Pupil", "Task"]
    assert [row[1] for row in rows][1] == "Steps: W8-1 symbols"


def test_a_drill_is_chosen_with_its_key(visitor: Visitor) -> None:
    asked = {"names": ["D1"], "keys": ["G"], "kind": "musicxml"}
    played = visitor.ask("/drill", asked).text
    chosen = {"against": "drill", "drill": "D1"}
    (right,) = marked(visitor, script("Mira.musicxml", played), **chosen,
                      drillKey="G")["works"]  # fmt: skip
    got, worth = right["marks"].split(" of ")
    assert got == worth
    (wrong,) = marked(visitor, script("Mira.musicxml", wrong_third(played)), **chosen,
                      drillKey="G")["works"]  # fmt: skip
    assert [line for line in wrong["lines"] if line["points"]]


def wrong_third(score: str) -> str:
    """Return a score whose first B is a C, by text alone."""
    return re.sub(r"<step>B</step>", "<step>C</step>", score, count=1)


def test_a_register_goes_on_and_takes_works_that_were_mended(
    visitor: Visitor, model: str
) -> None:
    first = {
        "marking": {**PAGE, "scripts": [script("Jon.musicxml", wrong_root(model))]}
    }
    kept = visitor.ask("/slips", {**first, "kind": "register"}).text
    again = marked(visitor, script("Jon.musicxml", model), register=kept)
    head, row = again["table"]
    cells = dict(zip(head, row, strict=True))
    assert (cells["Pupil"], cells["Try"]) == ("Jon", "2")
    assert cells["Marks"] == cells["Of"]
    mended = {"marking": {**PAGE, "register": kept,
                          "scripts": [script("Jon.musicxml", model)]}}  # fmt: skip
    rows = list(csv.DictReader(io.StringIO(
        visitor.ask("/slips", {**mended, "kind": "register"}).text
    )))  # fmt: skip
    assert [row["Try"] for row in rows if row["Pupil"] == "Jon"] == ["1", "2"]
    refused = visitor.refused("/mark", {**PAGE, "register": "a,b\n1,2\n"}, 422)
    assert "is no register" in str(refused["sentence"])
