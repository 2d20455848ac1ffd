import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from harmonise.cli.topics import read_topic
from harmonise.cli.worksheet import worksheet
from harmonise.lessons.worksheet import SheetKind

TUNES = Path(__file__).parents[2] / "tunes"
STEPS = str(TUNES / "morning_steps.txt")


def run(*words: str, text: str | None = None) -> Result:
    return CliRunner().invoke(worksheet, list(words), input=text)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_sheet_and_key_are_written_for_every_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(STEPS, "--kind", "choose", "--versions", "2")
    assert (done.exit_code, done.stderr) == (0, "")
    assert names(tmp_path) == [
        "morning_steps-choose-A-answers.pdf",
        "morning_steps-choose-A.pdf",
        "morning_steps-choose-B-answers.pdf",
        "morning_steps-choose-B.pdf",
    ]
    assert all(path.read_bytes()[:5] == b"%PDF-" for path in tmp_path.iterdir())
    assert done.stdout.splitlines()[:2] == [
        "Sheet W4-1 choose · version A: C major, 35 marks",
        "Sheet W4-1 choose · version B: G major, 35 marks",
    ]


def test_help_lists_every_kind_with_the_name_that_is_printed() -> None:
    section = read_topic("worksheets")
    told = re.findall(r"^\| `([a-z-]+)` \| (W\d+) \|", section, re.MULTILINE)
    assert told == [(kind.value, kind.code) for kind in SheetKind]


@pytest.mark.parametrize("kind", [kind.value for kind in SheetKind])
def test_every_kind_is_printed_large_on_letter_paper(tmp_path: Path, kind: str) -> None:
    target = tmp_path / "sheet.pdf"
    done = run(
        STEPS, "--kind", kind, "--large-print", "--paper", "letter", "-o", str(target)
    )
    assert (done.exit_code, done.stderr) == (0, "")
    heard = ["bass.wav", "line-1.wav", "line-2.wav", "whole.mid", "whole.wav"]
    each = [f"{number}.wav" for number in range(1, 7)]
    more = {"hear": heard, "bass": heard, "aural": each}.get(kind, [])
    made = ["sheet-A-answers.pdf", "sheet-A.pdf", *(f"sheet-A-{n}" for n in more)]
    assert names(tmp_path) == sorted(made)


def test_the_key_alone_can_be_had(tmp_path: Path) -> None:
    run(STEPS, "--copies", "answers", "-o", str(tmp_path / "a.pdf"))
    assert names(tmp_path) == ["a-A-answers.pdf"]
    run(STEPS, "--copies", "sheet", "-o", str(tmp_path / "b.pdf"))
    assert names(tmp_path) == ["a-A-answers.pdf", "b-A.pdf"]


def test_a_sheet_that_exists_is_kept_unless_forced(tmp_path: Path) -> None:
    target = tmp_path / "a.pdf"
    words = (STEPS, "--copies", "sheet", "-o", str(target))
    (tmp_path / "a-A.pdf").write_text("mine")
    done = run(*words)
    assert done.exit_code == 1
    assert "exists already" in done.stderr
    assert (tmp_path / "a-A.pdf").read_text() == "mine"
    assert run(*words, "--force").exit_code == 0
    assert (tmp_path / "a-A.pdf").read_bytes()[:5] == b"%PDF-"


def test_the_same_command_writes_the_same_bytes(tmp_path: Path) -> None:
    made = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        run(STEPS, "--kind", "faults", "-o", str(tmp_path / name / "s.pdf"))
        made.append([path.read_bytes() for path in sorted((tmp_path / name).iterdir())])
    assert len(made[0]) == 2
    assert made[0] == made[1]


def test_a_tune_can_be_piped_in(tmp_path: Path) -> None:
    text = Path(STEPS).read_text(encoding="utf-8")
    done = run("-", "-o", str(tmp_path / "s.pdf"), text=text)
    assert (done.exit_code, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        pytest.param(
            ["-o", "sheet.docx"],
            '"sheet.docx" does not end in .pdf, .png, .musicxml, .xml, .mxl '
            "or .txt. Call it sheet.pdf or sheet.musicxml.",
            id="another ending",
        ),
        pytest.param(
            ["--kind", "faults", "--faults", "12"],
            "Only 8 faults can be planted in this tune, one to a bar, and one of them "
            "is the example. Ask for 7 faults, or for more bars.",
            id="too many faults",
        ),
        pytest.param(
            ["--keys", "A minor"],
            "The tune is in C major and cannot be moved to A minor. Name major keys.",
            id="another mode",
        ),
        pytest.param(
            ["--keys", "G, F", "--versions", "3"],
            "2 keys are named for 3 versions. Name a key for each version.",
            id="too few keys",
        ),
        pytest.param(
            ["--kind", "transpose", "--keys", "C"],
            "The phrase stands in C major already. Name another key.",
            id="the same key",
        ),
    ],
)
def test_what_cannot_be_done_is_told_in_sentences(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: list[str],
    sentence: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(STEPS, *words)
    assert (done.exit_code, done.stderr) == (1, f"{STEPS}: {sentence}\n")
    assert names(tmp_path) == []


def test_a_tune_of_one_chord_is_refused(tmp_path: Path) -> None:
    done = run(
        "-", "-o", str(tmp_path / "s.pdf"), text="Key: C\nTime: 2/4\nC E | G E |\n"
    )
    assert done.stderr == (
        "standard input: One chord is enough for this tune, so there is nothing to "
        "write. Ask for more bars or a higher level.\n"
    )


def test_named_keys_are_those_of_the_phrase(tmp_path: Path) -> None:
    done = run(
        STEPS, "--kind", "transpose", "--keys", "Eb, A", "-o", str(tmp_path / "s.pdf")
    )
    assert done.stdout.startswith("Sheet W7-1 transpose · version A: C major, 6 marks")
