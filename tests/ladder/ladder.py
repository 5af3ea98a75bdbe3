#!/usr/bin/env python3
"""Fields of known truth, made worse one fault at a time, from none to hopeless.

Each field is drawn with `keelblock render` without noise, the fault is put on, noise is added, and
kb_quality_cli segments, looks and measures. A step is

    sound    the word is "fit" or "usable" and every figure is near the truth, or the word is
             "not-fit"
    silent   the word is "fit" or "usable", but the share of a phase is off by more than 3 points,
             nodularity by more than 5, or the number of complete nodules by more than 10 %
    missed   the word is "fit", but nodularity is off by more than 2 points or the number by more
             than 3 %

A field has few nodules, and a tool that takes each wrongly with a chance of 3 % (10 %) is wrong
about more of them now and then: so many are allowed as it exceeds once in forty (binomial, 97.5
%). For nodularity of a fit field, to which each adds by its area, the same by the normal law.
The word on number and nodularity is "not-fit" too where the check of touching nodules says so:
they are left out then, and the phases are not.

Exit code 1 when a step is silent, or when an undisturbed field is called not fit. Writes ladder.csv
and one chart a fault into --out, and all of them on one sheet (ladder.svg) and page.

    tests/ladder/ladder.py --program build/src/app/keelblock \
        --cli build/tests/ladder/kb_quality_cli --out DIR [--reduced]
"""

import argparse
import csv
import io
import json
import pathlib
import subprocess
import sys
import tempfile

import cv2
import numpy
from PIL import Image

PHASE_POINTS = 3.0
NODULARITY_POINTS = 5.0
COUNT_PERCENT = 10.0
FIT_NODULARITY_POINTS = 2.0  # where the word is "fit"
FIT_COUNT_PERCENT = 3.0
PX_UM = 0.5
NOISE = 2.5


# Faults of a scanned beam, and what else is asked of fields drawn under secondary electrons; the
# other faults are those of light and etch.
SCANNED = ("beam-noise", "charging")
NOT_SCANNED = ("noise", "fall-off", "scratches", "jpeg", "under-etch", "over-etch", "pixel",
               "dark-pearlite", "over-exposure", "under-exposure", "stains", "pull-out")

# Kinds of field: render options; material and contrast; phases that are told; faults left out.
KINDS = {
    "ductile": ([], ("ductile-iron", "light"), ("graphite", "ferrite", "pearlite"), SCANNED),
    "unetched": (["--look", "light-unetched"], ("ductile-iron", "light-unetched"), ("graphite",),
                 ("under-etch", "over-etch", "dark-pearlite", *SCANNED)),
    "flakes": (["--graphite", "flakes"], ("grey-iron", "light"),
               ("graphite", "ferrite", "pearlite"), ("pull-out", "touching", *SCANNED)),
    "steel": (["--graphite", "none"], ("carbon-steel", "light"), ("ferrite", "pearlite"),
              ("pull-out", "touching", *SCANNED)),
    "sem-iron": (["--look", "sem"], ("ductile-iron", "sem"), ("graphite", "ferrite", "pearlite"),
                 NOT_SCANNED),
    "sem-steel": (["--look", "sem", "--graphite", "none"], ("carbon-steel", "sem"),
                  ("ferrite", "pearlite"), ("touching", *NOT_SCANNED)),
}


# ---- faults: grey (float), severity, truth -> grey (float) --------------------------------------

def constituents(grey, truth):
    """Typical grey of graphite, pearlite, ferrite by their true shares, darkest first."""
    phases = truth["phases"]
    g, p = phases["graphite"], phases["pearlite"]
    dark, middle, bright = numpy.quantile(grey, [g / 2, g + p / 2, (1 + g + p) / 2])
    return (dark if g > 0 else 40.0), middle, bright


def remap(grey, knots_from, knots_to):
    return numpy.interp(grey, [0.0, *knots_from, 255.0], [0.0, *knots_to, 255.0])


def blur(grey, px, truth):
    return cv2.GaussianBlur(grey, (0, 0), px) if px > 0 else grey


def noise(grey, levels, truth):
    return grey + numpy.random.default_rng(7).normal(0, max(levels, 1e-9), grey.shape)


def fall_off(grey, loss, truth):
    height, width = grey.shape
    y, x = numpy.mgrid[0:height, 0:width]
    r2 = ((x / width - 0.45) ** 2 + (y / height - 0.55) ** 2)
    return grey * (1 - loss * r2 / r2.max())


