#!/usr/bin/env python3
"""The steps of `keelblock measure` on one etched ductile-iron field, scripted on OpenCV.

  opencv_steps.py FIELD PX_UM      measures and prints the figures as JSON
  opencv_steps.py --start-only     only starts Python and imports

The scripted opponent of scripts/bench; the same steps in the same order as opencv_steps.cpp beside
it, which explains them. No loop of Python's runs over pixels: only over contours and particles.
"""

import hashlib
import json
import sys

import cv2
import numpy as np

# As in the program's defaults, in micrometres.
CLEAN_UM, COLONY_UM, LINE_UM, MIN_FERET_UM = 2.0, 4.0, 2.0, 10.0
PART_DEPTH_UM, LEAST_RADIUS_UM = 1.0, 2.5
# A neck this share of the lesser radius, or narrower, parts; rounder regions are not looked at.
PART_NECK, SUSPECT_SOLIDITY = 0.75, 0.97
NODULE_SHAPE, PART_SOLIDITY = 0.6, 0.9


def histogram(grey):
    return cv2.calcHist([grey], [0], None, [256], [0, 256]).ravel().astype(np.float64)


def otsu3(bins):
    """The exact pair of thresholds, by prefix sums over all pairs at once."""
    count = np.concatenate([[0], np.cumsum(bins)])
    total = np.concatenate([[0], np.cumsum(bins * np.arange(256))])

    def term(first, end):
        n, s = count[end] - count[first], total[end] - total[first]
        return np.divide(s * s, n, out=np.zeros(np.broadcast(n, s).shape), where=n > 0)
    a, b = np.triu_indices(254, 0)
    b = b + 1
    best = int(np.argmax(term(0, a + 1) + term(a + 1, b + 1) + term(b + 1, 256)))
    return int(a[best]), int(b[best])


def even_light(grey):
    """Divide out a second-order surface fitted to block means of the brightest class."""
    _, high = otsu3(histogram(grey))
    height, width = grey.shape
    size = (width // 32, height // 32)
    bright = cv2.threshold(grey, high, 0, cv2.THRESH_TOZERO)[1]
    is_bright = cv2.threshold(grey, high, 255, cv2.THRESH_BINARY)[1]
    value = cv2.resize(bright, size, interpolation=cv2.INTER_AREA).ravel().astype(np.float64)
    share = cv2.resize(is_bright, size, interpolation=cv2.INTER_AREA).ravel() / 255.0
    v, u = np.divmod(np.arange(value.size), size[0])
    u, v = 2.0 * u / size[0] - 1, 2.0 * v / size[1] - 1
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=1)
    usable = share > 0.1
    wanted = np.where(usable, value / np.maximum(share, 0.1), 0)
    weight = np.where(usable, share, 0)
    for _ in range(2):
        solution = np.linalg.lstsq(terms * weight[:, None], wanted * weight, rcond=None)[0]
        weight = weight / (1 + ((terms @ solution - wanted) / 5.0) ** 2)
    surface = (terms @ solution).reshape(size[1], size[0])
    surface8 = np.clip(np.rint(surface * (160 / surface.mean())), 1, 255).astype(np.uint8)
    surface8 = cv2.resize(surface8, (width, height), interpolation=cv2.INTER_LINEAR)
    return cv2.divide(grey, surface8, scale=160)


def clean(mask, least):
    """Remove regions and fill holes below `least` pixels; the outer contours of what stays."""
    contours, links = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    kept, regions, holes = [], [], []
    for contour, parent in zip(contours, links[0, :, 3] if len(contours) else []):
        enclosed, border = cv2.contourArea(contour), len(contour) / 2
        if parent >= 0:
            if enclosed - border + 1 < least:
                holes.append(contour)
        elif enclosed + border + 1 < least:
            regions.append(contour)
        else:
            kept.append(contour)
    for contour in regions:
        cv2.drawContours(mask, [contour], 0, 0, cv2.FILLED)
    for contour in holes:
        cv2.drawContours(mask, [contour], 0, 255, cv2.FILLED)
    return kept


