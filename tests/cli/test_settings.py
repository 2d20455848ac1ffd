"""`harmonise.toml`: what it sets, what is stronger, and what is wrong in it."""

from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from harmonise.cli import main

TUNE = "Key: C\nTime: 4/4\nC E G E | D F B3 D | C - - - |\n"


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "desk").mkdir()
    monkeypatch.chdir(tmp_path / "desk")
    monkeypatch.setattr(click, "get_app_dir", lambda name: str(tmp_path / name))
    Path("songs").mkdir()
    Path("songs/t.txt").write_text(TUNE, "utf-8")


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def test_settings_beside_the_tunes_stand_in_for_what_is_not_typed() -> None:
    Path("songs/harmonise.toml").write_text(
        'level = 2\nfile = "pdf"\npaper = "letter"\n'
    )
    done = run("arrange", "songs/t.txt")
    assert "Level 2, " in done.output
    assert done.output.endswith("Written: t.pdf\n")
    asked = ("--no-settings", "--level", "2", "-o", "other/t.pdf")
    Path("other").mkdir()
    run("arrange", "songs/t.txt", *asked, "--paper", "letter")
    assert Path("other/t.pdf").read_bytes() == Path("t.pdf").read_bytes()
    run("arrange", "songs/t.txt", *asked, "--paper", "a4", "--force")
    assert Path("other/t.pdf").read_bytes() != Path("t.pdf").read_bytes()
    typed = run("arrange", "songs/t.txt", "--level", "1", "-o", "t.musicxml")
    assert "Level 1, " in typed.output
    learner = run("arrange", "songs/t.txt", "--player", "beginner", "-o", "b.musicxml")
    assert "Level 1, " in learner.output
    without = run("arrange", "songs/t.txt", "--no-settings", "-o", "u.musicxml")
    assert "Level 1, " in without.output


def test_a_book_and_a_worksheet_obey_them_too() -> None:
    Path("songs/harmonise.toml").write_text('file = "svg"\nlabels = "none"\n')
    done = run("arrange", "songs", "-o", "pages")
    assert done.exit_code == 0, done.output
    assert Path("pages/t.svg").is_file()
    # On a sheet shapes cannot go without a name: that setting is for scores.
    sheet = run("worksheet", "songs/t.txt", "-o", "sheet.pdf")
    assert sheet.exit_code == 0, sheet.output


def test_the_ones_of_the_user_count_where_none_lie_beside_the_tunes(
    tmp_path: Path,
) -> None:
    (tmp_path / "harmonise").mkdir()
    (tmp_path / "harmonise/harmonise.toml").write_text("level = 3\n")
    assert "Level 3, " in run("explain", "songs/t.txt").output
    Path("songs/harmonise.toml").write_text('paper = "a4"\n')
    assert "Level 1, " in run("explain", "songs/t.txt").output


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "levl = 3\n",
            'line 1: "levl" is no setting. Settings are paper, labels, level, file.',
        ),
        (
            '# Ours\npaper = "a4"\n\nlevel = 7\n',
            'line 4: level cannot be "7". It is one of auto, 1, 2, 3, 4.',
        ),
        ("paper = a4\n", "line 1 is no entry. Write lines such as level = 3."),
        ("level = [3\n", "no entry. Write lines such as level = 3."),
        ("level = [3]\n", 'line 1: level cannot be "[3]".'),
        ("[paper]\nsize = 1\n", "line 1: paper cannot be "),
        ("level = 3\npaper_size = 1\n", 'line 2: "paper_size" is no setting.'),
    ],
)
def test_what_is_wrong_is_told_with_the_file_and_nothing_is_written(
    text: str, told: str
) -> None:
    Path("songs/harmonise.toml").write_text(text)
    done = run("arrange", "songs/t.txt")
    assert done.exit_code == 2
    assert f"Error: {Path('songs/harmonise.toml')}: " in done.output
    assert told in done.output
    assert not list(Path().glob("t.*"))


def test_settings_beside_what_is_written_are_not_those_of_the_tune() -> None:
    Path("pages").mkdir()
    Path("pages/t.musicxml").touch()
    Path("pages/harmonise.toml").write_text("level = 4\n")
    Path("songs/harmonise.toml").write_text("level = 2\n")
    done = run("arrange", "-o", "pages/t.musicxml", "--force", "songs/t.txt")
    assert "Level 2, " in done.output
