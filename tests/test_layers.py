"""The house: which room may import from which, no circle, no name for two things."""

import ast
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path

import networkx as nx
import pytest

import harmonise

ROOT = Path(harmonise.__file__).parent
MODULES = sorted(ROOT.rglob("*.py"))
NOTATION_LIBRARIES = {"music21", "verovio", "typst", "mido", "lxml", "musicxml"}
FACES = ("cli", "page", "__main__")
_VALUES = ("errors", "theory")
_ENGINE = (*_VALUES, "left_hand", "rules", "choice")
_JOBS = (*_ENGINE, "notation", "form", "arranging")
ALLOWED: Mapping[str, tuple[str, ...]] = {
    "errors": (),
    "theory": ("errors",),
    "left_hand": _VALUES,
    "rules": (*_VALUES, "left_hand"),
    "choice": (*_VALUES, "rules", "left_hand"),
    "notation": (*_VALUES, "left_hand", "rules"),
    "form": (*_VALUES, "rules"),
    "arranging": (*_ENGINE, "notation", "form"),
    "lessons": _JOBS,
    "marking": (*_JOBS, "lessons"),
    "page": (*_JOBS, "lessons", "marking"),
    "cli": (*_JOBS, "lessons", "marking", "page"),
    "__init__": (*_VALUES, "notation", "arranging"),
    "__main__": ("cli", "errors"),
}
"""What each room may import besides itself; the arrows of the developers' guide."""
THIRD_PARTY = {
    "errors": set[str](),
    "theory": set[str](),
    "rules": set[str](),
    "left_hand": set[str](),
    "choice": {"numpy"},
}
"""Libraries that a room may import besides the standard one."""


def name_of(path: Path) -> str:
    """Return the dotted name of a module of ours."""
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(parts).removesuffix(".__init__")


def room_of(path: Path) -> str:
    """Return the room that a module stands in: theory, choice, notation, errors, ..."""
    return path.relative_to(ROOT).with_suffix("").parts[0]


NAMES = {name_of(path): path for path in MODULES}


def imported(source: str, package: str) -> Iterator[str]:
    """Yield the full names of all modules and names that a source text imports.

    Imports inside functions and under `if TYPE_CHECKING` count too, and so does the
    name of a module of ours in a text, for it is loaded by that name later.
    """
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            parents = package.split(".")[: -node.level or None] if node.level else []
            base = ".".join([*parents, *filter(None, [node.module])])
            yield from (f"{base}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            # A bare word such as "page" is too common to be a module's name.
            full = {node.value, f"{package.rpartition('.')[0]}.{node.value}"}
            yield from NAMES.keys() & full if "." in node.value else ()


@cache
def imports_of(path: Path) -> tuple[str, ...]:
    return tuple(imported(path.read_text(encoding="utf-8"), name_of(path)))


def module_named(name: str) -> str | None:
    """Return the module of ours that an imported name is, or is part of."""
    while name:
        if name in NAMES:
            return name
        name = name.rpartition(".")[0]
    return None


@cache
def arrows() -> tuple[tuple[str, str], ...]:
    """Return who imports whom, module by module."""
    pairs = ((name_of(path), name) for path in MODULES for name in imports_of(path))
    found = ((one, module_named(name)) for one, name in pairs)
    return tuple((one, two) for one, two in found if two and one != two)


def circles(pairs: Sequence[tuple[str, str]]) -> list[list[str]]:
    parts = nx.strongly_connected_components(nx.DiGraph(pairs))
    return sorted(sorted(part) for part in parts if len(part) > 1)


def room_arrows(folder: str) -> list[tuple[str, str]]:
    """Return who imports whom among the files and rooms right inside a folder."""
    inside = f"{folder}."
    pairs = set()
    for a, b in arrows():
        if a.startswith(inside) and b.startswith(inside):
            one, two = (name[len(inside) :].partition(".")[0] for name in (a, b))
            if one != two:
                pairs.add((one, two))
    return sorted(pairs)


def test_a_room_imports_only_from_the_rooms_below_it() -> None:
    wrong = []
    for one, two in arrows():
        room, other = room_of(NAMES[one]), room_of(NAMES[two])
        # Every room may ask the package for its version; nothing else stands there.
        if other not in {room, "__init__", *ALLOWED[room]}:
            wrong.append((one, two))
    assert wrong == []


def test_theory_is_pure_choice_needs_numpy_and_notation_alone_its_libraries() -> None:
    wrong = []
    for path in MODULES:
        room = room_of(path)
        tops = {name.partition(".")[0] for name in imports_of(path)}
        if room in THIRD_PARTY:
            known = {*sys.stdlib_module_names, "harmonise", *THIRD_PARTY[room]}
            wrong += [(name_of(path), top) for top in tops - known]
        elif room != "notation":
            wrong += [(name_of(path), top) for top in tops & NOTATION_LIBRARIES]
    assert wrong == []


def test_no_module_imports_itself_by_a_detour() -> None:
    assert circles(arrows()) == []


def test_no_room_imports_itself_by_a_detour() -> None:
    folders = sorted({name_of(path.parent) for path in MODULES} | {"harmonise"})
    found = {folder: circles(room_arrows(folder)) for folder in folders}
    assert {folder: own for folder, own in found.items() if own} == {}


def test_no_class_name_stands_for_two_things() -> None:
    names = Counter(
        node.name
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.ClassDef)
    )
    assert [name for name, count in names.items() if count > 1] == []


def test_every_room_was_looked_into() -> None:
    assert {room_of(path) for path in MODULES} == set(ALLOWED)
    seen: Counter[str] = Counter()
    for one, _ in arrows():
        seen[room_of(NAMES[one])] += 1
    assert len(MODULES) > 100
    assert min(seen[room] for room in ("theory", "choice", "notation", "cli")) > 10


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
        ("x = 'harmonise.cli'", ["harmonise.cli"]),
        ("x = 'harmonise'", []),
    ],
)  # fmt: skip
def test_no_way_of_importing_escapes_the_watch(source: str, names: list[str]) -> None:
    assert list(imported(source, "harmonise.theory.key")) == names


@pytest.mark.parametrize(
    "module", ["harmonise", "harmonise.cli", "harmonise.arranging.job"]
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
    names = [name_of(path) for path in MODULES if room_of(path) in ("theory", "rules")]
    code = "import " + ", ".join(names)
    done = subprocess.run(  # noqa: S603 (our own interpreter and code)
        [sys.executable, "-S", "-c", f"import sys; sys.path[:0] = ['.']; {code}"],
        cwd=ROOT.parent,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
