"""What is drawn by hand: outlines, cuts, joins, lines of known length, thresholds of one field."""
import csv
import json
import math
import unittest
import xml.dom.minidom

import program

SMALL = ["--size", "640x480", "--pixel-size", "0.6um"]
IRON = ["--material", "ductile-iron", "--contrast", "light", "--accept-unfit"]
# what says how a result was asked for, and not what was found
ASKED = ("made_at", "settings", "job_file", "by_hand", "findings")


class DrawnByHand(program.Case):
    rendered = {"etched": [*SMALL, "--fields", "2", "--seed", "11", "--nodularity", "70%"]}

    @property
    def etched(self):
        return sorted((self.shared / "etched").glob("*.tif"))

    def found(self, *words, fields=1):
        """The figures of a result; and its decisions by hand."""
        result = self.result(*IRON, *self.etched[:fields], *words)
        asked = {key: result.pop(key, None) for key in ASKED}
        return result, asked["by_hand"]

    def rows(self, *words):
        out = self.here / "rows"
        self.measure(*IRON, self.etched[0], *words, "-o", out, code=0)
        with open(out / "particles.csv", newline="", encoding="utf-8") as file:
            return list(csv.DictReader(file))

    def largest(self, *words):
        """The two largest particles that count, and a pixel of each."""
        rows = [row for row in self.rows(*words) if row["state"] == "counts"]
        rows.sort(key=lambda row: -float(row["area_px2"]))
        return [(r, f"{int(float(r['x_px']))},{int(float(r['y_px']))}") for r in rows[:2]]

    @staticmethod
    def through(row):
        """A stroke from above the particle's box to below it, through its middle."""
        x, top = int(float(row["x_px"])), int(row["box_y_px"])
        return f"{x},{top - 3} {x},{top + int(row['box_height_px']) + 3}"

    def codes(self, result):
        return [finding["code"] for finding in result["fields"][0]["findings"]]

    def refused(self, *words, says):
        self.assert_one_line_error(program.run("measure", *IRON, *self.etched, *words), 2, *says)

    def test_an_outline_along_a_rectangle_gives_the_figures_of_the_rectangle(self):
        outline, (hand,) = self.found(
            "--exclude", "field-01.tif 100,50 300,50 300,210 100,210: stain"
        )
        rect, _ = self.found("--exclude", "field-01.tif 100,50,200,160: stain")
        left_out = outline["fields"][0].pop("exclusion_outlines_px")
        self.assertEqual(left_out, [[[100, 50], [300, 50], [300, 210], [100, 210]]])
        self.assertEqual(rect["fields"][0].pop("exclusions_px"), [[100, 50, 200, 160]])
        outline["fields"][0].pop("exclusions_px")
        rect["fields"][0].pop("exclusion_outlines_px")
        self.assertEqual(outline, rect)
        self.assertEqual((hand["what"], hand["to"]), ("outline", "excluded"))

    def test_a_line_of_known_length_gives_the_figures_of_that_pixel_size(self):
        # each end within half a pixel, evenly: 1 / sqrt(12) px, of both together 1 / sqrt(6) px
        u = 0.5 * math.sqrt(1 / 6) / 100
        line, (hand,) = self.found("--scale-line", "10,20 110,20 50um: the scale bar", fields=2)
        size, _ = self.found("--pixel-size", f"0.5um±{u!r}um (k=1)", fields=2)
        for field in line["fields"]:
            source = field.pop("pixel_size_source")
            self.assertEqual(source, "a line drawn by hand along a known length")
        self.assertEqual(line["calibration"].pop("source"), source)
        for field in size["fields"]:
            field.pop("pixel_size_source")
        size["calibration"].pop("source")
        self.assertEqual(line, size)
        self.assertEqual((hand["length_um"], hand["pixel_size_um"]), (50, 0.5))
        self.assertAlmostEqual(hand["pixel_size_u_um"], u, places=8)

    def test_a_line_in_one_field_stands_above_one_for_all_and_leaves_the_others(self):
        result, hands = self.found(
            "--scale-line", "field-02.tif 10,20 10,220 90um: its bar",
            "--scale-line", "10,20 110,20 50um: the bar",
            fields=2,
        )  # fmt: skip
        self.assertEqual([f["pixel_size_um"] for f in result["fields"]], [0.5, 0.45])
        self.assertFalse(any(hand["without_effect"] for hand in hands))
        result, hands = self.found(
            "--scale-line", "10,20 110,20 60um: a slip", "--scale-line", "10,20 110,20 50um: bar"
        )
        self.assertEqual(result["fields"][0]["pixel_size_um"], 0.5)
        self.assertEqual([hand["without_effect"] for hand in hands], [True, False])

    def test_an_uncertainty_that_is_stated_takes_the_place_of_half_a_pixel(self):
        result, _ = self.found("--scale-line", "10,20 110,20 50um±0.4um: the scale bar")
        self.assertAlmostEqual(result["fields"][0]["pixel_size_u_um"], 0.002, places=9)

    def test_a_cut_parts_a_particle_and_leaves_the_shares_of_phases(self):
        (row, _), _ = self.largest()
        plain, _ = self.found()
        stroke = f"field-01.tif {self.through(row)}: two nodules"
        cut, (hand,) = self.found("--cut", stroke)
        self.assertEqual((hand["what"], hand["parts"], hand["without_effect"]), ("cut", 2, False))
        self.assertEqual(cut["fields"][0]["phases"], plain["fields"][0]["phases"])
        self.assertEqual(
            cut["fields"][0]["particles"]["counted"],
            plain["fields"][0]["particles"]["counted"] + 1,
        )
        self.assertIn("cut-by-hand", self.codes(cut))
        pieces = [r for r in self.rows("--cut", stroke) if r["shape_by_hand"] == "cut"]
        self.assertEqual([r["parted"] for r in pieces], ["yes", "yes"])
        area = sum(float(r["area_px2"]) for r in pieces)
        self.assertAlmostEqual(area, float(row["area_px2"]), delta=0.01 * area)

    def test_a_join_takes_a_cut_back_to_the_digit(self):
        (row, _), _ = self.largest()
        plain, _ = self.found()
        x, y = int(float(row["x_px"])), int(float(row["y_px"]))
        said = [
            "--cut", f"field-01.tif {self.through(row)}: two nodules",
            "--join", f"field-01.tif {x - 5},{y} {x + 5},{y}: one after all",
        ]  # fmt: skip
        back, (cut, join) = self.found(*said)
        self.assertIn("joined-by-hand", self.codes(back))
        self.assertEqual(join["particle"], int(row["particle"]))
        for result in plain, back:
            result["fields"][0].pop("findings")
        self.assertEqual(back, plain)
        self.assertEqual(cut["parts"], 2)
        (joined,) = [r for r in self.rows(*said) if r["shape_by_hand"] == "joined"]
        self.assertEqual(joined["area_px2"], row["area_px2"])

    def test_a_join_of_what_does_not_touch_has_the_area_of_both(self):
        (a, at), (b, other) = self.largest()
        rows = self.rows("--join", f"field-01.tif {at} {other}: one, cracked")
        (joined,) = [r for r in rows if r["shape_by_hand"] == "joined"]
        area = float(a["area_px2"]) + float(b["area_px2"])
        self.assertAlmostEqual(float(joined["area_px2"]), area, delta=1e-3 * area)
        length = float(a["perimeter_px"]) + float(b["perimeter_px"])
        self.assertAlmostEqual(float(joined["perimeter_px"]), length, delta=1e-3 * length)
        apart = math.dist(*((float(r["x_px"]), float(r["y_px"])) for r in (a, b)))
        self.assertGreater(float(joined["feret_max_px"]), apart)
        self.assertEqual(joined["parted"], "no")

    def test_a_threshold_of_one_field_is_that_threshold_and_leaves_the_others(self):
        plain, _ = self.found(fields=2)
        both, _ = self.found("--dark-threshold", "95", fields=2)
        one, (hand,) = self.found("--field-threshold", "field-02.tif 95: lamp", fields=2)
        self.assertEqual(one["fields"][0], plain["fields"][0])
        self.assertEqual(one["fields"][1], both["fields"][1])
        self.assertEqual((hand["what"], hand["level"]), ("dark-threshold", 95))
        found = plain["fields"][1]["thresholds"]["dark"]["level"]
        self.assertAlmostEqual(hand["level_found"], found, places=6)
        last, hands = self.found(
            "--field-threshold", "field-01.tif 80: a slip",
            "--field-threshold", "field-01.tif 95: lamp",
        )  # fmt: skip
        self.assertEqual(last["fields"][0], both["fields"][0])
        self.assertEqual([hand["without_effect"] for hand in hands], [True, False])

    def test_what_parts_nothing_is_told(self):
        result, (hand,) = self.found("--cut", "field-01.tif 1,1 1,2: nothing there")
        self.assertTrue(hand["without_effect"])
        self.assertIsNone(hand["parts"])
        self.assertIn("by-hand-without-effect", self.codes(result))

    def test_what_cannot_be_is_refused_and_leaves_nothing(self):
        out = self.here / "out"
        more = ["-o", out]
        self.refused("--join", "field-01.tif 640,5 7,7: x", *more, says=("640,5", "outside"))
        self.refused("--cut", "field-01.tif -9,5 -7,7: x", *more, says=("-9,5", "outside"))
        self.refused(
            "--exclude", "field-02.tif 640,0 700,0 700,90: x", *more, says=("outline", "outside")
        )
        self.refused("--cut", "field-3.tif 1,1 2,2: x", *more, says=("cut by hand", "not among"))
        self.refused(
            "--exclude", "0,0 640,0 640,480 0,480: x", *more, says=("cover the whole picture",)
        )
        self.refused(
            "--scale-line",
            "1,1 1,100 900mm: x",
            *more,
            says=("9091 um a pixel", "check the unit"),
        )
        self.assertFalse(out.exists())
        done = program.run(
            "measure", "--material", "carbon-steel", "--contrast", "light", self.etched[0],
            "--cut", "field-01.tif 5,5 9,9: x",
        )  # fmt: skip
        self.assert_one_line_error(done, 2, "steel")

    def test_the_report_shows_them_and_its_lines_measure_the_same_again(self):
        (row, at), (_, other) = self.largest()
        ring = " ".join(
            f"{int(320 + 60 * math.cos(a / 20))},{int(240 + 50 * math.sin(a / 20))}"
            for a in range(125)
        )
        out = self.here / "out"
        said = [
            "--join", f"field-01.tif {at} {other}: one <&> 'cracked'",
            "--cut", f"field-01.tif {self.through(row)}: two nodules",
            "--exclude", f"field-01.tif {ring}: a stain",
            "--scale-line", "field-01.tif 10,20 110,21 55um±0.25um: bar",
            "--field-threshold", "field-01.tif 88.5,170: lamp",
        ]  # fmt: skip
        self.measure(*IRON, self.etched[0], *said, "-o", out, code=0)
        before = json.loads((out / "result.json").read_text())
        text = (out / "report.html").read_text(encoding="utf-8")
        for words in (
            "outline of 125 corners", "into", "particles", "made one", "the histogram gives",
            "dashed line: parted by hand", "line between boxes", "line between bars",
        ):  # fmt: skip
            self.assertIn(words, text)
        page = xml.dom.minidom.parse(str(out / "report.html"))
        (offered,) = page.getElementsByTagName("pre")
        job = self.here / "again.ini"
        job.write_text(
            "[specimen]\nmaterial = ductile-iron\n[segmentation]\naccept_unfit = yes\n"
            f"[fields]\nlight = {self.etched[0]}\n{offered.firstChild.data}",
            encoding="utf-8",
        )
        again = self.result("--job", job)
        for hand in before["by_hand"] + again["by_hand"]:
            hand.pop("origin")
        before["fields"][0]["overlay"] = None
        for key in ("made_at", "settings", "job_file"):
            before.pop(key)
            again.pop(key)
        self.assertEqual(again, before)


if __name__ == "__main__":
    unittest.main(verbosity=1)
