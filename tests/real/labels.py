"""Labels of a picture against labels made by hand: fraction, overlap, distance of the borders."""
import numpy as np
from scipy import ndimage

CEMENTITE = 4  # enum kb_phase
NETWORK, SPHEROIDITE, WIDMANSTAETTEN = 1, 2, 3  # of the hand-made labels


def proeutectoid(truth):
    """Both habits of proeutectoid cementite; spheroidite belongs to the constituent beside it."""
    return (truth == NETWORK) | (truth == WIDMANSTAETTEN)


def border(mask):
    """Pixels of the mask that have a neighbour outside it; the frame is no border."""
    padded = np.pad(mask, 1, mode="edge")
    return mask & ~ndimage.binary_erosion(padded)[1:-1, 1:-1]


def border_distance(found, true):
    """Mean over the border pixels of either mask of the distance to the other's border; NaN
    where one has none."""
    a, b = border(found), border(true)
    if not a.any() or not b.any():
        return float("nan")
    to_b = ndimage.distance_transform_edt(~b)[a]
    to_a = ndimage.distance_transform_edt(~a)[b]
    return float(np.concatenate([to_b, to_a]).mean())


def overlap(found, true):
    either = (found | true).sum()
    return float((found & true).sum() / either) if either else 1.0


def figures(found, truth, pixel_um):
    true = proeutectoid(truth)
    distance = border_distance(found, true)
    return {
        "cementite_fraction": float(found.mean()),
        "cementite_error": float(found.mean() - true.mean()),
        "iou_cementite": overlap(found, true),
        "iou_rest": overlap(~found, ~true),
        "network_found": float(found[truth == NETWORK].mean()),
        "border_px": distance,
        "border_um": distance * pixel_um,
    }
