"""keelblock batch in parts: several machines, one folder; what is measured anew and what is not.

The joined result of parts must be that of a single run to the byte; a share's name must change with
whatever changes what is measured, and with nothing else.
"""
import csv
import json
import os
import re
import shutil
import subprocess
import unittest
from pathlib import Path

from PIL import Image

import batch_fields
import program

# 200 in the daily run; KB_BATCH_FIELDS=2000 for a long one
MANY = int(os.environ.get("KB_BATCH_FIELDS", "200"))
SOURCE = Path(os.environ["KB_SOURCE_DIR"])


class Parts(batch_fields.Batches):
    def test_parts_joined_equal_the_single_run_to_the_byte_and_no_picture_is_opened(self):
        here = self.here
        shutil.copytree(self.shared / "fields", here / "fields")
        shutil.copy(self.manifest, here)
        shutil.copy(self.shared / "limits.ini", here)
        manifest, out = here / "manifest.csv", here / "out"
        for part in (3, 1, 2):
            done = self.batch("--part", f"{part}/3", "-o", out, manifest, code=0)
            self.assertEqual(done.stdout, "")
        self.assertEqual(batch_fields.documents(out), {})
        for path in (here / "fields").glob("*.png"):
            path.write_bytes(b"not looked at")
        self.batch("--merge", "-o", out, manifest)
        self.assert_same_bytes(out)

    def test_parts_run_under_gnu_parallel(self):
        self.assertIsNotNone(shutil.which("parallel"), "GNU parallel is missing: scripts/setup")
        out = self.here / "out"
        subprocess.run(
            [
                "parallel",
                "--will-cite",
                "-j2",
                program.PROGRAM,
                "batch",
                "--quiet",
                "--part",
                "{}/4",
                "-o",
                str(out),
                str(self.manifest),
                ":::",
                "1",
                "2",
                "3",
                "4",
            ],
            check=True,
            timeout=300,
            stdin=subprocess.DEVNULL,
            env={**os.environ, "HOME": str(self.here), "OMP_NUM_THREADS": "1"},
        )
        self.batch("--merge", "-o", out, self.manifest)
        self.assert_same_bytes(out)

    def test_a_missing_part_is_named(self):
        out = self.here / "out"
        for part in (1, 4):
            self.batch("--part", f"{part}/4", "-o", out, self.manifest, code=0)
        done = self.batch("--merge", "-o", out, self.manifest)
        self.assert_one_line_error(done, 3, "2 of 4 parts are missing", "--part 2/4")

    def test_parts_of_other_settings_are_not_joined(self):
        out = self.here / "out"
        self.batch("--part", "1/1", "--min-feret", "12um", "-o", out, self.manifest, code=0)
        done = self.batch("--merge", "-o", out, self.manifest)
        self.assert_one_line_error(done, 3, "these settings")

    def test_faults_are_joined_too(self):
        here = self.here
        fields = batch_fields.draw(here, 4)
        fields[2].write_bytes(b"no picture")
        manifest = batch_fields.manifest(here / "m.csv", fields, 2)
        single = self.batch("-o", here / "single", manifest, code=3)
        for part in (1, 2):
            self.batch("--part", f"{part}/2", "-o", here / "out", manifest)
        joined = self.batch("--merge", "-o", here / "out", manifest, code=3)
        self.assertEqual(
            batch_fields.documents(here / "out"), batch_fields.documents(here / "single")
        )
        self.assertEqual(joined.stdout.replace("/out/", "/single/"), single.stdout)

    def test_new_limits_are_judged_without_measuring(self):
        here = self.here
        fields = batch_fields.draw(here, 4)
        manifest = batch_fields.manifest(here / "m.csv", fields, 2)
        self.batch("-o", here / "out", manifest)
        for path in fields:
            path.write_bytes(b"not looked at")
        (here / "limits.ini").write_text("[limits]\nnodules_per_mm2 = >= 100000\n")
        self.batch("--merge", "-o", here / "out", manifest, code=1)
        document = json.loads((here / "out" / "week-1" / "batch.json").read_text())
        self.assertEqual(document["verdict"], "reject")

    def test_words_that_are_no_part_are_refused(self):
        for words in ("0/3", "4/3", "3", "a/b", "1/0", ""):
            done = self.batch("--part", words, self.manifest)
            self.assert_one_line_error(done, 2, "--part")
        done = self.batch("--part", "1/2", "--merge", self.manifest)
        self.assert_one_line_error(done, 2, "do not go together")


