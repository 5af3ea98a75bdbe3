"""keelblock survey: results read back, pooled, and the fields that the wanted precision takes.

Truth by hand: results are written here with chosen field values; mean, s and the number of fields
follow from Student's t as tables print it (4.303 for 3 fields, 2.776 for 5, 2.571 for 6 and so on;
ASTM E562 Table 1, from memory, equal to the computed t) in plain arithmetic below.
"""
import json
import math
import random
import unittest

import program

# two-sided 95 % Student factor for n fields
T = {2: 12.706, 3: 4.303, 4: 3.182, 5: 2.776, 6: 2.571, 7: 2.447, 8: 2.365, 9: 2.306, 10: 2.262,
     11: 2.228, 12: 2.201, 13: 2.179, 14: 2.160, 15: 2.145, 16: 2.131, 17: 2.120, 18: 2.110,
     19: 2.101, 20: 2.093, 21: 2.086, 22: 2.080, 23: 2.074, 24: 2.069, 25: 2.064}


def fields_for(s, half_width):
    """Smallest n with t(n) s / sqrt(n) <= half-width, by trying."""
    return next(n for n in sorted(T) if T[n] * s / math.sqrt(n) <= half_width)


def field(number, pearlite, graphite=0.1, nodular=900.0, rated=1000.0, contrast="light"):
    matrix = 1.0 - graphite
    by = {"iso945_4": nodular, "e2567": nodular, "iso16112": nodular}
    of = {"iso945_4": rated, "e2567": rated, "iso16112": rated}
    return {
        "file": f"f{number}.tif", "sha256": f"{number:064x}", "page": 1, "area_mm2": 0.25,
        "pixel_size_um": 0.5, "contrast": contrast,
        "phases": {"graphite": graphite, "ferrite": matrix - pearlite, "pearlite": pearlite,
                   "cementite": None, "matrix": None, "other": 0.0},
        "pearlite_of_matrix": pearlite / matrix, "nodules_per_mm2": 120.0 + number,
        "sums": {"nodular_area_um2": by, "rated_area_um2": of, "squared_area_um4": rated ** 2 / 200,
                 "nodules": 30, "rated": 33, "feret_um": 900.0},
    }


def result(fields, material="ductile-iron", name="bracket", schema="keelblock.result/1"):
    return {"schema": schema, "specimen": {"id": name, "material": material}, "fields": fields,
            "settings": [{"name": "min-feret", "value": "10um", "origin": "default"}]}


