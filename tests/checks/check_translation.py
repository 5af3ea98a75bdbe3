#!/usr/bin/env python3
"""Tables of phrases are sound, and every sentence of the pages has a row.

  check_translation.py ROOT [KB_UNTRANSLATED]

Of each src/words/*.csv: two columns, sorted, no English twice, places and numbers of both sides
agree. With the program that names phrases without a row, the string literals of the sources that
write pages are walked: formats are filled with samples, markup is taken off, and what is left of
two words or more must be known. A sentence that no page shows belongs into NOT_SHOWN.
"""

import csv
import itertools
import os
import re
import subprocess
import sys
import tempfile

from tree import ROOT, files, finish, read

UNTRANSLATED = sys.argv[2] if len(sys.argv) > 2 else None
PLACE = re.compile(r"\{([ndst])\}")
NUMBERED = re.compile(r"\{([1-9])\}")
NUMBER = re.compile(r"(?<![\w.,])\d+(?:[.,]\d+)?(?!\w)")
faults = []


# ---- the tables ----


def rows_of(path):
    with open(os.path.join(ROOT, path), encoding="utf-8", newline="") as stream:
        for number, row in enumerate(csv.reader(stream, strict=True), 1):
            if len(row) != 2 or not row[0] or not row[1]:
                faults.append(f"{path}: row {number} has no two columns: {row}")
            elif number > 1:
                yield number, *row


def numbers_of(text):
    bare = NUMBERED.sub("", text).replace("100:1", "100x")
    return sorted(found.replace(",", ".") for found in NUMBER.findall(bare))


def check_row(where, english, other):
    ours, theirs, named = PLACE.findall(english), PLACE.findall(other), NUMBERED.findall(other)
    if named and (theirs or max(map(int, named)) > len(ours)):
        faults.append(f"{where}: places by number only, up to {len(ours)}: {other}")
    if not named and ours != theirs:
        faults.append(f"{where}: places {ours} became {theirs}: {other}")
    if named and sorted(set(map(int, named))) != list(range(1, len(ours) + 1)):
        faults.append(f"{where}: a place is lost: {english} | {other}")
    if numbers_of(english) != numbers_of(other):
        faults.append(f"{where}: numbers differ: {english} | {other}")
    if any(text != text.strip(" \n") for text in (english, other)):
        faults.append(f"{where}: blanks at an edge: {english!r}")


def check_table(path):
    before = ""
    for number, english, other in rows_of(path):
        if english <= before:
            faults.append(f"{path}: row {number} is out of order or twice: {english}")
        before = english
        check_row(f"{path}:{number}", english, other)


# ---- the sentences of the sources ----

SHOWING = re.compile(r"""^src/(
    report/(html_(?!style)\w+|svg_\w+|show_words|phase_rule|prepare_show|table_prepare|result)
    |quality/\w+|prepare/prepare_(rules|faults|names)
    |judge/(?!limits_parse)\w+|specimen/\w+|register/chart_(words|rules|trend)|intake/scale
    |(segmentation|firstlook|morphology)/(?!\w*params|by_hand)\w+
    |app/(prove_\w+|why_way|by_hand_way|field_way|history_way))\.c$""", re.VERBOSE)
NOT_SHOWN = re.compile("|".join((  # what stands in result.json or on the terminal only
    r"Student's t|^sum over all fields|intervals? (carried through|takes three|joined in)",
    r"^(one field, no interval|largest over all fields; an extreme)|^[^.]*\([a-z][^()]*\)$",
    r"the fields' area$|, max\. Feret$|^form I \(lamellar\), of gr|^carbon implied, by mass$",
    r"^(no such quantity|no rule|rendered field|this result|unknown state|approver's name)$",
    r"less that$|^(at or below|a point to be explained|is of no kind that is known)$",
    r"^measured elsewhere[,;]|whiteness of it|W_P = |^(all|proeutectoid) (cement|ferr)ite = ",
    r"^pearlite by volume, as a picture|^fractions by mass, near eq|\{[a-z-]+:")))
LITERAL = r'"(?:\\.|[^"\\\n])*"'
FORMAT = re.compile(r"%[-+#0]*(?:\d+|\*)?(?:\.(?:\d+|\*))?(?:hh|h|ll|l|z|j|t)?([diuxXeEfgGsc%])")
WORDS = re.compile(r"[A-Za-z]{2,}[,;:]? [A-Za-z(]|[A-Za-z(]+ [A-Za-z]{2,}")
SAMPLES = ("graphite", "", "s", "7.5", "field 3", "I", "accept")


def without_comments(text):
    kept = re.compile(r'/\*.*?\*/|//[^\n]*|' + LITERAL + r"|'(?:\\.|[^'\\\n])*'", re.DOTALL)
    return kept.sub(lambda found: found[0] if found[0][0] in "\"'" else " ", text)


