"""keelblock prepare, end to end: the sheet for a specimen, and after a measurement."""

import csv
import json
import subprocess
import unittest
from pathlib import Path

import os

import program

REFS = Path(os.environ["KB_SOURCE_DIR"]) / "refs"
SIZE = ["--size", "1280x960", "--pixel-size", "0.6um"]
IRON = ["--material", "ductile-iron", "--contrast", "light", "--accept-unfit"]


def table(name):
    lines = (REFS / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


class Prepare(program.Case):
    rendered = {
        "fair": [*SIZE, "--seed", "61", "--pearlite-of-matrix", "40%"],
        "scratched": [*SIZE, "--seed", "63", "--scratches", "150"],
        "burnt": [*SIZE, "--seed", "64", "--pearlite-of-matrix", "40%", "--over-etch", "1"],
        "soft": [*SIZE, "--seed", "65", "--blur", "8um"],
    }

    def sheet(self, *words):
        done = program.run("prepare", "--json", *words)
        self.assertEqual(done.returncode, 0, done.stderr)
        return json.loads(done.stdout)

    def measured(self, name, *words):
        out = self.here / name
        self.measure(*IRON, *words, self.shared / name / "field-01.tif", "-o", out)
        return out

    def step(self, sheet, number):
        steps = [(part, step) for part in sheet["parts"] for step in part["steps"]]
        return next((part["part"], step) for part, step in steps if step["number"] == number)

    def returns(self, sheet):
        return {fault["check"]: fault["return_to"] for fault in sheet["found"]}

    def test_a_sheet_is_told_in_lines_of_a_terminal(self):
        done = program.run("prepare", "--material", "ductile-iron", "--cut", "saw")
        self.assertEqual((done.returncode, done.stderr), (0, ""))
        self.assertLessEqual(max(map(len, done.stdout.splitlines())), 80)
        for words in (
            "trained staff",
            "GRIND",
            "P120, grain 125 µm",
            "fume hood",
            "nital, 2 to 4 %",
        ):
            self.assertIn(words, done.stdout)

    def test_help_says_where_hardness_classes_end(self):
        done = program.run("prepare", "--help")
        end = {row["hardness"]: row["to_hbw"] for row in table("preparation_hardness.csv")}
        words = " ".join(done.stdout.split())
        self.assertIn(f"soft up to {end['soft']} HBW, hard above {end['medium']} HBW", words)

    def test_page_and_paper_are_written_and_say_the_same(self):
        out = self.here / "sheet"
        words = ["--material", "grey-iron", "--specimen", "Ofen ä <7>", "--quiet"]
        done = program.run("prepare", *words, "-o", out, "--paper", "a4")
        self.assertEqual((done.returncode, done.stdout, done.stderr), (0, "", ""))
        self.assertEqual(sorted(p.name for p in out.iterdir()), ["prepare.html", "prepare.pdf"])
        page = (out / "prepare.html").read_text(encoding="utf-8")
        paper = subprocess.run(
            ["pdftotext", "-raw", out / "prepare.pdf", "-"], capture_output=True, text=True
        ).stdout
        self.assertIn("Ofen ä &lt;7&gt;", page)
        self.assertIn("Ofen ä <7>", paper)
        for words in ("P1200", "Look before etching", "acid into alcohol", "prepared by"):
            self.assertIn(words, page)
            self.assertIn(words, paper)

    def test_scratches_send_back_to_an_abrasive_and_say_why(self):
        result = self.measured("scratched")
        quality = json.loads((result / "result.json").read_text())["fields"][0]["quality"]
        self.assertNotEqual(quality["checks"]["scratches"]["fitness"], "fit")
        sheet = self.sheet("--after", result)
        part, step = self.step(sheet, self.returns(sheet)["scratches"])
        self.assertIn(part, ("grind", "polish"))
        grains = {row["grade"]: float(row["grain_um"]) for row in table("fepa_p_series.csv")}
        named = quality["coarsest_abrasive"]
        if named in grains:
            ladder = [s["grain_um"] for p in sheet["parts"] for s in p["steps"] if s["grain_um"]]
            nearest = min(
                ladder, key=lambda grain: max(grain, grains[named]) / min(grain, grains[named])
            )
            self.assertAlmostEqual(step["grain_um"], nearest)
        else:
            self.assertEqual(part, "polish")

    def test_too_long_an_etch_is_polished_off(self):
        sheet = self.sheet("--after", self.measured("burnt") / "result.json")
        returns = self.returns(sheet)
        etch = [n for check, n in returns.items() if check in ("etch-strong", "etch-ferrite")]
        self.assertTrue(etch, returns)
        for number in etch:
            part, step = self.step(sheet, number)
            self.assertEqual((part, step["abrasive"]), ("polish", "1 µm diamond"))

    def test_a_blurred_field_is_no_matter_of_the_preparation(self):
        done = program.run("prepare", "--after", self.measured("soft"))
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("Out of focus (not fit in 1 of 1 field). No preparation.", done.stdout)
        self.assertNotIn("Return to step", done.stdout.split("Out of focus")[1].split("\n")[0])

    def test_a_fit_result_has_nothing_to_prepare_again(self):
        result = self.measured("fair")
        sheet = self.sheet("--after", result)
        self.assertEqual((sheet["found"], sheet["begin"]), ([], None))
        done = program.run("prepare", "--after", result)
        self.assertIn("Nothing to prepare again", done.stdout)
        self.assertNotIn("GRIND", done.stdout)

    def test_a_refused_fault_can_be_said_by_its_name(self):
        words = ["--material", "ductile-iron", "--fault", "pull-out", "--fault", "focus"]
        sheet = self.sheet(*words)
        part, step = self.step(sheet, sheet["begin"])
        self.assertEqual((part, step["abrasive"]), ("grind", "P1200"))
        self.assertIsNone(self.returns(sheet)["focus"])

    def test_hardness_that_the_result_holds_is_taken(self):
        result = self.measured("fair", "--given", "hardness_hbw=320")
        self.assertEqual(self.sheet("--after", result)["specimen"]["hardness"], "hard")
        said = self.sheet("--after", result, "--hardness", "soft")
        self.assertEqual(said["specimen"]["hardness"], "soft")

    def test_mistakes_are_told_in_one_line(self):
        iron = ["--material", "ductile-iron"]
        (self.here / "other.json").write_text('{"schema": "keelblock.carbon/1"}')
        (self.here / "bare.json").write_text(
            '{"schema": "keelblock.result/1", "specimen": {"material": "ductile-iron"},'
            ' "fields": [{"file": "a.tif"}]}'
        )
        for code, says, words in (
            (2, "material is not said", []),
            (2, "no hardness", [*iron, "--hardness", "45HRC"]),
            (2, "no way of cutting", [*iron, "--cut", "laser"]),
            (2, "no mount", [*iron, "--mount", "warm"]),
            (2, "no etchant", [*iron, "--etchant", "water"]),
            (2, "pull-out", [*iron, "--fault", "pullout"]),
            (2, "needs a folder", [*iron, "--paper", "a4"]),
            (3, "other.json", ["--after", self.here / "other.json"]),
            (3, "field 1 does not tell", ["--after", self.here / "bare.json"]),
            (3, "nowhere", ["--after", self.here / "nowhere"]),
        ):
            self.assert_one_line_error(program.run("prepare", *words), code, says)
        result = self.measured("fair")
        done = program.run("prepare", "--after", result, "--material", "grey-iron")
        self.assert_one_line_error(done, 2, "is of ductile-iron, not of grey-iron")


if __name__ == "__main__":
    unittest.main(verbosity=1)
