"""Element trees as indented text.

ElementTree's own `tostring` takes five times as long as all the rest of writing a
score, because it allows for namespaces at every tag; scores have none.
"""

import re
from collections.abc import Callable
from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement

_SPECIAL = re.compile(r'[&<>"]')
_ENTITIES = {"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;"}


def add(parent: Element, tag: str, text: str = "", **attributes: str) -> Element:
    """Append an element with text and attributes to its parent and return it."""
    element = SubElement(parent, tag, attributes)
    if text:
        element.text = text
    return element


@lru_cache(maxsize=4096)
def leaf(tag: str, text: str = "") -> Element:
    """Return an element with text that many parents share; it must not be changed.

    Most elements of a score are such leaves, and making each once takes a third off
    the time of writing it.
    """
    element = Element(tag)
    element.text = text or None
    return element


def format_tree(root: Element) -> str:
    """Return an element tree as text, one element a line.

    Args:
        root: Elements carry either text or children, and no tails.
    """
    lines = [_start_tag(root) + ">"]
    _write_children(root, "  ", lines.append)
    lines.append(f"</{root.tag}>\n")
    return "\n".join(lines)


def _write_children(parent: Element, indent: str, write: Callable[[str], None]) -> None:
    for child in parent:
        start = indent + _start_tag(child)
        text = child.text
        if text:
            text = text if text.isalnum() else escape(text)
            write(f"{start}>{text}</{child.tag}>")
        elif len(child):
            write(f"{start}>")
            _write_children(child, f"{indent}  ", write)
            write(f"{indent}</{child.tag}>")
        else:
            write(f"{start}/>")


def _start_tag(element: Element) -> str:
    start = f"<{element.tag}"
    for name, value in element.items():
        start += f' {name}="{value if value.isalnum() else escape(value)}"'
    return start


def escape(text: str) -> str:
    """Return text with the signs that XML gives a meaning spelled out.

    >>> escape('the <"Ash" & "Oak">')
    'the &lt;&quot;Ash&quot; &amp; &quot;Oak&quot;&gt;'
    """
    return _SPECIAL.sub(lambda found: _ENTITIES[found.group()], text)
