"""A tune is recorded on the page: heard by the program, written down, sung again."""

import base64
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from makers import browser as pages
from makers.browser import ARGUMENTS, CHROMIUM, Browser, Page, expect
from makers.sung import (
    RATE,
    VOICES,
    Floats,
    SungAt,
    performed,
    sounded,
    wav_bytes,
)
from makers.visitor import Visitor

from harmonise.notation.formats import parse_tunes
from harmonise.theory.tune import Tune

WHOLE = "Title: Steps\nKey: C\nTime: 4/4\nC E G E | F A G - | E G F D | D D C - |\n"
WRONG = "Title: Steps\nKey: C\nTime: 4/4\nC E G E | F F F - | C C C C | D D C - |\n"
TEMPO = 100
VOICE = next(voice for voice in VOICES if voice.name == "clarinet, second font")


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


@cache
def sung(text: str) -> tuple[Floats, float]:
    """Return a typed tune as it is sung, and when its first beat was clicked."""
    (tune,) = parse_tunes(text.encode())
    notes = performed(tune, TEMPO, VOICE, 3)
    (sound,) = sounded([notes], VOICE)
    return sound, clicked(notes)


def clicked(notes: list[SungAt]) -> float:
    """Return when bar 1 was clicked: a little before the first note, which is on it."""
    return notes[0].start - 0.05


def body(song: str, /, **more: object) -> dict[str, object]:
    sound, down = sung(song)
    content = base64.b64encode(wav_bytes(sound)).decode()
    return {
        "base64": content,
        "tempo": TEMPO,
        "time": "4/4",
        "down": round(float(down), 3),
        **more,
    }


def names(text: str) -> list[str]:
    (tune,) = parse_tunes(text.encode())
    return [str(note.pitch) for note in tune.sounding]


def test_a_recording_becomes_the_text_of_the_tune_under_its_title(
    visitor: Visitor,
) -> None:
    answer = visitor.told("/hear", body(WHOLE, text="Title: Evening\nKey: C\n"))
    assert answer["text"].startswith("Title: Evening\nKey: ")
    assert names(answer["text"]) == names(WHOLE)
    assert any(
        one.startswith("Heard to a click of 100 in 4/4") for one in answer["told"]
    )


def test_a_sound_file_whose_beat_nobody_knows_is_read_freely(visitor: Visitor) -> None:
    asked = {**body(WHOLE), "tempo": None, "time": None, "text": "Title: Take 1\n"}
    answer = visitor.told("/hear", asked)
    assert answer["text"].count("Title: Take 1\n") == 1
    assert names(answer["text"]) == names(WHOLE)
    assert any(one.startswith("Nobody gave the beat") for one in answer["told"])
    assert any(one.startswith("Nobody named the time") for one in answer["told"])


def bars_of(tune: Tune) -> list[list[tuple[Any, ...]]]:
    return [
        [
            (note.onset - bar.start, note.length, str(note.pitch))
            for note in tune.sounding
            if bar.start <= note.onset < bar.end
        ]
        for bar in tune.bars
    ]


def test_a_few_bars_that_are_sung_again_take_the_place_of_those_alone(
    visitor: Visitor,
) -> None:
    mark = "% ? Bar 1, beat 2: E4, maybe Eb4.\n% ? Bar 2, beat 1: F4, maybe F#4.\n"
    mark += "% ? Is there a pickup of 1 beat?\n"
    again = "Key: C\nTime: 4/4\nF A G - | E G F D |\n"
    answer = visitor.told("/hear", body(again, text=WRONG + mark, bars="2-3"))
    (whole,), (mended,) = (
        parse_tunes(text.encode()) for text in (WHOLE, answer["text"])
    )
    assert bars_of(mended) == bars_of(whole)
    assert mended.title == "Steps"
    # What was doubtful in the other bars still is; in these bars it is not.
    assert "% ? Bar 1, beat 2: E4, maybe Eb4.\n" in answer["text"]
    assert "% ? Is there a pickup of 1 beat?\n" in answer["text"]
    assert "F4, maybe F#4" not in answer["text"]


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        (
            {"bars": "7-9", "text": WRONG},
            "The tune has no bars 7-9. It has bars 1 to 4.",
        ),
        (
            {"bars": "2", "text": "Key: C\nTime: 3/4\nC D E | F - - |"},
            (
                "Bar 2: These bars are in 3/4, and were sung in 4/4. Choose 3/4 and "
                "sing them again."
            ),
        ),
        (
            {"base64": base64.b64encode(wav_bytes(sung(WHOLE)[0] * 0)).decode()},
            (
                "This recording is silent. Look whether the microphone is on, and go "
                "nearer to it."
            ),
        ),
    ],
    ids=["no such bars", "another metre", "silence"],
)
def test_what_cannot_be_written_down_is_told(
    visitor: Visitor, more: dict[str, object], sentence: str
) -> None:
    reply = visitor.ask("/hear", body(WHOLE, **more))
    assert reply.status_code == 422
    assert reply.json()["error"]["sentence"] == sentence


