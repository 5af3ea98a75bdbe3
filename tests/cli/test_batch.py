"""keelblock batch: many specimens in one run, stopped and started, in parts and joined.

Truth from outside the command: `measure` on the same fields (whose figures are proved elsewhere)
must give the same result; a run that was killed, cut into parts or fed from other shares must give
the bytes of one that was not.
"""
import csv
import io
import json
import random
import shutil
import signal
import subprocess
import time
import unittest
from pathlib import Path

import batch_fields
import program


class Results(batch_fields.Batches):
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
        done = program.run("measure", "--json", "--batch", "one", *words, cwd=here)
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
            "exclude = field-0002.png 300,200 320,180 \\\n 318,239: a chip\n"
            "cut = field-0001.png 0,100 319,100: nodules in a row\n"
            "scale_line = field-0002.png 10,10 210,10 180um: the scale bar\n"
            "field_threshold = field-0001.png 90: the lamp was changed\n"
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


class Interruptions(batch_fields.Batches):
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


if __name__ == "__main__":
    unittest.main()
