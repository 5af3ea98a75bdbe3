"""Uncertainty beyond the spread between fields: the pixel size as a certificate states it, and
thresholds moved by a step. Truth: arithmetic on the program's own figures; rendered fields."""
import math
import unittest
import xml.dom.minidom

import program

SIZE = ["--size", "960x720", "--pixel-size", "0.6um"]
IRON = ["--material", "ductile-iron", "--contrast", "light"]
PLAIN = "0.6um"


class Uncertainty(program.Case):
    rendered = {
        "iron": [*SIZE, "--fields", "3", "--seed", "11", "--pearlite-of-matrix", "40%"],
        "steel": [
            *SIZE,
            "--fields",
            "3",
            "--seed",
            "31",
            "--graphite",
            "none",
            "--pearlite-of-matrix",
            "50%",
        ],
    }

    def fields(self, name="iron"):
        return sorted((self.shared / name).glob("*.tif"))

    def measured(self, *words, size=PLAIN, codes=(0,)):
        return self.result(*IRON, "--pixel-size", size, *self.fields(), *words, codes=codes)

    @staticmethod
    def budget(result, quantity):
        return next(b for b in result["uncertainty"] if b["quantity"] == quantity)

    def part(self, result, quantity, source):
        parts = self.budget(result, quantity)["parts"]
        return next(p for p in parts if p["source"] == source)

    def test_the_sign_means_expanded_with_factor_two(self):
        for said in ("0.6um±0.012um", "0.6um+-0.012um", "0.6 um +/- 12 nm", "0.6um±0.006um (k=1)"):
            result = self.measured(size=said)
            self.assertAlmostEqual(result["fields"][0]["pixel_size_u_um"], 0.006, places=9)
            count = self.budget(result, "nodules_per_mm2")
            length = self.budget(result, "mean_feret_um")
            # relative scale error 1 %: twice in counts, once in lengths, never in area fractions
            u = self.part(result, "nodules_per_mm2", "pixel_size")["standard"]
            self.assertAlmostEqual(u / count["value"], 0.02, places=6)
            u = self.part(result, "mean_feret_um", "pixel_size")["standard"]
            self.assertAlmostEqual(u / length["value"], 0.01, places=6)
            self.assertEqual(self.part(result, "graphite", "pixel_size")["standard"], 0)

    def test_scale_bar_and_file_scale_carry_their_uncertainty_into_the_budget(self):
        # pixel size 0.6 um by the bar and by the resolution tag of the rendered file alike
        for words in (
            ("--scale-bar", "200px=120um±2.4um"),
            ("--scale-bar", "200px±4px=120um"),
            ("--scale-uncertainty", "2%"),
            ("--pixel-size", "0.6um", "--scale-uncertainty", "1% (k=1)"),
        ):
            result = self.result(*IRON, *words, *self.fields())
            self.assertAlmostEqual(result["fields"][0]["pixel_size_um"], 0.6, places=6)
            self.assertAlmostEqual(result["fields"][0]["pixel_size_u_um"], 0.006, places=6)
            count = self.budget(result, "nodules_per_mm2")["value"]
            u = self.part(result, "nodules_per_mm2", "pixel_size")["standard"]
            self.assertAlmostEqual(u / count, 0.02, places=5)

    def test_the_job_file_says_the_same_and_the_command_line_overrides_it(self):
        job = self.here / "part.ini"
        job.write_text(
            "[calibration]\npixel_size = 0.6um ± 0.012um\n[precision]\nthreshold_step = 2\n"
        )
        words = [*IRON, "--job", job, *self.fields()]
        result = self.result(*words)
        self.assertAlmostEqual(result["fields"][0]["pixel_size_u_um"], 0.006, places=9)
        self.assertIsNotNone(self.budget(result, "graphite")["per_grey_level"])
        result = self.result(*words, "--pixel-size", "0.6um", "--threshold-step", "0")
        self.assertIsNone(result["fields"][0]["pixel_size_u_um"])
        self.assertIsNone(self.budget(result, "graphite")["per_grey_level"])

    def test_where_nothing_is_stated_the_budget_says_so_and_no_figure_changes(self):
        result = self.measured()
        for budget in result["uncertainty"]:
            why = {p["source"]: p["why"] for p in budget["parts"]}
            self.assertEqual(
                why, {"fields": None, "pixel_size": "not stated", "thresholds": "not stated"}
            )
        count = self.budget(result, "nodules_per_mm2")
        self.assertEqual(count["ci95_of_fields_alone"], result["graphite"]["nodules_ci95_per_mm2"])
        stated = self.measured("--threshold-step", "3", size="0.6um±0.02um")
        for key in ("ferrite", "pearlite", "graphite"):
            self.assertEqual(result["phases"][key]["mean"], stated["phases"][key]["mean"])

    def test_limits_are_judged_on_the_combined_interval(self):
        low, high = self.measured()["graphite"]["nodules_ci95_per_mm2"]
        limit = ["--limit", f"nodules_per_mm2 >= {low - 1:.3f}"]
        alone = self.measured(*limit)
        self.assertEqual(alone["limits"][0]["outcome"], "accept")
        # 20 % of the pixel size, k = 2: 20 % of the count
        stated = self.measured(*limit, size="0.6um±0.12um", codes=(1,))
        found = stated["limits"][0]
        self.assertEqual(found["outcome"], "undecided")
        self.assertLess(found["ci95"][0], low)
        self.assertGreater(found["ci95"][1], high)
        self.assertEqual(found["ci95"], stated["graphite"]["nodules_ci95_per_mm2"])
        self.assertLess(found["probability"], alone["limits"][0]["probability"])

    def test_more_fields_are_no_cure_for_an_uncertain_pixel_size(self):
        value = self.measured()["graphite"]["nodules_per_mm2"]
        near = self.measured("--limit", f"nodules_per_mm2 >= {0.9 * value:.2f}", codes=(1,))
        self.assertIsNotNone(near["limits"][0]["more_fields_to_decide"])
        near = self.measured(
            "--limit", f"nodules_per_mm2 >= {0.9 * value:.2f}", size="0.6um±0.09um", codes=(1,)
        )
        self.assertIsNone(near["limits"][0]["more_fields_to_decide"])

    def test_moving_the_thresholds_gives_the_sensitivity_measured_by_hand(self):
        step = 4
        result = self.measured("--threshold-step", str(step))
        fields = self.fields()
        shares = []
        for by in (-step, step):
            tops, bottoms = 0.0, 0.0
            for number, field in enumerate(fields):
                levels = result["fields"][number]["thresholds"]
                dark = levels["dark"]["level"] + by
                bright = levels["bright"]["level"] + 1 + by  # by hand: first level of the brightest
                one = self.result(
                    *IRON,
                    "--pixel-size",
                    PLAIN,
                    "--dark-threshold",
                    str(dark),
                    "--bright-threshold",
                    str(bright),
                    field,
                )["fields"][0]
                tops += one["phases"]["pearlite"]
                bottoms += one["phases"]["pearlite"] + one["phases"]["ferrite"]
            shares.append(tops / bottoms)
        budget = self.budget(result, "pearlite_of_matrix")
        slope = (shares[1] - shares[0]) / (2 * step)
        self.assertGreater(slope, 0)  # more levels are pearlite
        self.assertAlmostEqual(budget["per_grey_level"], slope, delta=1e-5)
        part = self.part(result, "pearlite_of_matrix", "thresholds")
        self.assertAlmostEqual(
            part["standard"], (shares[1] - shares[0]) / 2 / math.sqrt(3), delta=1e-5
        )

    def report_text(self, *words, size=PLAIN):
        out = self.here / "out"
        self.measure(
            *IRON, "--pixel-size", size, *self.fields(), "--no-pictures", "-o", out, *words, code=0
        )
        text = (out / "report.html").read_text()
        xml.dom.minidom.parseString(text.replace("<!DOCTYPE html>", "", 1))
        return text

    def test_steel_takes_part_too(self):
        words = ["--material", "carbon-steel", "--contrast", "light", "--threshold-step", "3"]
        result = self.result(*words, "--pixel-size", "0.6um±0.01um", *self.fields("steel"))
        self.assertGreater(self.part(result, "pearlite", "thresholds")["standard"], 0)
        low, high = result["carbon"]["total_ci95_percent"]
        alone = self.result(*words[:4], "--pixel-size", "0.6um", *self.fields("steel"))
        own_low, own_high = alone["carbon"]["total_ci95_percent"]
        self.assertLessEqual(low, own_low)
        self.assertGreaterEqual(high, own_high)

    def test_the_result_does_not_depend_on_the_number_of_threads(self):
        words = ["--threshold-step", "3"]
        one = self.measured(*words, "--threads", "1")
        two = self.measured(*words, "--threads", "3")
        self.assertEqual(one["uncertainty"], two["uncertainty"])

    def test_the_report_has_the_budget_and_says_for_what_it_speaks(self):
        plain = self.report_text()
        self.assertIn('<section id="budget">', plain)
        self.assertIn("speak for that section only", plain)
        self.assertIn("not stated", plain)
        self.assertLess(plain.index('id="budget"'), plain.index('id="calibration"'))
        full = self.report_text("--threshold-step", "3", size="0.6um±0.01um")
        self.assertIn("by 3 grey levels", full)
        self.assertIn("coverage factor 2", full)

    def test_one_field_has_no_sum(self):
        result = self.result(*IRON, "--pixel-size", "0.6um±0.01um", self.fields()[0])
        count = self.budget(result, "nodules_per_mm2")
        self.assertIsNone(count["combined"])
        self.assertGreater(self.part(result, "nodules_per_mm2", "pixel_size")["standard"], 0)

    def test_what_is_no_uncertainty_is_refused(self):
        field = self.fields()[0]
        for said in (
            "0.6um±",
            "0.6um±0.01",
            "0.6±0.01um",
            "0.6um±nan um",
            "0.6um±inf um",
            "0.6um±-0.01um",
            "0.6um±0um",
            "0.6um±0.6um",
            "0.6um±0.01um (k=0)",
            "0.6um±0.01um (k=-1)",
            "0.6um±0.01um (k=nan)",
            "0.6um±0.01um (k=1) x",
            "0.6um±0.01um (p=1)",
            "0.6um±0.01um (k=1",
            "0.6um±0.01um±0.02um",
            "0.6um±0.5um (k=0.5)",
            "±0.01um",
        ):
            done = self.measure(*IRON, "--pixel-size", said, field)
            self.assert_one_line_error(done, 2)
        for said in ("nan", "-1", "inf", "three", "70000"):
            done = self.measure(*IRON, "--threshold-step", said, field)
            self.assert_one_line_error(done, 2, "--threshold-step")


if __name__ == "__main__":
    unittest.main()
