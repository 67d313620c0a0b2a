"""A stand-in for cv2.VideoCapture whose faults a test can switch on."""

from __future__ import annotations

import threading

import cv2
import numpy as np


class FakeCapture:
    """Delivers noise at about 500 frames a second until told otherwise.

    mode: "fine", "unplugged" (grab fails), "frozen", "garbage" (nothing that
    can be decoded), "stuck" (grab blocks until `free` is set), "raises"
    """

    def __init__(self, shape=(48, 64, 3), opens=True, mode="fine", refuses=()):
        self.shape, self.opens, self.mode = shape, opens, mode
        self.refuses = set(refuses)
        self.values = {cv2.CAP_PROP_FOCUS: 30.0, cv2.CAP_PROP_EXPOSURE: 156.0,
                       cv2.CAP_PROP_WB_TEMPERATURE: 4600.0}  # fmt: skip
        self.asked: list[tuple[int, float]] = []
        self.free = threading.Event()
        self.released = threading.Event()
        self._tick = threading.Event()
        self._random = np.random.default_rng(7)
        self._still = self._noise()

    def _noise(self) -> np.ndarray:
        return self._random.integers(0, 255, self.shape, np.uint8)

    def isOpened(self) -> bool:
        return self.opens

    def getBackendName(self) -> str:
        return "FAKE"

    def set(self, key, value) -> bool:
        self.asked.append((key, value))
        if key in self.refuses:
            return False
        self.values[key] = float(value)
        return True

    def get(self, key) -> float:
        return self.values.get(key, 0.0)

    def grab(self) -> bool:
        if self.mode == "stuck":
            self.free.wait(30)
            return False
        if self.mode == "raises":
            raise cv2.error("the driver says\nno")
        self._tick.wait(0.002)
        return self.mode != "unplugged"

    def retrieve(self):
        if self.mode == "garbage":
            return True, np.zeros((0, 0), np.uint8)
        if self.mode == "frozen":
            return True, self._still.copy()
        return True, self._noise()

    def release(self) -> None:
        self.released.set()
