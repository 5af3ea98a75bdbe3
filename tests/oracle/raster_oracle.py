"""The raster stage against SciPy, scikit-image and OpenCV on the same pictures.

usage: raster_oracle.py RASTER_DUMP

Exits 77 (skipped) where those libraries are not installed, 1 at the first difference.
"""
import subprocess
import sys
import tempfile
from pathlib import Path

try:
    import cv2
    import numpy as np
    from scipy import ndimage
    from skimage import measure, morphology
except ImportError as missing:
    print("skipped:", missing)
    sys.exit(77)

RADII = (1, 2, 3, 6, 17, 40)
SIZES = ((1, 1), (1, 83), (77, 1), (64, 64), (131, 97), (413, 307))


def pictures(rng, width, height):
    """A grey picture and a mask of blobs (smoothed noise cut at its median, as phases look)."""
    rough = rng.normal(size=(height, width))
    blobs = ndimage.gaussian_filter(rough, 3.0)
    mask = (blobs > np.median(blobs)).astype(np.uint8)
    grey = np.clip(128 + 60 * rough + 40 * mask, 0, 255).astype(np.uint8)
    return grey, mask


class Ours:
    """Runs the dumper on one pair of pictures."""

    def __init__(self, program, folder, grey, mask):
        self.program, self.folder, self.shape = program, folder, grey.shape
        grey.tofile(folder / "grey")
        mask.tofile(folder / "mask")

    def __call__(self, what, number=0, kind=np.uint8):
        height, width = self.shape
        names = [str(self.folder / name) for name in ("grey", "mask", "out")]
        numbers = [str(width), str(height), str(number)]
        subprocess.run([self.program, what, *numbers, *names], check=True)
        result = np.fromfile(self.folder / "out", dtype=kind)
        return result if what == "histogram" else result.reshape(self.shape)


def same(what, ours, theirs):
    differ = np.count_nonzero(np.asarray(ours) != np.asarray(theirs))
    if differ:
        sys.exit(f"{what}: {differ} of {np.size(ours)} values differ")


def rounded(what, ours, exact):
    """Ours is `exact` rounded; where exact is a half but for its own error, either way will do."""
    worst = np.max(np.abs(ours.astype(np.float64) - exact))
    if not worst <= 0.5 + 1e-6:
        sys.exit(f"{what}: off by {worst}")


def check_filters(ours, grey, mask):
    counts = np.bincount(grey[mask == 1], minlength=256)
    same("histogram", ours("histogram", kind=np.uint64), counts)
    same("median", ours("median"), ndimage.median_filter(grey, 3, mode="nearest"))
    row = np.array([1, 2, 1], np.float64) / 4
    exact = ndimage.correlate(grey.astype(np.float64), np.outer(row, row), mode="nearest")
    same("smooth", ours("smooth"), np.floor(exact + 0.5))


def box_sum(values, radius):
    side = 2 * radius + 1
    return cv2.boxFilter(values.astype(np.float64), cv2.CV_64F, (side, side), normalize=False,
                         borderType=cv2.BORDER_CONSTANT)


def check_windows(ours, grey, mask):
    for radius in RADII:
        count = box_sum(mask, radius).round()
        total = box_sum(grey * mask, radius).round()
        squares = box_sum(np.square(grey.astype(np.float64)) * mask, radius).round()
        number = np.maximum(count, 1)
        mean = np.where(count > 0, total / number, grey)
        rounded(f"mean, radius {radius}", ours("mean", radius), mean)
        variance = np.maximum(number * squares - total**2, 0) / number**2
        rounded(f"deviation, radius {radius}", ours("deviation", radius),
                np.where(count > 0, np.sqrt(variance), 0))


def nearest_octagon(radius):
    """Of scikit-image's octagons that reach `radius` along the axes, the one that differs least
    from the disc of diameter 2 radius + 1."""
    y, x = np.ogrid[-radius:radius + 1, -radius:radius + 1]
    disc = 4 * (x * x + y * y) <= (2 * radius + 1) ** 2
    shapes = [morphology.octagon(2 * side + 1, radius - side) for side in range(radius + 1)]
    return min(shapes, key=lambda shape: np.count_nonzero((shape > 0) != disc)).astype(np.uint8)


def check_octagons(ours, mask):
    for radius in RADII:
        shape = nearest_octagon(radius)
        border = {"borderType": cv2.BORDER_CONSTANT}
        same(f"dilate, radius {radius}", ours("dilate", radius),
             cv2.dilate(mask, shape, borderValue=0, **border))
        same(f"erode, radius {radius}", ours("erode", radius),
             cv2.erode(mask, shape, borderValue=255, **border))


def check_distances(ours, mask):
    framed = np.pad(mask, 1)
    squared = np.rint(ndimage.distance_transform_edt(framed)[1:-1, 1:-1] ** 2)
    same("distance, clear outside", ours("distance", 1, np.uint32), squared)
    if mask.all():
        same("distance, nothing clear", ours("distance", 0, np.uint32), 2**32 - 1)
    else:
        squared = np.rint(ndimage.distance_transform_edt(mask) ** 2)
        same("distance", ours("distance", 0, np.uint32), squared)


def check_labels(ours, mask):
    for connectivity in (4, 8):
        regions = ours("label", connectivity, np.uint32)
        theirs = measure.label(mask, connectivity=connectivity // 4)
        same(f"regions, {connectivity}-connected", regions, theirs)
        count, _, table, _ = cv2.connectedComponentsWithStats(mask, connectivity=connectivity)
        same("number of regions", regions.max(), count - 1)
        areas = np.sort(np.bincount(regions.ravel())[1:])
        same("areas", areas, np.sort(table[1:, cv2.CC_STAT_AREA]))


def main():
    rng = np.random.default_rng(20240817)
    with tempfile.TemporaryDirectory() as folder:
        for width, height in SIZES:
            grey, mask = pictures(rng, width, height)
            ours = Ours(sys.argv[1], Path(folder), grey, mask)
            check_filters(ours, grey, mask)
            check_windows(ours, grey, mask)
            check_octagons(ours, mask)
            check_distances(ours, mask)
            check_labels(ours, mask)
            noise = (rng.random((height, width)) < 0.6).astype(np.uint8)
            ours = Ours(sys.argv[1], Path(folder), grey, noise)
            check_labels(ours, noise)
            check_distances(ours, noise)
            print(f"{width} x {height}: the same")


if __name__ == "__main__":
    main()
