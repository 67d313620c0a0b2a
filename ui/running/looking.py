"""The thread that only looks: opens a camera, shows its pictures, and lets an eye judge them.

Nothing the camera does holds up the window: it is opened, read and closed in the
thread, and what is wrong with it is a sentence that comes with the picture.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
from PyQt6.QtCore import QObject, pyqtSignal
from PyQt6.QtGui import QImage

from drillaid.errors import CameraError, CameraTimeout, DrillaidError
from drillaid.rig.frame import Camera, Frame
from drillaid.rig.reader import NewestFrame
from drillaid.vision.quality import BURNT, burnt_out, shrunk, too_dark
from ui.running.guiding import image_of
from ui.words import tr

READ_S = 0.2
LEAVE_S = 4.0  # a driver that does not answer by then closes its camera when it does
JUDGE_EVERY = 8  # pictures from one look at the light to the next
OPENING, SEEING, ENDED, FAILED = "opening", "seeing", "ended", "failed"


@dataclass(frozen=True, eq=False)
class Look:
    """One moment. image: the whole picture, small enough for the widget; None without one

    size_px: (width, height) of the photograph; trouble: a sentence, "" while all is well
    judged: what the eye made of this picture, of the eye that was set last; settings: what
    the camera made of what was asked of it
    """

    state: str
    image: QImage | None = None
    size_px: tuple[int, int] | None = None
    trouble: str = ""
    judged: object = None
    frame: Frame | None = None
    settings: dict = field(default_factory=dict)


class LookingThread(QObject):
    """open_it: () -> Camera, called in the thread
    size: () -> (width, height) the picture is shown at, device px
    least_s: between two pictures of a source that waits for its reader

    looked(): a newer `Look` is there; `take` gives it.
    """

    looked = pyqtSignal()

    def __init__(
        self, open_it: Callable[[], Camera], size: Callable[[], tuple[int, int]],
        least_s: float = 0.0,
    ) -> None:  # fmt: skip
        super().__init__()  # no parent: it must live as long as its thread does
        self._open_it, self._size, self._least_s = open_it, size, least_s
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._look = Look(OPENING)
        self._told = self._keep = False
        self._eye: Callable[[Frame], object] | None = None
        self._camera: Camera | None = None
        self._judged: object = None
        self._light = ""
        self._thread = threading.Thread(target=self._run, name="looking", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def set_eye(self, eye: Callable[[Frame], object] | None) -> None:
        """eye(frame): called in the thread with each picture; DrillaidError becomes the trouble."""
        with self._lock:
            self._eye, self._judged = eye, None

    def take(self) -> Look:
        with self._lock:
            self._told = False
            return self._look

    def stop(self) -> None:
        """Ends the thread soon; the camera is given back by then."""
        self._stop.set()

    def wait(self, timeout_s: float = LEAVE_S) -> bool:
        """Whether it has ended."""
        if self._thread.is_alive():
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def close(self, *, keep: bool = False) -> Camera | None:
        """Ends the thread. keep: hands over the open camera, if it is live and well."""
        self._keep = keep
        self.stop()
        if not self.wait():
            self._keep = False  # one that ends later closes it itself
        camera, self._camera = self._camera, None
        return camera

    # What follows runs in the thread.

    def _run(self) -> None:
        camera = None
        try:
            camera = self._open_it()
            if camera.live:
                camera = NewestFrame(camera)
            while not self._stop.is_set() and self._step(camera):
                pass
        except DrillaidError as error:
            self._tell(Look(FAILED, trouble=str(error)))
        except Exception:  # noqa: BLE001 - a fault of ours must not take the window along
            logging.getLogger("drillaid").exception("looking failed")
            self._tell(Look(FAILED, trouble=tr("Something went wrong inside the program; what "
                                               "was done is kept.")))  # fmt: skip
        finally:
            if self._keep and camera is not None and camera.live and camera.state == "live":
                self._camera = camera
            elif camera is not None:
                camera.close()

    def _step(self, camera) -> bool:
        try:
            frame = camera.read(READ_S)
        except CameraTimeout:
            if getattr(camera, "state", "live") != "live":
                self._without(camera.message)
            return True
        except CameraError as error:
            if not camera.live:
                raise
            self._without(str(error))
            return True
        if frame is None:
            self._tell(Look(ENDED, self._look.image, self._look.size_px,
                            tr("The recording has ended."), frame=self._look.frame))  # fmt: skip
            return False
        self._show(camera, frame)
        return not self._stop.wait(0.0 if camera.live else self._least_s)

    def _without(self, sentence: str) -> None:
        last = self._look
        self._tell(Look(SEEING, last.image, last.size_px, sentence, settings=last.settings))

    def _show(self, camera, frame: Frame) -> None:
        if frame.number % JUDGE_EVERY == 0 or self._look.state == OPENING:
            self._light = light_trouble(frame.image)
        with self._lock:
            eye = self._eye
        trouble = self._light
        judged = None
        if eye is not None:
            try:
                judged = eye(frame)
            except DrillaidError as error:
                trouble = str(error)
        with self._lock:
            self._judged = judged if eye is self._eye else self._judged
            judged = self._judged
        height, width = frame.image.shape[:2]
        settings = getattr(getattr(camera, "camera", camera), "settings", {})
        image = image_of(fitted(frame.image, self._size()))
        self._tell(Look(SEEING, image, (width, height), trouble, judged, frame, dict(settings)))

    def _tell(self, look: Look) -> None:
        with self._lock:
            self._look = look
            tell, self._told = not self._told, True
        if tell:
            try:
                self.looked.emit()
            except RuntimeError:  # the window is gone already
                pass


def fitted(image, size: tuple[int, int]):
    """The picture shrunk to lie within size; never enlarged."""
    height, width = image.shape[:2]
    scale = min(size[0] / width, size[1] / height, 1.0)
    if scale >= 1.0:
        return image
    shape = max(1, round(width * scale)), max(1, round(height * scale))
    return cv2.resize(image, shape, interpolation=cv2.INTER_AREA)


def light_trouble(image) -> str:
    """A sentence where there is too little light or too much of it, else ""."""
    small = shrunk(image)
    if too_dark(small):
        return tr("The picture is dark: switch the lamp on, take the cap off the lens.")
    if burnt_out(small) > BURNT:
        return tr("The picture is burnt out: less light, or turn the lamp aside.")
    return ""
