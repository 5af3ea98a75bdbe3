"""The first look and the gate of preparation, end to end."""

import os
import unittest
from pathlib import Path

import numpy
from PIL import Image, ImageDraw, ImageFilter

import program

SIZE = ["--size", "1280x960", "--pixel-size", "0.6um"]
IRON = ["--material", "ductile-iron"]
DATA = Path(os.environ["KB_SOURCE_DIR"]) / "tests" / "data"


def codes(result):
    return [finding["code"] for finding in result["fields"][0]["findings"]]


class Preparation(program.Case):
    rendered = {
        "etched": [*SIZE, "--seed", "61", "--pearlite-of-matrix", "40%"],
        "polished": [*SIZE, "--seed", "62", "--look", "light-unetched"],
    }

    def field(self, name):
        return self.shared / name / "field-01.tif"

    def changed(self, name, change):
        """The etched field after `change`, with its scale given on the command line."""
        path = self.here / name
        change(Image.open(self.field("etched"))).save(path)
        return path

    def test_the_contrast_is_found_and_its_evidence_reported(self):
        for name, contrast in (("etched", "light"), ("polished", "light-unetched")):
            field = self.result(*IRON, self.field(name))["fields"][0]
            self.assertEqual(field["contrast"], contrast)
            self.assertGreater(field["contrast_found"]["belief"][contrast], 0.89)
            self.assertGreater(len(field["contrast_found"]["evidence"]), 0)

    def test_a_stated_contrast_is_taken_without_question(self):
        field = self.result(*IRON, "--contrast", "light", self.field("etched"))["fields"][0]
        self.assertIsNone(field["contrast_found"])

    def test_a_stated_contrast_that_the_picture_belies_is_warned_of(self):
        done = program.run(
            "measure",
            "--json",
            *IRON,
            "--contrast",
            "light-unetched",
            "--accept-unfit",
            self.field("etched")
        )
        self.assertIn("contrast-looks-otherwise", done.stdout)

    def test_a_picture_that_could_be_anything_is_asked_about(self):
        noise = numpy.random.default_rng(7).integers(100, 140, (400, 500), dtype=numpy.uint8)
        path = self.here / "noise.png"
        Image.fromarray(noise).save(path)
        done = program.run("measure", *IRON, path)
        self.assertIn(done.returncode, (2, 3), done.stdout)
        self.assertEqual(done.stdout, "")

    def test_good_fields_are_fit(self):
        for name in ("etched", "polished"):
            field = self.result(*IRON, self.field(name))["fields"][0]
            self.assertEqual(field["quality"]["fitness"], "fit", codes({"fields": [field]}))

    def test_a_hopeless_picture_is_refused_with_advice_and_nothing_is_written(self):
        blurred = self.changed("soft.png", lambda p: p.filter(ImageFilter.GaussianBlur(12)))
        out = self.here / "out"
        words = [*IRON, "--contrast", "light", "--pixel-size", "0.6um", blurred]
        done = program.run("measure", *words, "-o", out)
        self.assert_one_line_error(done, 3, "soft.png", "not fit to measure", "--accept-unfit")
        self.assertFalse(out.exists())
        page = self.here / "accepted"
        self.measure(*words, "--accept-unfit", "-o", page, code=0)
        text = (page / "report.html").read_text(encoding="utf-8")
        self.assertIn("not fit to measure and were measured all the same", text)

    def test_a_data_bar_is_left_out_and_its_scale_bar_offered(self):
        result = self.result(
            "--material",
            "carbon-steel",
            "--contrast",
            "sem",
            "--accept-unfit",
            DATA / "uhcs-sem-banner" / "micrograph2.tif",
        )
        field = result["fields"][0]
        kinds = [mark["kind"] for mark in field["marks"]]
        self.assertIn("data-bar", kinds)
        # truth: scalebar_truth.csv of the data set, 103 px
        lengths = [m["scale_bar_px"] for m in field["marks"] if m["scale_bar_px"] is not None]
        self.assertAlmostEqual(lengths[0], 103, delta=2)
        self.assertIn("scale-bar-seen", codes(result))
        self.assertGreater(field["outside_px"], 645 * 30)

    def test_a_margin_changes_no_fraction(self):
        def framed(picture):
            wider = Image.new("L", (picture.width + 120, picture.height + 120), 255)
            wider.paste(picture, (60, 60))
            return wider

        words = [*IRON, "--contrast", "light", "--pixel-size", "0.6um"]
        base = self.result(*words, self.field("etched"))["phases"]
        result = self.result(*words, self.changed("framed.png", framed))
        for phase in ("graphite", "ferrite", "pearlite"):
            self.assertAlmostEqual(
                result["phases"][phase]["mean"], base[phase]["mean"], delta=0.004
            )
        self.assertEqual([m["kind"] for m in result["fields"][0]["marks"]].count("margin"), 4)

    def test_the_whole_frame_is_measured_when_asked_for(self):
        def barred(picture):
            ImageDraw.Draw(picture).rectangle((0, 900, 1279, 959), fill=0)
            return picture

        path = self.changed("barred.png", barred)
        words = [*IRON, "--contrast", "light", "--pixel-size", "0.6um", "--accept-unfit", path]
        self.assertEqual(self.result(*words, "--whole-frame")["fields"][0]["outside_px"], 0)
        self.assertGreater(self.result(*words)["fields"][0]["outside_px"], 1280 * 55)


if __name__ == "__main__":
    unittest.main(verbosity=1)