def under_etch(grey, share, truth):
    g, p, f = constituents(grey, truth)
    return remap(grey, [g, p, f], [g, p + share * (f - p), f])


def dark_pearlite(grey, share, truth):
    g, p, f = constituents(grey, truth)
    return remap(grey, [g, p, f], [g, p - share * (p - g), f - share * 0.35 * (f - g)])


def over_expose(grey, factor, truth):
    return grey * factor


def under_expose(grey, levels, truth):
    return grey - levels


def posterize(grey, bits, truth):
    return grey  # after the noise, see finish()


def stain(grey, share, truth):
    """Soft brownish patches on `share` of the field, a fifth to two fifths darker."""
    if share <= 0:
        return grey
    rng = numpy.random.default_rng(3)
    height, width = grey.shape
    cloud = cv2.GaussianBlur(rng.normal(0, 1, grey.shape), (0, 0), width / 14)
    edge = numpy.quantile(cloud, 1 - share)
    cover = 1 / (1 + numpy.exp(-(cloud - edge) / (0.15 * cloud.std())))
    return grey * (1 - 0.3 * cover)


def pull_out(grey, share, truth):
    """A share of the particles becomes a black hollow with a bright, turned-up rim."""
    rng = numpy.random.default_rng(5)
    out = grey.copy()
    for particle in truth["particles"]:
        if rng.random() >= share:
            continue
        radius = (particle["area_um2"] / numpy.pi) ** 0.5 / PX_UM
        centre = (int(particle["x_um"] / PX_UM * 16), int(particle["y_um"] / PX_UM * 16))
        cv2.circle(out, centre, int((radius + 2.5) * 16), 248.0, 4, cv2.LINE_AA, 4)
        cv2.circle(out, centre, int(radius * 0.75 * 16), 4.0, -1, cv2.LINE_AA, 4)
    return cv2.GaussianBlur(out, (0, 0), 0.6)


FAULTS = {
    # name: (unit, severities, render options by severity, function)
    "blur": ("px", [0, 0.7, 1.2, 2, 3, 4, 6, 9], None, blur),
    "noise": ("levels", [2.5, 6, 12, 20, 30, 40, 55, 75], None, noise),
    "fall-off": ("", [0, 0.1, 0.2, 0.35, 0.5, 0.6, 0.7, 0.85], None, fall_off),
    "scratches": ("1/mm2", [0, 6, 30, 100, 300, 900, 2500, 6000],
                  lambda s: ["--scratches", f"{s:g}"], None),
    "jpeg": ("quality", [95, 75, 50, 30, 20, 12, 6, 2], None, None),
    "under-etch": ("", [0, 0.3, 0.5, 0.65, 0.75, 0.85, 0.92, 0.97], None, under_etch),
    "over-etch": ("", [0, 0.15, 0.3, 0.4, 0.5, 0.6, 0.75, 1.0],
                  lambda s: ["--over-etch", f"{s:g}"], None),
    "dark-pearlite": ("", [0, 0.3, 0.5, 0.65, 0.75, 0.85, 0.92, 0.97], None, dark_pearlite),
    "pixel": ("um", [0.25, 0.5, 0.8, 1.2, 1.8, 2.5, 3.5, 5.0],
              lambda s: ["--pixel-size", f"{s:g}um", "--blur", f"{max(0.35, 0.4 * s):g}um"], None),
    "over-exposure": ("x", [1, 1.15, 1.3, 1.6, 2, 2.5, 3.5, 5], None, over_expose),
    "under-exposure": ("levels", [0, 20, 40, 60, 80, 100, 120, 150], None, under_expose),
    "levels": ("", [256, 64, 32, 16, 8, 6, 4, 3], None, posterize),
    "stains": ("share", [0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6], None, stain),
    "beam-noise": ("levels", [0, 4, 8, 12, 16, 20, 30, 50], lambda s: ["--beam-noise", f"{s:g}"],
                   None),
    "charging": ("levels", [0, 10, 20, 40, 60, 90, 130, 200], lambda s: ["--charging", f"{s:g}"],
                 None),
    "pull-out": ("share", [0, 0.05, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0], None, pull_out),
    # finer nodules than elsewhere: enough of them in a field to count
    "touching": ("share", [0, 0.1, 0.2, 0.3, 0.45, 0.6, 0.75, 0.9],
                 lambda s: ["--clusters", f"{s:g}", "--nodule-size", "20um", "--nodules", "280"],
                 None),
}
REDUCED = {"blur": [0, 9], "noise": [2.5, 75], "jpeg": [95, 2], "under-etch": [0.97],
           "over-etch": [0.5, 1.0], "dark-pearlite": [0.97], "pixel": [5.0],
           "scratches": [6000], "levels": [3],
           "fall-off": [0.85], "stains": [0.6], "beam-noise": [8, 50],
           "charging": [40], "touching": [0.2, 0.9]}


