"""The register of results and its control charts, as a laboratory would use them."""
import copy
import csv
import hashlib
import io
import json
import sqlite3
import subprocess
import unittest
import xml.etree.ElementTree as xml

import program

IRON = ["--material", "ductile-iron", "--contrast", "light"]


def values(count, start=None, slope=0.0):
    """A steady series of spread 1 or so around 92, then a drift; the same every time."""
    offset = [0.4, -0.9, 1.3, 0.1, -1.2, 0.8, -0.2, -0.5, 1.0, -0.7, 0.3, -0.3]
    drift = [slope * max(0, i - (start or count)) for i in range(count)]
    return [92 + offset[i % len(offset)] + drift[i] for i in range(count)]


class History(program.Case):
    rendered = {"fields": ["--size", "640x480", "--pixel-size", "0.6um", "--fields", "2"]}

    def setUp(self):
        super().setUp()
        self.register = self.here / "house.db"
        self.field = self.shared / "fields" / "field-01.tif"

    def history(self, *words, code=0):
        done = program.run("history", *words, "--history", self.register)
        self.assertEqual(done.returncode, code, done.stderr + done.stdout)
        return done

    def listed(self, *words):
        return json.loads(self.history("list", "--json", *words).stdout)["results"]

    def measured(self, *words, **more):
        words = ["--specimen", "H-1", "--casting", "bracket", *words]
        return self.measure(*IRON, *words, "--history", self.register, self.field, code=0, **more)

    def made(self, series, casting="bracket"):
        """Folders of results like a measured one, with other names, pictures and figures."""
        base = self.result(*IRON, self.field, "--specimen", "H-0")
        folders = []
        for i, value in enumerate(series):
            result = copy.deepcopy(base)
            result["specimen"].update(
                id=f"H-{i + 1}",
                casting=casting,
                cast_on=f"2026-{i // 28 + 1:02d}-{i % 28 + 1:02d}",
            )
            digest = hashlib.sha256(f"{casting} {i}".encode()).hexdigest()
            result["fields"][0]["sha256"] = digest
            figure = result["figures"]["nodularity"]
            figure.update(value=value, ci95=[value - 2, value + 2], n=5)
            result["limits"] = [
                {"quantity": "nodularity", "low": 80, "high": None, "outcome": "accept"}
            ]
            folder = self.here / casting / str(i)
            folder.mkdir(parents=True)
            (folder / "result.json").write_text(json.dumps(result), encoding="utf-8")
            folders.append(folder)
        return folders

    def test_measure_adds_and_the_same_again_changes_nothing(self):
        self.measured("-o", self.here / "report")
        before = self.listed()
        self.assertEqual([entry["specimen"] for entry in before], ["H-1"])
        self.measured()
        said = self.history("add", self.here / "report").stdout
        self.assertIn("known already", said)
        self.assertEqual(self.listed("--superseded"), before)

    def test_the_register_holds_what_the_result_says(self):
        limit = ["--limit", "nodularity >= 20 %", "--rule", "simple"]
        self.measured("-o", self.here / "report", *limit)
        result = json.loads((self.here / "report" / "result.json").read_text(encoding="utf-8"))
        (entry,) = self.listed()
        self.assertEqual(entry["verdict"], result["verdict"])
        self.assertEqual(entry["version"], result["tool"]["version"])
        self.assertEqual(entry["figures"].keys(), result["figures"].keys())
        for name, figure in entry["figures"].items():
            self.assertEqual(figure["value"], result["figures"][name]["value"])
        nodularity = entry["figures"]["nodularity"]
        self.assertEqual(
            nodularity["value"], result["graphite"]["nodularity_percent"]["iso945_4"]
        )
        self.assertEqual(nodularity["low"], 20)

    def test_other_settings_and_decisions_supersede(self):
        self.measured()
        self.measured("--min-feret", "12um")
        self.measured("--min-feret", "12um", "--exclude", "0,0,50,50: stain")
        self.assertEqual(len(self.listed()), 1)
        chain = self.listed("--superseded")
        self.assertEqual([entry["superseded_by"] for entry in chain], [2, 3, None])
        self.assertIn("superseded by 2", self.history("list", "--superseded").stdout)

    def test_a_result_without_a_specimen_is_refused_before_it_is_measured(self):
        done = self.measure(*IRON, self.field, "--history", self.register)
        self.assert_one_line_error(done, 2, "--specimen")
        self.assertFalse(self.register.exists())

    def test_a_drift_is_named_before_the_limit(self):
        folders = self.made(values(40, 26, -0.35))
        self.history("add", *folders)
        self.assertGreater(min(values(40, 26, -0.35)), 80)
        said = self.history("chart", "-o", self.here / "charts").stdout
        self.assertIn("falls by", said)
        self.assertIn("limit of 80 %", said)
        self.assertLessEqual(max(map(len, said.replace("µ", "u").splitlines())), 90)
        chart = json.loads(self.history("chart", "--json").stdout)["charts"][0]
        self.assertTrue(chart["trend"]["drifts"])
        self.assertEqual(chart["trend"]["limit"], 80)
        level, slope = chart["trend"]["level"], chart["trend"]["slope"]
        self.assertAlmostEqual(chart["trend"]["castings_to_limit"], (80 - level) / slope, 2)
        self.assertEqual(chart["stretches"][0]["baseline"], 25)

    def test_limits_are_those_of_the_hand_calculation(self):
        series = values(30)
        self.history("add", *self.made(series))
        stretch = json.loads(self.history("chart", "--json").stdout)["charts"][0]["stretches"][0]
        base = series[:25]
        mean = sum(base) / 25
        moving = sum(abs(a - b) for a, b in zip(base, base[1:])) / 24
        self.assertAlmostEqual(stretch["mean"], mean, 3)
        self.assertAlmostEqual(stretch["lower"], mean - 3 * moving / 1.128, 3)
        self.assertAlmostEqual(stretch["range_upper"], 3.267 * moving, 3)

    def test_the_drawing_shows_every_casting_and_names_its_lines(self):
        self.history("add", *self.made(values(30)))
        self.history("chart", "-o", self.here / "charts", "--quiet")
        drawing = self.here / "charts" / "bracket-nodularity.svg"
        root = xml.parse(drawing).getroot()
        tag = "{http://www.w3.org/2000/svg}"
        words = ["".join(text.itertext()) for text in root.iter(tag + "text")]
        for line in ("upper control", "lower control", "mean", "specified least 80"):
            self.assertTrue(any(word.startswith(line) for word in words), (line, words))
        # a disc each, another for each of the ranges, one in the legend
        self.assertEqual(len(list(root.iter(tag + "circle"))), 30 + 29 + 1)

    def test_a_stretch_begins_anew(self):
        folders = self.made(values(40, 26, -0.35))
        self.history("add", *folders)
        words = ["--casting", "bracket", "--from", "12.2.2026", "--reason", "new ladle"]
        self.history("stretch", *words)
        chart = json.loads(self.history("chart", "--json").stdout)["charts"][0]
        self.assertEqual([s["first"] for s in chart["stretches"]], [1, 40])
        self.assertIn("new ladle", self.history("chart").stdout)
        self.history("stretch", *words[:4], code=2)

    def test_export_is_a_table_of_every_figure(self):
        self.history("add", *self.made(values(3)))
        rows = list(csv.DictReader(io.StringIO(self.history("export").stdout)))
        nodularity = [row for row in rows if row["quantity"] == "nodularity"]
        self.assertEqual(len(nodularity), 3)
        self.assertAlmostEqual(float(nodularity[1]["value"]), values(3)[1], 3)
        self.assertEqual(nodularity[0]["casting"], "bracket")

    def test_castings_are_charted_apart(self):
        self.history("add", *self.made(values(10)), *self.made(values(12), "lever"))
        charts = json.loads(self.history("chart", "--json").stdout)["charts"]
        counts = {chart["casting"]: len(chart["castings"]) for chart in charts}
        self.assertEqual(counts, {"bracket": 10, "lever": 12})
        done = self.history("chart", "--casting", "leever", code=2)
        self.assertIn("bracket, lever", done.stderr)
        self.history("chart", "--casting", "lever", "--quantity", "nodularty", code=2)
        self.history("chart", "--casting", "lever", "--rules", "1,9", code=2)
        self.history("chart", "--casting", "lever", "--rules", "western-electric")
        self.history("chart", "--casting", "lever", "--baseline", "2026-01-01..2026-01-09")
        self.history("chart", "--casting", "lever", "--baseline", "yesterday", code=2)

    def test_one_bad_result_keeps_all_out(self):
        good, bad = self.made(values(2))
        (bad / "result.json").write_text("{}", encoding="utf-8")
        self.history("add", good, bad, code=3)
        self.assertEqual(self.listed(), [])
        self.history("add", self.here / "nothing", code=3)
        self.history("add", code=2)
        self.history("burn", code=2)
        self.assert_one_line_error(program.run("history", "list"), 2, "--history FILE")

    def test_a_file_of_another_program_is_left_alone(self):
        with sqlite3.connect(self.register) as other:
            other.execute("CREATE TABLE guests(name)")
        before = self.register.read_bytes()
        done = self.measure(*IRON, "--specimen", "a", self.field, "--history", self.register)
        self.assert_one_line_error(done, 3, "another program")
        self.assertEqual(self.register.read_bytes(), before)

    def test_two_runs_on_one_register_at_once(self):
        words = ["measure", *IRON, "--quiet", "--history", self.register, self.field]
        runs = [
            subprocess.Popen([program.PROGRAM, *map(str, words), "--specimen", f"H-{i}"])
            for i in range(6)
        ]
        self.assertEqual([run.wait() for run in runs], [0] * 6)
        self.assertEqual(len(self.listed()), 6)

    def test_a_batch_adds_every_specimen_once_and_again_when_it_is_judged_anew(self):
        manifest = self.here / "week.csv"
        manifest.write_text(
            "batch,specimen,casting,cast on,material,contrast,field\n"
            f"w1,A,bracket,04.03.2026,ductile-iron,light,{self.field}\n"
            f"w1,B,bracket,2026-03-05,ductile-iron,light,{self.field.with_name('field-02.tif')}\n",
            encoding="utf-8",
        )
        words = ["batch", manifest, "-o", self.here / "out", "--history", self.register]
        for _ in range(2):
            done = program.run(*words, "--quiet")
            self.assertEqual(done.returncode, 0, done.stderr)
        entries = self.listed("--superseded")
        self.assertEqual([entry["specimen"] for entry in entries], ["A", "B"])
        self.assertEqual(entries[0]["cast_on"], "2026-03-04")
        self.assertEqual({entry["batch"] for entry in entries}, {"w1"})
        said = self.history("add", *sorted((self.here / "out" / "w1").glob("[AB]"))).stdout
        self.assertEqual(said.count("known already"), 2)
        done = program.run(*words, "--merge", "--quiet", "--limit", "nodularity >= 1 %")
        self.assertIn(done.returncode, (0, 1), done.stderr)
        self.assertEqual(len(self.listed()), 2)
        self.assertEqual(len(self.listed("--superseded")), 4)


if __name__ == "__main__":
    unittest.main()
