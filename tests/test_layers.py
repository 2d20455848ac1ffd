import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import harmonise

ROOT = Path(harmonise.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))
FACES = (
    "harmonise.cli",
    "harmonise.cli_arrange",
    "harmonise.cli_book",
    "harmonise.cli_choosing",
    "harmonise.cli_drill",
    "harmonise.cli_form",
    "harmonise.cli_listen",
    "harmonise.cli_mark",
    "harmonise.cli_mark_task",
    "harmonise.cli_page",
    "harmonise.cli_paper",
    "harmonise.cli_voices",
    "harmonise.cli_worksheet",
    "harmonise.__main__",
    "harmonise.page",
)
NOTATION_LIBRARIES = {"music21", "verovio", "typst", "mido", "lxml", "musicxml"}
ALLOWED = {
    "errors": (),
    "theory": ("harmonise.errors", "harmonise.theory"),
    "choice": ("harmonise.errors", "harmonise.theory", "harmonise.choice"),
    "notation": ("harmonise.errors", "harmonise.theory", "harmonise.notation"),
}
"""What each room may import of our own; the arrows of the developers' guide."""
THIRD_PARTY = {"errors": set[str](), "theory": set[str](), "choice": {"numpy"}}
"""Libraries that a room may import besides the standard one."""


def imported(source: str, package: str) -> Iterator[str]:
    """Yield the full names of all modules and names that a source text imports.

    Imports inside functions and under `if TYPE_CHECKING` count too.
    """
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            parents = package.split(".")[: -node.level or None] if node.level else []
            base = ".".join([*parents, *filter(None, [node.module])])
            yield from (f"{base}.{alias.name}" for alias in node.names)


def name_of(path: Path) -> str:
    """Return the dotted name of a module of ours."""
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts).removesuffix(".__init__")


def room_of(path: Path) -> str:
    """Return the room that a module stands in: theory, choice, notation, errors, ..."""
    return path.relative_to(ROOT).with_suffix("").parts[0]


def imports_of(path: Path) -> list[str]:
    return list(imported(path.read_text(encoding="utf-8"), name_of(path)))


def is_inside(name: str, prefixes: tuple[str, ...]) -> bool:
    return any(name == p or name.startswith(f"{p}.") for p in prefixes)


def in_room(*rooms: str) -> list[object]:
    found = [path for path in MODULES if room_of(path) in rooms]
    return [pytest.param(path, id=name_of(path)) for path in found]


def everywhere() -> list[object]:
    return [pytest.param(path, id=name_of(path)) for path in MODULES]


@pytest.mark.parametrize("path", in_room(*ALLOWED))
def test_a_room_imports_only_from_the_rooms_below_it(path: Path) -> None:
    own = [name for name in imports_of(path) if is_inside(name, ("harmonise",))]
    strangers = [name for name in own if not is_inside(name, ALLOWED[room_of(path)])]
    assert strangers == []


@pytest.mark.parametrize("path", in_room(*THIRD_PARTY))
def test_theory_is_pure_and_choice_needs_numpy_alone(path: Path) -> None:
    tops = {name.partition(".")[0] for name in imports_of(path)}
    foreign = tops - sys.stdlib_module_names - {"harmonise"}
    assert foreign <= THIRD_PARTY[room_of(path)]


@pytest.mark.parametrize("path", everywhere())
def test_notation_libraries_appear_in_the_notation_room_alone(path: Path) -> None:
    tops = {name.partition(".")[0] for name in imports_of(path)}
    assert room_of(path) == "notation" or not tops & NOTATION_LIBRARIES


@pytest.mark.parametrize("path", everywhere())
def test_nothing_imports_a_face_but_a_face(path: Path) -> None:
    if is_inside(name_of(path), FACES):
        return
    assert [name for name in imports_of(path) if is_inside(name, FACES)] == []


def test_every_room_was_looked_into() -> None:
    rooms = {room_of(path) for path in MODULES}
    assert set(ALLOWED) < rooms
    assert {"cli", "__main__"} < rooms
    assert len(MODULES) > 40


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("import music21.key as k", ["music21.key"]),
        ("def f():\n    from harmonise import cli", ["harmonise.cli"]),
        ("from harmonise.choice import path, grid", [
            "harmonise.choice.path", "harmonise.choice.grid"
        ]),
        ("from . import chord", ["harmonise.theory.chord"]),
        ("from ..choice.path import cheapest_path", [
            "harmonise.choice.path.cheapest_path"
        ]),
        ("if TYPE_CHECKING:\n    import numpy", ["numpy"]),
        ("x = 'import numpy'", []),
    ],
)  # fmt: skip
def test_no_way_of_importing_escapes_the_watch(source: str, names: list[str]) -> None:
    assert list(imported(source, "harmonise.theory.key")) == names


@pytest.mark.parametrize(
    "module", ["harmonise", "harmonise.cli", "harmonise.arranging"]
)
def test_the_notation_libraries_are_not_loaded_until_they_are_needed(
    module: str,
) -> None:
    heavy = sorted(NOTATION_LIBRARIES | {"rich"})
    code = f"import sys, {module}; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run(  # noqa: S603 (our own interpreter and code)
        [sys.executable, "-c", code],
        cwd=ROOT.parent,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.stdout.strip(), done.stderr) == ("[]", "")


def test_theory_needs_nothing_installed() -> None:
    # An interpreter without site-packages imports all of it.
    names = [name_of(path) for path in MODULES if room_of(path) == "theory"]
    code = "import " + ", ".join(names)
    done = subprocess.run(  # noqa: S603 (our own interpreter and code)
        [sys.executable, "-S", "-c", f"import sys; sys.path[:0] = ['.']; {code}"],
        cwd=ROOT.parent,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
