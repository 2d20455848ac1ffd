"""What README, `--help` and `harmonise help` show is there, and works as it stands."""

import re
import shlex
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

import harmonise.cli
from harmonise.cli import main
from harmonise.cli.command import HEADINGS
from harmonise.cli.topics import TOPICS, format_topic, read_topic
from harmonise.lessons.aural_sheets import EAR_DRILL
from harmonise.lessons.drills import DRILLS
from harmonise.lessons.worksheet import SheetKind
from harmonise.notation.outputs import Sheet
from harmonise.theory.arrangement import PATTERNS

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")
TUNE = re.findall(r"```text mytune.txt\n(.*?)```", README, re.DOTALL)[0]
ELSEWHERE = ("page", "mark class", "mark ada", "arrange songs", "--open")
"""What needs a browser, a viewer, or works that no one has written here."""


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path / "home"))


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def commands() -> Iterator[tuple[str, click.Command]]:
    assert isinstance(main, click.Group)
    context = click.Context(main)
    for name in main.list_commands(context):
        command = main.get_command(context, name)
        assert command
        yield name, command


def examples() -> list[str]:
    """Return every call that README and the help of commands show."""
    shown = re.findall(r"^harmonise .*", README, re.MULTILINE)
    for name, _ in commands():
        told = run(name, "--help").output.partition("For example:")[2]
        shown += [line.strip() for line in told.splitlines() if line.strip()]
    return shown


@pytest.mark.parametrize("typed", examples())
def test_a_call_that_is_shown_works(typed: str) -> None:
    words = shlex.split(typed)[1:]
    Path("mytune.txt").write_text(TUNE, "utf-8")
    if any(typed.startswith(f"harmonise {word}") for word in ELSEWHERE[:4]):
        # It is known at least: a name that no command has would end with 2.
        done = run(*words[:1], "--help")
        flags = [word for word in words if word.startswith("--")]
        assert all(flag in done.output for flag in flags)
    else:
        done = run(*(word for word in words if word != "--open"))
    assert done.exit_code == 0, done.output


def test_readme_is_short_and_has_what_it_names() -> None:
    assert len(README.encode()) <= 9 * 1024
    for name in re.findall(r"\]\((tests/[^)]*)\)", README):
        assert (ROOT / name).is_file()
    pictures = {path.name for path in (ROOT / "tests/pictures").glob("*.png")}
    assert pictures == set(re.findall(r"/(\w+\.png)\)", README))
    assert len(pictures) == 3
    for row in re.findall(r"harmonise help (\w+)", README):
        assert row in TOPICS


def test_every_option_has_one_heading_and_one_meaning_a_name() -> None:
    listed = Counter(name for names in HEADINGS.values() for name in names)
    assert set(listed.values()) == {1}
    flags: dict[str, set[str]] = {}
    for _, command in commands():
        for option in command.params:
            if isinstance(option, click.Option):
                flags.setdefault(option.opts[-1], set()).add(str(option.name))
                assert option.name in listed, option.name
    assert all(len(names) == 1 for names in flags.values())
    assert "For example:" in run("arrange", "--help").output


def first_cells(topic: str, heading: str) -> list[str]:
    """Return what the rows of a table of a subject begin with, several in a row."""
    table = read_topic(topic).partition(f"| {heading} |")[2].partition("\n\n")[0]
    cells = re.findall(r"^\| ([^|]*) \|", table, re.MULTILINE)[1:]
    return [name.strip("`") for cell in cells for name in cell.split(", ")]


@pytest.mark.parametrize(
    ("topic", "heading", "names"),
    [
        ("left-hands", "`--left-hand`", [hand.value for hand in PATTERNS]),
        ("sheets", "`--sheet`", [sheet.value for sheet in Sheet]),
        ("worksheets", "`--kind`", [kind.value for kind in SheetKind]),
        ("drills", "drill", [*(drill.name for drill in DRILLS), EAR_DRILL]),
    ],
)
def test_a_table_has_a_row_for_each(topic: str, heading: str, names: list[str]) -> None:
    assert first_cells(topic, heading) == names


def test_a_table_of_options_names_real_ones() -> None:
    flags = {
        flag
        for _, command in commands()
        for each in command.params
        for flag in each.opts
    }
    for topic in ("chords", "left-hands", "song"):
        assert set(first_cells(topic, "option")) <= flags


def test_every_command_is_told_of() -> None:
    told = "".join(map(read_topic, TOPICS)) + README
    assert all(f"harmonise {name}" in told for name, _ in commands())


@pytest.mark.parametrize("topic", TOPICS)
def test_a_subject_is_told_in_text(topic: str) -> None:
    done = run("help", topic)
    assert done.exit_code == 0
    lines = done.output.splitlines()
    assert lines[0].isupper()
    assert "`" not in done.output
    assert not any(re.match(r"\| .*\||#+ ", line) for line in lines)
    # Nothing that is told is lost on the way but signs of Markdown.
    signs = str.maketrans("", "", "`|#-·: \n\\")
    there = format_topic(read_topic(topic), 80).translate(signs).casefold()
    plain = re.sub(r"(?m)^(\|.*\n\| -.*|```.*)\n", "", f"{read_topic(topic)}\n")
    for part in re.split(r"\n|\| ", plain):
        assert part.translate(signs).casefold() in there


