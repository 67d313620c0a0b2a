"""Photographs: every orientation, depth and kind; everything else refused in one sentence."""

from __future__ import annotations

import base64
import dataclasses
import random
import struct
import zlib

import cv2
import numpy as np
import pytest

from drillaid.errors import PictureError, RigError
from drillaid.rig.frame import Frame
from drillaid.rig.pictures import (
    check_size,
    is_picture,
    read_picture,
    read_picture_header,
    upright,
)
from drillaid.rig.rig import Rig

# cyan right, yellow left, 24 x 16, four inks with the Adobe marker, written for this test
CMYK = base64.b64decode(
    "/9j/7gAOQWRvYmUAZAAAAAAA/9sAQwACAQEBAQECAQEBAgICAgIEAwICAgIFBAQDBAYFBgYGBQYGBgcJCAYHCQcGBggL"
    "CAkKCgoKCgYICwwLCgwJCgoK/8AAFAgAEAAYBEMRAE0RAFkRAEsRAP/EAB8AAAEFAQEBAQEBAAAAAAAAAAABAgMEBQYH"
    "CAkKC//EALUQAAIBAwMCBAMFBQQEAAABfQECAwAEEQUSITFBBhNRYQcicRQygZGhCCNCscEVUtHwJDNicoIJChYXGBka"
    "JSYnKCkqNDU2Nzg5OkNERUZHSElKU1RVVldYWVpjZGVmZ2hpanN0dXZ3eHl6g4SFhoeIiYqSk5SVlpeYmZqio6Slpqeo"
    "qaqys7S1tre4ubrCw8TFxsfIycrS09TV1tfY2drh4uPk5ebn6Onq8fLz9PX29/j5+v/aAA4EQwBNAFkASwAAPwD9/K/f"
    "yv5/6/fyvwB/4PnP+bXf+52/9wFFfv8Af8GMf/N0X/ck/wDufor8AaK/f6iv7/KK/gDor8Af+D5z/m13/udv/cBRX7/f"
    "8GMf/N0X/ck/+5+ivwBor9/qK//Z"
)

# How the upright picture A is stored for each mark: inverse of what a viewer
# does (Exif 2.32, tag 0x0112: 2 mirror, 3 half turn, 6 shows turned clockwise ...).
STORED = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: np.rot90(a, 2),
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: np.rot90(a, 1),
    7: lambda a: np.rot90(a[:, ::-1], -1),
    8: lambda a: np.rot90(a, -1),
}


