"""Whatever is put in: a clear one-line error or a right result; no crash, hang or half report."""
import os
import struct
import unittest

import numpy
from PIL import Image

import program

IRON = ["--material", "ductile-iron", "--contrast", "light", "--pixel-size", "0.6um"]


class BadInput(program.Case):
    rendered = {"good": ["--size", "640x480", "--pixel-size", "0.6um", "--seed", "5"]}

    @property
    def good(self):
        return self.shared / "good" / "field-01.tif"

    def refused(self, path, *says, code=3):
        out = self.here / "out"
        done = program.run("measure", *IRON, path, "-o", out)
        self.assert_one_line_error(done, code, *says)
        self.assertFalse(out.exists() and any(out.iterdir()), "nothing may be left behind")

    def file(self, name, data):
        path = self.here / name
        path.write_bytes(data)
        return path

    def test_a_missing_file(self):
        self.refused(self.here / "nowhere.tif", "nowhere.tif")

    def test_an_empty_file(self):
        self.refused(self.file("empty.tif", b""), "empty.tif")

    def test_text_that_calls_itself_a_picture(self):
        self.refused(self.file("notes.tif", b"These are my notes.\n" * 50))

    def test_a_pdf_and_a_zip(self):
        self.refused(self.file("a.png", b"%PDF-1.7\n" + bytes(500)))
        self.refused(self.file("b.jpg", b"PK\x03\x04" + bytes(500)))

    def test_every_truncation_of_a_tiff_a_png_and_a_jpeg(self):
        picture = Image.open(self.good)
        picture.save(self.here / "w.png")
        picture.save(self.here / "w.jpg", quality=90)
        for name, whole in (
            ("t.tif", self.good),
            ("t.png", self.here / "w.png"),
            ("t.jpg", self.here / "w.jpg"),
        ):
            data = whole.read_bytes()
            for part in (4, 9, 60, len(data) // 3, len(data) * 9 // 10, len(data) - 40):
                self.refused(self.file(name, data[:part]))

    def test_a_header_that_claims_a_huge_picture(self):
        ifd = [
            (256, 4, 1, 150000),
            (257, 4, 1, 150000),
            (258, 3, 1, 8),
            (259, 3, 1, 1),
            (262, 3, 1, 1),
            (273, 4, 1, 8),
            (277, 3, 1, 1),
            (278, 4, 1, 150000),
            (279, 4, 1, 100),
        ]
        data = struct.pack("<2sHI", b"II", 42, 8) + struct.pack("<H", len(ifd))
        data += b"".join(struct.pack("<HHII", *entry) for entry in ifd) + struct.pack("<I", 0)
        self.refused(self.file("huge.tif", data + bytes(100)))
        png = b"\x89PNG\r\n\x1a\n" + struct.pack(
            ">I4sIIBBBBB", 13, b"IHDR", 2**31 - 1, 2**31 - 1, 8, 0, 0, 0, 0
        )
        self.refused(self.file("huge.png", png + bytes(100)))

    def test_a_picture_of_one_pixel_and_one_of_one_grey(self):
        Image.new("L", (1, 1), 128).save(self.here / "one.png")
        self.refused(self.here / "one.png")
        Image.new("L", (300, 200), 128).save(self.here / "flat.png")
        self.refused(self.here / "flat.png")

    def test_samples_that_are_floating_point(self):
        Image.fromarray(numpy.random.default_rng(1).random((64, 64)).astype("float32")).save(
            self.here / "f.tif"
        )
        self.refused(self.here / "f.tif", "export it as 8- or 16-bit")

    def test_a_folder_without_pictures_and_a_pipe(self):
        (self.here / "folder").mkdir()
        self.refused(self.here / "folder", "folder")
        os.mkfifo(self.here / "pipe.tif")
        self.refused(self.here / "pipe.tif", "pipe.tif")

    def test_one_bad_field_among_good_ones_stops_the_measurement_and_is_named(self):
        bad = self.file("bad.tif", self.good.read_bytes()[:3000])
        done = program.run("measure", *IRON, self.good, bad, "-o", self.here / "out")
        self.assert_one_line_error(done, 3, "bad.tif")
        self.assertFalse((self.here / "out").exists())

    def test_palette_alpha_cmyk_and_turned_pictures_are_measured(self):
        grey = Image.open(self.good)
        base = self.result(*IRON, self.good)["phases"]
        rgba = grey.convert("RGBA")
        rgba.save(self.here / "alpha.png")
        grey.convert("P").save(self.here / "palette.png")
        grey.convert("CMYK").save(self.here / "cmyk.tif")
        exif = Image.Exif()
        exif[274] = 6
        grey.save(self.here / "turned.jpg", quality=97, exif=exif)
        for name in ("alpha.png", "palette.png", "cmyk.tif", "turned.jpg"):
            found = self.result(*IRON, self.here / name)
            for phase in ("graphite", "ferrite", "pearlite"):
                self.assertAlmostEqual(
                    found["phases"][phase]["mean"], base[phase]["mean"], delta=0.01, msg=name
                )
        turned = self.result(*IRON, self.here / "turned.jpg")["fields"][0]
        self.assertEqual((turned["width_px"], turned["height_px"]), (480, 640))

    def test_a_full_disk_leaves_no_partial_report(self):
        out = self.here / "out"
        done = program.run("measure", *IRON, self.good, "-o", out, limit_file_size=20000)
        self.assert_one_line_error(done, 4)
        self.assertFalse(out.exists() and any(out.iterdir()))

    def test_a_file_where_the_output_folder_should_be(self):
        done = program.run("measure", *IRON, self.good, "-o", self.file("taken", b"x"))
        self.assert_one_line_error(done, 4, "taken")

    def test_standard_output_that_is_full(self):
        import subprocess

        with open("/dev/full", "w") as full:
            done = subprocess.run(
                [program.PROGRAM, "measure", "--json", *IRON, str(self.good)],
                stdout=full,
                stderr=subprocess.PIPE,
                text=True,
                timeout=60,
            )
        self.assertEqual(done.returncode, 4, done.stderr)

    def test_numbers_that_are_none(self):
        for words in (
            ["--min-feret", "nan"],
            ["--min-feret", "infum"],
            ["--dark-threshold", "nan"],
            ["--pixel-size", "0um"],
            ["--exclude", "0,0,nan,5"],
            ["--chemistry", "C=inf"],
        ):
            self.assert_one_line_error(
                program.run("measure", *IRON, self.good, *words), 2, words[0]
            )

    def test_an_exclusion_outside_and_one_over_the_whole_picture(self):
        self.assert_one_line_error(
            program.run("measure", *IRON, self.good, "--exclude", "700,0,10,10"), 2, "outside"
        )
        self.assert_one_line_error(
            program.run("measure", *IRON, self.good, "--exclude", "0,0,640,480"),
            2,
            "whole picture",
        )

    def test_the_same_field_twice(self):
        self.assert_one_line_error(
            program.run("measure", *IRON, self.good, self.good), 2, "twice"
        )

    def test_a_page_that_is_not_there(self):
        self.assert_one_line_error(program.run("measure", *IRON, self.good, "--page", "7"), 3)


if __name__ == "__main__":
    unittest.main(verbosity=1)
