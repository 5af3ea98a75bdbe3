#!/usr/bin/env python3
"""Includes point one way only, from later stages to earlier ones; file names are unique."""

import os
import re
from collections import defaultdict

from tree import STAGES, files, finish, read

INCLUDE = re.compile(r'^\s*#\s*include\s*[<"]([^>"]+)[>"]', re.MULTILINE)
# The umbrella header belongs to the application, which joins the stages.
HEADER_STAGE = {"keelblock": "app", "version": "base", "batch": "report"}


def may_see(stage):
    if stage == "render":  # stands beside the way
        return {"base", "raster", "render"}
    return set(STAGES[: STAGES.index(stage) + 1])


def stage_of_header(name):
    """Stage of an included name, or None for headers that are not the project's."""
    public = re.fullmatch(r"keelblock/(\w+)\.h", name)
    if public:
        return HEADER_STAGE.get(public.group(1), public.group(1))
    return PRIVATE.get(os.path.basename(name))


def stage_of_file(path):
    parts = path.split(os.sep)
    if parts[0] == "src":
        return parts[1]
    stem = os.path.splitext(parts[-1])[0]
    return HEADER_STAGE.get(stem, stem)


PRIVATE = {os.path.basename(path): path.split(os.sep)[1] for path in files("src", suffix=".h")}
faults = []
sources = files("src", "include", suffix=(".c", ".h"))
for path in sources:
    stage = stage_of_file(path)
    if stage not in STAGES:
        faults.append(f"{path}: '{stage}' is not a stage; CMakeLists.txt lists them")
        continue
    for name in INCLUDE.findall(read(path)):
        target = stage_of_header(name)
        if target is None:
            continue
        if target not in may_see(stage):
            faults.append(f"{path}: includes {name}, of the later or unrelated stage '{target}'")
        elif name in PRIVATE and target != stage:
            faults.append(f"{path}: includes {name}, the private header of '{target}'")
        elif path.startswith("include") and name in PRIVATE:
            faults.append(f"{path}: a public header includes the private {name}")

by_name = defaultdict(list)
for path in files("src", "include", "tests", suffix=(".c", ".h", ".py", ".sh")):
    by_name[os.path.basename(path)].append(path)
for paths in by_name.values():
    if len(paths) > 1:
        faults.append("the same file name twice: " + ", ".join(paths))
finish(faults, len(sources))
