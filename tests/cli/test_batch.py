"""keelblock batch: many specimens in one run, stopped and started, in parts and joined.

Truth from outside the command: `measure` on the same fields (whose figures are proved elsewhere)
must give the same result; a run that was killed, cut into parts or fed from other shares must give
the bytes of one that was not.
"""
import csv
import io
import json
import os
import random
import re
import shutil
import signal
import subprocess
import time
import unittest
from pathlib import Path

import batch_fields
import program

# 200 in the daily run; KB_BATCH_FIELDS=2000 for a long one
MANY = int(os.environ.get("KB_BATCH_FIELDS", "200"))
SOURCE = Path(os.environ["KB_SOURCE_DIR"])


class Batches(program.Case):
    """Some forty small fields, and the result of one run over them, shared by all tests."""

    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        cls.fields = batch_fields.draw(cls.shared / "fields", 36)
        cls.manifest = batch_fields.manifest(
            cls.shared / "manifest.csv", cls.fields, 4, batches=2
        )
        cls.whole = cls.shared / "whole"
        done = program.run("batch", "-o", cls.whole, cls.manifest)
        assert done.returncode in (0, 1), done.stderr
        cls.table = done.stdout
        cls.expected = batch_fields.documents(cls.whole)

    def batch(self, *words, code=None, **more):
        done = program.run("batch", *words, **more)
        if code is not None:
            self.assertEqual(done.returncode, code, done.stderr + done.stdout)
        return done

    def assert_same_bytes(self, out):
        found = batch_fields.documents(out)
        self.assertEqual(sorted(found), sorted(self.expected))
        for name, content in self.expected.items():
            self.assertEqual(found[name], content, name)


