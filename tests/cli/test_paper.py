"""The report on paper: read back by pdftotext and its kin."""
import re
import subprocess
import unittest
import zlib

import program

IRON = ["--material", "ductile-iron", "--contrast", "light"]


def png(width, height):
    """The bytes of a grey PNG."""

    def chunk(name, data):
        crc = zlib.crc32(name + data).to_bytes(4, "big")
        return len(data).to_bytes(4, "big") + name + data + crc

    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([8, 0, 0, 0, 0])
    rows = (b"\0" + b"\x80" * width) * height
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


def said(*command):
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return done.stdout


class Paper(program.Case):
    rendered = {"fields": ["--size", "640x480", "--pixel-size", "0.6um", "--fields", "3"]}

    def report(self, *words, code=0):
        out = self.here / "out"
        fields = sorted((self.shared / "fields").glob("*.tif"))
        self.measure(*IRON, *fields, "--specimen", "Ofen ä / 7", *words, "-o", out, code=code)
        return out

    def test_the_paper_says_what_the_page_says(self):
        out = self.report("--paper", "a4", "--limit", "nodularity >= 1 %")
        page = (out / "report.html").read_text(encoding="utf-8")
        page = re.sub(r"<(style|title|svg).*?</\1>", " ", page, flags=re.DOTALL)
        page = re.sub(r"<[^>]*>", " ", page).replace("&lt;", "<").replace("&gt;", ">")
        page = page.replace("&#39;", "'").replace("&quot;", '"').replace("&amp;", "&")
        paper = said("pdftotext", "-raw", out / "report.pdf", "-")
        letters = re.sub(r"\s", "", paper.replace("\u00a0", " "))
        missing = [
            word
            for word in page.replace("&#160;", " ").split()
            if re.sub(r"\s", "", word) not in letters
        ]
        self.assertGreater(len(page.split()), 500)
        self.assertEqual(missing, [])

    def test_every_font_is_embedded_and_pages_are_numbered(self):
        out = self.report("--paper", "letter")
        fonts = said("pdffonts", out / "report.pdf").splitlines()[2:]
        self.assertGreater(len(fonts), 1)
        for font in fonts:
            self.assertRegex(font, r"\s+yes\s+yes\s+(yes|no)\s+\d+\s+\d+$")
        facts = said("pdfinfo", out / "report.pdf")
        self.assertIn("612 x 792", facts)
        self.assertIn("Ofen ä / 7", facts)
        pages = int(re.search(r"Pages:\s+(\d+)", facts).group(1))
        text = said("pdftotext", out / "report.pdf", "-").split("\f")
        for number in range(1, pages + 1):
            self.assertIn(f"page {number} of {pages}", text[number - 1])

    def test_pictures_go_in_as_they_are(self):
        out = self.report("--paper", "a4")
        page = (out / "report.html").read_text(encoding="utf-8")
        listed = said("pdfimages", "-list", out / "report.pdf").splitlines()[2:]
        jpegs = [line for line in listed if " jpeg " in line]
        self.assertEqual(len(jpegs), page.count("data:image/jpeg"))
        self.assertEqual(len(jpegs), 6)

    def test_the_laboratory_s_picture_heads_the_report(self):
        mark = self.here / "mark.png"
        mark.write_bytes(png(60, 20))
        out = self.report("--paper", "a4", "--laboratory-picture", mark)
        self.assertIn("data:image/png;base64,", (out / "report.html").read_text("utf-8"))
        listed = said("pdfimages", "-list", "-l", "1", out / "report.pdf")
        self.assertRegex(listed, r"\b60\s+20\b")

    def test_a_picture_of_the_laboratory_that_is_none_is_refused(self):
        broken = self.here / "mark.gif"
        broken.write_bytes(b"GIF89a" + b"\0" * 60)
        fields = sorted((self.shared / "fields").glob("*.tif"))
        for path, word in ((broken, "neither PNG nor JPEG"), (self.here / "no", "opened")):
            done = program.run("measure", *IRON, *fields, "--laboratory-picture", path)
            self.assert_one_line_error(done, 3, word)
        done = program.run("measure", *IRON, *fields, "--paper", "a5")
        self.assert_one_line_error(done, 2, "a4, letter")

    def test_a_report_without_paper_leaves_no_old_one_behind(self):
        out = self.report("--paper", "a4")
        self.assertTrue((out / "report.pdf").exists())
        self.report()
        self.assertFalse((out / "report.pdf").exists())


if __name__ == "__main__":
    unittest.main()
