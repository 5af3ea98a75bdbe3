"""Run the built program in a scratch folder. Standard library, numpy and Pillow only."""
import json
import os
import subprocess
import tempfile
import unittest
from pathlib import Path

PROGRAM = os.environ["KEELBLOCK"]


def run(*words, cwd=None, limit_file_size=None, env=None):
    """The finished process; stdout and stderr as text."""

    def limit():
        import resource
        import signal

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit_file_size, limit_file_size))

    return subprocess.run(
        [PROGRAM, *map(str, words)],
        capture_output=True,
        text=True,
        cwd=cwd,
        timeout=300,
        stdin=subprocess.DEVNULL,
        preexec_fn=limit if limit_file_size else None,
        env={**os.environ, **(env or {})},
    )


class Case(unittest.TestCase):
    """A test with a scratch folder of its own and rendered fields shared by the class."""

    rendered = {}

    @classmethod
    def setUpClass(cls):
        cls.shared_dir = tempfile.TemporaryDirectory()
        cls.shared = Path(cls.shared_dir.name)
        for name, words in cls.rendered.items():
            done = run("render", "-o", cls.shared / name, *words)
            assert done.returncode == 0, done.stderr

    @classmethod
    def tearDownClass(cls):
        cls.shared_dir.cleanup()

    def setUp(self):
        self.dir = tempfile.TemporaryDirectory()
        self.addCleanup(self.dir.cleanup)
        self.here = Path(self.dir.name)

    def measure(self, *words, code=None, **more):
        done = run("measure", *words, **more)
        if code is not None:
            self.assertEqual(done.returncode, code, done.stderr + done.stdout)
        return done

    def result(self, *words, codes=(0,)):
        done = run("measure", "--json", *words)
        self.assertIn(done.returncode, codes, done.stderr)
        self.assertEqual(done.stderr, "")
        return json.loads(done.stdout)

    def truth(self, name, number=1):
        return json.loads((self.shared / name / f"field-{number:02d}.truth.json").read_text())

    def assert_one_line_error(self, done, code, *says):
        self.assertEqual(done.returncode, code, done.stderr + done.stdout)
        self.assertEqual(done.stdout, "")
        self.assertEqual(done.stderr.count("\n"), 1, done.stderr)
        self.assertTrue(done.stderr.startswith("keelblock: "), done.stderr)
        for words in says:
            self.assertIn(words, done.stderr)