def test_nothing_of_a_recording_stays(
    visitor: Visitor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("HOME", "TMPDIR", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(tmp_path))
    monkeypatch.chdir(tmp_path)
    visitor.told("/hear", body(WHOLE))
    assert list(tmp_path.rglob("*")) == []


def test_the_page_alone_may_use_the_microphone(visitor: Visitor) -> None:
    policy = visitor.send("GET", "/").headers["Permissions-Policy"]
    assert "microphone=(self)" in policy
    assert "camera=()" in policy


@pytest.fixture
def page(browser: Browser, address: str, tmp_path: Path) -> Iterator[Page]:
    """Give a page whose microphone hears three long notes, over and over."""
    file = tmp_path / "microphone.wav"
    text = "Key: C\nTime: 4/4\nC - E - | G - E - | C - E - | G - E - |\n"
    file.write_bytes(wav_bytes(sung(text)[0]))
    arguments = [
        *ARGUMENTS,
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={file}",
    ]
    # What the microphone hears is an option of the whole browser.
    other = browser.browser_type.launch(executable_path=str(CHROMIUM), args=arguments)
    context = other.new_context(viewport=pages.WIDE)
    seen = pages.watched(context)
    yield pages.opened(context, address)
    assert seen.outside() == []
    assert seen.faults == []
    other.close()


@pytest.mark.slow
def test_what_the_microphone_hears_is_written_down_heard_and_kept(page: Page) -> None:
    page.get_by_label("without a click").check()
    page.get_by_role("button", name="Record").click()
    # Four seconds of sound have come, however long that took.
    early = "".join(f':not([data-recorded="{second}"])' for second in range(4))
    pages.wait_for(page, f"body[data-recorded]{early}")
    with pages.redrawing(page):
        page.get_by_role("button", name="Stop", exact=True).click()
    heard = {re.sub(r"\d", "", name) for name in names(pages.tune_text(page))}
    assert len(heard) >= 2
    assert heard <= {"C", "E", "G"}
    told = page.locator("#record-told").inner_text()
    assert "Is the beat this fast?" in told
    page.get_by_role("button", name="Hear the recording").click()
    expect(page.get_by_role("button", name="Stop the recording")).to_be_visible()
    page.get_by_role("button", name="Stop the recording").click()
    with page.expect_download() as kept:
        page.get_by_role("button", name="Keep it as a file").click()
    content = kept.value.path().read_bytes()
    assert content[:4] == b"RIFF"
    assert {re.sub(r"\d", "", n) for n in _names(content)} <= {"C", "E", "G"}


@pytest.mark.slow
def test_a_sound_file_of_many_megabytes_is_opened_as_a_recording(
    page: Page, tmp_path: Path
) -> None:
    text = "Key: C\nTime: 4/4\nC - E - | G - E - |\n"
    # Nine times the frames at nine times the rate sound the same.
    file = tmp_path / "evening.wav"
    file.write_bytes(wav_bytes(np.repeat(sung(text)[0], 9), 9 * RATE))
    assert file.stat().st_size > 2_000_000
    with pages.redrawing(page):
        page.locator("#file").set_input_files(file)
    assert "Title: evening" in pages.tune_text(page)
    heard = {re.sub(r"\d", "", name) for name in names(pages.tune_text(page))}
    assert heard == {"C", "E", "G"}
    told = page.locator("#record-told").inner_text()
    assert "Is the beat this fast?" in told
    expect(page.get_by_role("button", name="Hear the recording")).to_be_visible()


def _names(content: bytes) -> list[str]:
    return [str(note.pitch) for note in parse_tunes(content)[0].sounding]


@pytest.mark.slow
def test_a_count_in_is_shown_and_a_take_may_be_stopped_in_it(
    page: Page,
) -> None:
    page.get_by_label("Beats a minute").fill("60")
    page.get_by_role("button", name="Record").click()
    counted = re.compile(r"count-in: \d|bar \d+, beat \d")
    expect(page.locator("#record-length")).to_have_text(counted)
    page.get_by_role("button", name="Stop", exact=True).click()
    pages.wait_for(page, 'body[data-record="idle"]')
    expect(page.get_by_role("button", name="Record", exact=True)).to_be_visible()
    # Whatever was heard until then is one step, which can be undone.
    assert page.locator("#fault").is_hidden()