class Survey(program.Case):
    def write(self, name, content):
        path = self.here / name
        path.write_text(content if isinstance(content, str) else json.dumps(content))
        return path

    def survey(self, *words):
        done = program.run("survey", "--json", *words)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(done.stderr, "")
        return json.loads(done.stdout)

    def row(self, survey, quantity):
        return next(r for r in survey["quantities"] if r["quantity"] == quantity)

    def test_the_effort_of_counting_points_is_named_for_phases(self):
        path = self.write("p.json", result([field(1, 0.40), field(2, 0.44), field(3, 0.36)]))
        found = self.survey("--want", "graphite=±1%", "--want", "nodularity=±5%", path)
        # graphite 10 %, 25 points, relative accuracy 10 %: 160 fields (ASTM E562 Table 3, memory)
        self.assertEqual(
            self.row(found, "graphite")["point_count"], {"grid_points": 25, "fields": 160}
        )
        self.assertIsNone(self.row(found, "nodularity")["point_count"])
        text = program.run("survey", "--want", "graphite=±1%", path).stdout
        self.assertIn("about 160 fields with a grid of 25 points (after ASTM E562)", text)

    def test_mean_spread_and_half_width_are_those_of_the_hand_calculation(self):
        # 30, 34, 38 % pearlite: mean 34, s 4, half-width 4.303 * 4 / sqrt(3) = 9.937
        path = self.write("a.json", result([field(i, p) for i, p in enumerate((0.30, 0.34, 0.38))]))
        row = self.row(self.survey(path), "pearlite")
        self.assertAlmostEqual(row["value"], 34.0, delta=1e-6)
        self.assertAlmostEqual(row["s"], 4.0, delta=1e-6)
        self.assertAlmostEqual(row["half_width"], 9.937, delta=0.001)
        self.assertEqual(row["fields"], 3)

    def test_the_number_of_fields_is_the_smallest_that_students_t_allows(self):
        path = self.write("a.json", result([field(i, p) for i, p in enumerate((0.30, 0.34, 0.38))]))
        for wanted in (2.0, 2.5, 3.0, 4.0, 6.0, 9.0, 12.0):
            row = self.row(self.survey(path, "--want", f"pearlite={wanted}%"), "pearlite")
            needed = fields_for(4.0, wanted)
            self.assertEqual(row["fields_needed"], needed, wanted)
            self.assertEqual(row["more_fields"], max(needed - 3, 0), wanted)

    def test_results_are_pooled_field_by_field(self):
        shares = (0.30, 0.34, 0.38, 0.31, 0.37)
        one = self.write("a.json", result([field(i, p) for i, p in enumerate(shares)]))
        two = [self.write("b.json", result([field(i, shares[i]) for i in (0, 1)])),
               self.write("c.json", result([field(i, shares[i]) for i in (2, 3, 4)]))]
        self.assertEqual(self.survey(one)["quantities"], self.survey(*two)["quantities"])
        self.assertEqual(self.survey(*two)["results"], 2)

    def test_nodularity_is_the_sum_of_areas_over_the_sum_not_the_mean_of_shares(self):
        # 90 of 100 and 100 of 300: 190 / 400 = 47.5 %, whereas the mean of 90 and 33.3 is 61.7 %
        path = self.write("a.json", result([field(0, 0.3, nodular=90.0, rated=100.0),
                                            field(1, 0.3, nodular=100.0, rated=300.0)]))
        row = self.row(self.survey(path, "--want", "nodularity=±3%"), "nodularity")
        self.assertAlmostEqual(row["value"], 47.5, delta=1e-6)
        # delete-one jackknife of two fields: half the difference of 90 and 33.33; s = sqrt(2) of it
        self.assertAlmostEqual(row["s"], math.sqrt(2) * (90 - 100 / 3) / 2, delta=1e-4)

    def test_the_count_is_wished_in_per_cent_of_itself(self):
        path = self.write("a.json", result([field(i, 0.3) for i in range(5)]))
        row = self.row(self.survey(path, "--want", "nodules_per_mm2=±10%"), "nodules_per_mm2")
        self.assertAlmostEqual(row["value"], 122.0, delta=1e-6)
        self.assertAlmostEqual(row["wanted_half_width"], 12.2, delta=1e-6)

    def test_plus_minus_may_be_written_in_four_ways(self):
        path = self.write("a.json", result([field(i, 0.3 + 0.01 * i) for i in range(4)]))
        said = [self.survey(path, "--want", f"pearlite_of_matrix{how}")["quantities"]
                for how in ("=±2%", "=+-2%", "=2%", " = +/- 2 %")]
        self.assertTrue(all(rows == said[0] for rows in said))

    def test_one_field_cannot_say_and_says_why(self):
        survey = self.survey(self.write("a.json", result([field(1, 0.3)])))
        self.assertIsNone(survey["more_fields"])
        for row in survey["quantities"]:
            self.assertIsNone(row["half_width"])
            self.assertIsNone(row["fields_needed"])
            self.assertIsNone(row["more_fields"])
            self.assertIn("one field", row["why"])

    def test_a_field_that_two_results_hold_counts_once(self):
        path = self.write("a.json", result([field(i, 0.3 + 0.02 * i) for i in range(3)]))
        once, twice = self.survey(path), self.survey(path, path)
        self.assertEqual(twice["fields"], 3)
        self.assertEqual(twice["fields_given_twice"], 3)
        self.assertEqual(once["quantities"], twice["quantities"])

    def test_different_names_are_told(self):
        a = self.write("a.json", result([field(1, 0.3)]))
        b = self.write("b.json", result([field(2, 0.4)], name="cover"))
        self.assertTrue(self.survey(a, b)["several_specimens"])
        self.assertIn("different names", program.run("survey", a, b).stdout)

    def test_what_an_older_result_does_not_hold_is_not_measured(self):
        old = [field(i, 0.3 + 0.02 * i) for i in range(3)]
        for one in old:
            del one["sums"]
        survey = self.survey(self.write("a.json", result(old)), "--want", "nodularity=3%",
                             "--want", "pearlite=3%")
        self.assertIsNone(self.row(survey, "nodularity")["value"])
        self.assertIsNotNone(self.row(survey, "pearlite")["value"])
        self.assertTrue(survey["without_sums"])

    def test_the_table_keeps_to_eighty_columns_and_says_what_to_do(self):
        fields = [field(i, 0.3 + 0.05 * i) for i in range(3)]
        done = program.run("survey", self.write("a.json", result(fields)))
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertLessEqual(max(map(len, done.stdout.splitlines())), 80)
        self.assertRegex(done.stdout, r"measure \d+ more fields: .* decides")

    def test_what_is_no_result_is_refused(self):
        good = self.write("good.json", result([field(1, 0.3)]))
        cases = {
            "no JSON": self.write("a.json", "{"),
            "no result": self.write("b.json", {"schema": "other/1"}),
            "keelblock.result/9": self.write("c.json", result([], schema="keelblock.result/9")),
            "no fields": self.write("d.json", result([])),
            "known material": self.write("e.json", result([field(1, 0.3)], material="brass")),
            "No such file": self.here / "none.json",
            "carbon-steel": self.write("f.json", result([field(2, 0.3)], material="carbon-steel")),
        }
        for says, path in cases.items():
            self.assert_one_line_error(program.run("survey", good, path), 3, says)

    def test_a_field_that_was_tampered_with_is_refused_with_its_key(self):
        cases = {
            "'graphite' is out of range": {"phases": {"graphite": 1.5}},
            "'area_mm2' is not a number": {"area_mm2": "large"},
            "'contrast' is no contrast": {"contrast": "moonlight"},
            "'phases' is missing": {"phases": 3},
            "'nodules_per_mm2' is out of range": {"nodules_per_mm2": -1.0},
            "more than the rated": {"sums": {"nodular_area_um2": {"iso945_4": 9.0},
                                             "rated_area_um2": {"iso945_4": 8.0}}},
        }
        for says, change in cases.items():
            path = self.write("a.json", result([{**field(1, 0.3), **change}]))
            self.assert_one_line_error(program.run("survey", path), 3, says)
        self.assert_one_line_error(
            program.run("survey", self.write("a.json", result([7, None, "x"]))), 3, "field 1")

    def test_a_damaged_file_is_read_or_refused_never_more(self):
        whole = json.dumps(result([field(i, 0.3 + 0.02 * i) for i in range(3)])).encode()
        chance = random.Random(17)
        path = self.here / "a.json"
        for _ in range(40):
            damaged = bytearray(whole[:chance.randrange(1, len(whole))] if chance.random() < 0.3
                                else whole)
            for _ in range(chance.randrange(1, 4)):
                damaged[chance.randrange(len(damaged))] = chance.randrange(256)
            path.write_bytes(damaged)
            done = program.run("survey", path)
            self.assertIn(done.returncode, (0, 3), done.stderr)
            self.assertEqual(done.stderr.count("\n"), 0 if done.returncode == 0 else 1)

    def test_wishes_that_are_none_are_refused(self):
        path = self.write("a.json", result([field(1, 0.3)]))
        for want, says in (("nodulaity=3%", "did you mean nodularity"), ("nodularity", "±3%"),
                           ("nodularity=3", "half-width"), ("nodularity=0%", "half-width"),
                           ("nodularity=-3%", "half-width"), ("nodularity=nan%", "half-width"),
                           ("carbon=1%", "no quantity")):
            self.assert_one_line_error(program.run("survey", path, "--want", want), 2, says)
        self.assert_one_line_error(program.run("survey"), 2, "no result")

    def test_a_measurement_surveys_to_its_own_figures(self):
        fields = self.here / "fields"
        program.run("render", "-o", fields, "--fields", "4", "--size", "640x480", "--pixel-size",
                    "0.8um", "--look", "light-unetched")
        out = self.here / "report"
        done = program.run("measure", "--material", "ductile-iron", "--contrast", "light-unetched",
                           fields, "-o", out, "--no-pictures", "--quiet")
        self.assertEqual(done.returncode, 0, done.stderr)
        measured = json.loads((out / "result.json").read_text())
        survey = self.survey(out)  # the folder stands for its result.json
        graphite = measured["graphite"]
        pairs = (
            ("nodularity", graphite["nodularity_percent"]["iso945_4"],
             graphite["nodularity_ci95_percent"]["iso945_4"]),
            ("nodules_per_mm2", graphite["nodules_per_mm2"], graphite["nodules_ci95_per_mm2"]),
            ("graphite", 100 * measured["phases"]["graphite"]["mean"],
             [100 * x for x in measured["phases"]["graphite"]["ci95"]]),
        )
        for quantity, value, ci95 in pairs:  # result.json keeps six digits
            row = self.row(survey, quantity)
            self.assertAlmostEqual(row["value"], value, delta=1e-4 * value)
            for mine, theirs in zip(row["ci95"], ci95):
                self.assertAlmostEqual(mine, theirs, delta=1e-3 * value)


if __name__ == "__main__":
    unittest.main(verbosity=1)
