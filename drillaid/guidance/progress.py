"""What is done, skipped and left: frozen values, each change gives a new one."""

from __future__ import annotations

from dataclasses import dataclass, replace

from drillaid.guidance.work import Work


@dataclass(frozen=True)
class Tally:
    """Counts of holes. A slot counts as done with its last stop."""

    bit_mm: float | None
    holes: int
    done: int
    skipped: int

    @property
    def left(self) -> int:
        return self.holes - self.done - self.skipped


@dataclass(frozen=True)
class Progress:
    """Rows of `work.stops` that are done or skipped (never both), and the row to do now."""

    work: Work
    done: frozenset[int] = frozenset()
    skipped: frozenset[int] = frozenset()
    target: int | None = None

    @classmethod
    def start(cls, work: Work) -> Progress:
        return cls(work, target=0 if work.stops else None)

    @property
    def left(self) -> frozenset[int]:
        return frozenset(range(len(self.work.stops))) - self.done - self.skipped

    def finish_target(self, fitted_mm: float | None) -> Progress:
        """The target is drilled; the next one becomes target."""
        after = replace(self, done=self.done | {self.target})
        return after.with_next(fitted_mm)

    def skip_target(self, fitted_mm: float | None) -> Progress:
        """The target's hole is put aside, with all of its stops still left."""
        rows = self.left.intersection(self.rows_of_target())
        return replace(self, skipped=self.skipped | rows).with_next(fitted_mm)

    def take_back(self, rows: frozenset[int], fitted_mm: float | None) -> Progress:
        """Skipped rows are left again; the target stays, if there is one."""
        after = replace(self, skipped=self.skipped - rows)
        return after if after.target is not None else after.with_next(fitted_mm)

    def corrected(
        self, done: frozenset[int], left: frozenset[int], fitted_mm: float | None
    ) -> Progress:
        """These rows are done and those are left, whatever they were before."""
        after = replace(
            self, done=(self.done | done) - left, skipped=self.skipped - done - left
        )
        return after if after.target in after.left else after.with_next(fitted_mm)

    def aim_at(self, row: int) -> Progress:
        if row not in self.left:
            raise ValueError("only a stop that is left can be the target")
        return replace(self, target=row)

    def with_next(self, fitted_mm: float | None) -> Progress:
        """The next stop left in the planned order, going round, for the bit in the chuck
        as long as there is one; then the first one left of all."""
        left = self.left
        if not left:
            return replace(self, target=None)
        same = [row for row in left if self.work.stops[row].bit_mm == fitted_mm]
        if not same:
            return replace(self, target=min(left))
        behind = [row for row in same if self.target is not None and row > self.target]
        return replace(self, target=min(behind or same))

    def rows_of_target(self) -> tuple[int, ...]:
        return () if self.target is None else self.work.by_hole[self.work.stops[self.target].hole]

    def hole_is_done(self, hole: int) -> bool:
        return self.done.issuperset(self.work.by_hole[hole])

    def tally(self, bit_mm: float | None = None) -> Tally:
        """Counts for one bit, or for the board."""
        stops = self.work.stops
        holes = {
            hole: rows
            for hole, rows in self.work.by_hole.items()
            if bit_mm is None or stops[rows[0]].bit_mm == bit_mm
        }
        done = sum(self.done.issuperset(rows) for rows in holes.values())
        skipped = sum(not self.skipped.isdisjoint(rows) for rows in holes.values())
        return Tally(bit_mm, len(holes), done, skipped)

    def holes_skipped(self) -> tuple[int, ...]:
        return tuple(sorted({self.work.stops[row].hole for row in self.skipped}))

    def row_of(self, hole: int, part: int | None = None) -> int | None:
        """The row of that part of a hole, or the first one left; None if there is none."""
        rows = self.work.by_hole.get(hole, ())
        if part is not None:
            return rows[part - 1] if 1 <= part <= len(rows) else None
        return min(self.left.intersection(rows), default=None)

    def other_row(self, fitted_mm: float | None) -> int | None:
        """The stop that would come next if the target's hole were not there; None if none is."""
        return (
            replace(self, skipped=self.skipped.union(self.rows_of_target()))
            .with_next(fitted_mm)
            .target
        )
