#!/usr/bin/env python3
"""Functions that must not be called, output outside src/app, opening comments, machine paths."""

import re

from tree import code_only, files, finish, read

# Unbounded writes, unchecked conversions, hidden state, a shell.
BANNED = ("sprintf vsprintf strcpy strcat strncpy strncat gets atoi atol atof strtok system popen "
          "tmpnam mktemp alloca setjmp longjmp rand srand").split()
# Number parsing and allocation each have one door, in src/base.
ONLY_BASE = ("strtol strtoul strtoll strtoull strtod strtof sscanf malloc calloc realloc free "
             "strdup strndup rename").split()
ONLY_APP = "printf vprintf puts putchar perror exit _exit abort assert getenv".split()
MACHINE_PATHS = re.compile(r"/(?:work|home|root|Users|tmp)/[\w.-]+/")
# Where there is no other way: libpng and libjpeg report errors by longjmp, jansson hands out text
# that free() takes back, and a report's finished files are moved into place together.
ALLOWED = {(path, jump) for jump in ("setjmp", "longjmp") for path in (
    "src/intake/read_png.c", "src/intake/read_jpeg.c", "src/report/png.c", "src/report/jpeg.c")}
ALLOWED |= {("src/report/write_truth.c", "free"), ("src/app/cmd_carbon.c", "free"),
            ("src/report/folder_move.c", "rename")}

faults = []


def calls(code, names):
    return re.finditer(r"(?<![\w.>])(" + "|".join(names) + r")\s*\(", code)


def refuse(path, code, names, why):
    for call in calls(code, names):
        number = code.count("\n", 0, call.start()) + 1
        if (path, call.group(1)) not in ALLOWED:
            faults.append(f"{path}:{number}: {call.group(1)}() {why}")


sources = files("src", "include", suffix=(".c", ".h"))
for path in sources:
    text = read(path)
    code = code_only(text)
    refuse(path, code, BANNED, "is banned")
    if not path.startswith("src/base/"):
        refuse(path, code, ONLY_BASE, "is called only in src/base; use its kb_ counterpart")
    if not path.startswith("src/app/"):
        refuse(path, code, ONLY_APP, "is called only in src/app")
        for use in re.finditer(r"\b(stdout|stderr)\b", code):
            faults.append(f"{path}: {use.group()} belongs to src/app")
    if "TODO" in text or "FIXME" in text:
        faults.append(f"{path}: unfinished work is marked")
    if path.endswith(".c") and not text.startswith("/*"):
        faults.append(f"{path}: opens without a comment that says its role, method and limits")

for path in files("src", "include", "tests", "scripts", "demo", "refs", suffix=(
        ".c", ".h", ".py", ".sh", ".txt", ".cmake", ".md", ".csv", ".ini", ".json", ".in")):
    for number, line in enumerate(read(path).split("\n"), 1):
        if MACHINE_PATHS.search(line) and "MACHINE_PATHS" not in line:
            faults.append(f"{path}:{number}: names a path of one machine: {line.strip()[:60]}")
finish(faults, len(sources))
