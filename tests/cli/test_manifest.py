"""Manifests as spreadsheets save them anywhere, and the mistakes that people make in them.

The same table in every encoding, separator and number format must be understood alike; a table that
could be understood in two ways must be refused with its row and column.
"""
import itertools
import json
import unittest

from PIL import Image

import program

HEADER = [
    "Batch",
    "Specimen",
    "Field",
    "Material",
    "Contrast",
    "Pixel size (µm)",
    "C (%)",
    "Si [%]",
    "Section thickness (mm)",
    "Hardness HBW",
    "Remark",
]
ROWS = [
    [
        "Woche 12",
        "Träger 1",
        "Größe 1/polished a.png",
        "Ductile iron",
        "light unetched",
        "0.52",
        "3.58",
        "2.45",
        "12.5",
        "187±6",
        'said "fine", and\nsigned',
    ],
    [
        "Woche 12",
        "Träger 1",
        "Größe 1/etched b.png",
        "ductile_iron",
        "LIGHT",
        "",
        "",
        "",
        "",
        "",
        "",
    ],
    [
        "Woche 12",
        "Träger 2",
        "Größe 1/etched b.png",
        "ductile-iron",
        "light",
        "0.52",
        "3.61",
        "2.5",
        "30",
        "201",
        "a;b,c\td",
    ],
]


def quoted(cell, separator):
    special = any(c in cell for c in (separator, '"', "\n", "\r"))
    return '"' + cell.replace('"', '""') + '"' if special else cell


def table(rows, separator=",", newline="\n", comma=False):
    lines = []
    for number, row in enumerate(rows):
        cells = [
            c.replace(".", ",") if comma and number > 0 and 5 <= i <= 9 else c
            for i, c in enumerate(row)
        ]
        lines.append(separator.join(quoted(c, separator) for c in cells))
    return newline.join(lines) + newline


