"""What the checks share: the files of the tree, C source without comments, and how to report."""

import os
import re
import sys

ROOT = os.path.abspath(sys.argv[1] if len(sys.argv) > 1 else ".")
# A checkout may hold these beside the project's own files.
NOT_OURS = re.compile(r"^(\.git|build.*|out|__pycache__)$")


def files(*folders, suffix=""):
    """Paths below `folders` (relative to the root), sorted, that end in `suffix`."""
    found = []
    for folder in folders or [""]:
        for here, below, names in os.walk(os.path.join(ROOT, folder)):
            below[:] = [name for name in below if not NOT_OURS.match(name)]
            found += [os.path.relpath(os.path.join(here, name), ROOT)
                      for name in names if name.endswith(suffix)]
    return sorted(found)


def read(path):
    with open(os.path.join(ROOT, path), encoding="utf-8") as stream:
        return stream.read()


def code_only(text):
    """C text with comments, strings and character constants blanked out; lines and columns stay."""
    pattern = r'/\*.*?\*/|//[^\n]*|"(?:\\.|[^"\\\n])*"|\'(?:\\.|[^\'\\\n])*\''

    def blank(match):
        return re.sub(r"[^\n]", " ", match.group())
    return re.sub(pattern, blank, text, flags=re.DOTALL)


def stages():
    """Folders of src/ in the order of the data's way, as the build states it."""
    listed = re.search(r"set\(KB_STAGES\s+([^)]*)\)", read("CMakeLists.txt"))
    return listed.group(1).split() if listed else []


STAGES = stages()


def finish(faults, looked_at):
    """Print the faults and end the process; a check that looked at nothing has failed."""
    for fault in faults:
        print(fault)
    if not looked_at:
        print("nothing was there to check")
    print(f"{len(faults)} faults in {looked_at} files")
    sys.exit(1 if faults or not looked_at else 0)
