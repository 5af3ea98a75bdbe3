#!/usr/bin/env python3
"""No file above 600 lines, no function above 80, no line above 100 columns, no stray blanks."""

import re

from tree import code_only, files, finish, read

FILE_LINES, FUNCTION_LINES, COLUMNS = 600, 80, 100


def functions(code):
    """(name, first line, lines) of every function. Headings start in column 0, bodies open at the
    end of a heading and close with '}' in column 0: clang-format sees to that."""
    start, name = None, None
    for number, line in enumerate(code.split("\n"), 1):
        if start is None:
            heading = re.match(r"[A-Za-z_].*?(\w+)\s*\(", line)
            if heading and not line.startswith(("#", "typedef")):
                name, heading_line = heading.group(1), number
            if line.rstrip().endswith("{") and re.search(r"\)\s*\{$", line.rstrip()) and name:
                start = heading_line
        elif line.startswith("}"):
            yield name, start, number - start + 1
            start, name = None, None


faults = []
c_sources = files("src", "include", "tests", suffix=(".c", ".h"))
scripts = files("tests", "scripts", suffix=(".py", ".sh")) + [
    "CMakeLists.txt"] + files("src", "tests", suffix=(".txt", ".cmake")) + files(
        "src", "tests", suffix=(".js", ".mjs", ".css", ".html"))
for path in c_sources + scripts:
    text = read(path)
    lines = text.split("\n")
    if len(lines) - 1 > FILE_LINES:
        faults.append(f"{path}: {len(lines) - 1} lines (at most {FILE_LINES})")
    for number, line in enumerate(lines, 1):
        if len(line) > COLUMNS:
            faults.append(f"{path}:{number}: {len(line)} columns (at most {COLUMNS})")
        if "\t" in line or line != line.rstrip():
            faults.append(f"{path}:{number}: a tab, or blanks at the end of the line")
    if path in c_sources:
        for name, start, count in functions(code_only(text)):
            if count > FUNCTION_LINES:
                faults.append(f"{path}:{start}: {name}() has {count} lines "
                              f"(at most {FUNCTION_LINES})")
finish(faults, len(c_sources))
