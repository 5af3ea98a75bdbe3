#!/usr/bin/env python3
"""README.md and DEVELOPERS.md agree with the program and the tree.

  check_docs.py ROOT [KEELBLOCK]

Every option in a fenced command exists in that command's --help, every path named in back-quotes
exists, every stage folder is named in DEVELOPERS.md, and every file linked to is there.
"""

import os
import re
import shlex
import subprocess
import sys

from tree import ROOT, STAGES, finish, read

PROGRAM = sys.argv[2] if len(sys.argv) > 2 else None
TOP = ("src/", "tests/", "refs/", "demo/", "scripts/", "include/", ".ci/")
faults, looked_at = [], 0


def help_text(words):
    done = subprocess.run([PROGRAM, *words, "--help"], stdin=subprocess.DEVNULL,
                          capture_output=True, text=True, check=False)
    if done.returncode != 0:
        faults.append(f"keelblock {' '.join(words)} --help: exit code {done.returncode}")
    return done.stdout


def options_in(text):
    return set(re.findall(r"(?<![\w-])--?[a-z][a-z-]*", text))


def shell_lines(text):
    fenced = re.compile(r"^```(?:sh|console|shell)?\n(.*?)^```", re.DOTALL | re.MULTILINE)
    for block in fenced.findall(text):
        for line in block.replace("\\\n", " ").split("\n"):
            yield line.strip().removeprefix("$ ")


def check_command(document, line):
    try:
        words = shlex.split(line, comments=True)
    except ValueError:
        return
    if not words:
        return
    if words[0].startswith("scripts/") and not os.path.exists(os.path.join(ROOT, words[0])):
        faults.append(f"{document}: {words[0]} does not exist")
    if os.path.basename(words[0]) != "keelblock" or PROGRAM is None or len(words) < 2:
        return
    command = [] if words[1].startswith("-") else [words[1]]
    known = options_in(help_text(command)) | options_in(help_text([]))
    for word in words[1 + len(command):]:
        option = word.split("=")[0]
        if re.match(r"--?[a-z]", option) and option not in known:
            faults.append(f"{document}: '{line}': --help does not know {option}")


def check_paths(document, text):
    quoted = re.findall(r"`((?:[\w.-]+/)+[\w.*-]*)`", text)
    for path in quoted + re.findall(r"\]\(([^)#:]+)\)", text):
        made = path.startswith(("build", "demo/out"))
        if path.startswith(TOP) and not made and "*" not in path:
            if not os.path.exists(os.path.join(ROOT, path)):
                faults.append(f"{document}: names {path}, which does not exist")


for document in ("README.md", "DEVELOPERS.md"):
    if not os.path.exists(os.path.join(ROOT, document)):
        faults.append(f"{document} is missing")
        continue
    looked_at += 1
    text = read(document)
    for line in shell_lines(text):
        check_command(document, line)
    check_paths(document, text)
    if document == "DEVELOPERS.md":
        for stage in STAGES:
            if os.path.isdir(os.path.join(ROOT, "src", stage)) and stage not in text:
                faults.append(f"DEVELOPERS.md: says nothing of src/{stage}")
finish(faults, looked_at)
