"""A code to scan, read by the steps of ISO/IEC 18004, which share nothing with segno.

Positions and masks are those of the standard, sections 7.3 to 7.9, from memory. Nothing
is mended: a module that is wrong makes another text.
"""

from collections.abc import Callable, Iterator, Sequence

Rows = Sequence[str]
_MASKS: tuple[Callable[[int, int], int], ...] = (
    lambda y, x: (y + x) % 2,
    lambda y, _: y % 2,
    lambda _, x: x % 3,
    lambda y, x: (y + x) % 3,
    lambda y, x: (y // 2 + x // 3) % 2,
    lambda y, x: y * x % 2 + y * x % 3,
    lambda y, x: (y * x % 2 + y * x % 3) % 2,
    lambda y, x: ((y + x) % 2 + y * x % 3) % 2,
)
_TIMING = 6
"""The row and the column of single modules by which a scanner counts."""
_BLOCKS_OF_TWO = {(33, 0): 64, (37, 0): 86}
"""Bytes of text in codes of two blocks, by size and level; 0 is level M (table 9)."""
_BYTES = "0100"
"""How a text begins that is told byte by byte."""


def read_code(rows: Rows) -> str:
    """Return the text of a code of version 2 to 5, of the two lower levels.

    Args:
        rows: Its modules without the margin, 1 for a dark one.
    """
    size = len(rows)
    assert {len(row) for row in rows} == {size}
    assert size in range(25, 38, 4)
    # Behind two bits for the level, three tell the mask; all five are masked.
    mask = _MASKS[int(rows[8][2:5], 2) ^ 0b101]
    bits = "".join(str(int(rows[y][x]) ^ (not mask(y, x))) for y, x in _way(size))
    level = int(rows[8][:2], 2) ^ 0b10
    if (size, level) in _BLOCKS_OF_TWO:
        # The bytes of two blocks go by turns.
        total = 8 * _BLOCKS_OF_TWO[size, level]
        words = [bits[at : at + 8] for at in range(0, total, 8)]
        bits = "".join(words[::2] + words[1::2])
    assert bits[:4] == _BYTES
    count = int(bits[4:12], 2)
    starts = range(12, 12 + 8 * count, 8)
    return bytes(int(bits[at : at + 8], 2) for at in starts).decode()


def _way(size: int) -> Iterator[tuple[int, int]]:
    """Yield the places of the bits: up and down in columns of two, from the right."""
    columns = [*range(size - 1, _TIMING, -2), *range(_TIMING - 1, 0, -2)]
    for turn, right in enumerate(columns):
        for step in range(size):
            y = step if turn % 2 else size - 1 - step
            yield from (
                (y, x) for x in (right, right - 1) if not _is_pattern(y, x, size)
            )


def _is_pattern(y: int, x: int, size: int) -> bool:
    """Whether a module is of the corners, the counting lines or the small ring."""
    corner = (y < 9 and (x < 9 or x >= size - 8)) or (y >= size - 8 and x < 9)
    ring = abs(y - (size - 7)) <= 2 and abs(x - (size - 7)) <= 2
    return corner or ring or _TIMING in (y, x)