def finish(fault, severity, grey, path):
    """Noise, eight bits, and the file."""
    if fault != "noise":
        grey = noise(grey, NOISE, None)
    grey = numpy.clip(grey + 0.5, 0, 255).astype(numpy.uint8)
    if fault == "levels":
        grey = (numpy.floor(grey / 256.0 * severity) * (255.0 / (severity - 1))).astype(numpy.uint8)
    if fault == "jpeg":
        Image.fromarray(grey).save(path.with_suffix(".jpg"), quality=int(severity))
        return path.with_suffix(".jpg")
    Image.fromarray(grey).save(path.with_suffix(".tif"))
    return path.with_suffix(".tif")


class Bench:
    """Draws, spoils and measures."""

    def __init__(self, arguments, folder):
        self.program, self.cli, self.size = arguments.program, arguments.cli, arguments.size
        self.seed, self.folder = arguments.seed, pathlib.Path(folder)
        self.drawn = {}

    def draw(self, seed, options):
        key = (seed, *options)
        if key not in self.drawn:
            out = self.folder / f"d{len(self.drawn)}"
            subprocess.run([self.program, "render", "-o", out, "--quiet", "--seed", str(seed),
                            "--noise", "0", "--size", self.size, *options], check=True)
            grey = numpy.asarray(Image.open(out / "field-01.tif"), dtype=numpy.float64)
            self.drawn[key] = grey, json.loads((out / "field-01.truth.json").read_text())
        return self.drawn[key]

    def measure(self, fault, severity, kind):
        _, _, options, function = FAULTS[fault]
        drawn, (material, contrast), told, _ = KINDS[kind]
        grey, truth = self.draw(self.seed, drawn + (options(severity) if options else []))
        px_um = severity if fault == "pixel" else PX_UM
        if function:
            grey = function(grey, severity, truth)
        path = finish(fault, severity, grey, self.folder / "field")
        done = subprocess.run([self.cli, f"material={material}", f"contrast={contrast}",
                               f"px_um={px_um:g}", path],
                              check=True, capture_output=True, text=True)
        return rate(json.loads(done.stdout), truth, told, round_ones="--graphite" not in drawn)


def exceeded(number, chance):
    """So many of `number` are wrong at most, 39 times of 40, when each is with that chance."""
    share = (1 - chance) ** number
    below = share
    for wrong in range(number):
        if below >= 0.975:
            return wrong
        share *= (number - wrong) / (wrong + 1) * chance / (1 - chance)
        below += share
    return number


def allowed_where_fit(nodules, areas):
    """Nodules and points of nodularity by which a field may be off."""
    spread = (areas**2).sum() ** 0.5 / areas.sum() if len(areas) else 0.0
    chance = FIT_NODULARITY_POINTS / 100
    return (exceeded(nodules, FIT_COUNT_PERCENT / 100),
            FIT_NODULARITY_POINTS + 196 * (chance * (1 - chance)) ** 0.5 * spread)


def rate(found, truth, told, round_ones):
    """Errors in points and in nodules, and the word."""
    if "error" in found:
        return {"word": "not-fit", "phase": None, "nodularity": None, "count": None,
                "why": found["error"], "checks": {}}
    phases = truth["phases"]
    shares = {p: found[p] or 0.0 for p in told}
    phase = 100 * max(abs(shares[p] - phases[p]) for p in shares)
    why = " ".join(name for name, c in found["checks"].items() if c["fitness"] == "not-fit")
    warned = " ".join(name for name, c in found["checks"].items() if c["fitness"] == "usable")
    row = {"word": found["fitness"], "phase": phase, "nodularity": None, "count": None,
           "why": why, "warned": warned,
           "checks": {n: c["value"] for n, c in found["checks"].items()}}
    if found["checks"]["touching"]["fitness"] == "not-fit":
        row["counts"] = "not-fit"
    if round_ones and found["nodularity_percent"] is not None:
        whole = [p for p in truth["particles"] if p["inside"] and p["feret_max_um"] >= 10]
        nodules = sum(p["shape_factor"] >= 0.6 for p in whole)
        areas = numpy.array([p["area_um2"] for p in whole])
        row["nodularity"] = abs(found["nodularity_percent"] - truth["nodularity_percent"])
        row["count"] = 100 * abs(found["nodules"] - nodules) / max(nodules, 1)
        row["nodules"], row["off"] = nodules, abs(found["nodules"] - nodules)
        row["may"] = exceeded(nodules, COUNT_PERCENT / 100)
        row["may_fit"] = allowed_where_fit(nodules, areas)
    return row


