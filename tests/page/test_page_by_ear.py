"""Questions by ear on the page, answered by a listener that shares no code with it.

The listener has the notes alone, and what every book of harmony has: which notes I, IV,
V and the others of C major are, and which roots make which cadence (common practice).
"""

import json
from itertools import groupby
from typing import Any

import pytest
from makers import browser as pages
from makers.browser import Browser, expect
from makers.stories import DESK, look, opened
from makers.visitor import Visitor, tune

CHORDS = {
    "I": "C E G", "ii": "D F A", "IV": "F A C", "V": "G B D", "V7": "G B D F",
    "vi": "A C E",
}  # fmt: skip
CADENCES = {("G", "C"): "perfect", ("F", "C"): "plagal", ("G", "A"): "interrupted"}
LETTERS = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
STEPS = {
    1: ["leading"],
    2: ["bass", "chord"],
    3: ["chord", "bass", "missing"],
    4: ["cadence", "missing"],
    5: ["position", "leading"],
    6: ["chord", "bass", "missing", "cadence", "position"],
}
"""What is asked at each step, as `harmonise help worksheets` has it."""
BASE = tune("morning_steps")
ROWS = [(step, kind) for step, kinds in STEPS.items() for kind in kinds]


def chords_of(question: dict[str, Any]) -> list[list[int]]:
    """Return the notes that sound together, the lowest first, chord by chord."""
    notes = sorted(question["notes"], key=lambda note: (note["at"], note["midi"]))
    return [
        [note["midi"] for note in together]
        for _, together in groupby(notes, key=lambda note: note["at"])
    ]


def letters(midis: list[int]) -> list[str]:
    return [LETTERS[midi % 12] for midi in midis]


def numeral(chord: list[int]) -> str:
    """Return the smallest chord that has all notes of one, on its bass."""
    names, root = set(letters(chord)), letters(chord)[0]
    fitting = [
        (len(notes.split()), word)
        for word, notes in CHORDS.items()
        if names <= set(notes.split()) and notes.split()[0] == root
    ]
    return min(fitting)[1]


def heard_as(question: dict[str, Any]) -> str:
    """Return the answer of somebody who hears well."""
    chords, kind = chords_of(question), question["kind"]
    if kind == "bass":
        return " ".join(letters([chord[0] for chord in chords]))
    if kind == "chord":
        return numeral(chords[-1])
    if kind == "missing":
        return numeral(chords[question["given"].split(" – ").index("?")])
    if kind == "cadence":
        before, last = letters([chords[-2][0], chords[-1][0]])
        return "imperfect" if last == "G" else CADENCES[before, last]
    if kind == "position":
        notes = CHORDS[numeral(chords[-1])].split()
        return ("root", "third", "fifth")[notes.index(letters(chords[-1])[-1])]
    half = len(chords) // 2
    return "same" if chords[:half] == chords[half:] else "different"


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


@pytest.mark.parametrize(("step", "kind"), ROWS)
def test_who_hears_well_answers_every_question_right(
    visitor: Visitor, step: int, kind: str
) -> None:
    answers = set()
    for number in range(8):
        asked = {**BASE, "step": step, "about": kind, "seed": 5, "number": number}
        question = visitor.told("/ear", asked)
        answer = heard_as(question)
        told = visitor.told("/ear-answer", {**asked, "answer": answer})
        assert told["right"], (question, told)
        assert told["answer"] == answer
        assert told["svg"]
        answers.add(answer)
    # Whoever always says the same is mostly wrong.
    assert len(answers) > 1


@pytest.mark.parametrize("kind", ["chord", "bass", "missing", "position"])
def test_an_answer_is_played_in_any_octave(visitor: Visitor, kind: str) -> None:
    asked = {**BASE, "step": 6, "about": kind, "seed": 7}
    question = visitor.told("/ear", asked)
    chords = chords_of(question)
    if kind == "bass":
        keys = [chord[0] + 24 for chord in chords[1:]]
        assert question["keys"] == len(keys)
    elif kind == "position":
        keys = [chords[-1][-1] - 12]
    else:
        at = question["given"].split(" – ").index("?") if kind == "missing" else -1
        names = CHORDS[numeral(chords[at])].split()
        keys = [60 + LETTERS.index(name) for name in reversed(names)]
    assert visitor.told("/ear-answer", {**asked, "keys": keys})["right"]


