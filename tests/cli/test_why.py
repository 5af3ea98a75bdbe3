"""Why a point is what it is: asked on the command line or in the job file; answered in words, on
the page with pictures, and in result.json."""

import csv
import json
import re
import unittest
import xml.dom.minidom

import program

IRON = ["--material", "ductile-iron", "--contrast", "light"]


class Why(program.Case):
    rendered = {
        "etched": ["--size", "640x480", "--pixel-size", "0.6um", "--fields", "2", "--seed", "11"]
    }

    @property
    def etched(self):
        return sorted((self.shared / "etched").glob("*.tif"))

    def particles(self):
        out = self.here / "look"
        self.measure(*IRON, *self.etched, "-o", out, code=0)
        with open(out / "particles.csv", newline="", encoding="utf-8") as file:
            return [row for row in csv.DictReader(file) if row["field"] == "1"]

    @staticmethod
    def middle(row):
        return f"{int(float(row['x_px']))},{int(float(row['y_px']))}"

    def largest(self, state):
        rows = [row for row in self.particles() if row["state"] == state]
        return max(rows, key=lambda row: float(row["area_px2"]))

    def why(self, *words):
        return self.result(*IRON, *self.etched, *words)["why"]

    def test_a_particle_is_told_from_the_first_look_to_nodularity(self):
        row = self.largest("counts")
        (why,) = self.why("--why", f"field-01.tif {self.middle(row)}")
        self.assertEqual((why["phase"], why["field"]), ("graphite", 1))
        self.assertEqual(why["particle"], int(row["particle"]))
        self.assertEqual(
            [why["place_px"][0], why["place_px"][1]],
            [int(n) for n in self.middle(row).split(",")],
        )
        steps = {step["step"]: step for step in why["steps"]}
        names = [step["step"] for step in why["steps"]]
        self.assertEqual(names[0], "first look")
        self.assertEqual(names[-1], "nodularity")
        size = steps["size"]
        self.assertAlmostEqual(size["figure"], float(row["feret_max_um"]), delta=0.01)
        self.assertEqual((size["limit"], size["unit"]), (10, "um"))
        self.assertAlmostEqual(steps["form"]["figure"], float(row["shape_factor"]), delta=0.001)
        self.assertIn(f"form {row['iso945_form']} of ISO 945-1", steps["form"]["says"])
        self.assertLess(steps["grey level"]["figure"], steps["grey level"]["limit"])

    def test_a_particle_that_does_not_count_names_the_rule(self):
        row = self.largest("on-frame")
        (why,) = self.why("--why", f"field-01.tif {self.middle(row)}")
        self.assertEqual(why["steps"][-1]["step"], "count")
        self.assertIn("edge of the picture", why["steps"][-1]["says"])

    def test_asking_changes_no_figure(self):
        plain = self.result(*IRON, *self.etched)
        asked = self.result(*IRON, *self.etched, "--why", "100,100 | 200,300")
        self.assertEqual(len(asked["why"]), 4)  # two points, two fields
        self.assertEqual(plain["why"], [])
        for result in (plain, asked):
            del result["why"], result["made_at"]
        self.assertEqual(plain, asked)

    def test_decisions_by_hand_are_given_with_their_reason(self):
        at = self.middle(self.largest("counts"))
        (why,) = self.why(
            "--why",
            f"field-01.tif {at}",
            "--set-phase",
            f"field-01.tif {at} other: slag, by its colour",
        )
        self.assertEqual(why["phase"], "other")
        last = why["steps"][-1]
        self.assertEqual(
            (last["step"], last["from"], last["to"]), ("by hand", "graphite", "other")
        )
        self.assertIn("slag, by its colour", last["says"])
        why = self.why("--why", "5,5", "--exclude", "field-01.tif 0,0,20,20: a stain")
        self.assertEqual([point["phase"] == "excluded" for point in why], [True, False])
        self.assertIn("a stain", why[0]["steps"][0]["says"])

    def test_a_job_file_asks_the_same(self):
        job = self.here / "job.ini"
        job.write_text("[output]\nwhy = field-01.tif 100,100 | 200,300\n", encoding="utf-8")
        from_job = self.why("--job", job)
        from_line = self.why("--why", "field-01.tif 100,100", "--why", "200,300")
        self.assertEqual(len(from_job), 3)
        for point in from_job + from_line:
            del point["origin"]
        self.assertEqual(from_job, from_line)

    def test_the_terminal_and_the_page_say_it_too(self):
        at = self.middle(self.largest("counts"))
        out = self.here / "out"
        done = self.measure(*IRON, *self.etched, "--why", f"field-01.tif {at}", "-o", out, code=0)
        self.assertRegex(done.stdout, rf"field-01.tif at {at} is graphite, particle \d+, because")
        self.assertIn(" 1  first look: ", done.stdout)
        page = (out / "report.html").read_text(encoding="utf-8")
        xml.dom.minidom.parseString(page.split("\n", 1)[1])
        section = re.search(r'<section[^>]*id="why".*?</section>', page, re.S).group(0)
        self.assertEqual(section.count("data:image/jpeg"), 2)
        self.assertIn("first look", section)
        self.assertNotIn(" um", section)
        rules = re.search(r'<dl class="rules">.*?</dl>', page, re.S).group(0)
        self.assertRegex(rules, r"<dt>ferrite</dt><dd>grey above \d+")
        self.assertRegex(rules, r"<dt>graphite</dt><dd>grey up to \d+")
        result = json.loads((out / "result.json").read_text(encoding="utf-8"))
        threshold = result["fields"][0]["thresholds"]["dark"]["level"]
        self.assertIn(f"grey up to {threshold:.4g}", rules)

    def test_nonsense_is_refused_in_one_line(self):
        for words, says in (
            (["--why", "field-01.tif"], "no point to be explained"),
            (["--why", "field-01.tif 1,2 graphite"], "no point to be explained"),
            (["--why", "field-01.tif 1,2: because"], "no point to be explained"),
            (["--why", "field-09.tif 1,2"], "not among those measured"),
            (["--why", "field-01.tif 640,2"], "outside the picture"),
            (["--why", "-1,2"], "outside the picture"),
        ):
            done = program.run("measure", *IRON, *self.etched, *words)
            self.assert_one_line_error(done, 2, says)


if __name__ == "__main__":
    unittest.main()
