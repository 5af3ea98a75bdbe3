#!/usr/bin/python3
"""Particles against scikit-image and OpenCV on the same masks.

    morphology_oracle.py DUMP [PICTURE]

DUMP is the program made of morphology_dump.c; PICTURE a real micrograph of ductile iron,
thresholded here. Where the definitions agree, figures must agree to rounding:

  area, box, centroid  scikit-image regionprops (its centroid is of pixel indices: + 0.5)
  perimeter            perimeter_crofton(directions=4): the same formula
  axes                 regionprops' central moments, plus 1/12: a pixel is a square, not a point
  solidity             pixels in the hull of pixel centres: OpenCV convexHull, counted with
                       pointPolygonTest
  maximum Feret        largest distance between hull corners (pixel centres) + 0.5
  minimum Feret        least width over the edges of that hull + 0.5

On grey pictures the sub-pixel outline is held against find_contours at the level midway: it takes
back what blur took, so it may be longer by 2 pi k and its area greater by k times the length, with
k = sigma^2 / 2R the shift of a bend of radius R; and unlike find_contours it follows no noise.

Where they differ the difference is stated: OpenCV's minAreaRect holds the least-area rectangle,
whose shorter side is at least the least width. Exits 77 where the libraries are missing.
"""
import csv
import io
import subprocess
import sys
import tempfile

try:
    import cv2
    import numpy as np
    from skimage import measure
except ImportError as missing:
    print("skipped:", missing)
    sys.exit(77)


def write_pgm(file, picture):
    file.write(b"P5\n%d %d\n255\n" % (picture.shape[1], picture.shape[0]))
    file.write(picture.astype(np.uint8).tobytes())
    file.flush()


def dump(program, mask, px_um, rules, grey=None):
    with tempfile.NamedTemporaryFile(suffix=".pgm") as file, \
            tempfile.NamedTemporaryFile(suffix=".pgm") as picture:
        write_pgm(file, mask)
        command = [program, file.name, str(px_um), rules]
        if grey is not None:
            write_pgm(picture, grey)
            command.append(picture.name)
        out = subprocess.run(command, capture_output=True, text=True, check=True)
    rows = list(csv.DictReader(io.StringIO(out.stdout)))
    for row in rows:
        for key, value in row.items():
            if key not in ("state", "form"):
                row[key] = float(value)
    return rows


def near(name, got, want, tolerance):
    if not abs(got - want) <= tolerance:
        sys.exit(f"{name} is {got}, expected {want} within {tolerance}")


def hull_pixels(mask):
    """Pixels whose centre lies in or on the hull of the pixel centres of the mask."""
    points = np.argwhere(mask)[:, ::-1].astype(np.int32)
    hull = cv2.convexHull(points)
    if len(hull) < 3:
        return len(points), hull  # one pixel or a straight line
    count = 0
    for y in range(mask.shape[0]):
        for x in range(mask.shape[1]):
            count += cv2.pointPolygonTest(hull, (x, y), False) >= 0
    return count, hull


