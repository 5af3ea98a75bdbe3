"""The command words, help, `carbon` and `render`."""
import json
import unittest

from PIL import Image

import program


class Commands(program.Case):
    def test_help_and_version_answer_on_stdout(self):
        for words in (
            ["--help"],
            ["measure", "--help"],
            ["carbon", "--help"],
            ["render", "-h"],
            ["--version"],
            ["measure", "--version"],
        ):
            done = program.run(*words)
            self.assertEqual((done.returncode, done.stderr), (0, ""), words)
            self.assertIn("keelblock", done.stdout)
            self.assertLessEqual(max(map(len, done.stdout.splitlines())), 100)

    def test_no_command_shows_the_commands(self):
        done = program.run()
        self.assertEqual(done.returncode, 2)
        self.assertIn("measure", done.stdout)

    def test_an_unknown_command_meets_its_nearest(self):
        self.assert_one_line_error(program.run("mesure"), 2, "measure")
        self.assert_one_line_error(program.run("frobnicate"), 2)

    def test_material_and_field_are_asked_for(self):
        self.assert_one_line_error(program.run("measure", "x.tif"), 2, "--material")
        self.assert_one_line_error(
            program.run("measure", "--material", "grey-iron", "--contrast", "light"),
            2,
            "no field",
        )

    def carbon(self, *words):
        done = program.run("carbon", "--json", *words)
        self.assertEqual(done.returncode, 0, done.stderr)
        return json.loads(done.stdout)

    def test_carbon_to_phases(self):
        # Callister, constants 0.022 / 0.76 / 6.70: 0.45 % C, denominators unrounded (computed)
        answer = self.carbon("--carbon", "0.45%")
        self.assertAlmostEqual(answer["pearlite_mass"], 0.5799, delta=5e-5)
        self.assertAlmostEqual(answer["proeutectoid_mass"], 0.4201, delta=5e-5)
        # Callister 9.52 (solution in print): 0.25 % C gives W_pearlite 0.31
        self.assertAlmostEqual(
            self.carbon("--carbon", "0.25%")["pearlite_mass"], 0.31, delta=0.005
        )
        # 1.15 % C: pearlite 0.934, proeutectoid cementite 0.066 (computed)
        answer = self.carbon("--carbon", "1.15")
        self.assertEqual(answer["proeutectoid"], "cementite")
        self.assertAlmostEqual(answer["pearlite_mass"], 0.9343, delta=5e-5)

    def test_carbon_to_phases_under_other_constants(self):
        # Constants 0.02 / 0.77 / 6.67, 0.40 % C: W_pearlite 0.5067 (computed)
        answer = self.carbon(
            "--carbon",
            "0.40%",
            "--ferrite-carbon",
            "0.02%",
            "--eutectoid-carbon",
            "0.77%",
            "--cementite-carbon",
            "6.67%",
        )
        self.assertAlmostEqual(answer["pearlite_mass"], 0.5067, delta=5e-5)

    def test_constants_are_chosen_as_a_set_by_name_and_printed(self):
        # Constants 0.02 / 0.77 / 6.67, 0.40 % C: W_pearlite 0.5067 (computed)
        answer = self.carbon("--carbon", "0.40%", "--constants", "0.77")
        self.assertAlmostEqual(answer["pearlite_mass"], 0.5067, delta=5e-5)
        self.assertEqual(answer["constants"]["set"], "0.77")
        self.assertEqual(answer["constants"]["ferrite_c"], 0.02)
        self.assertIn("MAE 324", answer["constants"]["text"])
        words = program.run("carbon", "--carbon", "0.4", "--constants", "0.80").stdout
        self.assertIn("eutectoid 0.80, cementite 6.67; set 0.80:", words)
        self.assertIn("from memory, unverified", words)

    def test_single_constants_stand_above_the_set_in_any_order(self):
        set_first = ("--constants", "0.77", "--eutectoid-carbon", "0.80%")
        value_first = set_first[2:] + set_first[:2]
        for words in (set_first, value_first):
            answer = self.carbon("--carbon", "0.40%", *words)
            # (0.40 - 0.02) / (0.80 - 0.02)
            self.assertAlmostEqual(answer["pearlite_mass"], 0.38 / 0.78, delta=1e-6)
            self.assertIn("own values", answer["constants"]["text"])

    def test_an_unknown_set_is_refused_with_those_that_exist(self):
        done = program.run("carbon", "--carbon", "0.4", "--constants", "0.75")
        self.assert_one_line_error(done, 2, "0.77-fine")

    def test_help_lists_the_sets_of_constants_with_their_sources(self):
        words = " ".join(program.run("carbon", "--help").stdout.split())
        self.assertIn("0.76 the default: ferrite 0.022, eutectoid 0.76, cementite 6.70", words)
        self.assertIn("0.0218", words)

    def test_pearlite_to_carbon_and_back(self):
        forth = self.carbon("--pearlite", "41%")
        back = self.carbon("--carbon", f"{forth['carbon_percent']}")
        self.assertAlmostEqual(back["pearlite_area"], 0.41, delta=1e-4)

    def test_the_working_is_shown_with_constants_and_caution(self):
        done = program.run("carbon", "--pearlite", "0.41")
        for words in ("0.022", "0.760", "f_P", "0.324 % C", "near equilibrium, not an analysis"):
            self.assertIn(words, done.stdout)

    def test_carbon_wants_exactly_one_question(self):
        self.assert_one_line_error(program.run("carbon"), 2, "--pearlite")
        self.assert_one_line_error(
            program.run("carbon", "--carbon", "0.4", "--pearlite", "0.4"), 2
        )
        self.assert_one_line_error(program.run("carbon", "--carbon", "0.001"), 2)
        self.assert_one_line_error(program.run("carbon", "--pearlite", "41"), 2, "41%")

    def test_a_seed_draws_the_same_bytes_again(self):
        for name in ("a", "b"):
            done = program.run(
                "render",
                "-o",
                self.here / name,
                "--size",
                "200x150",
                "--seed",
                "9",
                "--fields",
                "2",
            )
            self.assertEqual(done.returncode, 0, done.stderr)
        for file in ("field-01.tif", "field-02.tif", "field-01.truth.json"):
            self.assertEqual(
                (self.here / "a" / file).read_bytes(), (self.here / "b" / file).read_bytes()
            )
        self.assertNotEqual(
            (self.here / "a" / "field-01.tif").read_bytes(),
            (self.here / "a" / "field-02.tif").read_bytes(),
        )
        with Image.open(self.here / "a" / "field-01.tif") as picture:
            self.assertEqual((picture.size, picture.mode), ((200, 150), "L"))

    def test_render_refuses_what_cannot_be_drawn(self):
        self.assert_one_line_error(program.run("render"), 2, "-o")
        for words in (
            ["--size", "0x10"],
            ["--pearlite-of-matrix", "140%"],
            ["--blur", "1"],
            ["--noise", "nan"],
            ["--graphite", "worms"],
            ["field.tif"],
        ):
            self.assert_one_line_error(program.run("render", "-o", self.here / "x", *words), 2)


if __name__ == "__main__":
    unittest.main(verbosity=1)
