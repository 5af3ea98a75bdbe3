"""The papers of a batch: its page, its certificate, and both as PDF, read back by pdftotext."""
import html
import json
import re
import shutil
import subprocess
import unittest

from PIL import Image

import batch_fields
import program

WORDING = (
    "We hereby declare that the castings were poured, treated and tested as agreed with the "
    "customer named above, on specimens cut from legs poured with the castings of this batch. "
)
JOB = """[specimen]
laboratory = Quillmere Foundry, metallography
operator = R. Ash
customer = Tollgate Fittings & Söhne
laboratory_picture = mark.png
[certificate]
title = Agreed form B
specification = TF-118, clause 5.2
part_name = Hinge bracket HB-7
order = 4500-118-7
approved_by = M. Larch
"""


def said(*command):
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return done.stdout


def visible(page):
    """The words that a reader of the page sees."""
    page = re.sub(r"<(style|title|svg).*?</\1>", " ", page, flags=re.DOTALL)
    page = re.sub(r"<meta[^>]*>", " ", page)
    return html.unescape(re.sub(r"<[^>]*>", " ", page)).replace("\u00a0", " ")


def sheets(path):
    return int(re.search(r"Pages:\s+(\d+)", said("pdfinfo", path)).group(1))


class Papers(program.Case):
    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        fields = batch_fields.draw(cls.shared / "fields", 8)
        cls.manifest = batch_fields.manifest(cls.shared / "m.csv", fields, 4)
        text = cls.manifest.read_text().splitlines()
        text = [text[0] + ",job file"] + [line + ",job.ini" for line in text[1:]]
        cls.manifest.write_text("\n".join(text) + "\n")
        pieces = [WORDING * 3, WORDING]
        (cls.shared / "job.ini").write_text(
            JOB
            + "".join(
                f"statement = {piece.strip()}\n"
                for whole in pieces
                for piece in re.findall(r".{1,150}(?:\s|$)", whole)
            )
        )
        (cls.shared / "limits.ini").write_text("[limits]\nnodules_per_mm2 = >= 5\n")
        Image.new("RGB", (60, 30), (20, 50, 140)).save(cls.shared / "mark.png")
        cls.out = cls.shared / "out"
        done = program.run("batch", cls.manifest, "-o", cls.out, "--paper", "a4", "--quiet")
        assert done.returncode == 0, done.stderr
        cls.folder = cls.out / "week 1" if (cls.out / "week 1").exists() else cls.out / "week-1"

    def again(self, *words, code=0, manifest=None):
        """The batch anew, from the shares that are there."""
        out = self.here / "out"
        if not out.exists():
            shutil.copytree(self.out / "shares", out / "shares")
        done = program.run("batch", manifest or self.manifest, "-o", out, *words)
        self.assertEqual(done.returncode, code, done.stderr + done.stdout)
        return out / self.folder.name

    def assert_all_on_paper(self, page, paper, least):
        letters = re.sub(r"\s", "", said("pdftotext", "-raw", paper, "-"))
        words = visible(page.read_text(encoding="utf-8")).split()
        self.assertGreater(len(words), least)
        missing = [w for w in words if re.sub(r"\s", "", w) not in letters]
        self.assertEqual(missing, [])

    def test_paper_says_what_the_page_says_and_holds_every_specimen(self):
        report = self.folder / "report.pdf"
        self.assert_all_on_paper(self.folder / "report.html", report, 300)
        for specimen in ("S0001", "S0002"):
            self.assert_all_on_paper(self.folder / specimen / "report.html", report, 300)
            own = self.folder / specimen / "report.pdf"
            self.assert_all_on_paper(self.folder / specimen / "report.html", own, 300)

    def test_every_specimen_begins_a_sheet_and_numbers_run_through(self):
        text = said("pdftotext", self.folder / "report.pdf", "-").split("\f")
        count = sheets(self.folder / "report.pdf")
        for number in range(1, count + 1):
            self.assertIn(f"page {number} of {count}", text[number - 1])
        begins = [n for n in range(count) if text[n].startswith("Metallographic report")]
        starts = [n for n in begins if "· S000" not in text[n].splitlines()[0]]
        self.assertEqual(len(starts), 2)
        own = [sheets(self.folder / s / "report.pdf") for s in ("S0001", "S0002")]
        self.assertEqual(starts[1] - starts[0], own[0])
        self.assertEqual(count - starts[1], own[1])

    def test_fonts_are_embedded_and_the_properties_bear_the_day(self):
        for name in ("report.pdf", "certificate.pdf"):
            for font in said("pdffonts", self.folder / name).splitlines()[2:]:
                self.assertRegex(font, r"\s+yes\s+yes\s+(yes|no)\s+\d+\s+\d+$")
            self.assertIn("CreationDate", said("pdfinfo", self.folder / name))

    def test_the_certificate_is_one_sheet_with_the_customers_words(self):
        page, paper = self.folder / "certificate.html", self.folder / "certificate.pdf"
        self.assertEqual(sheets(paper), 1)
        self.assert_all_on_paper(page, paper, 150)
        words = " ".join(visible(page.read_text(encoding="utf-8")).split())
        for must in (
            "Agreed form B",
            (WORDING * 4).strip(),
            "TF-118, clause 5.2",
            "Hinge bracket HB-7",
            "4500-118-7",
            "Tollgate Fittings & Söhne",
            "M. Larch",
            "R. Ash",
            "The batch conforms",
            "≥ 5 /mm²",
            "every specimen must pass",
        ):
            self.assertIn(must, words)

    def test_figures_on_the_certificate_are_those_of_the_document(self):
        batch = json.loads((self.folder / "batch.json").read_text())
        figure = batch["over_specimens"]["nodules_per_mm2"]
        words = " ".join(visible((self.folder / "certificate.html").read_text()).split())
        found = re.search(r"([\d.]+) /mm² \(([\d.]+) to ([\d.]+)\)", words)
        # rounded to the digits that the interval supports: at worst to half of its half-width
        step = 0.25 * (figure["ci95"][1] - figure["ci95"][0])
        for text, value in zip(found.groups(), [figure["mean"], *figure["ci95"]]):
            self.assertLess(abs(float(text) - value), step)

    def test_a_batch_that_is_rejected_is_not_certified(self):
        (self.shared / "hard.ini").write_text("[limits]\nnodules_per_mm2 = >= 90000\n")
        manifest = self.shared / "hard.csv"
        manifest.write_text(self.manifest.read_text().replace("limits.ini", "hard.ini"))
        folder = self.again("--paper", "letter", code=1, manifest=manifest)
        words = " ".join(visible((folder / "certificate.html").read_text()).split())
        self.assertIn("Requirements not met", words)
        self.assertNotIn("Agreed form B", words)
        self.assertNotIn("We hereby declare", words)
        self.assertIn("612 x 792", said("pdfinfo", folder / "certificate.pdf"))

    def test_papers_that_say_the_same_keep_their_day_and_bytes(self):
        folder = self.again("--paper", "a4")
        names = ("report.html", "report.pdf", "certificate.html", "certificate.pdf")
        for name in ("report.html", "certificate.html"):
            text = (folder / name).read_text()
            earlier = re.sub(r"20\d\d-\d\d-\d\d", "2001-02-03", text)
            self.assertNotEqual(text, earlier)
            (folder / name).write_text(earlier)
        self.again("--paper", "a4")
        first = {name: (folder / name).read_bytes() for name in names}
        self.assertIn(b"2001-02-03", first["report.html"])
        self.again("--paper", "a4")
        self.assertEqual(first, {name: (folder / name).read_bytes() for name in names})

    def test_without_paper_there_is_none_and_an_old_one_goes(self):
        folder = self.again("--paper", "a4")
        self.assertEqual(len(list(folder.rglob("*.pdf"))), 4)
        self.again()
        self.assertEqual(list(folder.rglob("*.pdf")), [])
        self.assertEqual(len(list(folder.rglob("*.html"))), 4)

    def test_the_job_file_may_name_the_paper(self):
        manifest = self.shared / "paper.csv"
        (self.shared / "paper.ini").write_text(JOB + "[output]\npaper = letter\n")
        manifest.write_text(self.manifest.read_text().replace("job.ini", "paper.ini"))
        folder = self.again(manifest=manifest)
        self.assertIn("612 x 792", said("pdfinfo", folder / "report.pdf"))
        self.again("--paper", "a4", manifest=manifest)
        self.assertIn("(A4)", said("pdfinfo", folder / "report.pdf"))

    def test_wording_that_no_sheet_takes_is_refused_before_anything_is_measured(self):
        done = program.run(
            "batch", self.manifest, "-o", self.here / "x", "--statement", "w " * 500
        )
        self.assert_one_line_error(done, 2, "at most 900 characters")
        self.assertFalse((self.here / "x").exists())

    def test_what_the_command_line_says_takes_the_place_of_the_job_files_words(self):
        folder = self.again("--statement", "Other words,", "--statement", "in two pieces.")
        words = " ".join(visible((folder / "certificate.html").read_text()).split())
        self.assertIn("Other words, in two pieces.", words)
        self.assertNotIn("We hereby declare", words)

    def test_with_a_register_the_page_charts_each_casting(self):
        register = self.here / "register.sqlite"
        folder = self.again("--history", register, "--casting", "HB-7 bracket", "--paper", "a4")
        words = " ".join(visible((folder / "report.html").read_text()).split())
        self.assertIn("Over time", words)
        self.assertIn("HB-7 bracket : nodule count", words)
        self.assert_all_on_paper(folder / "report.html", folder / "report.pdf", 300)
        listed = program.run("history", "list", "--history", register)
        for specimen in ("S0001", "S0002"):
            self.assertIn(specimen, listed.stdout)
        self.assertNotIn("Over time", (self.folder / "report.html").read_text())

    def test_a_picture_that_cannot_be_used_stands_on_the_page(self):
        manifest = self.shared / "broken.csv"
        (self.shared / "broken.png").write_bytes(b"no picture")
        text = self.manifest.read_text().replace("fields/field-0002.png", "broken.png")
        self.assertIn("broken.png", text)
        manifest.write_text(text)
        folder = self.again("--paper", "a4", code=3, manifest=manifest)
        words = " ".join(visible((folder / "report.html").read_text()).split())
        self.assertIn("What could not be measured", words)
        self.assertIn("broken.png", words)
        self.assertIn("No certificate", visible((folder / "certificate.html").read_text()))
        self.assertFalse((folder / "S0001" / "report.pdf").exists())
        self.assert_all_on_paper(folder / "report.html", folder / "report.pdf", 300)


if __name__ == "__main__":
    unittest.main()
