"""How far a rig's own errors move what it says: lens and bench plane, as a covariance.

[camera] may hold `covariance` (9, 9) or one `sigma` for each of `LENS`; [bench] may hold
`covariance` (6, 6) of (rotation_vector, translation_mm) for a true lens, and `lens_gain`
(6, 9), by how much the pose follows an error of the lens. What is absent counts as no
error, and `known` says so. First-order propagation throughout.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.errors import RigError
from drillaid.geometry import Affine, as_points
from drillaid.rig.rig import Rig

LENS = ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
CAUSES = ("lens", "bench")


def project(rig: Rig, xyz_mm) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Bench points (N, 3) -> pixels (N, 2) and their derivatives.

    By the pose (N, 2, 6: rotation vector, translation), by the lens (N, 2, 9, in the order
    of LENS) and by the point itself (N, 2, 3).
    """
    points = np.asarray(xyz_mm, dtype=np.float64).reshape(-1, 3)
    px, full = cv2.projectPoints(
        points, rig.rotation_vector, rig.translation_mm, rig.matrix, rig.distortion
    )
    full = full.reshape(len(points), 2, -1)
    # The library's columns: rotation 3, translation 3, focal 2, middle 2, k1 k2 p1 p2 k3.
    return px.reshape(-1, 2), full[:, :, :6], full[:, :, 6:15], full[:, :, 3:6] @ rig.rotation


def drift(rig: Rig, xy_mm, height_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """By what an error of each parameter moves the place that a pixel stands for, mm.

    xy_mm: (N, 2) on the plane z = height_mm. Returns ((N, 2, 6) by the pose, (N, 2, 9) by
    the lens): with the pixel held, d x = -(d px / d x)^-1 (d px / d parameter).
    """
    points = as_points(xy_mm)
    xyz = np.column_stack([points, np.full(len(points), float(height_mm))])
    _, pose, lens, place = project(rig, xyz)
    across = place[:, :, :2]
    return -np.linalg.solve(across, pose), -np.linalg.solve(across, lens)


@dataclass(frozen=True, eq=False)
class RigDoubt:
    """lens: (9, 9) covariance; pose: (6, 6), of the pose for a true lens; gain: (6, 9)

    known: which of CAUSES the rig file says anything about
    """

    lens: np.ndarray
    pose: np.ndarray
    gain: np.ndarray
    known: frozenset[str]

    @classmethod
    def of(cls, rig: Rig) -> RigDoubt:
        """As the rig file says it; RigError for one that is no covariance."""
        camera, bench = rig.extra.get("camera", {}), rig.extra.get("bench", {})
        lens = lens_covariance(camera)
        pose = covariance_of(bench, "bench.covariance", 6)
        gain = _table(bench.get("lens_gain"), "bench.lens_gain", (6, len(LENS)))
        known = {
            cause for cause, value in zip(CAUSES, (lens, pose), strict=True) if value is not None
        }
        return cls(
            np.zeros((9, 9)) if lens is None else lens,
            np.zeros((6, 6)) if pose is None else pose,
            np.zeros((6, 9)) if gain is None else gain,
            frozenset(known),
        )

    def columns(self, rig: Rig, xy_mm, height_mm: float) -> dict[str, np.ndarray]:
        """For each cause (N, 2, K), mm: what each of its K independent errors of one sigma does."""
        pose, lens = drift(rig, xy_mm, height_mm)
        return {
            "lens": (lens + pose @ self.gain) @ _root(self.lens),
            "bench": pose @ _root(self.pose),
        }

    def sigma_mm(self, rig: Rig, xy_mm, height_mm: float = 0.0) -> np.ndarray:
        """(N,) one sigma of the distance between the stated and the true place of a pixel."""
        columns = self.columns(rig, xy_mm, height_mm)
        return np.sqrt(sum((c**2).sum(axis=(1, 2)) for c in columns.values()))

    def under_spindle_mm2(
        self, rig: Rig, place: Affine, seen_mm, at_mm, height_mm: float
    ) -> dict[str, np.ndarray]:
        """For each cause: variance (N,), mm^2, both axes together, of how far design points
        at_mm (N, 2) lie from the spindle axis.

        The board is placed by its points seen_mm (M, 2, design mm), scale and shear
        included, and the spindle was measured through the same rig. So with d(x) what an
        error moves the place of a pixel by, the offset comes out wrong by
        d(spindle) - [linear fit of d over all that was seen](hole).
        """
        seen, at = place(as_points(seen_mm)), place(as_points(at_mm))
        spindle = rig.spindle_mm(height_mm)
        spindle = at.mean(axis=0) if spindle is None else spindle
        fit, m = _linear_fit(seen, at), len(seen)
        parts = {}
        for cause, moved in self.columns(rig, np.vstack([seen, spindle]), height_mm).items():
            carried = moved[-1] - np.einsum("nm,mik->nik", fit, moved[:m])
            parts[cause] = (carried**2).sum(axis=(1, 2))
        return parts


def lens_covariance(camera: dict) -> np.ndarray | None:
    """(9, 9) from [camera]: `covariance`, else the squares of `sigma`; None where neither is."""
    whole = covariance_of(camera, "camera.covariance", len(LENS))
    if whole is not None:
        return whole
    sigma = camera.get("sigma")
    if isinstance(sigma, dict):
        sigma = [sigma.get(name, 0.0) for name in LENS]
    sigma = _table(sigma, "camera.sigma", (len(LENS),))
    return None if sigma is None else np.diag(sigma**2)


def covariance_of(section: dict, key: str, size: int) -> np.ndarray | None:
    """(size, size) from the last part of "section.key", symmetric, or None where it is absent."""
    matrix = _table(section.get(key.rpartition(".")[2]), key, (size, size))
    if matrix is None:
        return None
    scale = np.sqrt(np.abs(np.diag(matrix)))
    off = np.abs(matrix - matrix.T) > 1e-6 * np.outer(scale, scale) + 1e-300
    if off.any() or (np.diag(matrix) < 0).any():
        raise _bad(key, "is no covariance")
    return (matrix + matrix.T) / 2


def _table(value, key: str, shape: tuple[int, ...]) -> np.ndarray | None:
    if value is None:
        return None
    try:
        table = np.array(value, dtype=np.float64)
    except (TypeError, ValueError):
        table = np.zeros(0)
    if table.shape != shape or not np.isfinite(table).all():
        raise _bad(key, f"must hold {' x '.join(map(str, shape))} numbers")
    return table


def _bad(key: str, what: str) -> RigError:
    command = "lens" if key.startswith("camera") else key.split(".")[0]
    error = RigError(f"{key} {what}", remedy=f"run drillaid calibrate {command} again")
    error.key = key  # type: ignore[attr-defined]
    return error


def _root(covariance: np.ndarray) -> np.ndarray:
    """A square root, also of a covariance that lacks rank."""
    values, vectors = np.linalg.eigh(covariance)
    return vectors * np.sqrt(np.maximum(values, 0))


def _linear_fit(seen: np.ndarray, at: np.ndarray) -> np.ndarray:
    """(N, M) weights: the value at `at` of the linear map fitted to values at `seen`."""
    middle = seen.mean(axis=0)

    def columns(points: np.ndarray) -> np.ndarray:
        return np.column_stack([np.ones(len(points)), points - middle])

    return columns(at) @ np.linalg.pinv(columns(seen), rcond=1e-6)
