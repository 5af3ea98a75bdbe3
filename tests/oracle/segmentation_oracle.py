"""The segmentation stage against scikit-image and OpenCV.

usage: segmentation_oracle.py SEGMENTATION_DUMP PICTURE...

PICTURE: as-polished ductile iron. Exits 77 (skipped) where those libraries are not installed, 1 at
the first difference.
"""
import subprocess
import sys

try:
    import cv2
    import numpy as np
    from scipy import ndimage
    from skimage import filters, morphology
except ImportError as missing:
    print("skipped:", missing)
    sys.exit(77)


def between(bins, thresholds):
    """Between-class over total variance, by the definition of Otsu (1979)."""
    level = np.arange(256)
    share = bins / bins.sum()
    mean = (share * level).sum()
    edges = [-1, *thresholds, 255]
    sum_ = 0.0
    for low, high in zip(edges, edges[1:]):
        part = slice(low + 1, high + 1)
        weight = share[part].sum()
        if weight > 0:
            sum_ += weight * ((share[part] * level[part]).sum() / weight - mean) ** 2
    return sum_ / (share * (level - mean) ** 2).sum()


def histograms(rng):
    for _ in range(6):
        parts = [rng.normal(rng.uniform(30, 220), rng.uniform(3, 25), rng.integers(500, 60000))
                 for _ in range(rng.integers(2, 5))]
        grey = np.clip(np.concatenate(parts).round(), 0, 255).astype(np.uint8)
        yield np.bincount(grey, minlength=256), grey


def otsu(dump, rng):
    for bins, grey in histograms(rng):
        for classes in (2, 3):
            out = subprocess.run([dump, "otsu", str(classes)], input=" ".join(map(str, bins)),
                                 capture_output=True, text=True, check=True).stdout.split()
            ours = [int(v) for v in out[1:classes]]
            theirs = [int(v) for v in filters.threshold_multiotsu(grey, classes)]
            best = between(bins, theirs)
            # ties in gaps of the histogram may be cut elsewhere: the criterion must be the same
            assert abs(between(bins, ours) - best) < 1e-9, (ours, theirs)
            assert abs(float(out[3]) - best) < 1e-9, (out, best)


def graphite(dump, path):
    """A plain script of its own: background by a wide median, Otsu, small things removed."""
    colour = cv2.imread(str(path), cv2.IMREAD_COLOR)
    grey = cv2.cvtColor(colour, cv2.COLOR_BGR2GRAY)
    small = cv2.resize(grey, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    light = ndimage.percentile_filter(small, 80, size=41)
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 12)
    light = cv2.resize(light, grey.shape[::-1], interpolation=cv2.INTER_LINEAR)
    flat = np.clip(cv2.medianBlur(grey, 3) / light * light.mean(), 0, 255)
    dark = flat <= filters.threshold_otsu(flat)
    dark = morphology.remove_small_objects(dark, 13, connectivity=2)
    out = subprocess.run([dump, "labels", "ductile-iron", "light-unetched", str(path)],
                         capture_output=True, check=True).stdout
    ours = np.frombuffer(out, np.uint8).reshape(grey.shape) == 1
    overlap = (ours & dark).sum() / (ours | dark).sum()
    print(f"{path}: graphite {ours.mean():.4f}, script {dark.mean():.4f}, overlap {overlap:.4f}")
    assert abs(ours.mean() - dark.mean()) < 0.005
    assert overlap > 0.96


def main():
    dump = sys.argv[1]
    otsu(dump, np.random.default_rng(5))
    for path in sys.argv[2:]:
        graphite(dump, path)
    print("segmentation agrees")


if __name__ == "__main__":
    main()
