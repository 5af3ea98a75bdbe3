"""The intake against OpenCV's decoders and hashlib, on real pictures and files that OpenCV wrote.

usage: intake_oracle.py INTAKE_DUMP DATA_FOLDER

Exits 77 (skipped) where those libraries are not installed, 1 at the first difference.
"""
import hashlib
import struct
import subprocess
import sys
import tempfile
from pathlib import Path

try:
    import cv2
    import numpy as np
except ImportError as missing:
    print("skipped:", missing)
    sys.exit(77)

COLOUR_LEVELS = 1  # OpenCV rounds its own fixed-point weights
checked = 0


class Ours:
    """One picture as the product reads it."""

    def __init__(self, program, path, scratch):
        out = scratch / "grey"
        words = subprocess.run([program, path, out], check=True, capture_output=True,
                               text=True).stdout.split()
        width, height, self.bits = (int(word) for word in words[:3])
        self.low, self.high, self.px_um = (float(word) for word in words[3:6])
        self.sha256 = words[6]
        self.grey = np.fromfile(out, np.uint8).reshape(height, width)


def compare(name, ours, theirs, levels):
    global checked
    if ours.shape != theirs.shape:
        sys.exit(f"{name}: {ours.shape}, OpenCV says {theirs.shape}")
    apart = np.abs(ours.astype(int) - theirs.astype(int)).max()
    if apart > levels:
        sys.exit(f"{name}: {apart} levels apart, at most {levels} allowed")
    checked += 1


def windowed(samples):
    """16 bit to 8: all but one pixel in 10 000 at either end, by sorting."""
    ordered = np.sort(samples, axis=None).astype(float)
    outside = ordered.size // 10000
    low, high = ordered[outside], ordered[-1 - outside]
    level = np.clip((samples - low) / (high - low), 0, 1) * 255
    return np.floor(level + 0.5).astype(np.uint8), low, high


def with_orientation(jpeg, orientation):
    """The JPEG with an EXIF block behind its first marker."""
    exif = b"Exif\0\0MM\0*" + struct.pack(">IHHHIHHI", 8, 1, 0x0112, 3, 1, orientation, 0, 0)
    return jpeg[:2] + b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif + jpeg[2:]


def check_real(program, data, scratch):
    for path in sorted(data.rglob("*.jpg")):
        theirs = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
        levels = COLOUR_LEVELS if theirs.ndim == 3 else 0
        ours = Ours(program, path, scratch)
        compare(path.name, ours.grey, cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), levels)
        if ours.sha256 != hashlib.sha256(path.read_bytes()).hexdigest():
            sys.exit(f"{path.name}: digests differ")
        for orientation in range(1, 9):
            turned = scratch / f"turned{orientation}.jpg"
            turned.write_bytes(with_orientation(path.read_bytes(), orientation))
            compare(turned.name, Ours(program, turned, scratch).grey,
                    cv2.imread(str(turned), cv2.IMREAD_GRAYSCALE), levels)


def check_written(program, scratch):
    rng = np.random.default_rng(17)
    smooth = cv2.GaussianBlur(rng.normal(size=(301, 257, 3)), (0, 0), 5)
    colour = cv2.normalize(smooth, None, 0, 255, cv2.NORM_MINMAX).astype(np.uint8)
    noise = rng.integers(0, 40, (301, 257))
    deep = (colour[..., 1].astype(int) * 37 + noise).astype(np.uint16)
    deep[5, 5:9] = 65535  # hot pixels, fewer than the window leaves out
    grey = colour[..., 0]
    for ending in ("png", "tif"):
        for name, picture, levels in (("grey", grey, 0), ("colour", colour, COLOUR_LEVELS)):
            path = scratch / f"{name}.{ending}"
            cv2.imwrite(str(path), picture)
            theirs = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
            compare(path.name, Ours(program, path, scratch).grey, theirs, levels)
        path = scratch / f"deep.{ending}"
        cv2.imwrite(str(path), deep)
        ours = Ours(program, path, scratch)
        theirs, low, high = windowed(deep)
        compare(path.name, ours.grey, theirs, 0)
        if (ours.low, ours.high) != (low, high):
            sys.exit(f"{path.name}: window {ours.low} {ours.high}, sorting says {low} {high}")


with tempfile.TemporaryDirectory() as folder:
    check_real(sys.argv[1], Path(sys.argv[2]), Path(folder))
    check_written(sys.argv[1], Path(folder))
if checked < 24:
    sys.exit(f"only {checked} pictures compared")
print(checked, "pictures agree")
