"""Which parts of a file a name means, and the refusal of names that mean none."""

from collections.abc import Sequence
from typing import NamedTuple, NoReturn

from harmonise.errors import NotationError

_LISTED = 16
"""So many parts are named in a refusal."""


class PartName(NamedTuple):
    """A part of a file from which the tune can be taken.

    Attributes:
        value: The word by which it is asked for.
        title: What it is called.
    """

    value: str
    title: str


def find_parts(wanted: str, names: Sequence[str]) -> tuple[int, ...]:
    """Return the numbers, from 0, of the parts that are called so, in any case.

    >>> find_parts("second  VIOLIN", ["Violin", "Second Violin"])
    (1,)

    Args:
        wanted: What the user calls the part.
        names: Names of all parts, as they are shown.

    Raises:
        NotationError: If no part is called so; the parts are listed.
    """
    name = " ".join(wanted.split())
    numbers = tuple(
        number
        for number, other in enumerate(names)
        if other.casefold() == name.casefold()
    )
    if numbers:
        return numbers
    listed = ", ".join(f'"{other}"' for other in names[:_LISTED])
    more = f" and {len(names) - _LISTED} more" if len(names) > _LISTED else ""
    what = f'No part is called "{name}".'
    raise NotationError(what, None, f"The file has {listed}{more}.")


def find_part(wanted: str, idents: Sequence[str], names: Sequence[str]) -> int:
    """Return the number, from 0, of the one part that a user means.

    Args:
        wanted: Its id or its name.
        idents: Ids of all parts, each another.
        names: Names of all parts, as they are shown.

    Raises:
        NotationError: If no part, or more than one, is called so.
    """
    if wanted in idents:
        return idents.index(wanted)
    numbers = find_parts(wanted, names)
    if len(numbers) > 1:
        alike = " and ".join(idents[number] for number in numbers)
        what = f'{len(numbers)} parts are called "{wanted}".'
        raise NotationError(what, None, f"Name one by its id: {alike}.")
    return numbers[0]


def refuse_names(wanted: str) -> NoReturn:
    """Refuse the name of a part in a tune that has but one, which has no name.

    Raises:
        NotationError: Always.
    """
    name = " ".join(wanted.split())
    what = f'No part is called "{name}".'
    raise NotationError(what, None, "The tune has one part without a name; name none.")