class Results(Batches):
    def test_every_batch_has_its_documents_and_the_terminal_its_table(self):
        for batch in ("week-1", "week-2"):
            for name in ("batch.json", "specimens.csv", "fields.csv"):
                self.assertIn(f"{batch}/{name}", self.expected)
        document = json.loads(self.expected["week-1/batch.json"])
        self.assertEqual(document["schema"], "keelblock.batch/1")
        self.assertEqual(document["batch"]["name"], "week 1")
        self.assertEqual(document["batch"]["specimens"], len(document["specimens"]))
        counts = document["counts"]
        self.assertEqual(sum(counts.values()), len(document["specimens"]))
        for specimen in document["specimens"]:
            self.assertIn(specimen["id"], self.table)
        last = [line for line in self.table.splitlines() if "Batch " in line]
        self.assertEqual(len(last), 2)
        self.assertIn(
            {"accept": "accepted", "reject": "rejected", "undecided": "undecided"}[
                document["verdict"]
            ],
            last[0],
        )

    def test_csv_files_agree_with_the_document(self):
        document = json.loads(self.expected["week-1/batch.json"])
        text = self.expected["week-1/specimens.csv"].decode()
        rows = list(csv.DictReader(io.StringIO(text)))
        self.assertEqual(
            [row["specimen"] for row in rows],
            [specimen["id"] for specimen in document["specimens"]],
        )
        for row, specimen in zip(rows, document["specimens"]):
            figure = specimen["figures"]["nodularity"]
            self.assertAlmostEqual(float(row["nodularity"]), figure["value"], delta=1e-3)
            self.assertAlmostEqual(float(row["nodularity_low"]), figure["ci95"][0], delta=1e-3)
            self.assertEqual(row["verdict"], specimen["verdict"])
        fields = list(csv.DictReader(io.StringIO(self.expected["week-1/fields.csv"].decode())))
        self.assertEqual(len(fields), document["batch"]["fields"])
        self.assertTrue(all(row["unusable"] == "" for row in fields))
        self.assertEqual(fields[0]["file"], "fields/field-0001.png")

    def assert_as_measured(self, here, words, row, job=None):
        """A specimen by batch and by measure: the same result, but for who said what."""
        manifest = here / "one.csv"
        manifest.write_text(row)
        out = here / "out"
        self.batch("-o", out, manifest)
        found = json.loads(next(out.glob("*/*/result.json")).read_text())
        done = program.run("measure", "--json", *words, cwd=here)
        self.assertIn(done.returncode, (0, 1), done.stderr)
        expected = json.loads(done.stdout)
        for document in (found, expected):
            for key in ("made_at", "settings", "job_file"):
                document.pop(key)
            document["specimen"].pop("id")
            for hand in document.get("by_hand", []):
                hand.pop("origin", None)
        self.assertEqual(found, expected)

    def test_figures_are_those_of_measure_for_every_kind_of_material(self):
        kinds = {
            "ductile-iron": batch_fields.SIZE,
            "compacted-iron": (
                "--graphite",
                "compacted",
                "--size",
                "480x360",
                "--pixel-size",
                "1um",
            ),
            "grey-iron": ("--graphite", "flakes", "--size", "480x360", "--pixel-size", "1um"),
            "carbon-steel": ("--graphite", "none", "--size", "480x360", "--pixel-size", "0.5um"),
        }
        for material, words in kinds.items():
            with self.subTest(material):
                here = self.here / material
                batch_fields.draw(here, 3, words=words)
                self.assert_as_measured(
                    here,
                    [
                        "--material",
                        material,
                        "--contrast",
                        "light",
                        "--pixel-size",
                        "1um",
                        "--accept-unfit",
                        "--threshold-step",
                        "2",
                        "field-*.png",
                    ],
                    "specimen,field,material,contrast,pixel size,job file\n"
                    f"A,field-*.png,{material},light,1um,job.ini\n" * 1
                    if (here / "job.ini").write_text(
                        "[segmentation]\naccept_unfit = yes\n[precision]\nthreshold_step = 2\n"
                    )
                    else "",
                )

    def test_decisions_by_hand_of_a_job_file_count_as_in_measure(self):
        here = self.here
        batch_fields.draw(here, 2)
        (here / "job.ini").write_text(
            "[specimen]\nmaterial = ductile-iron\noperator = R. Ash\n"
            "[fields]\nlight = field-*.png\n[calibration]\npixel_size = 1um\n"
            "[by_hand]\nexclude = field-0001.png 0,0,80,60: a scratch\n"
            "exclude = 0,200,40,40: a stain\n"
        )
        self.assert_as_measured(here, ["--job", "job.ini"], "specimen,job file\nA,job.ini\n")

    def test_values_measured_elsewhere_are_judged_with_ours(self):
        batch_fields.draw(self.here, 2)
        (self.here / "limits.ini").write_text(
            "[limits]\nhardness_hbw = 160..210 HBW\ntensile_strength = >= 500 MPa\n"
        )
        rows = ["specimen;field;material;pixel size;limits;hardness (HBW);Tensile strength (MPa)"]
        given = {
            "fine": ("187", "512,5"),
            "soft": ("155±4", "520"),
            "on edge": ("209±5 HBW", "501"),
        }
        for name, (hardness, strength) in given.items():
            rows.append(f"{name};field-*.png;ductile iron;1 um;limits.ini;{hardness};{strength}")
        (self.here / "m.csv").write_text("\n".join(rows))
        self.batch("-o", self.here / "out", self.here / "m.csv", code=1)
        document = json.loads((self.here / "out" / "m" / "batch.json").read_text())
        verdicts = {s["id"]: s["verdict"] for s in document["specimens"]}
        self.assertEqual(verdicts, {"fine": "accept", "soft": "reject", "on edge": "undecided"})
        figure = document["specimens"][0]["figures"]["tensile_strength"]
        self.assertEqual((figure["value"], figure["unit"]), (512.5, "MPa"))
        # 95 % of a normal law: 1.96 standard uncertainties, half of what stands behind the sign
        soft = document["specimens"][1]["figures"]["hardness_hbw"]["ci95"]
        self.assertAlmostEqual(soft[0], 155 - 1.96 * 2, delta=0.01)

    def test_a_picture_that_cannot_be_used_leaves_its_specimen_unjudged_and_the_rest_goes_on(
        self,
    ):
        here = self.here
        fields = batch_fields.draw(here, 6)
        fields[1].write_bytes(b"no picture")
        fields[4].unlink()
        manifest = batch_fields.manifest(here / "m.csv", fields, 2)
        done = self.batch("-o", here / "out", manifest, code=3)
        self.assertIn("field-0002.png", done.stderr)
        self.assertIn("field-0005.png", done.stderr)
        self.assertEqual(done.stderr.count("\n"), 2, done.stderr)
        document = json.loads((here / "out" / "week-1" / "batch.json").read_text())
        self.assertEqual([s["judged"] for s in document["specimens"]], [False, True, False])
        self.assertEqual(document["counts"]["unjudged"], 2)
        self.assertNotEqual(document["verdict"], "accept")
        bad = document["specimens"][0]
        self.assertEqual(bad["unusable_fields"][0]["file"], "field-0002.png")
        self.assertTrue(all(figure["value"] is None for figure in bad["figures"].values()))
        self.assertFalse((here / "out" / "week-1" / bad["folder"]).exists())
        # mended, it is judged, and what was measured before is not measured again
        before = {p: p.stat().st_mtime_ns for p in (here / "out" / "shares").glob("*.share")}
        shutil.copy(fields[0], fields[4])
        shutil.copy(fields[2], fields[1])
        done = self.batch("-o", here / "out", manifest)
        self.assertIn(done.returncode, (0, 1), done.stderr)
        after = {p: p.stat().st_mtime_ns for p in (here / "out" / "shares").glob("*.share")}
        self.assertTrue(before.items() <= after.items())

    def test_a_specimen_that_can_no_longer_be_judged_loses_its_old_result(self):
        fields = batch_fields.draw(self.here, 2)
        manifest = batch_fields.manifest(self.here / "m.csv", fields, 1)
        self.batch("-o", self.here / "out", manifest)
        old = self.here / "out" / "week-1" / "S0001" / "result.json"
        self.assertTrue(old.exists())
        fields[0].write_bytes(b"")
        self.batch("-o", self.here / "out", manifest, code=3)
        self.assertFalse(old.exists())

    def test_pages_show_what_was_counted_unless_it_is_not_wanted(self):
        page = self.expected["week-1/S0001/report.html"].decode()
        self.assertEqual(page.count("data:image/jpeg"), 2 * 4)
        out = self.here / "out"
        self.batch("--no-pictures", "-o", out, self.manifest)
        self.assertEqual(list((out / "shares").glob("*.pictures")), [])
        page = (out / "week-1" / "S0001" / "report.html").read_text()
        self.assertNotIn("data:image/jpeg", page)
        before = json.loads((out / "week-1" / "batch.json").read_text())
        self.assertEqual(before, json.loads(self.expected["week-1/batch.json"]))
        self.batch("-o", out, self.manifest)  # wanted after all
        self.assert_same_bytes(out)

    def test_json_goes_to_standard_output_and_nothing_else_does(self):
        done = self.batch("--json", "-o", self.here / "out", self.manifest)
        decoder = json.JSONDecoder()
        first, end = decoder.raw_decode(done.stdout)
        second, _ = decoder.raw_decode(done.stdout[end:].lstrip())
        self.assertEqual([first["batch"]["name"], second["batch"]["name"]], ["week 1", "week 2"])
        self.assertEqual(done.stderr, "")


