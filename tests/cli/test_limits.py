"""Limits that hang on grade and section thickness, and the templates that come along."""

import os
import pathlib
import re
import unittest

import program

REFS = pathlib.Path(os.environ["KB_SOURCE_DIR"]) / "refs" / "limits"
IRON = ["--material", "ductile-iron", "--contrast", "light"]

LIMITS = """
[limits]
nodularity = >= 1 %
[limits GJS-500]
nodularity = >= 2 %
[limits GJS-500, <= 30 mm]
nodularity = >= 3 %
[limits GJS-500, 30..60 mm]
nodularity = >= 4 %
[limits GJS-500, > 60 mm]
nodularity = >= 5 %
[limits GJS-700]
pearlite_of_matrix = >= 1 %
"""


class Limits(program.Case):
    rendered = {"fields": ["--size", "640x480", "--pixel-size", "0.6um", "--fields", "2"]}

    def low(self, *words):
        """The lower limits that were taken, by quantity."""
        fields = sorted((self.shared / "fields").glob("*.tif"))
        limits = self.here / "limits.ini"
        limits.write_text(LIMITS, encoding="utf-8")
        result = self.result(*IRON, *fields, "--limits", limits, *words)
        return {limit["quantity"]: limit["low"] for limit in result["limits"]}

    def refused(self, words, *says, text=LIMITS):
        fields = sorted((self.shared / "fields").glob("*.tif"))
        limits = self.here / "limits.ini"
        limits.write_text(text, encoding="utf-8")
        done = program.run("measure", *IRON, *fields, "--limits", limits, *words)
        self.assert_one_line_error(done, 2, *says)

    def test_the_more_particular_limit_replaces_the_general_one(self):
        thick = ["--grade", "GJS-500", "--section-thickness"]
        self.assertEqual(self.low(*thick, "30mm"), {"nodularity": 3})
        self.assertEqual(self.low(*thick, "30.1mm"), {"nodularity": 4})
        self.assertEqual(self.low(*thick, "60 mm"), {"nodularity": 4})
        self.assertEqual(self.low(*thick, "200mm"), {"nodularity": 5})

    def test_capitals_and_blanks_do_not_tell_grades_apart(self):
        taken = self.low("--grade", "gjs -700")
        self.assertEqual(taken, {"nodularity": 1, "pearlite_of_matrix": 1})

    def test_a_grade_or_thickness_that_is_missing_is_asked_for(self):
        self.refused([], "grade", "GJS-500, GJS-700")
        self.refused(["--grade", "GJS-400"], "GJS-400", "GJS-500, GJS-700")
        gap = LIMITS.replace("nodularity = >= 1 %", "graphite = <= 20 %").replace(
            "nodularity = >= 2 %", ""
        )
        self.refused(["--grade", "GJS-500"], "section thickness", text=gap)
        gap = gap.replace("> 60 mm", "> 90 mm")
        words = ["--grade", "GJS-500", "--section-thickness", "70mm"]
        self.refused(words, "70 mm", text=gap)

    def test_a_section_that_cannot_be_read_is_refused(self):
        for section in ("A, B", "30..20 mm", "<= 30", "< 30 mm", ">= 3 mm", "1..2..3 mm"):
            with self.subTest(section=section):
                text = f"[limits {section}]\nnodularity = >= 1 %\n"
                self.refused(["--grade", "A"], f"[limits {section}]", text=text)

    def test_every_grade_of_every_template_is_taken(self):
        fields = sorted((self.shared / "fields").glob("*.tif"))
        templates = sorted(REFS.glob("*.ini"))
        self.assertGreaterEqual(len(templates), 4)
        for path in templates:
            text = path.read_text(encoding="utf-8")
            # as a laboratory would: the limits that wait for values are in force
            text = re.sub(
                r"^; (\[limits.*\]|\w+ = (?:[<>]=|\d).*)$", r"\1", text, flags=re.MULTILINE
            )
            copy = self.here / path.name
            copy.write_text(text, encoding="utf-8")
            grades = sorted(set(re.findall(r"^\[limits ([A-Z][^\],]*)", text, re.MULTILINE)))
            for grade in grades or [None]:
                with self.subTest(template=path.name, grade=grade):
                    words = ["--limits", copy, "--section-thickness", "25mm"]
                    words += ["--grade", grade] if grade else []
                    material = ["--material", path.stem, "--contrast", "light"]
                    done = program.run("measure", "--json", *material, *fields, *words)
                    self.assertIn(done.returncode, (0, 1, 3), done.stderr)
                    self.assertNotIn("limits", done.stderr)


if __name__ == "__main__":
    unittest.main()
