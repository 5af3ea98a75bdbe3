#!/usr/bin/env python3
"""The steps of `keelblock measure` on one etched ductile-iron field, scripted on scikit-image.

  skimage_steps.py FIELD PX_UM      measures and prints the figures as JSON
  skimage_steps.py --start-only     only starts Python and imports

Written as the library's own guides teach: whole-image arrays, regionprops_table, no Python loop
over pixels. The order of the steps is that of opencv_steps.cpp beside it, which explains them.
"""

import hashlib
import json
import sys

import numpy as np
from scipy import ndimage
from scipy.spatial import ConvexHull, QhullError
from skimage import feature, filters, io, measure, morphology, segmentation, transform

# As in the program's defaults, in micrometres.
CLEAN_UM, COLONY_UM, LINE_UM, MIN_FERET_UM = 2.0, 4.0, 2.0, 10.0


def even_light(grey):
    """Divide out a second-order surface fitted to block means of the brightest class."""
    high = filters.threshold_multiotsu(grey, 3)[1]
    bright = grey > high
    share = measure.block_reduce(bright, (32, 32), np.mean).ravel()
    blocks = measure.block_reduce(np.where(bright, grey, 0), (32, 32), np.mean)
    v, u = np.divmod(np.arange(share.size), blocks.shape[1])
    u, v = 2.0 * u / blocks.shape[1] - 1, 2.0 * v / blocks.shape[0] - 1
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=1)
    wanted = np.where(share > 0.1, blocks.ravel() / np.maximum(share, 0.1), 0)
    weight = np.where(share > 0.1, share, 0)
    for _ in range(2):
        solution = np.linalg.lstsq(terms * weight[:, None], wanted * weight, rcond=None)[0]
        weight = weight / (1 + ((terms @ solution - wanted) / 5.0) ** 2)
    surface = (terms @ solution).reshape(blocks.shape).astype(np.float32)
    surface = transform.resize(surface / surface.mean(), grey.shape, order=1)
    return np.clip(np.rint(grey / surface), 0, 255).astype(np.uint8)


def label_phases(grey, px_um):
    low, high = filters.threshold_multiotsu(grey, 3)
    graphite = grey <= low
    window = 2 * round(COLONY_UM / px_um / 2) + 1
    total = ndimage.uniform_filter(np.where(graphite, 0, grey).astype(np.float32), window)
    share = ndimage.uniform_filter((~graphite).astype(np.float32), window)
    pearlite = total <= high * share
    disc = morphology.disk(round(LINE_UM / px_um / 2))
    least = int(np.ceil(np.pi / 4 * (CLEAN_UM / px_um) ** 2))
    pearlite = ndimage.binary_opening(pearlite, disc)

    def clean(mask, connectivity):
        mask = morphology.remove_small_objects(mask, least, connectivity)
        return morphology.remove_small_holes(mask, least, 1)
    graphite = clean(graphite, 2)
    regions = measure.label(graphite, connectivity=2)
    deep = grey <= (low + grey[graphite].mean()) / 2
    share = ndimage.mean(deep, regions, np.arange(regions.max() + 1))
    share[0] = 0
    graphite = (share > 0.5)[regions]
    pearlite = clean(pearlite & ~graphite, 2) & ~graphite
    return graphite, pearlite


def part(graphite, px_um):
    """Labels of graphite particles, holes filled, touching nodules separated."""
    filled = ndimage.binary_fill_holes(graphite)
    distance = ndimage.distance_transform_edt(filled).astype(np.float32)
    distance = filters.gaussian(distance, 1)
    regions = measure.label(filled, connectivity=2)
    peaks = feature.peak_local_max(distance, min_distance=round(MIN_FERET_UM / px_um / 2),
                                   labels=regions, exclude_border=False)
    markers = np.zeros(graphite.shape, np.int32)
    markers[tuple(peaks.T)] = np.arange(1, len(peaks) + 1)
    return segmentation.watershed(-distance, markers, mask=filled)


def feret_min(coords):
    """Least width of the hull, which regionprops does not offer."""
    try:
        points = coords[ConvexHull(coords).vertices].astype(float)
    except QhullError:
        return 1.0
    edge = np.roll(points, -1, axis=0) - points
    to = points[None, :, :] - points[:, None, :]
    across = np.abs(edge[:, None, 0] * to[:, :, 1] - edge[:, None, 1] * to[:, :, 0])
    return (across.max(axis=1) / np.hypot(edge[:, 0], edge[:, 1])).min() + 1


def main():
    path, px_um = sys.argv[1], float(sys.argv[2])
    with open(path, "rb") as stream:
        sha256 = hashlib.sha256(stream.read()).hexdigest()
    grey = io.imread(path)
    grey = ndimage.median_filter(even_light(grey), 3)
    graphite, pearlite = label_phases(grey, px_um)
    labels = part(graphite, px_um)
    table = measure.regionprops_table(labels, properties=(
        "area", "bbox", "centroid", "perimeter_crofton", "feret_diameter_max", "solidity",
        "major_axis_length", "minor_axis_length", "coords"))
    widths = np.array([feret_min(c) for c in table.pop("coords")])
    area, most = table["area"], table["feret_diameter_max"]
    height, width = grey.shape
    on_frame = ((table["bbox-0"] == 0) | (table["bbox-1"] == 0) |
                (table["bbox-2"] == height) | (table["bbox-3"] == width))
    shape_factor = area / (np.pi / 4 * most**2)
    circularity = np.minimum(1, 4 * np.pi * area / np.maximum(1, table["perimeter_crofton"]) ** 2)
    counts = ~on_frame & (most * px_um >= MIN_FERET_UM)
    nodule = counts & (shape_factor >= 0.6)
    columns = [*table.values(), widths, most / widths, shape_factor, circularity]
    rows = "\n".join(",".join(f"{v:.4g}" for v in row) for row in zip(*columns))
    print(json.dumps({
        "sha256": sha256, "graphite": graphite.mean(), "pearlite": pearlite.mean(),
        "nodules": int(nodule.sum()), "counted": int(counts.sum()),
        "nodularity_percent": 100 * area[nodule].sum() / area[counts].sum(),
        "rows_bytes": len(rows)}))


if __name__ == "__main__":
    if sys.argv[1:] != ["--start-only"]:
        main()
