"""In which keys a drill goes: major and minor ones."""

from collections.abc import Sequence

from harmonise.errors import NotationError
from harmonise.theory.key import Key, Mode
from harmonise.theory.key_orders import KeyOrder, keys_of, named_keys


def all_keys(
    order: KeyOrder = KeyOrder.FIFTHS, *, minor: bool = False, flat: bool = False
) -> tuple[Key, ...]:
    """Return the twelve major or minor keys in an order, from C major or A minor.

    Args:
        order: The order.
        minor: Whether they are minor.
        flat: Whether Gb major stands for F# major.
    """
    return keys_of(Mode.MINOR if minor else Mode.MAJOR, order, flat=flat)


def parse_keys(
    texts: Sequence[str],
    order: KeyOrder = KeyOrder.FIFTHS,
    *,
    minor: bool = False,
    flat: bool = False,
) -> tuple[Key, ...]:
    """Return the keys of a list that somebody typed, as `named_keys` reads it.

    Raises:
        NotationError: If a name is none, or is neither major nor minor.
    """
    mode = Mode.MINOR if minor else Mode.MAJOR
    found = named_keys(texts, order, mode=mode, flat=flat)
    for key in found:
        if key.mode not in (Mode.MAJOR, Mode.MINOR):
            raise NotationError(
                f"Drills go in major and minor keys, and {key} is neither.",
                None,
                f"Write {key.tonic} or {key.tonic} minor.",
            )
    return found