def is_deep(region, deep):
    """Whether most of a dark region is nearer to the grey of graphite than to the threshold."""
    x, y, width, height = cv2.boundingRect(region)
    mask = np.zeros((height, width), np.uint8)
    cv2.fillPoly(mask, [region - np.array((x, y))], 1)
    pixels = cv2.countNonZero(mask)
    return cv2.countNonZero(cv2.bitwise_and(mask, deep[y:y + height, x:x + width])) > pixels // 2


def feret(hull):
    points = hull.reshape(-1, 2).astype(np.float64)
    edge = np.roll(points, -1, axis=0) - points
    to = points[None, :, :] - points[:, None, :]
    most = np.sqrt((to * to).sum(axis=2).max())
    length = np.maximum(np.hypot(edge[:, 0], edge[:, 1]), 1e-9)
    across = np.abs(edge[:, None, 0] * to[:, :, 1] - edge[:, None, 1] * to[:, :, 0])
    least = (across.max(axis=1) / length).min()
    return most + 1, least + 1


def measure(outline, shape, px_um):
    hull = cv2.convexHull(outline)
    x, y, width, height = cv2.boundingRect(outline)
    m = cv2.moments(outline)
    area = cv2.contourArea(outline) + len(outline) / 2 + 1
    perimeter = cv2.arcLength(outline, True)
    most, least = feret(hull)
    hull_area = max(area, cv2.contourArea(hull) + cv2.arcLength(hull, True) / 2)
    major = minor = 0.0
    if m["m00"] > 0:
        a, b, c = (m[k] / m["m00"] for k in ("mu20", "mu11", "mu02"))
        root = np.hypot(a - c, 2 * b)
        major, minor = np.sqrt(8 * (a + c + root)), np.sqrt(8 * max(0.0, a + c - root))
    on_frame = x == 0 or y == 0 or x + width == shape[1] or y + height == shape[0]
    shape_factor = area / (np.pi / 4 * most * most)
    counts = not on_frame and most * px_um >= MIN_FERET_UM
    return {"counts": counts, "area": area, "perimeter": perimeter, "feret_max": most,
            "feret_min": least, "shape_factor": shape_factor, "solidity": area / hull_area,
            "aspect": most / least, "major": major, "minor": minor,
            "circularity": min(1.0, 4 * np.pi * area / max(1.0, perimeter**2)),
            "nodule": counts and shape_factor >= NODULE_SHAPE}


def neck_between(distance, a, b):
    """Least distance to the edge on the way between two places."""
    steps = int(np.abs(b - a).max()) + 1
    way = np.rint(np.linspace(a, b, steps)).astype(int)
    return distance[way[:, 1], way[:, 0]].min()


def cores_of(distance, px_um):
    """Deepest places (x, y) and depths, deepest first, that a neck parts from every deeper one."""
    apart = 2 * round(MIN_FERET_UM / px_um / 4) + 1
    highest = cv2.dilate(distance, np.ones((apart, apart), np.uint8))
    is_core = cv2.compare(distance, highest, cv2.CMP_GE)
    is_core[distance < LEAST_RADIUS_UM / px_um] = 0
    places = cv2.findNonZero(is_core)
    if places is None:
        return []
    places = places.reshape(-1, 2)
    depth = distance[places[:, 1], places[:, 0]]
    kept = []
    for i in np.argsort(-depth, kind="stable"):
        limit = min(depth[i] - PART_DEPTH_UM / px_um, PART_NECK * depth[i])
        if all(neck_between(distance, places[i], place) <= limit for place, _ in kept):
            kept.append((places[i], float(depth[i])))
    return kept


def part(outline, px_um):
    """Outlines of the nodules that touch within `outline`; just the outline where it is one. Each
    pixel goes to the core whose inscribed circle has the least power there."""
    x, y, width, height = cv2.boundingRect(outline)
    offset = (x - 1, y - 1)
    mask = np.zeros((height + 2, width + 2), np.uint8)
    cv2.fillPoly(mask, [outline - np.array(offset)], 255)
    distance = cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_5)
    cores = cores_of(distance, px_um)
    if len(cores) < 2:
        return [outline]
    v, u = np.ogrid[: height + 2, : width + 2]
    power = np.stack([(u - at[0]) ** 2 + (v - at[1]) ** 2 - depth**2 for at, depth in cores])
    nearest = power.argmin(axis=0)
    parts = []
    for i in range(len(cores)):
        one = np.where(nearest == i, mask, 0).astype(np.uint8)
        parts += cv2.findContours(one, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE, offset=offset)[0]
    return parts