class Interruptions(Batches):
    def test_killed_at_random_moments_and_started_again_it_ends_with_the_same_bytes(self):
        chance = random.Random(
            20240607
        )  # the same moments every time, as far as a machine allows
        out, kills, code = self.here / "out", 0, -signal.SIGKILL
        words = ["batch", "--quiet", "--threads", "1", "-o", str(out), str(self.manifest)]
        while code == -signal.SIGKILL and kills < 60:
            process = subprocess.Popen(
                [program.PROGRAM, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
            # little at first, so that it is not done before the first kill
            time.sleep(chance.uniform(0.0, 0.02 + 0.02 * kills))
            process.send_signal(signal.SIGKILL)
            code = process.wait()
            kills += code == -signal.SIGKILL
        self.assertGreater(kills, 0)
        done = self.batch("-o", out, self.manifest)
        self.assertIn(done.returncode, (0, 1), done.stderr)
        self.assert_same_bytes(out)

    def test_killed_while_it_writes_results_it_ends_with_the_same_bytes(self):
        out = self.here / "out"
        shutil.copytree(self.whole / "shares", out / "shares")
        chance = random.Random(7)
        for _ in range(12):
            process = subprocess.Popen(
                [
                    program.PROGRAM,
                    "batch",
                    "--quiet",
                    "--merge",
                    "-o",
                    str(out),
                    str(self.manifest),
                ],
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
            time.sleep(chance.uniform(0.0, 0.12))
            process.send_signal(signal.SIGKILL)
            process.wait()
            for name, content in batch_fields.documents(out).items():
                if not Path(name).name.startswith("."):  # a file is whole, or not there
                    self.assertEqual(content, self.expected[name], name)
        self.batch("--merge", "-o", out, self.manifest)
        self.assert_same_bytes(out)

    def test_what_was_measured_is_not_measured_again(self):
        out = self.here / "out"
        shutil.copytree(self.whole, out)
        before = {
            p: p.stat().st_mtime_ns
            for p in out.rglob("*")
            if p.name != "fields.csv" and p.is_file() and not p.name.startswith("part-")
        }
        self.batch("-o", out, self.manifest)
        after = {p: p.stat().st_mtime_ns for p in before}
        self.assertEqual(before, after)
        self.assert_same_bytes(out)

    def test_a_damaged_share_is_measured_again(self):
        out = self.here / "out"
        shutil.copytree(self.whole, out)
        shares = sorted((out / "shares").glob("*.share"))
        cut, flipped, empty = shares[0], shares[1], shares[2]
        cut.write_bytes(cut.read_bytes()[:-7])
        content = bytearray(flipped.read_bytes())
        content[len(content) // 2] ^= 0x10
        flipped.write_bytes(bytes(content))
        empty.write_bytes(b"")
        done = self.batch("--merge", "-o", out, self.manifest, code=3)
        self.assertIn("missing or damaged", done.stderr)
        self.batch("-o", out, self.manifest)
        self.assert_same_bytes(out)

    def test_a_full_disk_ends_the_run_and_loses_nothing(self):
        for size in (2000, 9000, 60000):  # too small for a share, for its pictures, for a page
            with self.subTest(size):
                out = self.here / f"out-{size}"
                done = self.batch("-o", out, self.manifest, code=4, limit_file_size=size)
                self.assertIn("keelblock: ", done.stderr)
                self.assertFalse((out / "week-2" / "batch.json").exists())
                self.assertEqual([p for p in out.rglob(".*")], [])
                done = self.batch("-o", out, self.manifest)
                self.assertIn(done.returncode, (0, 1), done.stderr)
                self.assert_same_bytes(out)

    def test_runs_at_the_same_time_on_one_folder_do_not_disturb_each_other(self):
        out = self.here / "out"
        runs = [
            subprocess.Popen(
                [program.PROGRAM, "batch", "--quiet", "-o", str(out), str(self.manifest)],
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
            )
            for _ in range(4)
        ]
        for process in runs:
            _, errors = process.communicate(timeout=300)
            self.assertIn(process.returncode, (0, 1), errors)
        self.assert_same_bytes(out)

    def test_the_number_of_threads_changes_nothing(self):
        self.batch("--threads", 1, "-o", self.here / "one", self.manifest)
        self.assert_same_bytes(self.here / "one")


class Parts(Batches):
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


class DryRun(Batches):
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


class Shares(Batches):
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
    ELSEWHERE = {"threshold-reason", "set-phase", "set-form", "why"}

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
            set(known) - set(self.OTHER) - self.ELSEWHERE,
            set(),
            "a new option: give it a value here, and a place in share_settings.c",
        )
        here = self.here
        field = batch_fields.draw(here, 1)[0]
        blank = here / "blank.png"
        from PIL import Image

        Image.new("L", (320, 240), 200).save(blank)
        (here / "m.csv").write_text("specimen,field\nA,field-0001.png\n")
        fixed = {"material": "ductile-iron", "contrast": "light", "pixel-size": "1um"}
        seen = {}

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
        for name, value in self.OTHER.items():
            said = {**fixed, "accept-unfit": "", name: str(blank) if value is None else value}
            if name == "accept-unfit":
                said = {**fixed, "accept-unfit": ""}
            if name == "scale-bar":
                del said["pixel-size"]
            found = share(f"with-{name}", said)
            self.assertEqual(len(found), 1, name)
            self.assertFalse(found & plain, name)
            if name != "accept-unfit":
                self.assertNotIn(frozenset(found), seen, name)
                seen[frozenset(found)] = name
        field.write_bytes(field.read_bytes() + b" ")  # another picture, though the same pixels
        self.assertFalse(share("picture", fixed) & plain)

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
