"""--locale de, end to end: all kinds of pages in German, with the same figures as in English."""

import json
import os
import re
import subprocess
import unittest
from html import unescape

import program

UNTRANSLATED = os.environ["KB_UNTRANSLATED"]
SIZE = ["--size", "640x480", "--pixel-size", "1um"]
IRON = ["--material", "ductile-iron"]
KEPT = re.compile(
    r"<(style|code|pre)\b.*?</\1>|<(\w+)[^>]* translate=\"no\"[^>]*>.*?</\2>", re.DOTALL
)
TIME = re.compile(
    r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d ?[+-]\d\d:\d\d"
    r"|\d\d\.\d\d\.\d{4} \d\d:\d\d:\d\d [+-]\d\d:\d\d"
)
DIGEST = re.compile(r"[0-9a-f]{64}|[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}")


def said(page):
    """What the program itself says: text and labels, without what is marked as kept."""
    page = KEPT.sub(" ", page)
    labels = re.findall(r' (?:alt|title|aria-label|data-label)="([^"]*)"', page)
    return unescape(re.sub(r"<[^>]*>", " ", page) + " " + " ".join(labels))


def numbers(page):
    """All numbers of a page, whatever their order in a sentence."""
    text = TIME.sub(" ", said(page)).replace("²", "2").replace("³", "3")
    text = re.sub(r"\b(\d\d)\.(\d\d)\.(\d{4})\b", r"\3-\2-\1", text)
    text = re.sub(r"\b100(x|:1)", "", text)  # a magnification
    found = re.findall(r"(?<![\w.,])\d+(?:[.,]\d+)*", text)
    return sorted(number.replace(",", ".").rstrip(".") for number in found)


def unlike(page):
    """The page without what no two runs share."""
    return DIGEST.sub("DIGEST", TIME.sub("TIME", page))


