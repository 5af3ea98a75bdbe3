"""What is neither ferrite nor pearlite: drawn with its truth, found, reported everywhere, and held
against a limit. Truth: the sums of the rendered drawings."""
import csv
import unittest

import program

IRON = ["--material", "ductile-iron", "--contrast", "light"]
DRAW = ["--size", "900x700", "--fields", "3", "--pearlite-of-matrix", "60%"]
POINT = 0.01


class FreePart(program.Case):
    rendered = {
        "bainite": [*DRAW, "--seed", "71", "--bainite", "3%"],
        "carbide": [*DRAW, "--seed", "81", "--carbide", "3%"],
        "none": [*DRAW, "--seed", "91"],
    }

    def fields(self, name):
        return sorted((self.shared / name).glob("*.tif"))

    def true_mean(self, name, key):
        return sum(self.truth(name, i)["phases"][key] for i in (1, 2, 3)) / 3

    def test_phases_are_within_a_point_of_the_drawing(self):
        for name in ("bainite", "carbide"):
            phases = self.result(*IRON, *self.fields(name), codes=(0, 3))["phases"]
            for key in ("graphite", "ferrite", "pearlite", "other"):
                self.assertAlmostEqual(
                    phases[key]["mean"], self.true_mean(name, key), delta=POINT, msg=name + key
                )

    def test_shares_of_the_matrix_have_other_in_the_denominator(self):
        for field in self.result(*IRON, *self.fields("bainite"), codes=(0, 3))["fields"]:
            p = field["phases"]
            matrix = p["ferrite"] + p["pearlite"] + p["other"]
            self.assertAlmostEqual(
                field["pearlite_of_matrix"], p["pearlite"] / matrix, delta=1e-5
            )
            self.assertAlmostEqual(field["other_of_matrix"], p["other"] / matrix, delta=1e-5)

    def test_a_field_without_has_none_and_none_is_not_null(self):
        result = self.result(*IRON, *self.fields("none"))
        self.assertEqual(result["phases"]["other"]["mean"], 0)
        self.assertEqual(result["phases"]["other_of_matrix"]["mean"], 0)
        codes = [f["code"] for field in result["fields"] for f in field["findings"]]
        self.assertNotIn("other-found", codes)

    def test_a_limit_on_it_decides(self):
        limit = ("--limit", "other_of_matrix <= 1 %")
        outcome = {}
        for name in ("bainite", "none"):
            result = self.result(*IRON, *self.fields(name), *limit, codes=(0, 1, 2, 3))
            outcome[name] = result["limits"][0]["outcome"]
        self.assertEqual(outcome, {"bainite": "reject", "none": "accept"})

    def test_table_and_terminal_show_it(self):
        out = self.here / "out"
        done = self.measure(*IRON, *self.fields("carbide"), "-o", out)
        self.assertIn("other, of the matrix", done.stdout)
        with open(out / "fields.csv", newline="", encoding="utf-8-sig") as file:
            rows = list(csv.DictReader(file))
        self.assertTrue(all(float(row["other_of_matrix"]) > 0 for row in rows))
        self.assertIn("other, of the matrix", (out / "report.html").read_text())


if __name__ == "__main__":
    unittest.main()