class Manifests(program.Case):
    def setUp(self):
        super().setUp()
        folder = self.here / "Größe 1"
        folder.mkdir()
        for name in ("polished a.png", "etched b.png"):
            Image.new("L", (64, 64), 128).save(folder / name)

    def dry(self, content, code=0, *words):
        path = self.here / "m.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        done = program.run("batch", "--dry-run", *words, path)
        self.assertEqual(done.returncode, code, done.stderr + done.stdout)
        return done

    def understood(self, content):
        """What is shown but for the line about the file itself."""
        done = self.dry(content)
        self.assertEqual(done.stderr, "")
        return done.stdout.split("\n", 1)[1]

    def refused(self, content, *says):
        done = self.dry(content, 2)
        self.assert_one_line_error(done, 2, *says)
        return done.stderr

    # ---- the same table, however it was saved ----

    def test_one_table_is_understood_alike_however_it_was_saved(self):
        plain = self.understood(table([HEADER, *ROWS]))
        self.assertIn("Träger 1: 2 fields, ductile-iron, light-unetched, light, 0.52 um", plain)
        self.assertIn("chemistry Si = 2.45 %", plain)
        self.assertIn("section 12.5 mm", plain)
        self.assertIn("given hardness_hbw = 187±6", plain)
        encodings = {
            "UTF-8": lambda text: text.encode(),
            "UTF-8 with mark": lambda text: b"\xef\xbb\xbf" + text.encode(),
            "UTF-16 little": lambda text: b"\xff\xfe" + text.encode("utf-16-le"),
            "UTF-16 big": lambda text: b"\xfe\xff" + text.encode("utf-16-be"),
            "Windows-1252": lambda text: text.encode("cp1252"),
        }
        tables = itertools.product(encodings, ",;\t", ("\n", "\r\n", "\r"), (False, True))
        for name, separator, newline, comma in tables:
            with self.subTest(encoding=name, separator=separator, newline=newline, comma=comma):
                text = table([HEADER, *ROWS], separator, newline, comma)
                self.assertEqual(self.understood(encodings[name](text)), plain)

    def test_empty_rows_and_columns_about_it_change_nothing(self):
        plain = self.understood(table([HEADER, *ROWS]))
        wide = [row + ["", " ", "\u00a0"] for row in [HEADER, *ROWS]]
        blank = [""] * len(wide[0])
        self.assertEqual(
            self.understood(table([blank, wide[0], blank, *wide[1:], blank, blank])), plain
        )
        self.assertEqual(self.understood(table([HEADER, *ROWS]).rstrip("\n")), plain)
        self.assertEqual(self.understood("sep=;\n" + table([HEADER, *ROWS], ";")), plain)
        spaced = [[f"  {cell}\u00a0 " for cell in row] for row in [HEADER, *ROWS]]
        self.assertEqual(self.understood(table(spaced, ";")), plain)

    def test_names_of_columns_may_be_spelt_freely(self):
        plain = self.understood(
            "specimen,field,material,pixel size,section thickness,job file\n"
            "A,Größe 1,grey iron,1um,5 mm,\n"
        )
        for names in (
            "SPECIMEN,FIELD,MATERIAL,PIXEL_SIZE,SECTION_THICKNESS,JOB_FILE",
            "Specimen, Fields ,Mat_erial,PixelSize,section-thickness,job",
        ):
            self.assertEqual(self.understood(names + "\nA,Größe 1,grey iron,1um,5 mm,\n"), plain)

    def test_a_header_with_every_column_is_read_at_once(self):
        """Comparing each name with those before it once doubled the time with every column."""
        names = (
            "batch,specimen,field,contrast,material,proeutectoid,pixel size,page,job file,grade,"
            "section thickness,laboratory,operator,customer,remark,C,Si,Mn,P,S,Cu,Sn,Mg,"
            "hardness HBW,hardness HV,tensile strength,proof strength,elongation,impact energy"
        )
        row = ["B", "A", "Größe 1", "", "grey iron"] + [""] * (names.count(",") - 4)
        self.assertIn("A: 2 fields", self.understood(names + "\n" + ",".join(row) + "\n"))

    def test_paths_are_meant_from_the_manifest_and_back_slashes_are_mended(self):
        shown = self.understood(
            "specimen,field,material\nA,Größe 1\\etched b.png | Größe 1/pol*," "grey iron\n"
        )
        self.assertIn("A: 2 fields", shown)

    def test_a_pattern_and_a_folder_mean_their_pictures(self):
        shown = self.understood(
            "specimen,field,material\nA,Größe 1/*.png,grey iron\n" "B,Größe 1,grey iron\n"
        )
        self.assertEqual(shown.count(": 2 fields"), 2)

    def test_rows_of_one_specimen_need_not_stand_together(self):
        shown = self.understood(
            "specimen,field,material,contrast\nA,Größe 1/etched b.png,grey iron,light\n"
            "B,Größe 1/etched b.png,grey iron,light\nA,Größe 1/polished a.png,,light-unetched\n"
        )
        self.assertIn("A: 2 fields, grey-iron, light, light-unetched", shown)
        self.assertIn("2 specimens, 3 fields", shown)

    def test_the_command_line_goes_over_the_manifest_and_that_over_the_job_file(self):
        (self.here / "job.ini").write_text(
            "[specimen]\nmaterial = grey-iron\n[fields]\nlight = Größe 1/*.png\n"
            "[calibration]\npixel_size = 3um\n[particles]\nmin_feret = 9um\n"
        )
        done = self.dry("specimen,job file,pixel size\nA,job.ini,2um\n")
        self.assertIn("2 um a pixel", done.stdout)
        self.assertIn("min-feret = 9um", done.stdout)
        done = self.dry(
            "specimen,job file,pixel size\nA,job.ini,2um\n",
            0,
            "--pixel-size",
            "1um",
            "--min-feret",
            "8um",
        )
        self.assertIn("1 um a pixel", done.stdout)
        self.assertIn("min-feret = 8um", done.stdout)

    # ---- decimal signs ----

    def test_a_number_that_could_be_a_thousand_times_as_large_is_refused(self):
        head = "specimen{0}field{0}material{0}tensile strength (MPa){0}C\n"
        row = "A{0}Größe 1{0}grey iron{0}{1}{0}{2}\n"
        for separator, strength, carbon, right in (
            (",", '"1,050"', "", False),  # a thousand and fifty, or one and a bit?
            (",", '"1,050"', "3.5", False),  # points are decimal here
            (";", "1.050", "3,5", False),  # commas are
            (";", "1,050", "", True),  # a file with semicolons: decimal comma
            (",", "1.050", "", True),
            (",", '"1,050"', '"3,5"', True),  # commas are decimal here beyond doubt
            (";", "1.050,5", "", False),
            (",", '"1,050,000"', "", False),
            ("\t", "0,850", "", True),
        ):  # nobody groups behind a zero
            content = head.format(separator) + row.format(separator, strength, carbon)
            with self.subTest(content):
                if right:
                    number = strength.strip('"').replace(",", ".")
                    self.assertIn(f"tensile_strength = {number}", self.understood(content))
                else:
                    self.refused(content, "row 2, column 'tensile strength (MPa)'")

    # ---- mistakes ----

    def test_an_unknown_column_is_named_and_the_known_ones_are_listed(self):
        says = self.refused(
            "specimen,field,material,pixle size\nA,a.tif,grey iron,1um\n",
            "'pixle size'",
            "did you mean 'pixel size'",
            "section thickness",
        )
        self.assertIn("hardness HBW", says)
        self.refused("specimen,field,weather\nA,a.tif,rain\n", "'weather'", "known are batch")
        self.refused("specimen,field,material (um)\nA,a.tif,x\n", "material (um)")
        self.refused("specimen,field,pixel size,PixelSize\nA,a.tif,1um,1um\n", "mean the same")

    def test_a_mistake_names_row_and_column(self):
        good = "A,Größe 1,grey iron,1um,3.5,5 mm"
        head = "specimen,field,material,pixel size,C,section thickness\n" + good + "\n"
        for row, column, says in (
            ("B,Größe 1,grey iron,1,3.5,5 mm", "pixel size", "unit"),
            ("B,Größe 1,grey iron,-1um,3.5,5 mm", "pixel size", ""),
            ("B,Größe 1,brass,1um,3.5,5 mm", "material", "ductile-iron"),
            ("B,Größe 1,grey iron,1um,103,5 mm", "C", "mass percentage"),
            ("B,Größe 1,grey iron,1um,lots,5 mm", "C", "mass percentage"),
            ("B,Größe 1,grey iron,1um,3.5,five", "section thickness", "length"),
            (",Größe 1,grey iron,1um,3.5,5 mm", "specimen", "empty"),
            ("B,,grey iron,1um,3.5,5 mm", "field", "no picture"),
            ("B,Größe 1,,1um,3.5,5 mm", "material", "ductile-iron"),
            ("A,Größe 1/x,grey iron,2um,3.5,5 mm", "pixel size", "differs"),
            ("A,Größe 1/x,grey iron,1um,3.5,6 mm", "section thickness", "differs"),
        ):
            with self.subTest(row):
                self.refused(head + "\n" + row + "\n", f"row 4, column '{column}'", says)
        self.refused(
            "specimen,field,contrast,material\nA,a.tif,dim,grey iron\n",
            "row 2, column 'contrast'",
            "light-unetched",
        )
        self.refused(
            "batch,specimen,field,material\n,A,a.tif,grey iron\n",
            "row 2, column 'batch'",
            "empty",
        )
        self.refused(
            "specimen,field,material\nA,a.tif,grey iron,extra\n", "row 2", "no column name"
        )

    def test_rows_are_counted_as_the_spreadsheet_counts_them(self):
        self.refused(
            'specimen,field,material,remark\nA,a.tif,grey iron,"two\nlines\nmore"\n\n'
            "B,b.tif,brass,\n",
            "row 4, column 'material'",
        )

    def test_broken_tables_are_refused(self):
        self.refused("", "empty")
        self.refused("\n\n ,\n", "empty")
        self.refused("specimen,field,material\n", "no row")
        self.refused("a.tif\nb.tif\n", "'a.tif'", "not known")
        self.refused("field,material\na.tif,grey iron\n", "no column 'specimen'")
        self.refused('specimen,field,material\nA,"a.tif,grey iron\n', "row 2", "quote")
        self.refused('specimen,field,material\nA,"a"b.tif,grey iron\n', "row 2", "quote")
        self.refused(b"specimen,field\nA,a\x00b.tif\n", "zero bytes")
        self.refused(b"specimen,field\nA,a\x81b.tif\n", "Windows-1252")
        self.refused(b"\xff\xfes\x00p\x00e", "cut short")
        self.refused(b"\xff\xfe\x00\xdc\x00\xdc", "UTF-16")
        self.refused(b"PK\x03\x04\x14\x00", "save it as CSV")
        done = program.run("batch", self.here / "none.csv")
        self.assert_one_line_error(done, 4, "none.csv")
        self.assert_one_line_error(program.run("batch"), 2, "no manifest")

    def test_a_picture_named_twice_in_a_specimen_is_refused(self):
        self.refused(
            "specimen,field,material\nA,Größe 1/*.png,grey iron\n"
            "A,Größe 1/etched b.png,grey iron\n",
            "named twice",
        )

    def test_names_that_are_no_names_of_folders_still_get_one(self):
        names = ["a/b", "a:b", "A/B", "...", "../../x", "-rf", "Träger", "x" * 300, "shares"]
        fields = self.here / "f"
        done = program.run("render", "--quiet", "-o", fields, "--size", "160x120")
        self.assertEqual(done.returncode, 0)
        rows = ["batch,specimen,field,material,contrast,pixel size"]
        rows += [f"{name},{name},f/*.tif,ductile iron,light,1um" for name in names]
        (self.here / "m.csv").write_text("\n".join(rows))
        done = program.run(
            "batch", "--accept-unfit", "-o", self.here / "out", self.here / "m.csv"
        )
        self.assertIn(done.returncode, (0, 1), done.stderr)
        documents = sorted((self.here / "out").glob("*/batch.json"))
        self.assertEqual(len(documents), len(names))
        self.assertEqual(
            {json.loads(d.read_text())["batch"]["name"] for d in documents}, set(names)
        )
        self.assertFalse((self.here / "x").exists())


if __name__ == "__main__":
    unittest.main()
