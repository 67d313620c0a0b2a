"""Makes PyQt6 impossible to import for a while, although it is installed."""

from __future__ import annotations

import importlib.util
import sys

HIDDEN = "PyQt6"


def is_installed() -> bool:
    """Whether PyQt6 could be imported if nobody hid it."""
    return HIDDEN in sys.modules or importlib.util.find_spec(HIDDEN) is not None


class Curtain:
    """Closed, `import PyQt6` and of any part of it raises ModuleNotFoundError; ui likewise.

    Modules that were imported before are put aside and come back as the same
    objects when it opens: Qt does not bear being loaded twice.
    """

    def __init__(self) -> None:
        self._aside: dict[str, object] = {}
        self.closed = False

    def close(self) -> None:
        if self.closed:
            return
        names = [name for name in sys.modules if name.split(".")[0] in (HIDDEN, "ui")]
        self._aside = {name: sys.modules.pop(name) for name in names}
        sys.modules[HIDDEN] = None  # type: ignore[assignment]
        self.closed = True

    def open(self) -> None:
        if not self.closed:
            return
        del sys.modules[HIDDEN]
        # What a core test imported of ui meanwhile, without Qt, gives way to the real one.
        for name in [name for name in sys.modules if name.split(".")[0] == "ui"]:
            if name in self._aside:
                del sys.modules[name]
        sys.modules.update(self._aside)
        self._aside, self.closed = {}, False
