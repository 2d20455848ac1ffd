"""Which task a work that came back was given out as, by what its file says of itself.

Tasks are made once and used for every work that says the same. The tune of a worksheet
is looked for in the work's file, in the files that came back with it, and in those that
the teacher names.
"""

from collections.abc import Iterable
from typing import NamedTuple

from harmonise.errors import HarmoniseError, NotationError
from harmonise.lessons.aural_sheets import EAR_DRILL
from harmonise.lessons.given_again import (
    ear_drill_again,
    exercises_again,
    sheet_again,
    tune_for,
)
from harmonise.lessons.identity import FoundIdentity, TaskIdentity, find_identity
from harmonise.lessons.worksheet import Worksheet
from harmonise.marking.task import Points, Task
from harmonise.marking.tasks import task_of_exercises, task_of_whole_sheet
from harmonise.notation.formats import assert_notation
from harmonise.theory.tune import Tune


class GivenOut(NamedTuple):
    """What pupils were asked for.

    Attributes:
        task: What is marked; None for a list of faults or of answers.
        sheet: The worksheet; None for a tune or a drill.
    """

    task: Task | None
    sheet: Worksheet | None = None

    @property
    def name(self) -> str:
        """What the register calls it; versions of one sheet are one task."""
        if self.sheet:
            tune, order = self.sheet.tune, self.sheet.order
            if self.sheet.drill:
                return f"{tune.title}, sheet {order.seed}"
            number = f"{order.kind.code}-{order.seed} {order.kind.value}"
            return f"{tune.title}: {number}" if tune.title else number
        return self.task.title if self.task else ""


def identity_of_work(data: bytes) -> FoundIdentity | None:
    """Return what a work says of itself; None for nothing, and for what is no work."""
    try:
        return find_identity(data)
    except HarmoniseError:
        return None


class TaskShelf:
    """The tasks that works say they are, each made once.

    Where the teacher says what was asked, that holds for all works but those that say
    that they are a worksheet of the very tune that the teacher named.
    """

    def __init__(
        self, points: Points, asked: GivenOut | None = None, tune: Tune | None = None
    ) -> None:
        """Keep what every work is taken for.

        Args:
            points: What chords are worth.
            asked: What the teacher says; None leaves it to the works.
            tune: The tune that the teacher named; None for none.
        """
        self._points, self._asked = points, asked
        self._tunes = [tune] if tune else []
        self._made: dict[str, GivenOut] = {}

    def add_works(self, works: Iterable[bytes]) -> None:
        """Make the tasks that works say they are.

        What one file has lost of the tune another one may have kept.
        """
        if self._asked and not self._tunes:
            return
        found = [(identity_of_work(data), data) for data in works]
        named = [(each, data) for each, data in found if each]
        if not self._asked:
            self._tunes += [each.tune for each, _ in named if each.tune]
        for each, data in named:
            if str(each.identity) not in self._made:
                made = self._make(each.identity, data)
                if made:
                    self._made[str(each.identity)] = made

    def get(self, data: bytes) -> GivenOut:
        """Return what a work was given out as.

        A work that does not say, such as a MIDI file, is taken for the task of the
        others if they have but one.

        Raises:
            NotationError: If it does not say, or its tune is lost.
        """
        found = identity_of_work(data) if self._made or not self._asked else None
        made = self._made.get(str(found.identity)) if found else None
        if made or self._asked:
            return made or self._asked or GivenOut(None)
        if not found and len(self._made) == 1:
            return next(iter(self._made.values()))
        if not found:
            assert_notation(data)
            raise NotationError(
                "This work does not say which task it is.",
                None,
                "Add --against TUNE or a drill.",
            )
        raise NotationError(
            f"The file has lost the tune of its task, {found.identity}.",
            None,
            "Add --against and the file of that tune.",
        )

    def _make(self, identity: TaskIdentity, data: bytes) -> GivenOut | None:
        """Return the task of an identity; None where its tune is not found."""
        if identity.drill:
            if self._asked:
                return None
            if identity.drill == EAR_DRILL:
                return GivenOut(None, ear_drill_again(identity))
            exercises = exercises_again(identity)
            # Only blank copies say what they are, and these give a chord to start from.
            return GivenOut(task_of_exercises(exercises, self._points, begun=True))
        tune = tune_for(identity, b"" if self._asked else data, self._tunes)
        if tune is None:
            return None
        sheet = sheet_again(identity, tune)
        return GivenOut(None if sheet.is_list else task_of_whole_sheet(sheet), sheet)