def test_what_is_no_answer_is_told(visitor: Visitor) -> None:
    asked = {**BASE, "step": 3, "about": "chord"}
    error = visitor.refused("/ear-answer", {**asked, "keys": [60, 61]}, 422)
    assert error["sentence"] == (
        "These keys are none of the answers: I, IV and V. Play every note of the "
        "chord, in any octave."
    )
    error = visitor.refused("/ear-answer", asked, 422)
    assert error["sentence"] == "Nothing was answered. Choose or play an answer."
    error = visitor.refused("/ear", {**asked, "about": "cadence"}, 422)
    assert "is not asked before step 4" in str(error["sentence"])


def test_the_tune_is_asked_about_too(visitor: Visitor) -> None:
    asked = {**BASE, "of": "tune", "step": 2, "about": "bass"}
    question = visitor.told("/ear", asked)
    bars: dict[int, list[int]] = {}
    for note in question["notes"]:
        bars.setdefault(int(note["at"] // 4), []).append(note["midi"])
    # The key chord is heard first; the tune has a chord a bar here.
    _, *basses = (min(midis) for _, midis in sorted(bars.items()))
    heard = " ".join(letters(basses))
    assert visitor.told("/ear-answer", {**asked, "answer": heard})["right"]


@pytest.mark.slow
def test_a_question_is_heard_answered_and_seen(browser: Browser, address: str) -> None:
    with opened(browser, address, DESK) as page:
        page.context.add_init_script(pages.MODEL_KEYBOARD)
        page.context.add_init_script("Math.random = () => 0.5")
        page.reload()
        pages.drawn(page)
        page.locator("#midi").click()
        text = pages.tune_text(page)
        page.locator("#ear-name").click()
        pages.wait_for(page, "body[data-ear=asked]")
        page.locator("#ear-step").select_option("3")
        with page.expect_response("**/ear") as answer:
            page.locator("#ear-about").select_option("chord")
        question = json.loads(answer.value.body())
        expect(page.locator("#ear-choices button")).to_have_text(["I", "IV", "V"])
        page.locator("#ear-hear").click()
        pages.wait_for(page, f'body[data-heard="{len(question["notes"])}"]')
        look(page, "a question by ear")
        right = heard_as(question)
        wrong = next(one for one in question["choices"] if one != right)
        page.locator("#ear-choices").get_by_text(wrong, exact=True).click()
        told = page.locator("#ear-told")
        expect(told).to_contain_text(f"{wrong}: not so. It is {right}.")
        expect(page.locator("#score-title")).to_have_text(
            f"Which chord, C major: {right}"
        )
        look(page, "an answer by ear")
        expect(page.locator("#ear-next")).to_be_focused()
        with page.expect_response("**/ear") as answer:
            page.keyboard.press("Enter")
        question = json.loads(answer.value.body())
        pages.wait_for(page, "body[data-ear=asked]")
        for name in CHORDS[heard_as(question)].split():
            page.evaluate("window.pressKey", 60 + LETTERS.index(name))
        page.locator("#ear-done").click()
        expect(told).to_contain_text("Right: ")
        row = page.locator("#ear-record tbody tr")
        expect(row).to_contain_text("1 of 2")
        # What was played was an answer, and nothing of the tune.
        page.locator("#ear-name").click()
        pages.drawn(page)
        assert pages.tune_text(page) == text
        expect(page.locator("#score-title")).to_have_text("Morning Steps")
        page.reload()
        pages.drawn(page)
        page.locator("#ear-name").click()
        expect(row).to_contain_text("1 of 2")
