"""Fields and manifests for the tests of `keelblock batch`: few rendered, many by turning them."""
import re
from pathlib import Path

from PIL import Image

import program

# of each rendered field: as it is, mirrored, turned; other pictures with the same truth
TURNS = [
    None,
    Image.Transpose.FLIP_LEFT_RIGHT,
    Image.Transpose.FLIP_TOP_BOTTOM,
    Image.Transpose.ROTATE_180,
]
SIZE = ("--size", "320x240", "--pixel-size", "1um", "--nodules", "300", "--nodule-size", "20um")


def draw(folder, count, seed=9000, words=SIZE):
    """`count` fields in `folder`, field-0001.png and so on. 1 um a pixel."""
    folder = Path(folder)
    rendered = folder / "rendered"
    need = -(-count // len(TURNS))
    done = program.run(
        "render", "--quiet", "-o", rendered, "--fields", need, "--seed", seed, *words
    )
    assert done.returncode == 0, done.stderr
    paths = []
    for source in sorted(rendered.glob("*.tif")):
        with Image.open(source) as picture:
            picture.load()
            for turn in TURNS:
                if len(paths) < count:
                    path = folder / f"field-{len(paths) + 1:04d}.png"
                    turned = picture if turn is None else picture.transpose(turn)
                    turned.convert("L").save(path, compress_level=1)
                    paths.append(path)
        source.unlink()
        source.with_suffix(".truth.json").unlink()
    rendered.rmdir()
    return paths


def manifest(path, fields, each, batches=1, limits="limits.ini"):
    """`each` fields a specimen, a row a field."""
    path = Path(path)
    rows = ["batch,specimen,field,material,contrast,pixel size,limits"]
    specimens = -(-len(fields) // each)
    for i, field in enumerate(fields):
        specimen = i // each
        batch = specimen * batches // specimens
        rows.append(
            f"week {batch + 1},S{specimen + 1:04d},{field.relative_to(path.parent)},"
            f"ductile iron,light,1 um,{limits}"
        )
    path.write_text("\n".join(rows) + "\n")
    (path.parent / limits).write_text("[limits]\nnodularity = >= 80 %\nnodules_per_mm2 = >= 50\n")
    return path


# The day that the papers of a batch bear; nothing else in its folder has one.
DAY = re.compile(rb"\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d ?[+-]\d\d:\d\d")


def documents(out):
    """Name to bytes of all results below `out`, without the shares and the day of the papers."""
    found = {}
    for path in sorted(Path(out).rglob("*")):
        name = path.relative_to(out)
        if path.is_file() and "shares" not in name.parts:
            dated = len(name.parts) == 2 and name.suffix == ".html"
            content = path.read_bytes()
            found[str(name)] = DAY.sub(b"the day", content) if dated else content
    return found


class Batches(program.Case):
    """Some forty small fields, and the result of one run over them, shared by all tests."""

    @classmethod
    def setUpClass(cls):
        super().setUpClass()
        cls.fields = draw(cls.shared / "fields", 36)
        cls.manifest = manifest(cls.shared / "manifest.csv", cls.fields, 4, batches=2)
        cls.whole = cls.shared / "whole"
        done = program.run("batch", "-o", cls.whole, cls.manifest)
        assert done.returncode in (0, 1), done.stderr
        cls.table = done.stdout
        cls.expected = documents(cls.whole)

    def batch(self, *words, code=None, **more):
        done = program.run("batch", *words, **more)
        if code is not None:
            self.assertEqual(done.returncode, code, done.stderr + done.stdout)
        return done

    def assert_same_bytes(self, out):
        found = documents(out)
        self.assertEqual(sorted(found), sorted(self.expected))
        for name, content in self.expected.items():
            self.assertEqual(found[name], content, name)
