"""Which part of a score holds the tune, and what the title page says."""

from typing import NamedTuple

from harmonise.errors import MelodyError, NotationError
from harmonise.notation.reading.musicxml.remarks import Code, Remarks
from harmonise.notation.reading.musicxml.tree import Element, text, words


class Part(NamedTuple):
    """One part of a score.

    Attributes:
        name: As printed before its first staff; "" if it has none.
        ident: Its id in the file.
        element: Its measures.
    """

    name: str
    ident: str
    element: Element

    def __str__(self) -> str:
        """Return the name, or the id of a nameless part."""
        return self.name or self.ident or "without a name"


def list_parts(score: Element) -> tuple[Part, ...]:
    """Return the parts of a score in its own order, named by its part list.

    Raises:
        NotationError: If there is none.
    """
    names = {
        entry.get("id", ""): words(entry.findtext("part-name"))
        for entry in score.iterfind("part-list/score-part")
    }
    parts = []
    for element in score.iterfind("part"):
        ident = element.get("id", "")
        parts.append(Part(names.get(ident, ""), ident, element))
    if not parts:
        raise NotationError(
            "The file has no part with music in it.", None, "Export it again."
        )
    return tuple(parts)


def choose_part(parts: tuple[Part, ...], wanted: str, remarks: Remarks) -> Part:
    """Return the part that was asked for, or else the first that has pitches.

    Args:
        parts: All parts, never empty.
        wanted: Name or id; "" for the first.
        remarks: Told when there was a choice.

    Raises:
        NotationError: If no part, or more than one, is called so.
        MelodyError: If no part has a note with a pitch.
    """
    if wanted.strip():
        return _named(parts, words(wanted))
    singing = [part for part in parts if _has_pitch(part)]
    if not singing:
        raise MelodyError(_no_pitch(parts), None, "Add the notes of the tune.")
    if len(parts) > 1:
        remarks.add(
            Code.PART,
            f'the file has {len(parts)} parts; the tune was taken from "{singing[0]}"'
            + (", the first that has notes." if singing[0] != parts[0] else "."),
            None,
            "Name another part if the tune is there.",
        )
    return singing[0]


def _named(parts: tuple[Part, ...], wanted: str) -> Part:
    for part in parts:
        if part.ident == wanted:
            return part
    found = [part for part in parts if part.name.casefold() == wanted.casefold()]
    if len(found) == 1:
        return found[0]
    if found:
        idents = " and ".join(part.ident for part in found)
        raise NotationError(
            f'{len(found)} parts are called "{wanted}".',
            None,
            f"Name one by its id: {idents}.",
        )
    names = ", ".join(f'"{part}"' for part in parts[:12])
    raise NotationError(
        f'No part is called "{wanted}".', None, f"The file has {names}."
    )


def _has_pitch(part: Part) -> bool:
    return part.element.find("measure/note/pitch") is not None


def _no_pitch(parts: tuple[Part, ...]) -> str:
    measures = max(len(part.element.findall("measure")) for part in parts)
    where = "its 1 bar" if measures == 1 else f"its {measures} bars"
    whose = "The file" if len(parts) == 1 else f"Each of the file's {len(parts)} parts"
    drums = any(
        part.element.find("measure/note/unpitched") is not None for part in parts
    )
    held = "rests and notes without pitch only" if drums else "rests only"
    return f"{whose} holds {held} in {where}: there is no tune."


def read_title(score: Element) -> str:
    """Return the title: work and movement, or the credit that is marked as title."""
    work = words(score.findtext("work/work-title"))
    movement = words(score.findtext("movement-title"))
    if work and movement and work != movement:
        return f"{work}: {movement}"
    return work or movement or _credit_title(score)


def _credit_title(score: Element) -> str:
    for credit in score.iterfind("credit"):
        kinds = [text(kind, ".") for kind in credit.iterfind("credit-type")]
        if "title" in kinds:
            return words(credit.findtext("credit-words"))
    return ""


def read_origin(score: Element) -> str:
    """Return who made the tune and where it was found, as the file tells it."""
    said: list[str] = []
    for creator in score.iterfind("identification/creator"):
        name, role = words(creator.text), words(creator.get("type"))
        if name:
            said.append(f"{role}: {name}" if role else name)
    for kind in ("source", "rights"):
        found = score.iterfind(f"identification/{kind}")
        said += [f"{kind}: {words(e.text)}" for e in found if words(e.text)]
    return "; ".join(said)
