"""What has been done, with its way back: the part of a session that outlives a power cut.

Every change is a fact, a name with its details. The session makes facts, the
journal keeps them, and applying the same facts again gives the same ledger.
"""

from __future__ import annotations

from drillaid.guidance.events import FACTS
from drillaid.guidance.progress import Progress
from drillaid.guidance.work import Work


class Ledger:
    """Progress, the bit in the chuck (None: not known) and the stack of undo."""

    def __init__(self, work: Work) -> None:
        self.progress = Progress.start(work)
        self.fitted_mm: float | None = None
        self._before: list[tuple[Progress, str]] = []

    @property
    def last_change(self) -> str | None:
        """Names what Undo would take back."""
        return self._before[-1][1] if self._before else None

    def apply(self, fact: str, hole: int | None = None, detail: dict | None = None) -> None:
        """Raises ValueError for a fact that cannot follow on what is known."""
        if fact not in FACTS:
            raise ValueError(f"'{fact}' changes nothing")
        detail = detail or {}
        if fact == "bit_fitted":
            self._fit(float(detail["bit_mm"]))
        elif fact == "undone":
            self._undo()
        elif fact == "as_seen":
            self._as_seen(*(frozenset(map(int, detail[k])) for k in ("drilled", "undrilled")))
        elif fact == "taken_back":
            self._take_back([int(h) for h in detail["holes"]])
        else:
            self._aim(hole, detail.get("part"))
            if fact != "target":
                self._close(skip=fact == "skipped")

    def _fit(self, bit_mm: float) -> None:
        self.fitted_mm = bit_mm
        stops, p = self.progress.work.stops, self.progress
        wanted = any(stops[row].bit_mm == bit_mm for row in p.left)
        if wanted and stops[p.target].bit_mm != bit_mm:
            self.progress = p.with_next(bit_mm)

    def _undo(self) -> None:
        if not self._before:
            raise ValueError("there is nothing to undo")
        self.progress = self._before.pop()[0]

    def _take_back(self, holes: list[int]) -> None:
        p = self.progress
        rows = p.skipped.intersection(r for h in holes for r in p.work.by_hole.get(h, ()))
        if not rows:
            raise ValueError("none of these holes is skipped")
        self._push(f"the return to {_holes(holes)}")
        self.progress = p.take_back(frozenset(rows), self.fitted_mm)

    def _as_seen(self, drilled: frozenset[int], undrilled: frozenset[int]) -> None:
        by_hole = self.progress.work.by_hole
        if not drilled | undrilled or not (drilled | undrilled).issubset(by_hole):
            raise ValueError("these are no holes of this board")
        if drilled & undrilled:
            raise ValueError("a hole cannot be drilled and not drilled")
        self._push("the record put right by the board")
        rows = [frozenset(r for h in holes for r in by_hole[h]) for holes in (drilled, undrilled)]
        self.progress = self.progress.corrected(*rows, self.fitted_mm)

    def _aim(self, hole: int | None, part: int | None) -> None:
        row = self.progress.row_of(hole, part) if hole is not None else None
        if row is None:
            raise ValueError(f"hole {hole} is not left to drill")
        self.progress = self.progress.aim_at(row)

    def _close(self, *, skip: bool) -> None:
        p = self.progress
        hole = p.work.stops[p.target].hole
        self._push(f"hole {hole} {'skipped' if skip else 'drilled'}")
        change = p.skip_target if skip else p.finish_target
        self.progress = change(self.fitted_mm)

    def _push(self, what: str) -> None:
        self._before.append((self.progress, what))


def _holes(holes: list[int]) -> str:
    return f"hole {holes[0]}" if len(holes) == 1 else f"{len(holes)} holes"
