"""JSON objects with every field checked: what is wrong is told in a sentence."""

import base64
import binascii
import re
from fractions import Fraction

LONGEST_WORD = 200
"""Most letters of a short text, such as a key or a chord."""
_MOST_NAMES = 40
_SPEEDS = (0.1, 4.0)
_TIME = re.compile(r"([0-9]{1,7})(?:/([1-9][0-9]{0,4}))?\Z")
_FINEST = 10080
"""Times are multiples of a crotchet's 10,080th part, as all writers have them."""
_BARS = re.compile(r"([0-9]{1,6})(?:[-–]([0-9]{1,6}))?\Z")


class MalformedError(Exception):
    """A request that is not of the described shape; its text is a whole sentence."""


class Fields:
    """The fields of a JSON object, each taken once; what is left over is refused."""

    def __init__(self, value: object, name: str, allowed: str) -> None:
        """Check that a value is an object with no strange field.

        Args:
            value: The value.
            name: What sentences call it.
            allowed: Names of its fields, with spaces between.

        Raises:
            MalformedError: If it is not.
        """
        if not isinstance(value, dict):
            raise MalformedError(f"{_capital(name)} has to be a JSON object.")
        strange = sorted(set(value) - set(allowed.split()))
        if strange:
            shown = strange[0][:LONGEST_WORD]
            sentence = f'{_capital(name)} has a field "{shown}", which is not known.'
            raise MalformedError(sentence)
        self._value: dict[str, object] = value
        self._name = name

    def __contains__(self, key: str) -> bool:
        return key in self._value

    def _fault(self, key: str, wanted: str) -> MalformedError:
        return MalformedError(f'"{key}" in {self._name} has to be {wanted}.')

    def raw(self, key: str) -> object:
        """Return a field that is a JSON object; {} where it is missing."""
        return self._value.get(key, {})

    def whole_text(self, key: str) -> str:
        """Return a text of any length; it must be there."""
        value = self._value.get(key)
        if not isinstance(value, str):
            raise self._fault(key, "a text")
        return value

    def text(self, key: str, usual: str | None = "") -> str:
        """Return a short text; with no usual one it must be there."""
        value = self._value.get(key, usual)
        if not isinstance(value, str) or len(value) > LONGEST_WORD:
            raise self._fault(key, f"a text of at most {LONGEST_WORD} letters")
        return value

    def choice(self, key: str, among: tuple[str, ...], usual: str | None) -> str:
        """Return one of several words."""
        value = self.text(key, usual)
        if value not in among:
            words = ", ".join(f'"{word}"' for word in among)
            raise self._fault(key, f"one of {words}")
        return value

    def flag(self, key: str, *, usual: bool = False) -> bool:
        """Return a truth value."""
        value = self._value.get(key, usual)
        if not isinstance(value, bool):
            raise self._fault(key, "true or false")
        return value

    def whole(self, key: str, most: int, usual: int = 0, least: int = 0) -> int:
        """Return a whole number."""
        value = self._value.get(key, usual)
        fits = isinstance(value, int) and not isinstance(value, bool)
        if not fits or not isinstance(value, int) or not least <= value <= most:
            raise self._fault(key, f"a whole number from {least} to {most}")
        return value

    def speed(self, key: str) -> Fraction:
        """Return a factor on the tempo."""
        value = self._value.get(key, 1.0)
        low, high = _SPEEDS
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if not is_number or not isinstance(value, int | float):
            raise self._fault(key, "a number")
        if not low <= value <= high:
            raise self._fault(key, f"a number from {low} to {high}")
        return Fraction(value).limit_denominator(1000)

    def many(self, key: str, most: int) -> list[object]:
        """Return a list."""
        value = self._value.get(key, [])
        if not isinstance(value, list) or len(value) > most:
            raise self._fault(key, f"a list of at most {most}")
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of short texts."""
        found = self.many(key, _MOST_NAMES)
        if not all(isinstance(one, str) and len(one) <= LONGEST_WORD for one in found):
            raise self._fault(key, f"a list of texts of at most {LONGEST_WORD} letters")
        return tuple(str(one) for one in found)

    def time(self, key: str) -> Fraction:
        """Return crotchets from the start."""
        found = _TIME.match(self.text(key, None))
        part = int(found[2] or 1) if found else 0
        if not found or _FINEST % part:
            raise self._fault(key, 'a time in crotchets such as "7/2"')
        return Fraction(int(found[1]), part)

    def content(self, key: str) -> bytes:
        """Return what a text in base64 holds."""
        try:
            return base64.b64decode(self.whole_text(key), validate=True)
        except (binascii.Error, ValueError):
            raise self._fault(key, "base64") from None

    def bars(self, key: str) -> tuple[int, int] | None:
        """Return the numbers of a first and a last bar; None for an empty text."""
        value = self.text(key)
        found = _BARS.match(value)
        if found:
            return int(found[1]), int(found[2] or found[1])
        if value:
            raise self._fault(key, 'bars such as "5-8"')
        return None


def _capital(name: str) -> str:
    return f"{name[0].upper()}{name[1:]}"
