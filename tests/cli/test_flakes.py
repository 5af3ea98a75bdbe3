"""Grey and compacted irons, end to end: what a person sees who measures them."""

import unittest

import program

DRAWN = ["--look", "light-unetched", "--pearlite-of-matrix", "100%", "--seed", "4001"]
SEEN = ["--contrast", "light-unetched"]
GREY = ["--material", "grey-iron", *SEEN]
COMPACTED = ["--material", "compacted-iron", *SEEN]


class Flakes(program.Case):
    rendered = {
        "E": [*DRAWN, "--graphite", "flakes", "--distribution", "E", "--fields", "2"],
        "worms": [*DRAWN, "--graphite", "compacted", "--nodularity", "40%", "--fields", "2"],
    }

    def fields(self, name):
        return sorted((self.shared / name).glob("*.tif"))

    def test_the_truth_file_names_what_was_drawn(self):
        self.assertEqual(self.truth("E")["params"]["distribution"], "E")
        self.assertIsNone(self.truth("worms")["params"]["distribution"])

    def test_a_drawn_distribution_is_told_with_its_evidence(self):
        flakes = self.result(*GREY, *self.fields("E"))["graphite"]["distribution"]
        self.assertEqual(flakes["letter"], "E")
        self.assertRegex(flakes["designation"], "^I E [4-7]$")
        self.assertAlmostEqual(sum(flakes["belief"].values()), 1.0, delta=1e-4)
        self.assertGreater(flakes["figures"]["order"]["value"], 0.6)

    def test_flakes_have_no_nodularity_and_the_result_says_why(self):
        graphite = self.result(*GREY, *self.fields("E"))["graphite"]
        self.assertIsNone(graphite["nodularity_percent"]["iso945_4"])
        self.assertIsNone(graphite["nodules_per_mm2"])
        self.assertIn("flake", graphite["nodularity_why"])
        self.assertGreater(graphite["form_area_percent"]["I"], 90)

    def test_a_limit_on_the_nodularity_of_flakes_stays_undecided(self):
        limited = [*GREY, "--limit", "nodularity >= 80 %"]
        limit = self.result(*limited, *self.fields("E"), codes=(1,))["limits"][0]
        self.assertEqual(limit["outcome"], "undecided")
        self.assertIsNone(limit["value"])

    def test_a_few_flakes_give_a_reason_instead_of_a_letter(self):
        words = ["--exclude", "0,0,1280,800"]
        done = self.measure(*GREY, *words, self.fields("E")[0], code=0)
        self.assertIn(
            "distribution of flakes: not told, fewer than 100", " ".join(done.stdout.split())
        )

    def test_one_line_on_the_terminal_names_the_graphite(self):
        done = self.measure(*GREY, *self.fields("E"), code=0)
        self.assertIn("flakes after ISO 945-1: I E ", done.stdout)

    def test_compacted_iron_is_read_by_its_own_method(self):
        result = self.result(*COMPACTED, *self.fields("worms"))
        drawn = credited = 0.0
        for number in (1, 2):
            for particle in self.truth("worms", number)["particles"]:
                if particle["inside"] and particle["feret_max_um"] >= 10:
                    shape = particle["shape_factor"]
                    drawn += particle["area_um2"]
                    credited += particle["area_um2"] * (
                        1.0 if shape >= 0.625 else 0.5 if shape >= 0.525 else 0.0
                    )
        found = result["graphite"]["nodularity_percent"]["iso16112"]
        # particles near a limit of class fall to either side of it; touching ones join
        self.assertAlmostEqual(found, 100 * credited / drawn, delta=8)
        self.assertIsNone(result["graphite"]["distribution"]["letter"])
        codes = [finding["code"] for finding in result["findings"]]
        self.assertEqual("too-nodular" in codes, found > 20)

    def test_a_letter_that_is_none_is_refused(self):
        done = program.run(
            "render", "-o", self.here, "--graphite", "flakes", "--distribution", "F"
        )
        self.assert_one_line_error(done, 2, "A, B, C, D or E")


if __name__ == "__main__":
    unittest.main()
