"""Where the demo writes: a folder of its own, in which nothing foreign is touched."""

from __future__ import annotations

from pathlib import Path

from drillaid.errors import StorageError, UsageError

MARK = "what-is-this.txt"
_FIRST_LINE = "Written by `drillaid demo`; the next demo replaces the files named here."


class DemoFolder:
    """Files of one demo. A folder that holds anything but an earlier demo is refused."""

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._files: list[str] = []
        try:
            self.path.mkdir(parents=True, exist_ok=True)
            self._clear()
            self._note()
        except OSError as error:
            raise StorageError(
                f"{path}: the demo cannot write there ({error.strerror or error}); "
                "choose another folder with --out."
            ) from error

    def file(self, name: str) -> Path:
        """The path of a file to be written, noted as ours beforehand."""
        if name not in self._files:
            self._files.append(name)
            self._note()
        return self.path / name

    def _clear(self) -> None:
        if not any(self.path.iterdir()):
            return
        ours = self._earlier()
        if ours is None:
            raise UsageError(
                "this folder is not empty and holds no earlier demo",
                file=self.path,
                remedy="choose another one with --out",
            )
        for name in ours:
            if (self.path / name).is_file():
                (self.path / name).unlink()

    def _earlier(self) -> list[str] | None:
        mark = self.path / MARK
        if not mark.is_file():
            return None
        lines = mark.read_text(encoding="utf-8", errors="replace").splitlines()
        if not lines or lines[0] != _FIRST_LINE:
            return None
        # Only plain names: a list that leads out of the folder is not followed.
        return [name for name in lines[1:] if name and Path(name).name == name]

    def _note(self) -> None:
        text = "\n".join([_FIRST_LINE, *self._files, ""])
        (self.path / MARK).write_text(text, encoding="utf-8")