def without_errors(text):
    """kb_fail() and its kin speak on the terminal, and a check that does not apply has no row on
    a page: blank their arguments out."""
    for call in reversed(list(re.finditer(r"\b(?:kb_(?:fail|refuse)\w*|not_looked)\(", text))):
        depth, at, quoted = 1, call.end(), False
        while depth and at < len(text):
            if text[at] == '"' and text[at - 1] != "\\":
                quoted = not quoted
            depth += 0 if quoted else {"(": 1, ")": -1}.get(text[at], 0)
            at += 1
        text = text[:call.end()] + re.sub(r"[^\n]", " ", text[call.end():at]) + text[at:]
    return text


def literals(path):
    text = without_comments(read(path))
    text = without_errors(text)
    text = re.sub(r"^\s*#[^\n]*", "", text, flags=re.MULTILINE)
    joined = rf"{LITERAL}(?:\s*(?:{LITERAL}|[A-Z]{{2}}[A-Z_]+))*"
    for found in re.finditer(joined, text):
        parts = re.findall(rf"{LITERAL}|[A-Z]{{2}}[A-Z_]+", found[0])
        whole = "".join(part[1:-1] if part[0] == '"' else "%s" for part in parts)
        whole = re.sub(r'\\([n"\\])', lambda m: {"n": " "}.get(m[1], m[1]), whole)
        yield text.count("\n", 0, found.start()) + 1, whole


def filled(text):
    """The text with its formats filled in, in every way that the samples give."""
    formats = [found for found in FORMAT.finditer(text)]
    strings = sum(found[1] == "s" for found in formats)
    for choice in itertools.product(SAMPLES, repeat=min(strings, 2)):
        left = itertools.chain(choice, itertools.repeat(choice[-1] if choice else ""))
        def fill(found):
            return {"s": lambda: next(left), "%": lambda: "%", "c": lambda: "A"}.get(
                found[1], lambda: "7")()
        yield FORMAT.sub(fill, text)


def pieces(markup):
    """What a reader sees of a literal, between its tags and in its attributes."""
    for label in re.findall(r'(?:alt|title|aria-label|data-label)="([^"]*)"', markup):
        yield label
    for text in re.split(r"<[^<>]*>|^[^<>]*>|<[^<>]*$", markup):
        yield text


def unknown(texts):
    """Those of the texts that have a part without a row."""
    with tempfile.NamedTemporaryFile("w", suffix=".html", encoding="utf-8") as page:
        page.write("".join(f"<p>{text}</p>\n" for text in texts))
        page.flush()
        done = subprocess.run([UNTRANSLATED, "--count", "de", page.name], capture_output=True,
                              text=True, check=False)
    return {int(number) for number in done.stdout.split()}


def plain(text):
    """Words alone: places, formats and numbers are all alike, blanks are single."""
    alike = {"&#160;": " ", "\u00a0": " ", "%%": "%", "µ": "u", "²": "2"}
    for sign, letters in alike.items():
        text = text.replace(sign, letters)
    text = FORMAT.sub("#", text)
    text = re.sub(r"\{[nd]\}|\d+(?:\.\d+)?", "#", text)
    return " ".join(re.sub(r"\{[st]\}", "\n", text).split(" "))


def runs(piece):
    """Stretches of two words or more that a literal fixes between its strings."""
    for run in re.split(r"%(?:\.(?:\d+|\*))?s", piece):
        for clause in re.split(r"[.;:] ", plain(run)):
            clause = clause.strip(" ,;:.()#")
            if WORDS.search(clause):
                yield clause


def in_rows(piece, english):
    """Rows may say all that a literal's strings stand for: then its own words are in them."""
    return all(run in english for run in runs(piece))


def walk(paths):
    wanted = []  # path, line, piece, [texts that it may become]
    for path in paths:
        for line, literal in literals(path):
            for piece in pieces(literal):
                bare = FORMAT.sub(" ", piece)
                if WORDS.search(bare) and not NOT_SHOWN.search(piece.strip()):
                    wanted.append((path, line, piece, sorted(set(filled(piece)))))
    return wanted


tables = files("src/words", suffix=".csv")
for table in tables:
    check_table(table)
sources = [path for path in files("src", suffix=".c") if SHOWING.match(path)]
english = "\n".join(plain(row[1]) for path in tables for row in rows_of(path))
if UNTRANSLATED is not None:
    wanted = walk(sources)
    bad, at = unknown([text for *_, ways in wanted for text in ways]), 0
    for path, line, piece, ways in wanted:
        known = any(at + i not in bad for i in range(len(ways)))
        if not known and not in_rows(piece, english):
            faults.append(f"{path}:{line}: no row in src/words/de.csv for \"{piece.strip()}\"; "
                          "add one, or name it in NOT_SHOWN when no page shows it")
        at += len(ways)
finish(faults, len(sources) + len(tables))