def word_on_counts(row):
    return row.get("counts", row["word"])


def silent(row):
    if row["word"] != "not-fit" and (row["phase"] or 0) > PHASE_POINTS:
        return True
    off = (row["nodularity"] or 0) > NODULARITY_POINTS
    if "may" in row:  # else read from an earlier run
        off = off or row["off"] > row["may"]
    return word_on_counts(row) != "not-fit" and off


def missed(row):
    return word_on_counts(row) == "fit" and "may_fit" in row and (
        row["off"] > row["may_fit"][0] or row["nodularity"] > row["may_fit"][1])


# ---- chart ---------------------------------------------------------------------------------------

MARK = {
    "fit": '<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="#fff" stroke="#1b6" '
           'stroke-width="2"/>',
    "usable": '<path d="M{x:.1f} {t:.1f}l6 10h-12z" fill="#fd6" stroke="#960"/>',
    "not-fit": '<rect x="{l:.1f}" y="{t:.1f}" width="11" height="11" fill="#c22"/>',
}


def chart(fault, rows):
    """Error against step; one line for phases, one for nodularity; marks carry the word."""
    unit, severities, _, _ = FAULTS[fault]
    width, height, left, bottom = 460, 260, 46, 36
    top = 30
    high = 20.0

    def place(severity, error):
        x = left + 20 + severities.index(severity) * (width - left - 50) / (len(severities) - 1)
        return x, height - bottom - min(error, high) / high * (height - bottom - top)

    out = io.StringIO()
    out.write(f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
              'font-family="sans-serif" font-size="11"><rect width="100%" height="100%" '
              f'fill="#fff"/><text x="{left}" y="18" font-size="14">{fault} {unit}</text>')
    for error in (0, PHASE_POINTS, NODULARITY_POINTS, 10, 20):
        _, y = place(severities[0], error)
        out.write(f'<path d="M{left} {y:.1f}H{width - 10}" stroke="#ccc"/>'
                  f'<text x="{left - 6}" y="{y + 4:.1f}" text-anchor="end">{error:g}</text>')
    for severity in severities:
        x, _ = place(severity, 0)
        out.write(f'<text x="{x:.1f}" y="{height - 16}" text-anchor="middle">{severity:g}</text>')
    for figure, colour in (("phase", "#224"), ("nodularity", "#68c"), ("count", "#a7b")):
        for kind in dict.fromkeys(r["kind"] for r in rows):
            points = [(*place(r["severity"], r[figure]), r) for r in rows
                      if r["kind"] == kind and r[figure] is not None]
            line = " ".join(f"{x:.1f},{y:.1f}" for x, y, _ in points)
            out.write(f'<polyline points="{line}" fill="none" stroke="{colour}"/>')
            for x, y, r in points:
                word = r["word"] if figure == "phase" else word_on_counts(r)
                out.write(MARK[word].format(x=x, y=y, l=x - 5.5, t=y - 5.5))
    out.write(f'<text x="{left}" y="{height - 3}" font-size="8">points off the truth: phase '
              'dark, nodularity light, number (%) pale line; circle fit, triangle usable, square '
              'not fit'
              '</text></svg>')
    return out.getvalue()


def together(rows):
    """All charts on one sheet, three abreast, with what they hold to."""
    faults = list(dict.fromkeys(r["fault"] for r in rows))
    width, height, top = 460, 260, 40
    down = (len(faults) + 2) // 3
    out = io.StringIO()
    out.write(f'<svg xmlns="http://www.w3.org/2000/svg" width="{3 * width}" '
              f'height="{down * height + top}" font-family="sans-serif"><rect width="100%" '
              'height="100%" fill="#fff"/><text x="20" y="26" font-size="16">Error against '
              f'severity: {len(rows)} steps, silent {sum(map(silent, rows))} (beyond '
              f'{PHASE_POINTS:g} points of a phase or {NODULARITY_POINTS:g} of nodularity, '
              'and not refused)</text>')
    for i, fault in enumerate(faults):
        svg = chart(fault, [r for r in rows if r["fault"] == fault])
        out.write(svg.replace("<svg ", f'<svg x="{i % 3 * width}" '
                                       f'y="{i // 3 * height + top}" ', 1) + "\n")
    out.write("</svg>\n")
    return out.getvalue()


