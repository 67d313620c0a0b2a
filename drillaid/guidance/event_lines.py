"""The file of `guide --events`: one JSON object a line, each on its way before the next begins."""

from __future__ import annotations

import json
from pathlib import Path

from drillaid.errors import StorageError, UsageError
from drillaid.guidance.events import Event


class EventLines:
    """Writes events to `path`, anew.

    Raises UsageError where the file there is not one of events (it is kept) and
    StorageError where it cannot be written; after that nothing more is written.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        if self.path.is_file() and not _is_ours(self.path):
            raise UsageError(
                "there is another file of this name and it holds no events",
                file=path,
                remedy="give --events another name",
            )
        try:
            self._file = open(self.path, "w", encoding="utf-8")  # noqa: SIM115 - closed by close
        except OSError as error:
            raise _cannot(path, error) from error

    def write(self, *events: Event) -> None:
        """One line each, handed to the operating system line by line."""
        for event in events:
            self._line(json.dumps(event.to_json(), allow_nan=False))

    def _line(self, text: str) -> None:
        if self._file.closed:
            return
        try:
            self._file.write(text + "\n")
            self._file.flush()
        except OSError as error:
            self.close()
            raise _cannot(self.path, error) from error

    def close(self) -> None:
        """May be called twice."""
        try:
            self._file.close()
        except OSError:
            pass  # what could not be written has been told already

    def __enter__(self) -> EventLines:
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()


def _is_ours(path: Path) -> bool:
    """Empty, or its first line is an event."""
    try:
        with open(path, encoding="utf-8") as file:
            first = file.readline(1_000_000)
        return not first.strip() or "event" in json.loads(first)
    except (OSError, ValueError, TypeError):
        return False


def _cannot(path: str | Path, error: OSError) -> StorageError:
    reason = error.strerror or str(error)
    return StorageError(
        f"{path}: events cannot be written there ({reason}); no more lines follow, "
        "the journal goes on."
    )