def scene(width=64, height=48) -> np.ndarray:
    """Four corners of different colours, smooth enough for JPEG."""
    image = np.full((height, width, 3), 90, np.uint8)
    image[: height // 2, : width // 2] = (255, 0, 0)
    image[: height // 2, width // 2 :] = (0, 255, 0)
    image[height // 2 :, : width // 2] = (0, 0, 255)
    return image


def encoded(kind: str, image: np.ndarray, *flags) -> bytes:
    ok, data = cv2.imencode(kind, image, list(flags))
    assert ok
    return data.tobytes()


def exif(orientation: int, order: str = ">") -> bytes:
    mark = b"MM\0*" if order == ">" else b"II*\0"
    entry = struct.pack(order + "HHIHH", 274, 3, 1, orientation, 0)
    return mark + struct.pack(order + "IH", 8, 1) + entry + b"\0\0\0\0"


def jpeg_marked(image: np.ndarray, orientation: int, order: str = ">") -> bytes:
    data = encoded(".jpg", image, cv2.IMWRITE_JPEG_QUALITY, 95)
    block = b"Exif\0\0" + exif(orientation, order)
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block + data[2:]


def png_chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def tiff_marked(image: np.ndarray, orientation: int, **more: int) -> bytes:
    """An uncompressed TIFF 6.0, RGB, one strip."""
    height, width = image.shape[:2]
    body = np.ascontiguousarray(image[:, :, ::-1]).tobytes()
    tags = {256: width, 257: height, 259: 1, 262: 2, 273: 8, 274: orientation, 277: 3,
            278: height, 279: len(body), 284: 1}  # fmt: skip
    tags |= {int(name[1:]): value for name, value in more.items()}
    at_bits = 8 + len(body)
    entries = {tag: struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags.items()}
    entries[258] = struct.pack("<HHII", 258, 3, 3, at_bits)
    table = struct.pack("<H", len(entries)) + b"".join(entries[t] for t in sorted(entries))
    return (
        b"II*\0" + struct.pack("<I", at_bits + 6) + body + struct.pack("<HHH", 8, 8, 8)
        + table + b"\0\0\0\0"
    )  # fmt: skip


@pytest.fixture
def put(tmp_path):
    def put(data: bytes, name="photo.bin"):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return put


def refusal(path) -> str:
    with pytest.raises(PictureError) as caught:
        read_picture(path)
    sentence = str(caught.value)
    assert caught.value.remedy and sentence.endswith(".") and "\n" not in sentence
    return sentence


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("order", "<>")
def test_a_phones_orientation_mark_is_honoured(put, orientation, order):
    path = put(jpeg_marked(STORED[orientation](scene()), orientation, order))
    picture = read_picture(path)
    assert picture.shape == (48, 64, 3) and picture.dtype == np.uint8
    assert np.abs(picture.astype(int) - scene()).mean() < 6  # JPEG's own loss at the edges
    assert read_picture_header(path).upright_size == (64, 48)
    # A second implementation agrees: the library's own reading of the mark.
    other = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    np.testing.assert_array_equal(picture, other)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_png_and_tiff_carry_the_mark_too(put, orientation):
    stored = np.ascontiguousarray(STORED[orientation](scene()))
    png = encoded(".png", stored)
    marked = png[:33] + png_chunk(b"eXIf", exif(orientation)) + png[33:]
    np.testing.assert_array_equal(read_picture(put(marked)), scene())
    np.testing.assert_array_equal(read_picture(put(tiff_marked(stored, orientation))), scene())


@pytest.mark.parametrize("orientation", range(1, 9))
def test_upright_undoes_how_it_was_stored(orientation):
    np.testing.assert_array_equal(upright(STORED[orientation](scene()), orientation), scene())


def test_marks_out_of_range_and_damaged_exif_count_as_upright(put):
    for orientation in (0, 9, 65535):
        assert read_picture(put(jpeg_marked(scene(), orientation))).shape == (48, 64, 3)
    start = b"Exif\0\0MM\0*"
    data = jpeg_marked(scene(), 6)
    data = data.replace(start + b"\0\0\0\x08", start + b"\xff\xff\xff\xff")
    assert read_picture(put(data)).shape == (48, 64, 3)


@pytest.mark.parametrize("kind", [".png", ".tif"])
def test_sixteen_bits_grey_and_alpha(put, kind):
    colour = scene()
    deep = colour.astype(np.uint16) * 257
    np.testing.assert_array_equal(read_picture(put(encoded(kind, deep))), colour)
    grey = colour[:, :, 1]
    expected = np.dstack([grey] * 3)
    np.testing.assert_array_equal(read_picture(put(encoded(kind, grey))), expected)
    np.testing.assert_array_equal(read_picture(put(encoded(kind, deep[:, :, 1]))), expected)
    alpha = np.dstack([colour, grey])
    np.testing.assert_array_equal(read_picture(put(encoded(kind, alpha))), colour)


def test_four_inks(put):
    picture = read_picture(put(CMYK)).astype(int)
    assert picture.shape == (16, 24, 3)
    assert np.abs(picture[8, 4] - [0, 255, 255]).max() < 12  # yellow
    assert np.abs(picture[8, 20] - [255, 255, 0]).max() < 12  # cyan


@pytest.mark.parametrize("kind", [".bmp", ".webp", ".jpg", ".png", ".tif"])
def test_every_kind_and_a_name_that_is_not_ascii(put, kind):
    path = put(encoded(kind, scene()), f"Löcher 板{kind}")
    assert is_picture(path)
    assert read_picture(path).shape == (48, 64, 3)
    assert read_picture_header(path).upright_size == (64, 48)


def test_grey_and_progressive_jpeg(put):
    assert read_picture(put(encoded(".jpg", scene()[:, :, 0]))).shape == (48, 64, 3)
    data = encoded(".jpg", scene(), cv2.IMWRITE_JPEG_PROGRESSIVE, 1)
    assert read_picture(put(data)).shape == (48, 64, 3)


def test_a_picture_that_claims_to_be_giant_is_refused_before_decoding(put):
    ihdr = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 2, 0, 0, 0)
    bomb = b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", ihdr) + png_chunk(b"IEND", b"")
    assert "more than 200 million" in refusal(put(bomb))
    jpeg = bytearray(encoded(".jpg", scene()))
    at = jpeg.index(b"\xff\xc0")
    jpeg[at + 5 : at + 9] = b"\xff\xff\xff\xff"
    assert "65535 x 65535" in refusal(put(bytes(jpeg)))
    assert "more than" in refusal(put(tiff_marked(scene(), 1, t256=70_000, t257=70_000)))
    assert "has only 8 x 8 pixels" in refusal(put(encoded(".png", scene(8, 8))))


@pytest.mark.parametrize("kind", [".jpg", ".png", ".tif", ".webp", ".bmp"])
def test_a_picture_cut_short_is_refused_not_half_shown(put, kind, capfd):
    noise = np.random.default_rng(3).integers(0, 255, (120, 160, 3), np.uint8)
    data = encoded(kind, noise)
    for share in (0.02, 0.3, 0.9):
        refusal(put(data[: int(len(data) * share)]))
    assert capfd.readouterr().err == ""  # the decoders keep quiet


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"hello, this is a text", "is not a picture"),
        (b"\0\0\0\x18ftypheic" + b"\0" * 40, "HEIC"),
        (b"\0\0\0\x18ftypmp42" + b"\0" * 40, "is a video"),
        (b"RIFF\0\0\0\0AVI LIST" + b"\0" * 40, "is a video"),
        (b"%PDF-1.7\n", "PDF"),
        (b"GIF89a@\x000\x00", "GIF"),
        (b"\xff\xd8\xff", "damaged or incomplete JPEG"),
        (b"II*\0\x08\0\0\0", "damaged or incomplete TIFF"),
    ],
)
def test_what_is_no_photograph(put, data, words):
    assert words in refusal(put(data))


