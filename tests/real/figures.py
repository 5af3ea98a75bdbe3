"""Measure every real micrograph with the built program and compare with the figures on record.

usage: figures.py [--write] KEELBLOCK KB_SEGMENT_CLI
       figures.py --table

Without --write: every figure is measured again and compared with results.csv (column tolerance),
every label map with its picture in golden/. A figure that has drifted, for better or worse, is a
failure: look at the pictures again, write down what you saw in README.md, then record anew with
--write, which is refused where CI is set. Rows of plain methods (beside.py) are made by --write
only. --table prints the tables of README.md. Exits 77 (skipped) without the image libraries.
"""
import concurrent.futures
import csv
import json
import math
import os
import pathlib
import subprocess
import sys
import tempfile

try:
    import cv2
    import numpy as np

    import labels
except ImportError as missing:
    print("skipped:", missing)
    sys.exit(77)

HERE = pathlib.Path(__file__).parent
DATA = HERE.parent / "data"
RESULTS = HERE / "results.csv"
ASKS, UNFIT = 2, 3  # exit status: wants the contrast by name; refuses the picture
# Differences that another compiler or library of the same source may make; larger is a drift.
TOLERANCE = {"count": 0.5, "fraction": 0.0005, "percent": 0.1, "px": 0.02, "per_mm2": 1.0}
PIXELS_DIFFERENT = 0.0005  # share of a golden label map that may differ
WRONG_BY = 0.03  # a phase fraction is wrong beyond 3 points
SHOWN = ("graphite", "ferrite", "pearlite", "cementite", "particles_counted",
         "particles_parted_clusters", "nodularity_iso945_4")  # in the table


def pictures():
    with open(HERE / "pictures.csv", encoding="utf-8") as file:
        return [row for row in csv.DictReader(file) if (DATA / row["picture"]).exists()]


def measure(program, row):
    """What `keelblock measure` says: the result, or None where it refuses the field."""
    command = [program, "measure", "--material", row["material"], "--pixel-size",
               row["pixel_um"] + "um", "--json", "--no-pictures", "--quiet"]
    if row["contrast"] != "auto":
        command += ["--contrast", row["contrast"]]
    if row["proeutectoid"]:
        command += ["--proeutectoid", row["proeutectoid"]]
    with tempfile.TemporaryDirectory() as folder:
        run = subprocess.run(command + ["-o", folder + "/out", str(DATA / row["picture"])],
                             capture_output=True, text=True, check=False)
    asks = run.returncode == ASKS and row["contrast"] == "auto"
    if run.returncode == UNFIT or asks:
        return None
    if run.returncode not in (0, 1):
        sys.exit(f"{row['picture']}: exit status {run.returncode}: {run.stderr}")
    return json.loads(run.stdout)


def label_map(program, row):
    command = [program, "material=" + row["material"], "contrast=" + row["contrast"],
               "px_um=" + row["pixel_um"]]
    if row["proeutectoid"]:
        command.append("proeutectoid=" + row["proeutectoid"])
    with tempfile.TemporaryDirectory() as folder:
        out = folder + "/tinted.ppm"
        subprocess.run(command + [str(DATA / row["picture"]), out], check=True,
                       stdout=subprocess.DEVNULL)
        return cv2.imread(out + ".pgm", cv2.IMREAD_UNCHANGED)


def truth_of(row):
    path = DATA / row["picture"]
    label = path.parent / "labels" / (path.stem + ".png")
    return cv2.imread(str(label), cv2.IMREAD_UNCHANGED) if label.exists() else None


def serious(result):
    findings = result["findings"] + result["fields"][0]["findings"]
    return any(finding["severity"] == "serious" for finding in findings)


def verdict(row, result, truth):
    """right, refused (said so), or wrong without a serious word."""
    if result is None or serious(result):
        return "refused"
    if row["expect"] == "refuse":
        return "silently wrong"
    phase = row["proeutectoid"] if row["expect"] == "cementite" else row["expect"]
    value = result["fields"][0]["phases"][phase] or 0.0
    if row["low"] == "label":
        share = float(labels.proeutectoid(truth).mean())
        low, high = share - WRONG_BY, share + WRONG_BY
    else:
        low, high = float(row["low"]), float(row["high"])
    return "right" if low - 1e-9 <= value <= high + 1e-9 else "silently wrong"


def measured(row, result):
    """(figure, value, tolerance) of the result."""
    if result is None:
        yield "outcome", "not fit", ""
        return
    field = result["fields"][0]
    yield "outcome", "serious finding" if serious(result) else "measured", ""
    for phase, value in field["phases"].items():
        if value is not None:
            yield phase, value, TOLERANCE["fraction"]
    if row["material"] == "ductile-iron":
        for name in ("counted", "on_border", "under_size", "parted_clusters"):
            yield "particles_" + name, field["particles"][name], TOLERANCE["count"]
        nodularity = result["graphite"]["nodularity_percent"]["iso945_4"]
        yield "nodularity_iso945_4", nodularity, TOLERANCE["percent"]
        yield "nodules_per_mm2", field["nodules_per_mm2"], TOLERANCE["per_mm2"]


def silently_wrong(program, row, truth):
    """Of three ways in which a user may describe the picture (contrast not said; ferrite as the
    proeutectoid phase; ferrite or cementite and twice the pixel size), how many are answered
    wrongly without a serious word."""
    ways = [{**row, "contrast": "auto", "proeutectoid": phase,
             "pixel_um": f"{factor * float(row['pixel_um']):g}"}
            for phase, factor in (("ferrite", 1.0), ("ferrite", 2.0), ("cementite", 2.0))]
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        results = list(pool.map(lambda way: measure(program, way), ways))
    return sum(verdict(way, result, truth) == "silently wrong"
               for way, result in zip(ways, results))


