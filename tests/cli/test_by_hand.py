"""Decisions by hand: obeyed, shown with who and why, and the same again from the job file."""
import csv
import json
import unittest
import xml.dom.minidom

import program

SMALL = ["--size", "640x480", "--pixel-size", "0.6um"]
IRON = ["--material", "ductile-iron", "--contrast", "light"]


class ByHand(program.Case):
    rendered = {
        "etched": [*SMALL, "--fields", "2", "--seed", "11", "--nodularity", "70%"],
        "steel": [*SMALL, "--graphite", "none", "--pearlite-of-matrix", "50%"],
    }

    @property
    def etched(self):
        return sorted((self.shared / "etched").glob("*.tif"))

    def particles(self, *words):
        """Rows of particles.csv of both fields."""
        out = self.here / "look"
        self.measure(*IRON, *self.etched, *words, "-o", out, code=0)
        with open(out / "particles.csv", newline="", encoding="utf-8") as file:
            return list(csv.DictReader(file))

    def counting(self, round_ones, field="field-01.tif"):
        """The largest counting particle that is, or is not, a nodule; its middle pixel."""
        rows = [
            row
            for row in self.particles()
            if row["file"] == field
            and row["state"] == "counts"
            and (float(row["shape_factor"]) >= 0.6) == round_ones
        ]
        row = max(rows, key=lambda row: float(row["area_px2"]))
        return row, f"{int(float(row['x_px']))},{int(float(row['y_px']))}"

    def says(self, *words, says):
        self.assert_one_line_error(program.run("measure", *IRON, *self.etched, *words), 2, *says)

    def test_a_phase_by_hand_moves_one_region_from_one_share_to_the_other(self):
        _, at = self.counting(round_ones=True)
        before = self.result(*IRON, *self.etched)
        after = self.result(
            *IRON, *self.etched, "--set-phase", f"field-01.tif {at} other: slag, not graphite"
        )
        (hand,) = after["by_hand"]
        self.assertEqual((hand["what"], hand["from"], hand["to"]), ("phase", "graphite", "other"))
        self.assertEqual(hand["reason"], "slag, not graphite")
        self.assertEqual(hand["field"], 1)
        share = hand["pixels"] / (640 * 480)
        old, new = before["fields"][0]["phases"], after["fields"][0]["phases"]
        self.assertGreater(share, 0)
        self.assertAlmostEqual(new["other"], share, delta=1e-6)
        self.assertAlmostEqual(new["graphite"] + share, old["graphite"], delta=1e-6)
        self.assertEqual(new["pearlite"], old["pearlite"])
        self.assertEqual(before["fields"][1]["phases"], after["fields"][1]["phases"])
        self.assertEqual(
            after["fields"][0]["particles"]["counted"],
            before["fields"][0]["particles"]["counted"] - 1,
        )
        codes = [finding["code"] for finding in after["fields"][0]["findings"]]
        self.assertIn("phase-by-hand", codes)

    def test_a_form_by_hand_decides_in_every_method_of_nodularity(self):
        row, at = self.counting(round_ones=False)
        words = [*IRON, self.etched[0]]
        before = self.result(*words)["graphite"]
        areas = [
            float(r["area_um2"])
            for r in self.particles()
            if r["file"] == "field-01.tif" and r["state"] == "counts"
        ]
        weight = 100 * float(row["area_um2"]) / sum(areas)
        for form, credit in ("VI", 1), ("V", 1), ("IV", 0), ("I", 0):
            after = self.result(*words, "--set-form", f"field-01.tif {at} {form}: a pull-out")
            (hand,) = after["by_hand"]
            self.assertEqual(hand["particle"], int(row["particle"]))
            self.assertEqual((hand["from"], hand["to"]), (row["iso945_form"], form))
            self.assertEqual(after["graphite"]["particles_counted"], before["particles_counted"])
            for method, was in before["nodularity_percent"].items():
                had = self.half_credit(row) if method == "iso16112" else 0
                now = after["graphite"]["nodularity_percent"][method]
                self.assertAlmostEqual(now, was + (credit - had) * weight, delta=2e-3)

    @staticmethod
    def half_credit(row):
        """What ISO 16112 gives below 0.6 by shape factor (refs/nodularity_rules.csv)."""
        return 0.5 if float(row["shape_factor"]) >= 0.525 else 0.0

    def test_the_report_marks_what_was_touched(self):
        row, at = self.counting(round_ones=False)
        rows = self.particles("--set-form", f"field-01.tif {at} VI: a pull-out")
        touched = [r for r in rows if r["form_by_hand"] == "yes"]
        self.assertEqual([r["particle"] for r in touched], [row["particle"]])
        self.assertEqual(touched[0]["iso945_form"], "VI")
        self.assertEqual(touched[0]["iso945_form_found"], row["iso945_form"])
        page = (self.here / "look" / "report.html").read_text(encoding="utf-8")
        xml.dom.minidom.parseString(page.replace("<!DOCTYPE html>", ""))
        section = page[page.index('id="by-hand"') : page.index("<h3>Settings")]
        for words in "a pull-out", "nobody named", "form VI", "command line":
            self.assertIn(words, section)
        self.assertIn("by-hand-without-name", (self.here / "look" / "result.json").read_text())

    def test_an_exclusion_for_one_field_leaves_the_others_whole(self):
        result = self.result(
            *IRON, *self.etched, "--exclude", "etched/field-02.tif 0,0,640,48: scale strip"
        )
        whole, cut = (field["area_mm2"] for field in result["fields"])
        self.assertAlmostEqual(whole, 640 * 480 * 0.36e-6, delta=1e-6)
        self.assertAlmostEqual(cut, 640 * 432 * 0.36e-6, delta=1e-6)
        self.assertEqual(result["fields"][0]["exclusions_px"], [])
        self.assertEqual(result["fields"][1]["exclusions_px"], [[0, 0, 640, 48]])
        self.assertEqual(result["by_hand"][0]["reason"], "scale strip")

    def test_a_reason_is_asked_for(self):
        self.says("--set-phase", "field-01.tif 5,5 other", says=("no reason", "PHASE: reason"))
        self.says("--set-form", "field-01.tif 5,5 VI:", says=("no reason", "FORM: reason"))
        for words in ["--exclude", "0,0,9,9"], ["--dark-threshold", "90"]:
            codes = [f["code"] for f in self.result(*IRON, *self.etched, *words)["findings"]]
            self.assertIn("by-hand-without-reason", codes)
        for words in ["--exclude", "0,0,9,9: dirt"], [
            "--dark-threshold",
            "90",
            "--threshold-reason",
            "another lamp",
        ]:
            result = self.result(*IRON, *self.etched, *words, "--operator", "R. Halvard")
            codes = [finding["code"] for finding in result["findings"]]
            self.assertNotIn("by-hand-without-reason", codes)
            self.assertNotIn("by-hand-without-name", codes)
            self.assertEqual(result["by_hand"][0]["who"], "R. Halvard")

    def test_what_cannot_be_meant_is_refused_and_leaves_nothing(self):
        out = self.here / "out"
        more = ["-o", out]
        self.says(
            "--set-phase", "field-01.tif 640,5 other: x", *more, says=("field-01.tif", "640,5")
        )
        self.says("--set-form", "field-02.tif 5,999 VI: x", *more, says=("5,999", "outside"))
        self.says(
            "--set-phase", "field-1.tif 5,5 other: x", *more, says=("field-1.tif", "'field-01.tif'")
        )
        self.says("--set-phase", "nowhere 5,5 other: x", *more, says=("not among",))
        _, at = self.counting(round_ones=True)
        self.says(
            "--set-phase",
            f"field-01.tif {at} other: x",
            "--set-form",
            f"field-01.tif {at} VI: x",
            *more,
            says=("no graphite particle",),
        )
        self.says(
            "--set-phase",
            "field-01.tif 3,4 other: x",
            "--exclude",
            "0,0,9,9",
            *more,
            says=("3,4", "excluded"),
        )
        self.assertFalse(out.exists())
        steel = sorted((self.shared / "steel").glob("*.tif"))
        done = program.run(
            "measure", "--material", "carbon-steel", "--contrast", "light", *steel,
            "--set-form", "field-01.tif 5,5 VI: x",
        )  # fmt: skip
        self.assert_one_line_error(done, 2, "steel")

    def test_a_name_that_fits_two_fields_must_be_longer(self):
        for folder in "a", "b":
            (self.here / folder).mkdir()
            (self.here / folder / "x.tif").write_bytes(self.etched[0].read_bytes())
        words = [*IRON, self.here / "a", self.here / "b"]
        done = program.run("measure", *words, "--set-phase", "x.tif 5,5 other: y")
        self.assert_one_line_error(done, 2, "a/x.tif", "b/x.tif")
        result = self.result(*words, "--set-phase", "b/x.tif 5,5 other: y")
        self.assertEqual(result["by_hand"][0]["field"], 2)

    def test_the_same_job_file_gives_the_same_result_to_the_digit(self):
        _, one = self.counting(round_ones=True)
        _, two = self.counting(round_ones=False, field="field-02.tif")
        said = {
            "set_phase": f"field-01.tif {one} other: slag",
            "set_form": f"field-02.tif {two} V: a pull-out",
            "exclude": "field-02.tif 0,0,30,30: dirt",
        }
        job = self.here / "part.ini"
        head = "[specimen]\nmaterial = ductile-iron\n[fields]\n"
        head += f"light = {self.shared}/etched/*.tif\n"
        job.write_text(
            head + "[by_hand]\n" + "".join(f"{key} = {value}\n" for key, value in said.items())
        )
        first, again = self.result("--job", job), self.result("--job", job, "--threads", "1")
        options = [
            word
            for key, value in said.items()
            for word in (f"--{key.replace('_', '-')}", value)
        ]
        line = self.result(*IRON, *self.etched, *options)
        self.assertEqual(
            [hand["origin"] for hand in first["by_hand"]], ["job file"] * len(said)
        )
        for result in first, again, line:
            for key in "made_at", "settings", "job_file":
                del result[key]
            for hand in result["by_hand"]:
                del hand["origin"]
            result["by_hand"].sort(key=json.dumps)
        self.assertEqual(first, again)
        self.assertEqual(first, line)

    def test_the_lines_that_the_report_offers_measure_the_same_again(self):
        _, at = self.counting(round_ones=True)
        out = self.here / "out"
        words = [
            "--set-phase", f"field-01.tif {at} other: slag <&> 'x'",
            "--exclude", "0,0,20,20: dirt",
            "--dark-threshold", "91.5",
            "--threshold-reason", "another lamp",
        ]  # fmt: skip
        self.measure(*IRON, *self.etched, *words, "-o", out, code=0)
        page = xml.dom.minidom.parse(str(out / "report.html"))
        (offered,) = page.getElementsByTagName("pre")
        job = self.here / "again.ini"
        job.write_text(
            f"[specimen]\nmaterial = ductile-iron\n[fields]\nlight = {self.shared}/etched/*.tif\n"
            + offered.firstChild.data
        )
        result = self.result("--job", job)
        before = json.loads((out / "result.json").read_text())
        for key in "fields", "phases", "graphite":
            for field in before["fields"]:
                field["overlay"] = None
            self.assertEqual(result[key], before[key])
        reasons = [hand["reason"] for hand in result["by_hand"]]
        self.assertIn("slag <&> 'x'", reasons)
        self.assertIn("another lamp", reasons)


if __name__ == "__main__":
    unittest.main(verbosity=1)
