"""The main job end to end: pictures in, a result that can be signed out."""
import csv
import hashlib
import json
import re
import unittest
import xml.dom.minidom

import numpy
from PIL import Image

import program

SMALL = ["--size", "960x720", "--pixel-size", "0.6um"]
IRON = ["--material", "ductile-iron"]


class Measure(program.Case):
    rendered = {
        "etched": [*SMALL, "--fields", "3", "--seed", "11", "--pearlite-of-matrix", "40%"],
        "polished": [*SMALL, "--fields", "4", "--seed", "21", "--look", "light-unetched"],
        "steel": [
            *SMALL,
            "--fields",
            "2",
            "--seed",
            "31",
            "--graphite",
            "none",
            "--pearlite-of-matrix",
            "50%",
        ],
    }

    def fields(self, name):
        return sorted((self.shared / name).glob("*.tif"))

    def test_figures_come_near_the_truth_of_the_rendered_fields(self):
        result = self.result(*IRON, "--contrast", "light", *self.fields("etched"))
        for number, field in enumerate(result["fields"], 1):
            truth = self.truth("etched", number)
            self.assertAlmostEqual(
                field["phases"]["graphite"], truth["phases"]["graphite"], delta=0.01
            )
            self.assertAlmostEqual(
                field["pearlite_of_matrix"], truth["pearlite_of_matrix"], delta=0.03
            )

    def test_the_scale_is_read_from_the_files_own_resolution_tag(self):
        result = self.result(*IRON, "--contrast", "light", self.fields("etched")[0])
        self.assertAlmostEqual(result["calibration"]["pixel_size_um"], 0.6, delta=1e-4)
        self.assertAlmostEqual(result["fields"][0]["area_mm2"], 960 * 720 * 0.36e-6, delta=1e-5)

    def test_every_key_of_the_contract_is_there(self):
        result = self.result(
            *IRON, "--contrast", "light", *self.fields("etched"), "--limit", "nodularity >= 10 %"
        )
        self.assertEqual(result["schema"], "keelblock.result/1")
        wanted = {
            "tool",
            "specimen",
            "calibration",
            "fields",
            "phases",
            "graphite",
            "carbon",
            "limits",
            "verdict",
            "findings",
        }
        self.assertLessEqual(wanted, result.keys())
        self.assertLessEqual(
            {"graphite", "ferrite", "pearlite", "pearlite_of_matrix"}, result["phases"].keys()
        )
        for figure in result["phases"].values():
            self.assertLessEqual({"mean", "s", "ci95", "ra_percent", "fields"}, figure.keys())
        self.assertLessEqual(
            {"iso945_4", "e2567", "iso16112"}, result["graphite"]["nodularity_percent"].keys()
        )
        self.assertEqual(
            set(result["graphite"]["form_area_percent"]), {"I", "II", "III", "IV", "V", "VI"}
        )
        field = result["fields"][0]
        self.assertLessEqual(
            {
                "file",
                "sha256",
                "width_px",
                "height_px",
                "area_mm2",
                "thresholds",
                "separability",
                "phases",
                "pearlite_of_matrix",
                "particles",
                "findings",
            },
            field.keys(),
        )
        self.assertEqual(
            field["sha256"], hashlib.sha256(self.fields("etched")[0].read_bytes()).hexdigest()
        )
        self.assertLessEqual(
            {"quantity", "low", "high", "value", "ci95", "outcome"}, result["limits"][0].keys()
        )

    def test_the_output_folder_holds_the_whole_report(self):
        out = self.here / "deep" / "report"
        self.measure(*IRON, "--contrast", "light", *self.fields("etched"), "-o", out, code=0)
        names = sorted(p.name for p in out.iterdir())
        self.assertEqual(
            [n for n in names if not n.startswith("overlay-")],
            ["fields.csv", "particles.csv", "report.html", "result.json"],
        )
        overlays = [n for n in names if n.startswith("overlay-")]
        self.assertEqual(len(overlays), 3)
        with Image.open(out / overlays[0]) as picture:
            self.assertGreaterEqual(picture.width, 960)
            self.assertGreaterEqual(picture.height, 720)
        page = (out / "report.html").read_text(encoding="utf-8")
        self.assertIsNone(
            re.search(r'(src|href)="(?!data:|#|overlay-)', page), "the page must stand alone"
        )
        self.assertNotIn("<script", page)
        self.assertIsNone(re.search(r"\b(nan|inf)\b", page, re.I))
        xml.dom.minidom.parseString(page.encode())
        with open(out / "fields.csv", newline="", encoding="utf-8") as file:
            self.assertEqual(len(list(csv.DictReader(file))), 3)
        with open(out / "particles.csv", newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
        counted = sum(
            f["particles"]["counted"]
            for f in json.loads((out / "result.json").read_text())["fields"]
        )
        self.assertEqual(sum(row["state"] == "counts" for row in rows), counted)

    def test_measuring_again_replaces_the_report_and_leaves_no_scraps(self):
        out = self.here / "report"
        for _ in range(2):
            self.measure(
                *IRON,
                "--contrast",
                "light",
                self.fields("etched")[0],
                "-o",
                out,
                "--quiet",
                code=0,
            )
        self.assertEqual([p.name for p in out.iterdir() if p.name.startswith(".")], [])

    def test_without_pictures_there_are_none(self):
        out = self.here / "report"
        self.measure(
            *IRON,
            "--contrast",
            "light",
            self.fields("etched")[0],
            "-o",
            out,
            "--no-pictures",
            code=0,
        )
        self.assertEqual(list(out.glob("*.png")), [])
        self.assertNotIn("data:image", (out / "report.html").read_text(encoding="utf-8"))

    def test_threads_and_order_change_no_figure(self):
        a = self.result(*IRON, "--contrast", "light", *self.fields("etched"), "--threads", "1")
        b = self.result(*IRON, "--contrast", "light", *self.fields("etched"), "--threads", "3")
        c = self.result(*IRON, "--contrast", "light", *reversed(self.fields("etched")))
        self.assertEqual(a["phases"], b["phases"])
        self.assertEqual(a["fields"], b["fields"])
        self.assertEqual(a["phases"], c["phases"])
        self.assertEqual(a["graphite"], c["graphite"])

    def test_mirroring_and_turning_the_picture_change_next_to_nothing(self):
        source = Image.open(self.fields("etched")[0])
        turned = {"mirror": Image.Transpose.FLIP_LEFT_RIGHT, "quarter": Image.Transpose.ROTATE_90}
        words = [*IRON, "--contrast", "light", "--pixel-size", "0.6um"]
        base = self.result(*words, self.fields("etched")[0])
        for name, how in turned.items():
            path = self.here / f"{name}.png"
            source.transpose(how).save(path)
            other = self.result(*words, path)
            for phase in ("graphite", "ferrite", "pearlite"):
                self.assertAlmostEqual(
                    other["phases"][phase]["mean"], base["phases"][phase]["mean"], delta=0.002
                )
            self.assertAlmostEqual(
                other["graphite"]["nodules_per_mm2"],
                base["graphite"]["nodules_per_mm2"],
                delta=0.05 * base["graphite"]["nodules_per_mm2"] + 1,
            )

    def test_one_field_gives_figures_but_no_interval(self):
        result = self.result(*IRON, "--contrast", "light", self.fields("etched")[0])
        self.assertIsNone(result["phases"]["graphite"]["ci95"])
        self.assertIsNotNone(result["phases"]["graphite"]["mean"])
        self.assertIn("one-field", [f["code"] for f in result["findings"]])

    def test_without_scale_sizes_are_null_and_limits_on_them_undecided(self):
        path = self.here / "bare.png"
        Image.open(self.fields("etched")[0]).save(path)
        result = self.result(
            *IRON, "--contrast", "light", path, "--limit", "nodules_per_mm2 >= 10", codes=(1,)
        )
        self.assertIsNone(result["calibration"]["pixel_size_um"])
        self.assertIsNone(result["graphite"]["nodules_per_mm2"])
        self.assertIsNone(result["graphite"]["nodularity_percent"]["iso945_4"])
        self.assertIsNotNone(result["phases"]["graphite"]["mean"])
        self.assertEqual(result["verdict"], "undecided")
        found = [f["code"] for f in result["findings"] + result["fields"][0]["findings"]]
        self.assertIn("scale-unknown", found)

    def test_polished_fields_give_graphite_and_etched_ones_the_matrix(self):
        result = self.result(
            *IRON,
            "--contrast",
            "light-unetched",
            *self.fields("polished"),
            "--contrast",
            "light",
            *self.fields("etched"),
        )
        self.assertEqual(result["phases"]["graphite"]["fields"], 4)
        self.assertEqual(result["phases"]["pearlite_of_matrix"]["fields"], 3)
        only = self.result(*IRON, "--contrast", "light-unetched", *self.fields("polished"))
        self.assertIsNone(only["phases"]["pearlite_of_matrix"]["mean"])
        self.assertEqual(only["phases"]["graphite"]["mean"], result["phases"]["graphite"]["mean"])

    def test_the_verdict_is_the_exit_code(self):
        words = [*IRON, "--contrast", "light", *self.fields("etched"), "--quiet"]
        self.measure(*words, "--limit", "nodularity >= 5 %", code=0)
        self.measure(*words, "--limit", "graphite <= 1 %", code=1)
        self.measure(
            *words, "--limit", "graphite >= 50 %", "--limit", "nodularity >= 5 %", code=1
        )

    def test_the_rule_that_decides_is_chosen_and_named(self):
        words = [*IRON, "--contrast", "light", *self.fields("etched")]
        mean = self.result(*words)["graphite"]["nodules_per_mm2"]
        words += ["--limit", f"nodules_per_mm2 >= {mean * 0.999:.4f}"]
        guarded = self.result(*words, codes=(1,))
        simple = self.result(*words, "--rule", "simple")
        self.assertEqual(guarded["decision_rule"], "guarded")
        self.assertEqual(guarded["verdict"], "undecided")
        self.assertEqual(simple["decision_rule"], "simple")
        self.assertEqual(simple["verdict"], "accept")
        for result in guarded, simple:
            self.assertEqual(
                result["verdict_by_rule"], {"guarded": "undecided", "simple": "accept"}
            )
            self.assertTrue(0.5 < result["limits"][0]["probability"] < 0.975)
        self.measure(*words, "--rule", "generous", code=2)

    def test_steel_gives_carbon_and_no_graphite(self):
        result = self.result(
            "--material",
            "carbon-steel",
            "--contrast",
            "light",
            *self.fields("steel"),
            "--chemistry",
            "C=0.39%",
        )
        self.assertIsNone(result["phases"]["graphite"]["mean"])
        share = result["phases"]["pearlite_of_matrix"]["mean"]
        truth = numpy.mean([self.truth("steel", n)["pearlite_of_matrix"] for n in (1, 2)])
        self.assertAlmostEqual(share, truth, delta=0.04)
        # Lever rule, Callister's constants: C = 0.022 + W x 0.738 (mass and area differ by < 0.2 %)
        self.assertAlmostEqual(
            result["carbon"]["total_percent"], 0.022 + 0.738 * share, delta=0.005
        )

    def test_carbon_is_measured_under_the_set_of_constants_that_the_job_names(self):
        job = self.here / "set.ini"
        job.write_text("[carbon]\nconstants = 0.77\n", encoding="utf-8")
        result = self.result(
            *("--material", "carbon-steel", "--contrast", "light", "--job", job),
            *self.fields("steel"),
        )
        share = result["phases"]["pearlite_of_matrix"]
        carbon = result["carbon"]
        self.assertEqual(carbon["constants"]["set"], "0.77")
        self.assertEqual(carbon["constants"]["cementite_c_percent"], 6.67)
        # C = 0.02 + W x 0.75 (mass and area differ by < 0.2 %); the interval is carried through
        self.assertAlmostEqual(carbon["total_percent"], 0.02 + 0.75 * share["mean"], delta=0.005)
        for end, limit in zip(carbon["total_ci95_percent"], share["ci95"]):
            self.assertAlmostEqual(end, 0.02 + 0.75 * limit, delta=0.005)

    def test_colour_and_sixteen_bit_give_what_grey_gives(self):
        grey = Image.open(self.fields("etched")[0])
        array = numpy.asarray(grey)
        Image.merge("RGB", (grey, grey, grey)).save(self.here / "rgb.png")
        Image.fromarray(array.astype(numpy.uint16) * 257).save(self.here / "sixteen.png")
        words = [*IRON, "--contrast", "light", "--pixel-size", "0.6um"]
        base = self.result(*words, self.fields("etched")[0])["phases"]
        colour = self.result(*words, self.here / "rgb.png")["phases"]
        self.assertEqual(base, colour)
        sixteen = self.result(*words, self.here / "sixteen.png")["phases"]
        for phase in ("graphite", "ferrite", "pearlite"):
            self.assertAlmostEqual(sixteen[phase]["mean"], base[phase]["mean"], delta=0.003)

    def test_a_folder_and_a_pattern_mean_their_pictures(self):
        one = self.result(*IRON, "--contrast", "light", self.shared / "etched")
        two = self.result(
            *IRON, "--contrast", "light", str(self.shared / "etched" / "field-*.tif")
        )
        self.assertEqual(one["phases"], two["phases"])
        self.assertEqual(len(one["fields"]), 3)

    def test_an_exclusion_is_left_out_of_area_and_figures(self):
        result = self.result(
            *IRON, "--contrast", "light", self.fields("etched")[0], "--exclude", "0,600,960,120"
        )
        self.assertAlmostEqual(result["fields"][0]["area_mm2"], 960 * 600 * 0.36e-6, delta=1e-5)
        fractions = result["fields"][0]["phases"]
        self.assertAlmostEqual(
            sum(fractions[p] for p in ("graphite", "ferrite", "pearlite")), 1.0, delta=0.02
        )

    def test_a_job_file_alone_is_enough(self):
        job = self.here / "part.ini"
        out = self.here / "out"
        job.write_text(
            f'[specimen]\nid = K <&> "17"\nmaterial = ductile-iron\n[fields]\nlight = '
            f"{self.shared}/etched/*.tif\n[limits]\nnodularity = >= 5 %\n[output]\nout = out\n"
        )
        self.measure("--job", job, code=0)
        result = json.loads((out / "result.json").read_text())
        self.assertEqual(result["specimen"]["id"], 'K <&> "17"')
        self.assertEqual(result["verdict"], "accept")

    def test_the_table_answers_in_a_screenful(self):
        done = self.measure(
            *IRON,
            "--contrast",
            "light",
            *self.fields("etched"),
            "--limit",
            "nodularity >= 5 %",
            code=0,
        )
        self.assertLessEqual(len(done.stdout.splitlines()), 24)
        self.assertLessEqual(max(map(len, done.stdout.splitlines())), 80)
        self.assertIn("accept", done.stdout.lower())

    def test_quiet_is_quiet_and_timing_talks_on_stderr(self):
        words = [*IRON, "--contrast", "light", self.fields("etched")[0]]
        done = self.measure(*words, "--quiet", code=0)
        self.assertEqual(done.stdout + done.stderr, "")
        done = self.measure(*words, "--json", "--timing", code=0)
        json.loads(done.stdout)
        self.assertIn("segmentation", done.stderr)


if __name__ == "__main__":
    unittest.main(verbosity=1)
