"""keelblock prove --quick: complete, honest, the same whatever the number of threads."""
import json
import re
import unittest
import xml.dom.minidom

import program

KINDS = {"bias", "repeatability", "turning", "coverage"}
ROW = {"kind", "group", "subject", "quantity", "specimens", "fields", "fields_refused", "refusal",
       "fields_accepted_unfit", "truth", "measured", "value_unit", "figure", "standard_error",
       "unit", "low", "high", "hits", "trials", "limit", "passed"}


class Prove(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        import pathlib
        import tempfile

        cls.dir = tempfile.TemporaryDirectory()
        cls.out = pathlib.Path(cls.dir.name) / "deep" / "proof"
        cls.done = program.run("prove", "--quick", "-o", cls.out)
        cls.proof = json.loads((cls.out / "prove.json").read_text(encoding="utf-8"))
        cls.page = (cls.out / "prove.html").read_text(encoding="utf-8")

    @classmethod
    def tearDownClass(cls):
        cls.dir.cleanup()

    def test_the_exit_code_is_the_verdict(self):
        failed = sum(not row["passed"] for row in self.proof["rows"])
        self.assertEqual(self.done.returncode, 1 if failed else 0, self.done.stderr)
        self.assertEqual(self.proof["rows_failed"], failed)
        self.assertEqual(self.proof["passed"], failed == 0)
        self.assertEqual(self.done.stderr, "")

    def test_every_row_is_complete_and_every_kind_is_there(self):
        self.assertEqual(self.proof["schema"], "keelblock.proof/1")
        self.assertEqual({row["kind"] for row in self.proof["rows"]}, KINDS)
        for row in self.proof["rows"]:
            self.assertEqual(set(row), ROW)
            self.assertLess(row["low"], row["high"])
            self.assertGreater(row["fields"], 0)
            if row["figure"] is None:
                self.assertFalse(row["passed"])
            if row["fields_refused"]:
                self.assertFalse(row["passed"])
                self.assertTrue(row["refusal"])

    def test_passed_is_what_figure_and_limits_say(self):
        for row in self.proof["rows"]:
            if row["kind"] == "coverage":
                self.assertAlmostEqual(row["figure"], 100 * row["hits"] / row["trials"], delta=1e-3)
            elif row["figure"] is not None and not row["fields_refused"]:
                inside = row["low"] <= row["figure"] <= row["high"]
                self.assertEqual(row["passed"], inside, row)

    def test_a_bias_is_measured_less_true(self):
        checked = 0
        for row in self.proof["rows"]:
            if row["kind"] != "bias" or row["figure"] is None or row["truth"] is None:
                continue
            bias = row["measured"] - row["truth"]
            if row["unit"] == "%":
                bias *= 100 / row["truth"]
            self.assertAlmostEqual(row["figure"], bias, delta=2e-3 * (1 + abs(row["truth"])))
            checked += 1
        self.assertGreater(checked, 20)

    def test_the_limits_are_those_that_were_set(self):
        limit = {(row["kind"], row["quantity"]): row["high"] for row in self.proof["rows"]
                 if "px across" not in row["subject"]}
        self.assertEqual(limit["bias", "pearlite, of the field"], 1)
        self.assertEqual(limit["bias", "nodularity by area, ISO 945-4"], 2)
        self.assertEqual(limit["bias", "nodule count"], 3)
        self.assertEqual(limit["coverage", "nodule count"], 97)

    def test_the_phase_series_reaches_from_2_to_98_per_cent(self):
        truth = [row["truth"] for row in self.proof["rows"] if row["group"] == "Pearlite in steel"]
        self.assertLess(min(truth), 3)
        self.assertGreater(max(truth), 97)

    def test_rows_that_fail_are_named_in_the_table_and_on_the_page(self):
        for row in self.proof["rows"]:
            if not row["passed"]:
                self.assertIn(row["subject"], self.done.stdout)
        self.assertEqual('id="failed"' in self.page, not self.proof["passed"])
        rows = len(re.findall(r'<td class="lone">', self.page))
        self.assertEqual(rows, len(self.proof["rows"]) + self.proof["rows_failed"])

    def test_the_page_stands_alone_and_is_clean(self):
        self.assertIsNone(re.search(r'(src|href)="(?!data:|#)', self.page))
        self.assertNotIn("<script", self.page)
        self.assertIsNone(re.search(r"\b(nan|inf)\b", self.page, re.I))
        xml.dom.minidom.parseString(self.page.encode())

    def test_only_the_two_files_are_written(self):
        self.assertEqual(sorted(p.name for p in self.out.iterdir()), ["prove.html", "prove.json"])

    def test_a_folder_that_cannot_be_made_is_told_at_once(self):
        done = program.run("prove", "--quick", "-o", self.out / "prove.json" / "below")
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertEqual(done.stderr.count("\n"), 1)

    def test_it_takes_options_only(self):
        done = program.run("prove", "picture.tif")
        self.assertEqual(done.returncode, 2)


if __name__ == "__main__":
    unittest.main(verbosity=1)
