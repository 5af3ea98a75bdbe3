"""scripts/how-right: README's table from a proof, and nothing that the proof does not say."""
import json
import os
import pathlib
import subprocess
import tempfile
import unittest

SCRIPT = pathlib.Path(__file__).resolve().parents[2] / "scripts" / "how-right"


def row(kind, quantity, figure, **more):
    made = {
        "kind": kind,
        "group": "A series",
        "subject": "20 %",
        "quantity": quantity,
        "unit": "points",
        "figure": figure,
        "high": 1,
        "passed": True,
        "fields_refused": 0,
        "trials": None,
    }
    return {**made, **more}


class HowRight(unittest.TestCase):
    def setUp(self):
        self.dir = tempfile.TemporaryDirectory()
        self.addCleanup(self.dir.cleanup)
        self.here = pathlib.Path(self.dir.name)
        self.proof = self.here / "prove.json"
        rows = [
            row("bias", "graphite, of the field", 0.5),
            row("bias", "graphite, of the field", -0.75, passed=False, high=0.7),
            row("bias", "graphite, of the field", 9.0, subject="3 px across", high=0.1),
            row("bias", "area of a particle", None, subject="3 px across", unit="%"),
            row("coverage", "graphite, of the field", 95.25, unit="%", trials=240),
        ]
        proof = {
            "schema": "keelblock.proof/1",
            "specimens": 7,
            "fields": 70,
            "rows_failed": 1,
            "rows": rows,
        }
        self.proof.write_text(json.dumps(proof), encoding="utf-8")

    def run_it(self, *words):
        return subprocess.run(
            [SCRIPT, *map(os.fspath, words)], capture_output=True, text=True, check=False
        )

    def test_the_worst_bias_counts_and_small_particles_stand_apart(self):
        text = self.run_it(self.proof).stdout
        self.assertIn("| graphite, of the field | −0.75 pt (±0.7) | – | – | 95.2 % |", text)
        self.assertIn("| area of a particle | – |", text)
        self.assertIn("4 of 5 rows pass", text)
        self.assertIn("graphite, of the field (A series: 20 %)", text)

    def test_only_what_stands_between_the_marks_is_replaced(self):
        readme = self.here / "README.md"
        marks = "<!-- from keelblock prove -->\nstale\n<!-- end of keelblock prove -->"
        readme.write_text(f"before\n{marks}\nafter\n", encoding="utf-8")
        for _ in range(2):
            self.assertEqual(self.run_it(self.proof, readme).returncode, 0)
            text = readme.read_text(encoding="utf-8")
            self.assertTrue(text.startswith("before\n<!--") and text.endswith("-->\nafter\n"))
            self.assertNotIn("stale", text)
            self.assertEqual(text.count("7 specimens"), 1)

    def test_what_is_no_proof_or_has_no_marks_is_refused(self):
        readme = self.here / "README.md"
        readme.write_text("no marks\n", encoding="utf-8")
        self.assertEqual(self.run_it(self.proof, readme).returncode, 3)
        self.assertEqual(readme.read_text(encoding="utf-8"), "no marks\n")
        self.proof.write_text("{}", encoding="utf-8")
        self.assertEqual(self.run_it(self.proof).returncode, 3)
        self.assertEqual(self.run_it().returncode, 2)


if __name__ == "__main__":
    unittest.main(verbosity=1)
