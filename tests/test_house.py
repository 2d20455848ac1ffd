"""One question, one answerer: what no second place of the house may do."""

import ast
import io
import re
import tokenize
from collections.abc import Sequence
from pathlib import Path

import pytest
from test_layers import MODULES, ROOT, name_of

SCRIPTS = sorted((ROOT / "page" / "files").glob("*.js"))


def nodes(path: Path) -> list[ast.AST]:
    return list(ast.walk(ast.parse(path.read_text("utf-8"))))


def counted_members(tree: Sequence[ast.AST]) -> list[str]:
    """Return where members of a chord are taken by their number, or cut by it."""
    names = {
        target.id
        for node in tree
        if isinstance(node, ast.Assign) and _is_members(node.value, set())
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    taken = [
        node
        for node in tree
        if isinstance(node, ast.Subscript) and _is_members(node.value, names)
    ]
    spread = [
        node
        for node in tree
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Tuple)
        and _is_members(node.value, names)
    ]
    return [ast.unparse(node) for node in (*taken, *spread)]


def _is_members(node: ast.expr, names: set[str]) -> bool:
    """Whether an expression is a chord's members, or a name that was given to them."""
    named = isinstance(node, ast.Name) and node.id in names
    return named or (isinstance(node, ast.Attribute) and node.attr == "members")


def test_members_of_a_chord_are_found_by_name() -> None:
    # The second member of Csus4 is its fourth, and C5 has no third one at all.
    found = {name_of(path): counted_members(nodes(path)) for path in MODULES}
    assert found.pop("harmonise.theory.chord")
    assert {name: places for name, places in found.items() if places} == {}


@pytest.mark.parametrize(
    "source",
    [
        "fifth = chord.members[2]",
        "upper = chord.members[1:]",
        "names = chord.members\nthird = names[1]",
        "root, third, *_ = chord.members",
    ],
)
def test_no_way_of_counting_members_escapes_the_watch(source: str) -> None:
    assert len(counted_members(list(ast.walk(ast.parse(source))))) == 1
    by_name = ast.parse("third = chord.member(Member.THIRD)")
    assert counted_members(list(ast.walk(by_name))) == []


def test_a_score_is_read_by_its_reader_alone() -> None:
    """What stands on a page is a value, the plan; its finished text is never parsed."""
    parsing = {"fromstring", "fromstringlist", "parse", "iterparse", "XML", "XMLParser"}
    readers = {
        name_of(path)
        for path in MODULES
        for node in nodes(path)
        if isinstance(node, ast.Attribute)
        and node.attr in parsing
        and isinstance(node.value, ast.Name)
        and node.value.id in ("ET", "ElementTree", "etree", "minidom")
    }
    assert readers == {"harmonise.notation.musicxml.elements"}


WRITERS = {"format_musicxml", "format_lead_sheet", "format_plan"}


def test_nobody_changes_the_text_of_a_score_that_is_written() -> None:
    changed = [
        (name_of(path), ast.unparse(node))
        for path in MODULES
        for node in nodes(path)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in ("replace", "split", "partition", "splitlines", "sub")
        and any(
            isinstance(own, ast.Name) and own.id in WRITERS for own in ast.walk(node)
        )
    ]
    assert changed == []


def test_nothing_typed_is_checked_by_making_it_a_text_first() -> None:
    texts = [
        (name_of(path), ast.unparse(node))
        for path in MODULES
        for node in nodes(path)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in ("int", "float")
        and any(
            isinstance(given, ast.Call)
            and isinstance(given.func, ast.Name)
            and given.func.id == "str"
            for given in node.args
        )
    ]
    assert texts == []


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.stem)
def test_the_pages_scripts_read_and_move_no_notes(path: Path) -> None:
    """The engine answers questions about text, and moves what is locked."""
    script = path.read_text("utf-8")
    assert not re.search(r"\[\^?[a-gA-G]-[a-gA-G]", script)
    # Letters in a row of a scale or of the fifths: a reader of notes, or a transposer.
    assert not re.search(r"CDEFGAB|FCGDAEB|C D E F G A B|F C G D A E B", script)
    assert not re.search(r"\b(fifths|sharps|flats)\b", script)


ROOMS_OF_ARRAYS = ("choice",)
FORMATS = ("abc", "midi", "musicxml", "solfa", "spoken", "tune_text")


@pytest.mark.parametrize(
    "room", [*ROOMS_OF_ARRAYS, *(f"notation/{name}" for name in FORMATS)]
)
def test_rooms_of_arrays_and_formats_say_why(room: str) -> None:
    lines = comments = 0
    for path in (ROOT / room).rglob("*.py"):
        for token in tokenize.generate_tokens(io.StringIO(path.read_text()).readline):
            lines += token.type == tokenize.NEWLINE
            words = token.type == tokenize.COMMENT and token.string
            comments += bool(words) and not str(words).startswith("# noqa")
    assert comments >= 3 * lines / 100


def test_there_are_scripts_and_modules_to_look_into() -> None:
    assert len(SCRIPTS) > 10
    assert len(MODULES) > 100