class DryRun(batch_fields.Batches):
    def test_it_shows_what_would_be_measured_and_makes_nothing(self):
        before = sorted(self.shared.rglob("*"))
        done = self.batch("--dry-run", self.manifest, code=0)
        self.assertEqual(sorted(self.shared.rglob("*")), before)
        self.assertIn("9 specimens, 36 fields, 0 of them missing", done.stdout)
        self.assertIn("nodularity >= 80 %", done.stdout)
        self.assertIn("week 1 / S0001: 4 fields, ductile-iron, light, 1 um a pixel", done.stdout)

    def test_missing_pictures_are_named_and_the_exit_status_says_so(self):
        (self.here / "m.csv").write_text(
            "specimen,field,material\nA,nowhere.tif,grey iron\nB,none-*.tif,grey iron\n"
        )
        done = self.batch("--dry-run", self.here / "m.csv", code=3)
        self.assertIn("nowhere.tif", done.stderr)
        self.assertIn("none-*.tif", done.stderr)
        self.assertIn("2 specimens, 2 fields, 2 of them missing", done.stdout)


class Shares(batch_fields.Batches):
    """A share's name must change with whatever changes what is measured."""

    # a value for every option of these sections, other than its default
    OTHER = {
        "pixel-size": "0.9um",
        "scale-bar": "90px=100um",
        "scale-uncertainty": "1%",
        "page": "1",
        "blank-field": None,
        "whole-frame": "",
        "accept-unfit": "",
        "dark-threshold": "70",
        "bright-threshold": "170",
        "keep-light": "",
        "clean": "3um",
        "colony": "7um",
        "line": "3.5um",
        "exclude": "0,0,20,20: a stain",
        "min-feret": "11um",
        "keep-touching": "",
        "part-depth": "1.9um",
        "threshold-step": "2",
        "material": "compacted-iron",
        "contrast": "auto",
    }
    # decide nothing in a field, or are said in a job file
    ELSEWHERE = {"threshold-reason", "record", "why"}
    # said in a job file: two that are not alike, of each; a and b are pixels of two particles
    BY_HAND = {
        "set-phase": ("field-0001.png {a} other: a", "field-0001.png {a} matrix: a"),
        "set-form": ("field-0001.png {a} VI: a", "field-0001.png {a} IV: a"),
        "cut": ("field-0001.png 5,5 90,90: a", "field-0001.png 5,5 90,91: a"),
        "join": ("field-0001.png {a} {b}: a", "field-0001.png {b} {a}: a"),
        "scale-line": ("5,5 90,9 85um: a", "5,5 90,9 85um±1um: a"),
        "field-threshold": ("field-0001.png 80: a", "field-0001.png 81: a"),
        "exclude": ("5,5 90,9 80,80: a", "5,5 90,9 80,81: a"),
    }

    def names(self, folder):
        return {path.name for path in (folder / "shares").glob("*.share")}

    def test_every_option_that_decides_about_a_field_gives_another_name(self):
        text = (SOURCE / "src" / "app" / "options.c").read_text()
        known = re.findall(
            r'\{"([a-z-]+)", (?:0|\'.\'), "(?:calibration|segmentation|particles|' r'by_hand)"',
            text,
        )
        self.assertGreater(len(known), 15)
        self.assertEqual(
            set(known) - set(self.OTHER) - set(self.BY_HAND) - self.ELSEWHERE,
            set(),
            "a new option: give it a value here, and a place in share_settings.c",
        )
        here = self.here
        field = batch_fields.draw(here, 1)[0]
        blank = here / "blank.png"
        Image.new("L", (320, 240), 200).save(blank)
        (here / "m.csv").write_text("specimen,field\nA,field-0001.png\n")
        fixed = {"material": "ductile-iron", "contrast": "light", "pixel-size": "1um"}

        def share(out, said):
            words = []
            for name, value in said.items():
                words += [f"--{name}"] if value == "" else [f"--{name}", value]
            done = self.batch("--quiet", *words, "-o", here / out, here / "m.csv")
            self.assertEqual(done.stderr, "", said)
            return self.names(here / out)

        plain = share("plain", fixed)
        self.assertEqual(len(plain), 1)
        self.assertEqual(share("again", fixed), plain)
        # other settings may make the field unfit: compare with one that is measured all the same
        accepted = share("accepted", {**fixed, "accept-unfit": ""})
        self.assertFalse(accepted & plain)
        seen = {frozenset(accepted): "accept-unfit"}
        for name, value in self.OTHER.items():
            if name == "accept-unfit":
                continue
            said = {**fixed, "accept-unfit": "", name: str(blank) if value is None else value}
            if name == "scale-bar":
                del said["pixel-size"]
            found = share(f"with-{name}", said)
            self.assertEqual(len(found), 1, name)
            self.assertNotIn(frozenset(found), seen, name)
            seen[frozenset(found)] = name
        field.write_bytes(field.read_bytes() + b" ")  # another picture, though the same pixels
        self.assertFalse(share("picture", fixed) & plain)

    def two_particles(self, field):
        """A pixel of each of the two largest that count."""
        words = ["--material", "ductile-iron", "--contrast", "light", "--pixel-size", "1um"]
        self.measure(*words, "--accept-unfit", field, "-o", self.here / "look", code=0)
        with open(self.here / "look" / "particles.csv", newline="", encoding="utf-8") as file:
            rows = [row for row in csv.DictReader(file) if row["state"] == "counts"]
        rows.sort(key=lambda row: -float(row["area_px2"]))
        return [f"{int(float(r['x_px']))},{int(float(r['y_px']))}" for r in rows[:2]]

    def test_every_decision_by_hand_gives_another_name(self):
        here = self.here
        a, b = self.two_particles(batch_fields.draw(here, 1)[0])
        (here / "m.csv").write_text("specimen,job file\nS,job.ini\n")
        seen = {}
        for option, values in {"": ("",), **self.BY_HAND}.items():
            for value in values:
                said = value.format(a=a, b=b)
                line = f"{option.replace('-', '_')} = {said}\n" if option else ""
                (here / "job.ini").write_text(
                    "[specimen]\nmaterial = ductile-iron\n[fields]\nlight = field-0001.png\n"
                    "[calibration]\npixel_size = 1um\n[segmentation]\naccept_unfit = yes\n"
                    "[by_hand]\n" + line,
                    encoding="utf-8",
                )
                done = self.batch("--quiet", "-o", here / "out", here / "m.csv")
                self.assertEqual(done.stderr, "", line)
                seen[frozenset(self.names(here / "out"))] = line
                shutil.rmtree(here / "out")
        self.assertEqual(len(seen), 1 + 2 * len(self.BY_HAND), seen)

    def test_options_that_only_judge_give_the_same_name(self):
        here = self.here
        batch_fields.draw(here, 1)
        (here / "m.csv").write_text(
            "specimen,field,material,contrast,pixel size,C\n"
            "A,field-0001.png,ductile iron,light,1um,3.5\n"
        )
        self.batch("-o", here / "out", here / "m.csv")
        plain = self.names(here / "out")
        for words in (
            ("--limit", "nodularity >= 90 %"),
            ("--rule", "simple"),
            ("--want-phase", "1%"),
            ("--customer", "Tollgate Fittings"),
        ):
            self.batch(*words, "-o", here / "out", here / "m.csv")
            self.assertEqual(self.names(here / "out"), plain, words)


