import io
from collections import Counter
from xml.etree import ElementTree as ET

import mido
import music21  # noqa: TID251 - as the oracle of repeats
import pytest
from makers.visitor import (
    ABC,
    REPEATS,
    Visitor,
    dropped,
    names,
    tune,
    typed,
)

from harmonise.page import playback
from harmonise.theory.arrangement import Labels


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


def test_repeats_are_played_out_as_music21_plays_them(visitor: Visitor) -> None:
    answer = visitor.told("/arrange", typed(REPEATS))
    score = visitor.ask("/file", {**typed(REPEATS), "kind": "musicxml"}).content
    parsed = music21.converter.parseData(score, format="musicxml")
    bars = parsed.parts[0].expandRepeats().getElementsByClass("Measure")
    numbers = {bar["index"]: bar["number"] for bar in answer["bars"]}
    played = [numbers[own["index"]] for own in answer["playedBars"]]
    assert played == [bar.number for bar in bars] == [1, 2, 1, 2, 3, 4]


def test_what_would_play_for_hours_is_played_straight_through_and_told(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(playback, "MOST_BARS", 5)
    answer = visitor.told("/arrange", typed(REPEATS))
    assert [own["index"] for own in answer["playedBars"]] == [0, 1, 2, 3]
    assert answer["remarks"][-1]["sentence"] == str(playback.TOO_LONG)


@pytest.mark.parametrize("name", [*names(), "repeats"])
def test_the_page_plays_what_the_midi_file_plays(visitor: Visitor, name: str) -> None:
    asked = typed(REPEATS) if name == "repeats" else tune(name)
    answer = visitor.told("/arrange", asked)
    packed = visitor.ask("/file", {**asked, "kind": "midi"}).content
    file = mido.MidiFile(file=io.BytesIO(packed))
    struck: Counter[tuple[int, int]] = Counter()
    for track in file.tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                struck[now, message.note] += 1
    page = Counter(
        (round(event["t"] * file.ticks_per_beat), event["midi"])
        for event in answer["events"]
    )
    assert page == struck


def test_tempo_and_count_in_are_those_of_the_tune(visitor: Visitor) -> None:
    text = "Key: C\nTime: 6/8\nTempo: q.=60\n0 0 0 C D E | F G A G F E |"
    pickup = "Key: C\nTime: 3/4\nG | C5 B A | G - |"
    plain = visitor.told("/arrange", typed(pickup))
    assert plain["countIn"] == {"beats": 3, "beat": 1.0, "late": 2.0}
    assert plain["tempos"] == [{"t": 0.0, "perMinute": 96.0}]
    found = visitor.ask("/arrange", typed(text))
    if found.status_code == 200:
        assert found.json()["countIn"] == {"beats": 2, "beat": 1.5, "late": 0.0}


# Safe markup

ELEMENTS = {
    "svg", "g", "path", "ellipse", "polygon", "polyline", "rect", "text", "tspan",
    "use", "defs",
}  # fmt: skip


@pytest.mark.parametrize("labels", [labels.value for labels in Labels])
def test_nothing_that_a_user_wrote_becomes_markup(
    visitor: Visitor, labels: str
) -> None:
    asked = dropped(ABC.encode(), "a.abc")
    settings = {"labels": labels, "fingering": True}
    answer = visitor.told("/arrange", {**asked, "settings": settings})
    words = ""
    for line in answer["svg"]:
        for element in ET.fromstring(line["markup"]).iter():  # noqa: S314 - our own
            assert element.tag.rpartition("}")[2] in ELEMENTS
            words += element.text or ""
            for name, value in element.attrib.items():
                assert not name.lower().startswith("on")
                assert name != "style"
                if name.endswith("href"):
                    assert value.startswith("#")
                assert "://" not in value
    assert "<i>sing" in words
    assert '"it"' in words
    assert "<b>Chorus</b>" in words
