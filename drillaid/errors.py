"""What can go wrong, one type for each, with the remedy in the sentence.

DrillaidError                      every error we raise on purpose
├── InputError          exit 2     a file, a value or a command line is wrong
│   ├── DesignError                drill list, copper, outline, zip or folder
│   ├── RigError                   rig file
│   ├── PictureError               photograph that cannot be read
│   ├── DialectError               controller dialect: what a table's controller says
│   └── UsageError                 command line
├── DeviceError         exit 4     hardware failed
│   ├── CameraError
│   │   ├── CameraLost             was there, is gone
│   │   └── CameraTimeout          no frame before the deadline
│   ├── PortError                  a serial port, a socket behind one
│   │   ├── PortLost               cannot be opened, or was there and is gone
│   │   ├── PortTimeout            no answer before the deadline
│   │   └── Garbled                an answer that means nothing in this dialect
│   └── TableError                 the controller answers, and the answer is bad
│       ├── Alarm                  it has stopped by itself: limit switch, lost position …
│       ├── LineRefused            it does not carry out one line
│       ├── ControllerRestarted    it began anew by itself and has forgotten where it is
│       ├── NotWhereSent           it rests elsewhere than it was sent
│       ├── NotFollowed            an axis was sent and the board was not seen to follow
│       ├── StepsLost              it comes back elsewhere than it left
│       ├── OutOfReach             we do not send it there: soft limits
│       └── UnsafeNow              we do not send it now: an invariant of `table.machine`
├── StorageError        exit 4     journal or report could not be written
└── CannotGoOn          exit 3     a job of several steps ends on a refusal in one of them
    ├── AreaTooSmall               no room to measure the table's axes in
    ├── BoardLost                  the board is not found any more, or was moved
    ├── BoardSlipped               the board moved while a hole was drilled
    └── CannotPlace                a hole does not come to lie under the spindle

"Not found" and "not sure" are no errors: they are results with a reason
(see `registration.result`).
"""

from __future__ import annotations

from pathlib import Path


def printable(text: str) -> str:
    """Without line breaks, control characters and broken encodings, which become "?".

    File names and quoted lines come from strangers; on a terminal an escape
    sequence in them would be obeyed.
    """
    return "".join(character if character.isprintable() else "?" for character in text)


class DrillaidError(Exception):
    """Base of all. `str(error)` is one sentence for a person."""

    exit_status = 2


class InputError(DrillaidError):
    """Something given to us is wrong: says what, where and what to do.

    what:   the fault, without a full stop
    file, line: where it stands (line counts from 1), if it stands in a file
    remedy: what the person can do about it, without a full stop
    """

    def __init__(
        self,
        what: str,
        *,
        file: str | Path | None = None,
        line: int | None = None,
        remedy: str | None = None,
    ) -> None:
        self.what, self.line, self.remedy = what, line, remedy
        self.file = None if file is None else str(file)
        super().__init__(self._sentence())

    def _sentence(self) -> str:
        where = ""
        if self.file is not None:
            where = self.file if self.line is None else f"{self.file}, line {self.line}"
            where += ": "
        todo = f"; {self.remedy}" if self.remedy else ""
        return printable(f"{where}{self.what}{todo}.")


class DesignError(InputError):
    """A design cannot be read."""


class RigError(InputError):
    """A rig file cannot be used; `what` names the key."""


class PictureError(InputError):
    """A photograph cannot be read."""


class DialectError(InputError):
    """A controller dialect cannot be used; `what` names the key."""


class UsageError(InputError):
    """The command line asks for something that does not exist or clashes."""


class DeviceError(DrillaidError):
    """Hardware failed."""

    exit_status = 4


class CameraError(DeviceError):
    """A camera source failed."""


class CameraLost(CameraError):
    """A camera that worked stopped delivering."""


class CameraTimeout(CameraError):
    """No frame arrived before the deadline."""


class PortError(DeviceError):
    """A serial port failed."""


class PortLost(PortError):
    """A port cannot be opened, or one that worked is gone."""


class PortTimeout(PortError):
    """No answer before the deadline."""


class Garbled(PortError):
    """An answer that means nothing in the dialect in use."""


class TableError(DeviceError):
    """A table's controller answers, and the answer is bad."""


class Alarm(TableError):
    """The controller has stopped by itself."""


class LineRefused(TableError):
    """The controller does not carry out one line."""


class ControllerRestarted(TableError):
    """The controller began anew by itself; where it stands is not known any more."""


class NotWhereSent(TableError):
    """The controller rests elsewhere than it was sent."""


class NotFollowed(TableError):
    """An axis was sent on its way and the board was not seen to follow."""


class StepsLost(TableError):
    """The table comes back elsewhere than it left."""


class OutOfReach(TableError):
    """A place beyond the soft limits: nothing was sent."""


class UnsafeNow(TableError):
    """A command that an invariant of the machine forbids now: nothing was sent."""


class CannotGoOn(DrillaidError):
    """A job of several steps cannot go on, since one of them ended in a refusal."""

    exit_status = 3


class AreaTooSmall(CannotGoOn):
    """There is no room to measure the table's axes in: limits, picture or what was asked for."""


class BoardLost(CannotGoOn):
    """The board is not found in the pictures, or lies elsewhere than where it was moved."""


class BoardSlipped(CannotGoOn):
    """The board moved while the bit went down and up: that hole may lie beside its place."""


class CannotPlace(CannotGoOn):
    """A hole cannot be brought under the spindle, or nobody can vouch that it is there."""


class StorageError(DrillaidError):
    """What was done could not be written down."""

    exit_status = 4