class Many(program.Case):
    def run_and_weigh(self, *words):
        """Exit code and peak memory in kB."""
        process = subprocess.Popen(
            [program.PROGRAM, *map(str, words)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
        )
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        return process.returncode, usage.ru_maxrss

    @unittest.skipIf("KB_SANITIZED" in os.environ, "sanitizers keep freed memory for a while")
    def test_many_fields_take_no_more_memory_than_few(self):
        fields = batch_fields.draw(self.here / "fields", MANY)
        few = batch_fields.manifest(self.here / "few.csv", fields[:20], 5)
        many = batch_fields.manifest(self.here / "many.csv", fields, 5)
        code, few_kb = self.run_and_weigh(
            "batch", "--quiet", "--accept-unfit", "--threads", 2, "-o", self.here / "few", few
        )
        self.assertIn(code, (0, 1))
        code, many_kb = self.run_and_weigh(
            "batch", "--quiet", "--accept-unfit", "--threads", 2, "-o", self.here / "many", many
        )
        self.assertIn(code, (0, 1))
        document = json.loads((self.here / "many" / "week-1" / "batch.json").read_text())
        self.assertEqual(document["batch"]["fields"], MANY)
        self.assertEqual(document["counts"]["unjudged"], 0)
        # a row of the batch, its settings and its text in batch.json: some 25 kB a specimen
        self.assertLess(many_kb - few_kb, 4000 + 40 * MANY / 5)


if __name__ == "__main__":
    unittest.main()
