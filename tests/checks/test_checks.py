#!/usr/bin/env python3
"""The checks themselves: each must pass on a small sound tree and fail on each planted fault."""

import os
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
SOUND = {
    "CMakeLists.txt": "project(x)\nset(KB_STAGES base words raster)\n",
    "README.md": "# x\n\n```sh\nscripts/demo\n```\n",
    "DEVELOPERS.md": "`src/base/`, `src/words/` and `src/raster/`\n",
    "scripts/demo": "#!/bin/sh\n",
    "include/keelblock/base.h": "/* base.h */\nint kb_one(void);\n",
    "include/keelblock/raster.h": '#include "keelblock/base.h"\n',
    "src/base/one.c": '/* one.c */\n#include "keelblock/base.h"\nint kb_one(void) {\n'
                      "    return 1; /* printf(is only mentioned) */\n}\n",
    "src/words/de.csv": "en,de\na,x\n",
    "src/raster/two.c": '/* two.c */\n#include "keelblock/raster.h"\n',
}
LONG = "/* three.c */\nint f(int a,\n      int b) {\n" + "    a += b;\n" * 80 + "    return a;\n}\n"
# check, file, content that must make it fail, words of the complaint
PLANTED = [
    ("order", "src/base/up.c", '#include "keelblock/raster.h"\n', "includes keelblock/raster.h"),
    ("order", "src/raster/one.c", "/* again */\n", "same file name twice"),
    ("order", "src/raster/base_priv.h", "", None),
    ("order", "src/elsewhere/far.c", "/* far.c */\n", "is not a stage"),
    ("size", "src/base/three.c", LONG, "f() has 84 lines"),
    ("size", "src/base/wide.c", "/* " + "x" * 98 + " */\n", "104 columns"),
    ("size", "src/base/long.c", "\n" * 601, "601 lines"),
    ("size", "src/base/tab.c", "int\ta;\n", "a tab"),
    ("words", "src/base/bad.c", "/* b */\nint f(char *a) {\n    return atoi(a);\n}\n", "atoi()"),
    ("words", "src/raster/say.c", '/* s */\nvoid f(void) {\n    printf("x");\n}\n', "printf()"),
    ("words", "src/raster/get.c", "/* g */\nvoid f(void *a) {\n    free(a);\n}\n", "free()"),
    ("words", "src/raster/bare.c", "int a;\n", "opens without a comment"),
    ("words", "tests/path.py", "open('/ho" + "me/someone/x')\n", "path of one machine"),
    ("translation", "src/words/xx.csv", "en,xx\nb,y\na,x\n", "out of order"),
    ("translation", "src/words/xx.csv", "en,xx\na {n},x\n", "places"),
    ("translation", "src/words/xx.csv", "en,xx\na 95 %,x 59 %\n", "numbers differ"),
    ("top", "notes.txt", "x\n", "no place at the top"),
    ("docs", "README.md", "```sh\nscripts/gone\n```\n", "scripts/gone does not exist"),
    ("docs", "DEVELOPERS.md", "`src/base/`\n", "says nothing of src/raster"),
]


def plant(root, tree):
    for path, content in tree.items():
        path = os.path.join(root, path)
        os.makedirs(os.path.dirname(path), exist_ok=True)
        with open(path, "w", encoding="utf-8") as stream:
            stream.write(content)


def run(check, root):
    done = subprocess.run([sys.executable, "-B", os.path.join(HERE, f"check_{check}.py"), root],
                          capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


failed = 0
for check, path, content, complaint in PLANTED:
    with tempfile.TemporaryDirectory() as root:
        plant(root, SOUND)
        before, said_before = run(check, root)
        plant(root, {path: content})
        after, said = run(check, root)
    wanted = 0 if complaint is None else 1
    if before != 0 or after != wanted or (complaint or "") not in said:
        failed += 1
        print(f"check_{check}.py with {path}: exit {before} then {after}:\n{said_before}{said}")
print(f"{failed} of {len(PLANTED)} planted faults handled wrongly")
sys.exit(1 if failed else 0)