def compare(program, mask, name):
    rows = dump(program, mask, 0.5, "plain")
    labels = measure.label(mask, connectivity=2)
    regions = measure.regionprops(labels)
    assert len(rows) == len(regions) > 0, f"{name}: {len(rows)} particles, {len(regions)} regions"
    # both number regions in the order of their first pixel, row by row
    for row, region in zip(rows, regions):
        near("area", row["area"], region.area, 0)
        top, left, bottom, right = region.bbox
        assert (row["box_x"], row["box_y"]) == (left, top)
        assert (row["box_w"], row["box_h"]) == (right - left, bottom - top)
        near("x", row["x"], region.centroid[1] + 0.5, 1e-9)
        near("y", row["y"], region.centroid[0] + 0.5, 1e-9)
        # scikit-image pads, so a region on the frame is closed there, as here
        padded = np.pad(region.image, 1)
        near("perimeter", row["perimeter"], measure.perimeter_crofton(padded, directions=4), 1e-9)
        moments = region.moments_central
        xx = moments[0, 2] / region.area + 1 / 12
        yy = moments[2, 0] / region.area + 1 / 12
        xy = moments[1, 1] / region.area
        axes = 4 * np.sqrt(np.linalg.eigvalsh([[xx, xy], [xy, yy]]))
        near("minor axis", row["minor"], axes[0], 1e-6)
        near("major axis", row["major"], axes[1], 1e-9 * max(1, axes[1]))
        # scikit-image takes pixels as points: its squared axis lacks 16 / 12
        near("scikit-image's major axis", row["major"],
             np.hypot(region.axis_major_length, 4 / np.sqrt(12)), 1e-6)
        pixels, hull = hull_pixels(region.image)
        near("solidity", row["solidity"], region.area / pixels, 1e-12)
        corners = hull[:, 0, :].astype(float)
        longest = np.sqrt(((corners[:, None] - corners[None]) ** 2).sum(axis=2)).max()
        near("maximum Feret", row["feret_max"], longest + 0.5, 1e-9)
        (_, sides, _) = cv2.minAreaRect(hull)
        # least-area rectangle: in single precision, and no narrower than the least width
        assert row["feret_min"] - 0.5 <= min(sides) + 1e-3 * max(1, max(sides)), "minimum Feret"
        widths = [least_width(corners)] if len(corners) > 2 else [0.0]
        near("minimum Feret", row["feret_min"], min(widths) + 0.5, 1e-9)
    print(f"{name}: {len(rows)} particles agree")


def least_width(corners):
    """By brute force over the edges."""
    least = np.inf
    for i in range(len(corners)):
        edge = corners[(i + 1) % len(corners)] - corners[i]
        normal = np.array([-edge[1], edge[0]]) / np.hypot(*edge)
        reach = (corners - corners[i]) @ normal
        least = min(least, reach.max() - reach.min())
    return least


def filled_area(program):
    """With every hole small enough to fill, areas are those of scikit-image's filled regions."""
    from scipy import ndimage
    discs = np.zeros((300, 300), bool)
    y, x = np.mgrid[0:300, 0:300]
    for cx, cy, radius in ((60, 70, 40), (180, 80, 55), (110, 210, 60), (240, 230, 30)):
        distance = np.hypot(x - cx, y - cy)
        ring = (distance > 5) & (distance < 9)
        discs |= (distance < radius) & ~ring & ((x * 7 + y * 13) % 31 != 0)
    rows = dump(program, discs, 0.5, "rules")
    filled = ndimage.binary_fill_holes(discs)
    regions = measure.regionprops(measure.label(filled, connectivity=2))
    assert len(rows) == len(regions), (len(rows), len(regions))
    for row, region in zip(rows, regions):
        near("filled area", row["area"], region.area, 0)
    print("filled areas agree")


def contour_of(grey, level, row):
    """Area and length of find_contours' loop about the particle's centroid."""
    best = (0.0, 0.0)
    for loop in measure.find_contours(grey.astype(float), level):
        if not np.allclose(loop[0], loop[-1]):
            continue
        y, x = loop[:, 0] + 0.5, loop[:, 1] + 0.5
        area = 0.5 * abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
        centre = abs(x.mean() - row["x"]) + abs(y.mean() - row["y"])
        if centre < 3 and area > best[0]:
            best = (area, np.hypot(np.diff(x), np.diff(y)).sum())
    return best


