"""The table that measuring scripts fill and README quotes: what | measured | beside it.

A script declares its rows as ROWS, adds each once, and hands the table over with
`finish`. Nothing is written unless `--table FILE` asks for it: into a new file, or
between the marks of one that has them, as README has. Rows of other scripts stay.
"""

from __future__ import annotations

import argparse
from pathlib import Path

BEGIN, END = "<!-- bench -->", "<!-- /bench -->"
HEAD = "| what | measured | beside it |\n|---|---|---|\n"
# The scripts with rows for README, in its order.
QUOTED = ("bench_detectors.py", "bench_matching.py", "bench_bounds.py", "bench_following.py")

Row = tuple[str, str, str]


class Table:
    """declared: the first cells of all rows, each to be added once, in any order."""

    def __init__(self, declared: tuple[str, ...]):
        self._declared, self._rows = declared, {}

    def add(self, what: str, measured: str, beside: str) -> None:
        if what not in self._declared or what in self._rows:
            raise KeyError(f"no such row, or added twice: {what}")
        if any("|" in cell or "\n" in cell or not cell for cell in (what, measured, beside)):
            raise ValueError(f"a cell that Markdown would break: {what}")
        self._rows[what] = (what, measured, beside)

    @property
    def rows(self) -> list[Row]:
        lacking = [what for what in self._declared if what not in self._rows]
        if lacking:
            raise KeyError(f"never measured: {', '.join(lacking)}")
        return [self._rows[what] for what in self._declared]

    def finish(self, file: Path | None) -> None:
        """Prints the rows, and writes them where asked."""
        print("\n" + markdown(self.rows), flush=True)
        if file is not None:
            merge_into(file, self.rows)


def arguments(description: str, **numbers: int) -> argparse.Namespace:
    """`--table FILE`, and a whole number for each further name, such as boards=4."""
    parser = argparse.ArgumentParser(
        description=description, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--table", type=Path, metavar="FILE", help="Markdown file to put rows in")
    for name, default in numbers.items():
        parser.add_argument(f"--{name}", type=int, default=default, help=f"default: {default}")
    return parser.parse_args()


def markdown(rows: list[Row]) -> str:
    """The rows under their heads."""
    return HEAD + "".join("| " + " | ".join(row) + " |\n" for row in rows)


def rows_in(text: str) -> list[Row]:
    """The rows between the marks, or of the whole text if it has none."""
    if BEGIN in text:
        text = text.split(BEGIN)[1].split(END)[0]
    lines = [line.strip() for line in text.splitlines() if line.startswith("|")]
    cells = [tuple(cell.strip() for cell in line.strip("|").split("|")) for line in lines]
    return [row for row in cells[2:] if len(row) == 3]


def merged(old: list[Row], new: list[Row]) -> list[Row]:
    """New rows in the place of old ones of their name, others behind."""
    fresh = {row[0]: row for row in new}
    kept = [fresh.pop(row[0], row) for row in old]
    return kept + list(fresh.values())


def merge_into(file: Path, rows: list[Row]) -> None:
    """Between the file's marks, or as its whole contents where it has none."""
    text = file.read_text(encoding="utf-8") if file.exists() else ""
    if text and BEGIN not in text and not text.startswith(HEAD):
        raise ValueError(f"{file} holds something else; add the marks {BEGIN} and {END} to it")
    table = markdown(merged(rows_in(text), rows))
    if BEGIN in text:
        before, rest = text.split(BEGIN, 1)
        table = f"{before}{BEGIN}\n{table}{END}{rest.split(END, 1)[1]}"
    file.write_text(table, encoding="utf-8")
