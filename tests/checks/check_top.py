#!/usr/bin/env python3
"""Only the agreed names stand at the top level, and the folders of src/ are the stages."""

import os

from tree import NOT_OURS, ROOT, STAGES, finish

TOP = {"README.md", "DEVELOPERS.md", "CMakeLists.txt", "include", "src", "tests", "refs", "demo",
       "scripts", ".ci", ".github", ".gitignore", ".clang-format", ".clang-tidy", ".editorconfig"}

names = [name for name in os.listdir(ROOT) if not NOT_OURS.match(name)]
faults = [f"{name}: has no place at the top level" for name in sorted(set(names) - TOP)]
for name in sorted(os.listdir(os.path.join(ROOT, "src"))):
    if os.path.isdir(os.path.join(ROOT, "src", name)) and name not in STAGES:
        faults.append(f"src/{name}: is not a stage")
finish(faults, len(names))