def test_help_lists_the_subjects() -> None:
    listed = run("help").output.splitlines()
    assert [line.split()[2] for line in listed] == list(TOPICS)
    files = (Path(harmonise.cli.__file__).parent / "help").glob("*.md")
    assert {path.stem for path in files} == set(TOPICS)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("arrange mytune.txt --voices alto", "--singers"),
        ("arrange mytune.txt --voices=alto", "--singers"),
        ("voices mytune.txt", "singers"),
        ("drill D1 --version blank", "--copies"),
        ("drill D1 --key G", "--keys"),
        ("drill D9 --pattern waltz", "--left-hand"),
        ("listen mytune.txt --bars 1-2", "--loop"),
        ("arrange mytune.txt --order title", "--tunes-by"),
        ("arrange mytune.txt --order=key", "--tunes-by"),
        ("mark mytune.txt --against mytune.txt --sheet symbols", "--kind"),
    ],
)
def test_an_old_name_works_with_a_remark(old: str, new: str) -> None:
    Path("mytune.txt").write_text(f"{TUNE}Chords: ? | ? | ? | G\n", "utf-8")
    done = run(*old.split())
    assert done.exit_code == 0, done.output
    assert f" is called {new} now" in done.stderr


def test_a_mistyped_command_or_option_is_offered_the_right_one() -> None:
    assert "Did you mean 'arrange'?" in run("arange").output
    assert "--level" in run("arrange", "t.txt", "--levle", "3").output
    assert "Did you mean 'typing'?" in run("help", "typng").output
    assert "harmonise help lists all." in run("help", "xyz").output


def shown_by_subjects() -> list[str]:
    """Return every call that a subject shows in full."""
    told = "\n".join(read_topic(name) for name in TOPICS if name != "changes")
    return re.findall(
        r"(?:^|`)(harmonise [a-z]+(?: [^`\n]+)?)(?:`|$)", told, re.MULTILINE
    )


@pytest.mark.parametrize("typed", sorted(set(shown_by_subjects())))
def test_a_call_that_a_subject_shows_is_understood(typed: str) -> None:
    name, *words = shlex.split(typed.replace("COMMAND", "arrange"))[1:]
    command = dict(commands())[name]
    needed = [each.name for each in command.params if each.required]
    # What is spoken of without its tune is understood with one.
    words += ["mytune.txt"] if needed and not words else []
    if "--help" not in words:
        command.make_context(name, words, click.Context(main))


def test_help_of_a_command_is_its_own() -> None:
    assert run("help", "drill").output == run("drill", "--help").output


def viewer(shown: list[str], status: int) -> Callable[[str], int]:
    """Return what stands for the viewer of a machine: it keeps what it is to show."""

    def show(path: str) -> int:
        shown.append(path)
        return status

    return show


@pytest.mark.parametrize(
    ("screen", "opened", "told"),
    [
        ("", True, "No program opened it: open mytune.txt yourself.\n"),
        (":0", False, "No program opened it: open mytune.txt yourself.\n"),
        (":0", True, ""),
    ],
)
def test_what_nothing_shows_is_to_be_opened_by_hand(
    screen: str, opened: bool, told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown: list[str] = []
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("DISPLAY", screen)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setattr(click, "launch", viewer(shown, 0 if opened else 1))
    done = run("new", "--open")
    assert (done.exit_code, done.stderr) == (0, told)
    assert shown == ["mytune.txt"] * bool(screen)


def test_a_slip_is_shown_too(monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[str] = []
    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setattr(click, "launch", viewer(shown, 0))
    Path("mytune.txt").write_text(f"{TUNE}Chords: ? | ? | ? | G\n", "utf-8")
    asked = ("mark", "mytune.txt", "--against", "mytune.txt", "--kind", "symbols")
    run(*asked, "-o", "slip.txt", "--open")
    assert shown == ["slip.txt"]
    assert "--open has no effect without --output." in run(*asked, "--open").output


@pytest.mark.parametrize(
    ("name", "file", "title"),
    [
        ("The Old Mill", "the_old_mill.txt", "The Old Mill"),
        ("mytune", "mytune.txt", "My Tune"),
        ("Quiet Water.txt", "Quiet Water.txt", "Quiet Water"),
        ("???", "mytune.txt", "???"),
    ],
)
def test_new_writes_a_tune_that_can_be_arranged(
    name: str, file: str, title: str
) -> None:
    assert run("new", name).output == f"Written: {file}\n"
    done = run("arrange", file)
    assert done.output.startswith(f"{title}\n4 bars of 4/4, C major")
    # A beginner's first page is without reproach.
    assert done.output.count("\n\n") == 2, done.output
    before = Path(file).read_bytes()
    again = run("new", name)
    assert again.exit_code == 1
    assert "is there already, and stays as it is" in again.output
    assert Path(file).read_bytes() == before