def number(text):
    return float(text) if text else None


def read_rows(paths):
    """Rows of earlier runs, from their ladder.csv."""
    for path in paths:
        with open(path, encoding="utf-8") as file:
            for r in csv.DictReader(file):
                yield {"fault": r["fault"], "severity": number(r["severity"]), "kind": r["kind"],
                       "phase": number(r["phase_points"]), "word": r["word"],
                       "counts": r["word_on_counts"],
                       "nodularity": number(r["nodularity_points"]),
                       "count": number(r["count_percent"])}


def write(out, rows):
    out.mkdir(parents=True, exist_ok=True)
    names = list(next(r["checks"] for r in rows if r["checks"]))
    with open(out / "ladder.csv", "w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["fault", "severity", "kind", "phase_points", "nodularity_points",
                        "count_percent", "nodules", "word", "word_on_counts", "missed",
                        "not_fit_by", "warned_by", *names])
        for r in rows:
            table.writerow([r["fault"], r["severity"], r["kind"], r["phase"], r["nodularity"],
                            r["count"], r.get("nodules"), r["word"], word_on_counts(r),
                            int(missed(r)), r["why"], r.get("warned", ""),
                            *(r["checks"].get(n) for n in names)])
    page = []
    for fault in dict.fromkeys(r["fault"] for r in rows):
        svg = chart(fault, [r for r in rows if r["fault"] == fault])
        (out / f"{fault}.svg").write_text(svg, encoding="utf-8")
        page.append(svg)
    (out / "ladder.svg").write_text(together(rows), encoding="utf-8")
    (out / "ladder.html").write_text("<!doctype html><title>ladder</title>" + "\n".join(page),
                                     encoding="utf-8")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--program", type=pathlib.Path)
    parser.add_argument("--cli", type=pathlib.Path)
    parser.add_argument("--chart", nargs="+", metavar="LADDER.CSV", type=pathlib.Path,
                        help="draw the sheet of these earlier runs into --out, run nothing")
    parser.add_argument("--out", type=pathlib.Path)
    parser.add_argument("--faults", nargs="*", choices=list(FAULTS), default=list(FAULTS))
    parser.add_argument("--kinds", nargs="*", choices=list(KINDS), default=list(KINDS))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--size", default="1024x768")
    parser.add_argument("--reduced", action="store_true", help="a dozen pictures only")
    arguments = parser.parse_args()
    if arguments.chart:
        rows = list(read_rows(arguments.chart))
        (arguments.out / "ladder.svg").write_text(together(rows), encoding="utf-8")
        return 0
    if not (arguments.program and arguments.cli):
        parser.error("--program and --cli are needed")
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(arguments, folder)
        for fault in REDUCED if arguments.reduced else arguments.faults:
            for severity in REDUCED[fault] if arguments.reduced else FAULTS[fault][1]:
                kinds = [kind for kind in arguments.kinds if fault not in KINDS[kind][3]]
                for kind in kinds[:1] if arguments.reduced else kinds:
                    rows.append({"fault": fault, "severity": severity, "kind": kind,
                                 **bench.measure(fault, severity, kind)})
    bad = 0
    for r in rows:
        undisturbed = r["severity"] == FAULTS[r["fault"]][1][0]
        wrong = silent(r) or (undisturbed and r["word"] == "not-fit")
        bad += wrong
        show = "  ".join(f"{k} {r[k]:5.2f}" if r[k] is not None else f"{k}     -"
                         for k in ("phase", "nodularity", "count"))
        word = "SILENT" if silent(r) else "WRONG" if wrong else "missed" if missed(r) else ""
        print(f"{word:6} {r['fault']:15} "
              f"{r['severity']:<6g} {r['kind']:9}  {show}  {r['word']:8} {r['why']}"
              f" [{r.get('warned', '')}]")
    if arguments.out:
        write(arguments.out, rows)
    counted = sum(word_on_counts(r) == "fit" and "may_fit" in r for r in rows)
    print(f"{len(rows)} steps, {bad} wrong; of {counted} fit to count "
          f"{sum(map(missed, rows))} missed")
    return bad > 0


if __name__ == "__main__":
    sys.exit(main())
