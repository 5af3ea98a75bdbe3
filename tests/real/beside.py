"""Plain methods on the same pictures, so that a reader sees what the segmentation is worth.

Each gets the 3 x 3 median of the picture. Which of its classes is cementite is chosen WITH
HINDSIGHT, as the class or group of classes that overlaps the hand-made labels best: no user has
that help, so these figures are the most that a method can reach, not what it would report.
"""
import itertools

import cv2
import numpy as np
from scipy import ndimage
from skimage import filters, segmentation

import labels


def best_group(classes, truth):
    """The union of classes, not all, that overlaps the truth most."""
    true = labels.proeutectoid(truth)
    names = np.unique(classes)
    groups = (group for size in range(1, len(names))
              for group in itertools.combinations(names, size))
    return max((np.isin(classes, group) for group in groups),
               key=lambda mask: labels.overlap(mask, true))


def otsu(grey, count):
    return np.digitize(grey, filters.threshold_multiotsu(grey, count))


def kmeans(grey, count):
    cv2.setRNGSeed(1)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 100, 0.1)
    flags = cv2.KMEANS_PP_CENTERS
    _, best, _ = cv2.kmeans(grey.reshape(-1, 1).astype(np.float32), count, None, stop, 5, flags)
    return best.reshape(grey.shape)


def watershed(grey):
    """Basins of the gradient (Gaussian of 2 px) from its level places, then Otsu of basin means."""
    slope = filters.sobel(ndimage.gaussian_filter(grey.astype(float), 2.0))
    seeds, _ = ndimage.label(slope < np.quantile(slope, 0.25))
    basins = segmentation.watershed(slope, seeds)
    means = ndimage.mean(grey, basins, np.arange(basins.max() + 1))
    return otsu(means[basins], 2)


def smooth(grey, pixel_um):
    """Otsu of the local standard deviation in windows of 2 um, no grey at all."""
    side = max(3, int(round(2.0 / pixel_um)) | 1)
    level = ndimage.gaussian_filter(grey.astype(float), 1.0)
    mean = ndimage.uniform_filter(level, side)
    spread = np.sqrt(np.maximum(ndimage.uniform_filter(level * level, side) - mean * mean, 0.0))
    return otsu(np.log1p(spread), 2)


def methods(grey, pixel_um):
    grey = cv2.medianBlur(grey, 3)
    yield "otsu-2", otsu(grey, 2)
    yield "otsu-3", otsu(grey, 3)
    yield "k-means-3", kmeans(grey, 3)
    yield "watershed", watershed(grey)
    yield "smoothness", smooth(grey, pixel_um)


def rows(grey, truth, pixel_um):
    """(method, figure, value) of every method."""
    for method, classes in methods(grey, pixel_um):
        found = best_group(classes, truth)
        for figure, value in labels.figures(found, truth, pixel_um).items():
            yield method, figure, value
