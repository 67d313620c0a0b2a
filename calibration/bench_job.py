"""`calibrate bench` from pictures to the rig file's new sections, or the reason why not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.bench_plane import PRINTED_SHARE, BenchPlane, aside, fit_bench
from calibration.pattern import Pattern
from calibration.repair import Anchors, measured_marks, merged_marks, with_zero_rows
from calibration.rig_draft import RigDraft
from calibration.views import NoPattern, find_pattern
from drillaid.rig.mark_finding import find_marks
from drillaid.rig.still_true import MarkSet, marks_of

DONE, REFUSED = "calibrated", "refused"


@dataclass(frozen=True, eq=False)
class BenchJob:
    """draft: with the new sections, not yet saved, or None where refused; message: for a person

    plane: what was found, also where it was refused; marks: stored with it
    """

    draft: RigDraft | None
    message: str
    plane: BenchPlane | None = None
    marks: tuple[int, ...] = ()

    def to_json(self) -> dict:
        data = {"status": REFUSED if self.draft is None else DONE, "message": self.message}
        plane = self.plane
        if plane is None:
            return data | {"rms_px": None, "rms_mm": None}
        data |= {"rms_px": plane.fit.rms_px, "rms_mm": plane.rms_mm}
        if plane.flatness is not None:
            data |= {
                "flatness_mm": plane.flatness.bow_mm,
                "flatness_sigma_mm": plane.flatness.sigma_mm,
                "stretch": plane.flatness.stretch,
            }
        else:
            data["flatness_mm"] = None
        if self.draft is None:
            return data
        return data | {
            "rotation_vector": plane.rig.rotation_vector,
            "translation_mm": plane.rig.translation_mm,
            "sigma_mm": {
                "middle": float(np.median(plane.sigma_mm)),
                "worst": float(plane.sigma_mm.max()),
            },
            "sideways_per_mm_of_thickness": {
                "middle": float(np.median(plane.aside)),
                "worst": float(plane.aside.max()),
            },
            "frame_kept": plane.kept_frame,
            "marks": list(self.marks),
        }


def make_bench(
    draft: RigDraft,
    pictures: Sequence[tuple[str, np.ndarray]],
    pattern: Pattern,
    *,
    sheet_mm: float = 0.0,
    marks_mm: float = 0.1,
    scale_share: float = PRINTED_SHARE,
    operator_at: str | None = None,
    new_frame: bool = False,
) -> BenchJob:
    """pictures: (name, uint8 BGR) of the size the lens was calibrated at; the rest as `fit_bench`.

    The frame of stored marks is kept unless new_frame; the first picture must show them.
    """
    lens = draft.camera()
    blank = lens.rig(np.zeros(3), np.array([0.0, 0.0, 1.0]))
    stored = None
    if draft.holds("marks") and not new_frame:
        stored = marks_of(draft.section("marks"))
    grey = _grey(pictures[0][1])
    seen = find_marks(grey, blank)
    views, missing = [], []
    for name, image in pictures:
        view = find_pattern(image, pattern)
        if isinstance(view, NoPattern):
            missing.append((name, view))
        else:
            views.append(view)
    anchors = None if stored is None else Anchors(stored, seen, blank)
    if missing and not (anchors is not None and anchors.reason is None and not views):
        name, why = missing[0]
        return BenchJob(None, _sentence(f"{name}: {why.reason}", stored, anchors))
    if anchors is not None and anchors.reason is not None:
        spindle = ", or give --new-frame and calibrate the spindle again afterwards"
        return BenchJob(None, _sentence(f"{anchors.reason}; uncover the marks{spindle}"))
    options = {"sheet_mm": sheet_mm, "scale_share": scale_share, "operator_at": operator_at,
               "stretch": stretch_of(lens.section, pattern)}  # fmt: skip
    if anchors is not None:
        corners = sum(len(view.corners_px) for view in views)
        doubt = with_zero_rows(anchors.carry(draft.rig(), anchors.start), corners)
        options |= {"known": (anchors.points,), "start": anchors.start, "known_doubt": doubt}
    plane = fit_bench(lens, views, **options)
    if isinstance(plane, str):
        return BenchJob(None, _sentence(plane))
    if plane.reason is not None:
        return BenchJob(None, _sentence(plane.reason), plane)
    return _finished(draft, plane, seen, stored, anchors, marks_mm, scale_share)


def stretch_of(camera: dict, pattern: Pattern) -> tuple[float, float]:
    """What [camera] found of this very sheet, and one sigma of it; (0, 0) for another sheet."""
    stretch, sigma = (camera.get(key, 0.0) for key in ("sheet_stretch", "sheet_stretch_sigma"))
    known = all(isinstance(v, int | float) and abs(v) < 0.05 for v in (stretch, sigma))
    same = camera.get("pattern") == pattern.words
    return (float(stretch), float(sigma)) if known and same else (0.0, 0.0)


def _finished(draft, plane: BenchPlane, seen, stored, anchors, marks_mm, scale_share) -> BenchJob:
    rig = plane.rig
    height = marks_mm if stored is None else stored.height_mm
    found = measured_marks(rig, seen, height)
    if stored is not None:
        found = merged_marks(stored, anchors.used, found)
    values = {
        "rotation_vector": rig.rotation_vector,
        "translation_mm": rig.translation_mm,
        "sigma_mm": float(plane.sigma_mm.max()),
        "rms_px": plane.fit.rms_px,
        "covariance": plane.covariance,
        "lens_gain": plane.fit.lens_gain,
    }
    if stored is not None:
        values["frame"] = draft.section("bench").get("frame", "before")
    new = draft.with_section("bench", values)
    frame = new.section("bench")["frame"]
    if found.marks:
        new = new.with_section("marks", {**found.to_data(), "frame": frame})
    else:
        new = new.without("marks")
    message = _told(draft, new, plane, found, anchors, scale_share)
    return BenchJob(new, message, plane, tuple(mark.number for mark in found.marks))


def _told(draft, new, plane: BenchPlane, found: MarkSet, anchors, scale_share) -> str:
    rig, sigma = plane.rig, plane.sigma_mm
    middle = aside(rig, rig.to_bench([[(rig.width - 1) / 2, (rig.height - 1) / 2]], 0.0))[0]
    lines = [
        f"The bench plane is known to {np.median(sigma):.3f} mm, at worst {sigma.max():.3f} mm in "
        f"the picture's corners (one sigma); what was seen fits to {plane.rms_mm:.3f} mm.",
        f"A board 0.1 mm thicker than told puts a hole {0.1 * middle:.3f} mm aside in the middle "
        f"of the picture and {0.1 * plane.aside.max():.3f} mm in its corners: measure it.",
        f"In the picture the bench's x points {_way(rig, (1, 0))}, y, away from you, "
        f"{_way(rig, (0, 1))}.",
    ]
    flat = plane.flatness
    if flat is not None and flat.worth_telling:
        lines.append(f"The sheet bows by {flat.bow_mm:.2f} mm; glued to glass it would be better.")
    if flat is not None and abs(flat.stretch) > max(0.001, 3 * flat.stretch_sigma):
        lines.append(
            f"Across, the print is {100 * flat.stretch:+.2f} % longer than down, against what it "
            "should be."
        )
    if scale_share >= PRINTED_SHARE and flat is not None:
        lines.append(
            "Measure the sheet's ruler bar and give --ruler-mm: the print's size is a guess."
        )
    if plane.kept_frame:
        lines.append(f"Marks {_list(anchors.used)} keep the frame: the spindle axis still holds.")
        if anchors.strays:
            lines.append(f"Mark {_list(anchors.strays)} had moved by itself and is stored anew.")
    elif "spindle" in draft.data:
        lines.append("The frame is a new one: run drillaid calibrate spindle again.")
    if found.marks:
        lines.append(f"Stored marks: {_list(mark.number for mark in found.marks)}.")
        if len(found.marks) < 3:
            lines.append("Three or more, far apart, are needed to repair the rig after a knock.")
    else:
        lines.append(
            "No reference marks are seen, so nobody will notice when the arm is knocked: print "
            "them with drillaid calibrate target --marks."
        )
    return "\n".join(lines)


def _way(rig, step) -> str:
    middle = rig.to_bench([[(rig.width - 1) / 2, (rig.height - 1) / 2]], 0.0)[0]
    start, end = rig.to_pixels([middle, middle + np.asarray(step, dtype=float)], 0.0)
    u, v = end - start
    if abs(u) >= abs(v):
        return "right" if u > 0 else "left"
    return "down" if v > 0 else "up"


def _list(numbers) -> str:
    return ", ".join(str(number) for number in numbers)


def _sentence(reason: str, stored=None, anchors=None) -> str:
    reason = reason[:1].upper() + reason[1:] if ":" not in reason.split(" ")[0] else reason
    if stored is not None and anchors is not None and anchors.reason is not None:
        reason += f" ({anchors.reason})"
    return f"{reason.rstrip('.')}."


def _grey(image: np.ndarray) -> np.ndarray:
    import cv2

    return image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