def test_heic_says_to_export_as_jpeg_and_raw_is_not_read_as_its_preview(put):
    assert "export it as JPEG" in refusal(put(b"\0\0\0\x18ftypheic" + b"\0" * 40))
    assert "raw file" in refusal(put(tiff_marked(scene(), 1, t254=1)))
    assert "raw file" in refusal(put(tiff_marked(scene(), 1, t50706=0x01040000)))


def test_missing_folder_and_impossible_names(tmp_path):
    assert "there is no such file" in refusal(tmp_path / "none.jpg")
    assert "is a folder" in refusal(tmp_path)
    refusal("a\0b")
    assert not is_picture(tmp_path) and not is_picture("a\0b")


def test_damaged_pictures_never_end_in_a_traceback(put, capfd):
    dice = random.Random(11)
    stock = [encoded(k, scene()) for k in (".jpg", ".png", ".tif", ".webp", ".bmp")]
    stock += [jpeg_marked(scene(), 6), tiff_marked(scene(), 6), CMYK]
    ends = {"read": 0, "refused": 0}
    for _ in range(1500):
        raw = bytearray(dice.choice(stock))
        for _ in range(dice.randint(1, 4)):
            at = dice.randrange(min(len(raw), 200) if dice.random() < 0.7 else len(raw))
            if dice.random() < 0.7:
                raw[at] = dice.randrange(256)
            else:
                del raw[at : at + dice.randint(1, 50)]
        try:
            picture = read_picture(put(bytes(raw)))
        except PictureError:
            ends["refused"] += 1
        else:
            ends["read"] += 1
            assert picture.dtype == np.uint8 and picture.ndim == 3
    assert min(ends.values()) > 200
    assert capfd.readouterr().err == ""


def rig(width, height) -> Rig:
    return Rig(width, height, np.diag([1000.0, 1000.0, 1.0]), np.zeros(5), [3.1, 0, 0], [0, 0, 300])


def test_a_picture_of_another_size_is_refused_with_the_reason():
    picture = np.zeros((1080, 1920, 3), np.uint8)
    check_size(rig(1920, 1080), picture)
    check_size(rig(1920, 1080), Frame(picture, 0, 0.0))
    with pytest.raises(RigError, match="1080 x 1920.*turned by a quarter.*camera held"):
        check_size(rig(1080, 1920), picture)
    with pytest.raises(RigError, match=r"4000 x 3000, the picture has 1920 x 1080 px; use the"):
        check_size(rig(4000, 3000), picture)
    with pytest.raises(RigError, match="perhaps it was only scaled"):
        check_size(dataclasses.replace(rig(3840, 2160)), picture)