def measure_parted(region, shape, px_um):
    """Parts of `region` where each is convincingly round, and all are rounder than it is itself."""
    whole = measure(region, shape, px_um)
    if whole["solidity"] < SUSPECT_SOLIDITY and whole["feret_max"] * px_um >= MIN_FERET_UM:
        outlines = part(region, px_um)
        if len(outlines) > 1:
            parts = [measure(one, shape, px_um) for one in outlines]
            area = sum(p["area"] for p in parts)
            round_ = sum(p["area"] * p["shape_factor"] for p in parts) / area
            if round_ > whole["shape_factor"] and all(
                    p["shape_factor"] >= NODULE_SHAPE and p["solidity"] >= PART_SOLIDITY
                    for p in parts):
                return parts
    return [whole]


def label(grey, px_um):
    """Masks of graphite and pearlite and the contours of graphite. Eats `grey`."""
    low, high = otsu3(histogram(grey))
    graphite = cv2.compare(grey, low, cv2.CMP_LE)
    deep = cv2.compare(grey, (low + cv2.mean(grey, graphite)[0]) / 2, cv2.CMP_LE)
    window = 2 * round(COLONY_UM / px_um / 2) + 1
    matrix = cv2.bitwise_not(graphite)
    cv2.bitwise_and(grey, matrix, dst=grey)
    total = cv2.boxFilter(grey, cv2.CV_16U, (window, window), normalize=False)
    cv2.bitwise_and(matrix, 1, dst=matrix)
    count = cv2.boxFilter(matrix, cv2.CV_8U, (window, window), normalize=False)
    limit = cv2.LUT(count, (np.arange(256) * high).astype(np.uint16))
    pearlite = cv2.compare(total, limit, cv2.CMP_LE)
    del total, count, limit

    line = 2 * round(LINE_UM / px_um / 2) + 1
    least = np.pi / 4 * (CLEAN_UM / px_um) ** 2
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (line, line))
    pearlite = cv2.morphologyEx(pearlite, cv2.MORPH_OPEN, disc)
    regions, shallow = [], []
    for region in clean(graphite, least):
        (regions if is_deep(region, deep) else shallow).append(region)
    cv2.drawContours(graphite, shallow, -1, 0, cv2.FILLED)
    cv2.bitwise_not(graphite, dst=matrix)
    cv2.bitwise_and(pearlite, matrix, dst=pearlite)
    clean(pearlite, least)
    cv2.bitwise_not(graphite, dst=matrix)
    cv2.bitwise_and(pearlite, matrix, dst=pearlite)
    return graphite, pearlite, regions


def main():
    path, px_um = sys.argv[1], float(sys.argv[2])
    cv2.setNumThreads(1)
    with open(path, "rb") as stream:
        data = stream.read()
    sha256 = hashlib.sha256(data).hexdigest()
    grey = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_GRAYSCALE)
    del data
    grey = cv2.medianBlur(even_light(grey), 3)
    graphite, pearlite, regions = label(grey, px_um)
    particles = [p for region in regions for p in measure_parted(region, graphite.shape, px_um)]

    rows = "\n".join(",".join(f"{v:.4g}" for v in p.values()) for p in particles)
    rated = sum(p["area"] for p in particles if p["counts"])
    nodular = sum(p["area"] for p in particles if p["nodule"])
    print(json.dumps({
        "sha256": sha256,
        "graphite": cv2.countNonZero(graphite) / graphite.size,
        "pearlite": cv2.countNonZero(pearlite) / graphite.size,
        "nodules": sum(bool(p["nodule"]) for p in particles),
        "counted": sum(bool(p["counts"]) for p in particles),
        "nodularity_percent": 100 * nodular / rated if rated else 0,
        "rows_bytes": len(rows)}))


if __name__ == "__main__":
    if sys.argv[1:] != ["--start-only"]:
        main()