def outlines(program):
    """Irregular nodules, drawn eight times finer, blurred, noise-free and noisy."""
    fine, blur = 8, 0.8
    rng = np.random.default_rng(12)
    picture = np.zeros((300 * fine, 400 * fine), np.uint8)
    for k in range(12):
        centre = np.array([60 + 93 * (k % 4), 50 + 100 * (k // 4)]) + rng.random(2)
        angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
        radius = 8 + 1.6 * k
        wave = sum(0.12 / m * np.cos(m * angle + 6.28 * rng.random()) for m in (2, 3, 4))
        points = centre + (radius * (1 + wave))[:, None] * np.c_[np.cos(angle), np.sin(angle)]
        cv2.fillPoly(picture, [np.round(points * fine).astype(np.int32)], 1)
    soft = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), blur * fine)
    soft = soft.reshape(300, fine, 400, fine).mean(axis=(1, 3))
    calm = {}
    for noise in (0.0, 4.0):
        grey = np.clip(np.round(210 - 150 * soft + noise * rng.standard_normal(soft.shape)), 0, 255)
        rows = dump(program, grey <= 135, 1.0, "plain", grey)
        rows = [row for row in rows if row["area"] > 50]
        assert len(rows) == 12, len(rows)
        truth = measure.regionprops(measure.label(picture, connectivity=2))
        lengthened = []
        for row in rows:
            assert row["subpixel"] == 1
            area, length = contour_of(grey, 135, row)
            # k summed over a closed curve: the area lost to blur is sigma^2 / 2 times 2 pi
            sigma2 = blur ** 2 + 1 / 12
            near("outline's area", row["area"], area + np.pi * sigma2, 0.006 * area)
            near("outline's length", row["perimeter"], length * (1 + np.pi * sigma2 / 2 / area),
                 (0.006 if noise == 0 else 0.03) * length)
            lengthened.append(length / row["perimeter"] - 1)
            x, y = row["x"] * fine, row["y"] * fine
            whole = min(truth, key=lambda r: np.hypot(r.centroid[1] - x, r.centroid[0] - y))
            near("true area", row["area"], whole.area / fine ** 2, 0.008 * row["area"])
            calm.setdefault(round(row["x"]) // 40 + 100 * (round(row["y"]) // 40), row)
        print(f"outlines agree, noise {noise}: find_contours is "
              f"{100 * np.mean(lengthened):.1f} % longer")
    for row in rows:
        still = calm[round(row["x"]) // 40 + 100 * (round(row["y"]) // 40)]
        near("length in noise", row["perimeter"], still["perimeter"], 0.01 * still["perimeter"])
        near("Feret diameter in noise", row["feret_max"], still["feret_max"], 0.3)


def random_blobs(seed, sigma, share):
    rng = np.random.default_rng(seed)
    noise = cv2.GaussianBlur(rng.standard_normal((260, 310)), (0, 0), sigma)
    return noise > np.quantile(noise, 1 - share)


def real_mask(path):
    """Dark graphite on an uneven bright ground: background by a wide maximum, then Otsu."""
    grey = cv2.imread(path, cv2.IMREAD_GRAYSCALE)
    assert grey is not None, path
    grey = cv2.GaussianBlur(grey[:600, :700], (0, 0), 1)
    ground = cv2.GaussianBlur(cv2.dilate(grey, np.ones((61, 61))), (0, 0), 30)
    even = np.clip(grey / ground.astype(float) * 200, 0, 255).astype(np.uint8)
    return cv2.threshold(even, 0, 255, cv2.THRESH_BINARY_INV + cv2.THRESH_OTSU)[1] > 0


def look_at_real(program, mask):
    """Most graphite of this ductile iron is spheroidal to anyone's eye, and few particles touch."""
    rows = dump(program, mask, 0.5, "rules")
    counting = [row for row in rows if row["state"] == "counts"]
    spheroidal = sum(row["area"] for row in counting if row["form"] in ("V", "VI"))
    share = spheroidal / sum(row["area"] for row in counting)
    parted = sum(row["parted"] for row in rows)
    print(f"real picture: {len(counting)} count, {100 * share:.0f} % of their area V + VI, "
          f"{parted:.0f} parted")
    assert len(counting) > 30 and share > 0.8 and parted < 0.15 * len(rows)


def main():
    program = sys.argv[1]
    for seed, sigma, share in ((1, 1.0, 0.3), (2, 3.0, 0.2), (3, 6.0, 0.4), (4, 2.0, 0.5)):
        compare(program, random_blobs(seed, sigma, share), f"random blobs {seed}")
    filled_area(program)
    outlines(program)
    if len(sys.argv) > 2:
        mask = real_mask(sys.argv[2])
        compare(program, mask, "real picture")
        look_at_real(program, mask)


if __name__ == "__main__":
    main()