class Locale(program.Case):
    rendered = {
        "nodules": [*SIZE, "--seed", "81", "--fields", "2"],
        "polished": [*SIZE, "--seed", "82", "--fields", "2", "--look", "light-unetched"],
        "flakes": [*SIZE, "--seed", "83", "--graphite", "flakes", "--look", "light-unetched"],
        "worms": [*SIZE, "--seed", "84", "--graphite", "compacted", "--look", "light-unetched"],
        "steel": [*SIZE, "--seed", "85", "--graphite", "none", "--fields", "2"],
        "sem": [*SIZE, "--seed", "86", "--graphite", "none", "--look", "sem"],
        "soft": [*SIZE, "--seed", "87", "--blur", "9um"],
        "burnt": [*SIZE, "--seed", "88", "--over-etch", "1", "--scratches", "150"],
        "carbide": [*SIZE, "--seed", "89", "--carbide", "15%"],
    }
    measured = {
        "both": [*IRON, "--contrast", "light", "nodules", "--contrast", "light-unetched",
                 "polished", "--limit", "nodularity >= 85 %", "--limit",
                 "pearlite_of_matrix = 20..45 %", "--chemistry", "C=3.6", "--chemistry", "Si=2.4"],
        "found": [*IRON, "nodules", "polished", "--no-pictures"],
        "unfit": [*IRON, "--contrast", "light", "--accept-unfit", "soft", "burnt"],
        "flakes": ["--material", "grey-iron", "--contrast", "light-unetched", "flakes"],
        "worms": ["--material", "compacted-iron", "--contrast", "light-unetched", "worms"],
        "steel": ["--material", "carbon-steel", "--contrast", "light", "--accept-unfit",
                  "--proeutectoid", "ferrite", "steel", "--chemistry", "C=0.45",
                  "--threshold-step", "3", "--why", "100,100", "--why", "333,222"],
        "sem": ["--material", "carbon-steel", "--contrast", "sem", "--accept-unfit", "sem",
                "--why", "300,200"],
        "carbide": [*IRON, "--contrast", "light", "--accept-unfit", "carbide", "--why", "90,90"],
        "by-hand": [*IRON, "--contrast", "light", "nodules", "--dark-threshold", "90",
                    "--exclude", "10,10,50,50: a stain", "--set-phase",
                    "field-01.tif 300,300 pearlite: seen so", "--why", "300,300", "--given",
                    "hardness_hbw=187±6", "--limit", "hardness_hbw = 160..230 HBW"],
    }  # fmt: skip

    def pages(self, locale):
        """One page of every kind, by name."""
        at = self.here / locale
        how = ["--locale", locale, "--quiet"]
        for name, words in self.measured.items():
            done = program.run("measure", *words, *how, "-o", at / name, cwd=self.shared)
            self.assertIn(done.returncode, (0, 1), f"{name}: {done.stderr}")
        for material in ("ductile-iron", "grey-iron", "compacted-iron", "carbon-steel"):
            for cut, mount in (("flame", "cold"), ("saw", "hot"), ("as-broken", "none")):
                words = ["--material", material, "--cut", cut, "--mount", mount, *how]
                program.run("prepare", *words, "-o", at / f"{material}-{cut}")
        words = ["--after", at / "unfit", "--etchant", "picral", *how]
        self.assertEqual(program.run("prepare", *words, "-o", at / "after").returncode, 0)
        self.batch(at / "batch", *how)
        return {
            str(path.relative_to(at)): path.read_text(encoding="utf-8")
            for path in sorted(at.rglob("*.html"))
        }

    def batch(self, out, *how, batch="week 9", casting="HB-7", remark="urgent", names=None):
        names = names or ("S1", "S2", "S3")
        job = self.here / "job.ini"
        job.write_text(
            "[limits]\nnodularity = >= 60 %\npearlite_of_matrix = 1..99 %\n"
            f"[certificate]\nspecification = {remark}\npart_name = {casting}\norder = {remark}\n"
            f"approved_by = {remark}\nstatement = {remark}\nnumber = {remark}\n"
        )
        rows = [
            "batch;specimen;material;contrast;field;limits;casting;remark;grade;customer;operator"
        ]
        fields = ("nodules/field-01.tif", "nodules/field-02.tif", "missing.tif")
        for name, field in zip(names, fields):
            path = self.shared / field
            ending = f"{job};{casting};{remark};{remark};{casting};{remark}"
            rows.append(f"{batch};{name};ductile-iron;light;{path};{ending}")
            if field == fields[1]:  # a batch that is whole
                rows.append(f"{batch} too;{name};ductile-iron;light;{path};{ending}")
        (self.here / "m.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
        words = ["m.csv", "--job", job, "--history", out.with_suffix(".sqlite"), "-o", out, *how]
        done = program.run("batch", *words, cwd=self.here)
        self.assertIn(done.returncode, (0, 1, 3), done.stderr)
        self.assertTrue(list(out.rglob("certificate.html")), done.stderr)

    def test_every_kind_of_page_is_german_with_the_same_numbers(self):
        english, german = self.pages("en"), self.pages("de")
        self.assertEqual(list(english), list(german))
        self.assertGreater(len(english), 25)
        paths = [self.here / "en" / name for name in english]
        left = subprocess.run([UNTRANSLATED, "de", *paths], capture_output=True, text=True)
        self.assertEqual(left.stdout, "", "phrases without a row in src/words/de.csv")
        for name, page in german.items():
            self.assertIn('<html lang="de">', page, name)
            self.assertEqual(numbers(page), numbers(english[name]), name)
            text = re.sub(r"\d+\.\d+\.\d+", "", TIME.sub("", said(page)))
            text = re.sub(r"\b0\.76\b", "", text)  # the name of a set of constants
            self.assertEqual(re.findall(r"\d\.\d+|\d{4}-\d\d-\d\d", text), [], name)

    def test_an_english_page_is_the_same_with_and_without_the_word(self):
        plain = [*IRON, "--contrast", "light", "nodules", "--quiet", "-o"]
        for out, words in ((self.here / "a", ["--locale", "en"]), (self.here / "b", [])):
            done = program.run("measure", *plain, out, *words, cwd=self.shared)
            self.assertEqual(done.returncode, 0, done.stderr)
        a, b = ((self.here / name / "report.html").read_text() for name in "ab")
        a = re.sub(r"<tr><td data-label=\"setting\"><span[^>]*>locale<.*?</tr>\n", "", a)
        self.assertEqual(unlike(a), unlike(b))

    def own_words(self, out, one, two):
        """German pages with the words of a house in every place that takes some."""
        folder = self.here / out / one
        folder.mkdir(parents=True)
        for number, name in enumerate((one, two), 1):
            field = self.shared / "nodules" / f"field-{number:02d}.tif"
            (folder / f"{name}.tif").write_bytes(field.read_bytes())
        names = [["--" + place, one] for place in ("specimen", "laboratory", "customer")]
        names += [["--" + place, two] for place in ("operator", "remark", "grade", "casting")]
        by_hand = ["--set-phase", f"{one}.tif 300,300 pearlite: {two}", "--exclude",
                   f"{two}.tif 9,9,20,20: {one}", "--dark-threshold", "90",
                   "--threshold-reason", two, "--why", f"{one}.tif 99,99"]  # fmt: skip
        how = ["--locale", "de", "--quiet"]
        words = [*IRON, "--contrast", "light", one, *sum(names, []), *by_hand, *how]
        done = program.run("measure", *words, "-o", "measured", cwd=folder.parent)
        self.assertEqual(done.returncode, 0, done.stderr)
        words = [*IRON, "--specimen", one, "--laboratory", two, *how]
        program.run("prepare", *words, "-o", folder.parent / "sheet")
        self.batch(folder.parent / "batch", *how, batch=one, casting=two, remark=one,
                   names=(two, one + " 2", one))  # fmt: skip
        at = folder.parent
        return {str(path.relative_to(at)): path.read_text() for path in at.rglob("*.html")}

    def test_words_of_the_house_stay_even_where_the_table_has_them(self):
        def known(text):
            return text.replace("zzza", "fit").replace("zzzb", "note").replace("strange", "known")

        pages = self.own_words("known", "fit", "note")
        self.assertGreater("".join(pages.values()).count(">note<"), 20)
        for path, page in self.own_words("strange", "zzza", "zzzb").items():
            ours, theirs = unlike(pages[known(path)]), unlike(known(page))
            for left, right in zip(ours.split("\n"), theirs.split("\n"), strict=True):
                self.assertEqual(left[:2000], right[:2000], path)

    def test_papers_are_german_too(self):
        how = ["--locale", "de", "--quiet", "--paper", "a4"]
        self.batch(self.here / "out", *how)
        papers = sorted((self.here / "out").rglob("*.pdf"))
        self.assertGreaterEqual(len(papers), 5)
        for paper in papers:
            done = subprocess.run(["pdftotext", paper, "-"], capture_output=True, text=True)
            self.assertNotRegex(done.stdout, r"page \d+ of|measured by|of the field", paper)
            if paper.name != "certificate.pdf":
                self.assertRegex(done.stdout, r"Seite 1 von \d", paper)

    def test_a_job_file_may_say_the_language(self):
        (self.here / "job.ini").write_text("[output]\nlocale = de\n")
        plain = [*IRON, "--contrast", "light", self.shared / "nodules", "--quiet"]
        program.run("measure", *plain, "--job", self.here / "job.ini", "-o", self.here / "a")
        self.assertIn('lang="de"', (self.here / "a" / "report.html").read_text())

    def test_files_for_programs_stay_english(self):
        plain = [*IRON, "--contrast", "light", self.shared / "nodules", "--json"]
        english = self.result(*plain[:-1])
        german = self.result(*plain[:-1], "--locale", "de")
        for result in (english, german):
            result["settings"] = [s for s in result["settings"] if s["name"] != "locale"]
        self.assertEqual(unlike(json.dumps(english)), unlike(json.dumps(german)))

    def test_a_language_that_is_not_there_is_refused(self):
        done = program.run("prepare", *IRON, "--locale", "xx", "-o", self.here / "sheet")
        self.assert_one_line_error(done, 2, "--locale", "en or de")


if __name__ == "__main__":
    unittest.main()