def label_rows(found, truth, row):
    for figure, value in labels.figures(found == labels.CEMENTITE, truth,
                                        float(row["pixel_um"])).items():
        unit = "px" if figure.startswith("border") else "fraction"
        yield figure, value, TOLERANCE[unit]


def check_golden(row, found, write):
    """The label map against the one that was looked at; a fault in words, or None."""
    path = HERE / "golden" / (pathlib.Path(row["picture"]).stem + ".png")
    if write:
        cv2.imwrite(str(path), found, [cv2.IMWRITE_PNG_COMPRESSION, 9])
        return None
    golden = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    if golden is None or golden.shape != found.shape:
        return f"{row['picture']}: no golden label map of this size"
    different = float((golden != found).mean())
    return None if different <= PIXELS_DIFFERENT else (
        f"{row['picture']}: {100 * different:.2f} % of the labels differ from golden/{path.name}")


def figures_of(row, programs, write):
    """All rows of one picture, and the fault of its golden map."""
    keelblock, segment = programs
    result = measure(keelblock, row)
    truth = truth_of(row)
    rows = [("verdict", verdict(row, result, truth), "")]
    rows += measured(row, result)
    if row["material"] == "carbon-steel":
        rows.append(("silently_wrong_of_3", silently_wrong(keelblock, row, truth),
                     TOLERANCE["count"]))
    found = label_map(segment, row)
    fault = check_golden(row, found, write)
    rows += [] if truth is None else label_rows(found, truth, row)
    return [(row["picture"], "keelblock", *rest) for rest in rows], fault


def beside_rows(row):
    import beside
    truth = truth_of(row)
    if truth is not None:
        grey = cv2.imread(str(DATA / row["picture"]), cv2.IMREAD_GRAYSCALE)
        for method, figure, value in beside.rows(grey, truth, float(row["pixel_um"])):
            yield row["picture"], method, figure, value, ""


def text(value):
    if isinstance(value, str):
        return value
    return "none" if value is None or math.isnan(value) else f"{value:.6g}"


def read_results():
    with open(RESULTS, encoding="utf-8") as file:
        return list(csv.DictReader(file))


def write_results(rows):
    with open(RESULTS, "w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["picture", "method", "figure", "value", "tolerance"])
        out.writerows((*row[:3], text(row[3]), row[4]) for row in rows)


def drifted(stored, value):
    if stored["tolerance"] == "" or "none" in (stored["value"], text(value)):
        return stored["value"] != text(value)
    return abs(float(stored["value"]) - value) > float(stored["tolerance"])


def compare(rows):
    known = {(r["picture"], r["figure"]): r for r in read_results() if r["method"] == "keelblock"}
    faults = []
    for picture, _, figure, value, _ in rows:
        stored = known.pop((picture, figure), None)
        if stored is None:
            faults.append(f"{picture}: {figure} = {text(value)} is not on record")
        elif drifted(stored, value):
            faults.append(f"{picture}: {figure} = {text(value)}, on record {stored['value']}")
    here = {row[0] for row in rows}
    faults += [f"{p}: {f} is on record but was not measured" for p, f in known if p in here]
    return faults


def table():
    """Markdown tables of what is on record."""
    rows = read_results()
    print("| picture | verdict | outcome | silently wrong, of 3 ways | figures |")
    print("|---|---|---|---|---|")
    for picture in dict.fromkeys(r["picture"] for r in rows):
        own = {r["figure"]: r["value"] for r in rows
               if r["picture"] == picture and r["method"] == "keelblock"}
        words = ", ".join(f"{k.replace('_', ' ')} {v}" for k, v in own.items() if k in SHOWN)
        print(f"| {picture} | {own['verdict']} | {own['outcome']} |",
              own.get("silently_wrong_of_3", "-"), f"| {words} |")
    figures = ["cementite_error", "iou_cementite", "iou_rest", "network_found", "border_px",
               "border_um"]
    labelled = {(r["picture"], r["method"]): {} for r in rows if r["figure"] in figures}
    for r in rows:
        if (r["picture"], r["method"]) in labelled:
            labelled[(r["picture"], r["method"])][r["figure"]] = r["value"]
    print("\n| picture | method |", " | ".join(f.replace("_", " ") for f in figures), "|")
    print("|---|---|" + "---|" * len(figures))
    for (picture, method), values in labelled.items():
        cells = (values[f] if values[f] == "none" else f"{float(values[f]):.3f}" for f in figures)
        print(f"| {pathlib.Path(picture).stem} | {method} |", " | ".join(cells), "|")


def main(arguments):
    if arguments == ["--table"]:
        table()
        return 0
    write = arguments[:1] == ["--write"]
    if write and os.environ.get("CI"):
        sys.exit("figures are not recorded by an automatic run: look at the pictures first")
    programs = arguments[1:] if write else arguments
    if len(programs) != 2:
        sys.exit(__doc__)
    rows, faults = [], []
    for row in pictures():
        own, fault = figures_of(row, programs, write)
        rows += own
        faults += [] if fault is None else [fault]
        rows += beside_rows(row) if write else []
    if write:
        write_results(rows)
        return 0
    faults += compare(rows)
    print("\n".join(faults) or f"{len(rows)} figures as on record")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
