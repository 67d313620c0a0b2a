"""Opens the window for a command; the only module of the core that knows there is one."""

from __future__ import annotations

import importlib.util

from drillaid.commands import DONE, Answer
from drillaid.errors import DeviceError, UsageError


def open_window(words: str, **how) -> Answer:
    """Returns when the window is closed. words: the command's; how: as `ui.app.run` takes it.

    Raises UsageError where PyQt6 is not installed, DeviceError where there is no screen.
    """
    if importlib.util.find_spec("PyQt6") is None:
        raise UsageError(
            "the window needs PyQt6, which is not installed",
            remedy=f"install it (python3 start.py does), or work in the terminal: {words}",
        )
    from ui.screen import why_no_screen

    why = why_no_screen()
    if why is not None:
        raise DeviceError(f"There is no screen to open the window on ({why}); {words}.")
    from ui.app import run

    status = run(**how)
    text = "The window is closed; what was done is recorded."
    data = {"status": "closed", "message": text}
    return Answer(text, data, DONE if status == 0 else status)
