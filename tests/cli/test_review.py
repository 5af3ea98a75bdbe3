"""The review's server: what it shows is what measure gives, who may ask it, what it keeps."""
import json
import shutil
import signal
import struct
import threading
import unittest

import numpy
from PIL import Image

import program
from review_desk import Served, figures

SMALL = ["--size", "640x480", "--pixel-size", "0.6um"]
IRON = ["--material", "ductile-iron", "--contrast", "light"]
WHO = {"who": "A. Example", "why": "seen at 500x"}
LABELS = ["excluded", "graphite", "ferrite", "pearlite", "cementite", "matrix", "other"]


class Review(program.Case):
    rendered = {"etched": [*SMALL, "--fields", "2", "--seed", "11", "--nodularity", "70%"]}

    def setUp(self):
        super().setUp()
        shutil.copytree(self.shared / "etched", self.here / "etched")
        self.fields = sorted((self.here / "etched").glob("*.tif"))
        self.folder = self.here / "etched" / "keelblock-result"
        self.record = self.folder / "review.jsonl"

    def serve(self, *words):
        return Served(*(words or [*IRON, *self.fields]))

    def change(self, window, kind, fields=(0,), **more):
        code, state = window.post("change", {"kind": kind, "fields": list(fields), **WHO, **more})
        self.assertEqual(code, 200, state)
        return state

    def same_as_measure(self, state, *words):
        """Figures of the state are those of measure, to every digit that result.json has."""
        result = self.result(*IRON, *self.fields, *words)
        mine, graphite = figures(state), result["graphite"]
        pairs = [
            (mine["nodularity"], graphite["nodularity_percent"]["iso945_4"]),
            (mine["nodules_per_mm2"], graphite["nodules_per_mm2"]),
            (mine["mean_feret_um"], graphite["mean_feret_um"]),
            (mine["largest_feret_um"], graphite["largest_feret_um"]),
        ]
        for phase in ["graphite", "ferrite", "pearlite"]:
            pairs.append((mine[phase] / 100, result["phases"][phase]["mean"]))
        for field, other in zip(state["fields"], result["fields"]):
            for phase in ["graphite", "ferrite", "pearlite", "other"]:
                pairs.append((field["phases"][phase], other["phases"][phase]))
        for value, expected in pairs:
            self.assertEqual(float(f"{value:.6g}"), expected)

    # ---- what it shows ----

    def test_it_shows_what_measure_gives_before_and_after_every_kind_of_change(self):
        with self.serve() as served:
            window = served.window()
            state = window.settled()
            self.same_as_measure(state)
            self.assertFalse(self.folder.exists())
            particles = window.json("field/0/particles")["particles"]
            first, second = [p for p in particles if p["state"] == "counts"][:2]
            at = [[int(p["x"]), int(p["y"])] for p in (first, second)]
            x, y, width, height = first["box"]
            dark, bright = state["fields"][0]["thresholds"]
            changes = [
                {"kind": "thresholds", "dark": dark["level"] + 9, "bright": bright["level"] - 7},
                {"kind": "exclude", "rect": [300, 200, 90, 50], "fields": [1]},
                {"kind": "exclude", "points": [[10, 10], [90, 30], [50, 120]], "fields": [1]},
                {"kind": "phase", "points": [[320, 240]], "phase": "other"},
                {"kind": "form", "points": [at[1]], "form": "III"},
                {
                    "kind": "cut",
                    "points": [[x - 2, y + height // 2], [x + width + 2, y + height // 2]],
                },
                {"kind": "join", "points": at},
                {
                    "kind": "scale",
                    "points": [[10, 10], [210, 10]],
                    "length_um": 118.0,
                    "fields": [0, 1],
                },
            ]
            for change in changes:
                with self.subTest(change["kind"]):
                    state = self.change(window, **{"fields": [0], **change})
                    self.same_as_measure(state, "--record", self.record)
            for path in ["undo"] * len(changes) + ["redo"] * 3:
                code, state = window.post(path, WHO)
                self.assertEqual(code, 200, state)
            self.same_as_measure(state, "--record", self.record)
            self.assertEqual(state["can_undo"], 3)
            self.assertEqual(len(state["record"]), 2 * len(changes) + 3)
            self.assertEqual(served.end()[0::2], (0, ""))

    def test_figures_are_those_of_measure_after_thirty_changes_at_random(self):
        random = numpy.random.default_rng(20311104)
        with self.serve() as served:
            window = served.window()
            state, made = window.settled(), 0
            particles = [window.json(f"field/{i}/particles")["particles"] for i in (0, 1)]
            for _ in range(200):
                if made == 30:
                    break
                turn = random.choice(["change", "undo", "redo"], p=[0.7, 0.2, 0.1])
                asked = WHO if turn != "change" else self.any_change(random, particles)
                code, answer = window.post(turn, asked)
                self.assertIn(code, (200, 422), answer)
                if code == 200:
                    state, made = answer, made + 1
                    if made % 10 == 0:
                        self.same_as_measure(state, "--record", self.record)
            self.assertEqual(made, 30)
            self.assertEqual(len(state["record"]), 30)
        with self.serve() as served:
            self.assertEqual(figures(served.window().settled()), figures(state))

    def any_change(self, random, particles):
        """A change that may well be refused, near particles as they were found at first."""
        field = int(random.integers(2))
        one, other = random.choice(particles[field], 2, replace=False)
        near = [[int(p["x"]), int(p["y"])] for p in (one, other)]
        x, y, width, height = one["box"]
        kind = str(
            random.choice(["thresholds", "exclude", "cut", "join", "phase", "form", "scale"])
        )
        asked = {"kind": kind, "fields": [field], **WHO}
        if kind == "thresholds":
            asked["fields"] = [[field], [0, 1]][random.integers(2)]
            asked["dark"] = random.choice([None, round(random.uniform(70, 110), 3)])
            asked["bright"] = random.choice([None, round(random.uniform(150, 190), 3)])
        elif kind == "exclude" and random.integers(2):
            asked["rect"] = [x, y, width + 20, height + 9]
        elif kind == "exclude":
            asked["points"] = [near[0], [x + width + 9, y], [max(x - 20, 0), y + height]]
        elif kind == "cut":
            asked["points"] = [[x, y], near[0], [x + width + 1, y + height + 1]]
        elif kind == "scale":
            asked |= {"points": [[10, 10], [210, 10]], "fields": [0, 1]}
            asked["length_um"] = random.uniform(110, 130)
        else:
            asked["points"] = near if kind == "join" else near[:1]
            asked["phase"] = str(random.choice(["ferrite", "pearlite", "other", "excluded"]))
            asked["form"] = str(random.choice(["I", "III", "V", "VI"]))
        return asked

    def test_its_tiles_are_the_picture_and_the_phases(self):
        with self.serve() as served:
            window = served.window()
            state = window.settled()
            grey = numpy.asarray(Image.open(self.fields[0]))
            for level in range(4):
                self.assertTrue(
                    numpy.array_equal(self.whole(window, "grey", level), mean(grey, level))
                )
            label = self.whole(window, "label", 0)
            for phase, share in state["fields"][0]["phases"].items():
                if share is not None:
                    found = float((label == LABELS.index(phase)).mean())
                    self.assertAlmostEqual(found, share, delta=1e-8)
            evened = self.whole(window, "evened", 0)
            counts = numpy.bincount(evened.ravel(), minlength=256)
            self.assertEqual(counts.tolist(), state["fields"][0]["histogram"])
            self.assertEqual(window.get("field/0/grey/0/3/0")[0], 404)
            self.assertEqual(window.get("field/0/grey/99/0/0")[0], 404)
            self.assertEqual(window.get("field/0/thumb")[1][:2], b"\xff\xd8")

    def whole(self, window, layer, level):
        width, height = -(-640 >> level), -(-480 >> level)
        picture = numpy.zeros((height, width), numpy.uint8)
        for top in range(0, height, 256):
            for left in range(0, width, 256):
                part = picture[top : top + 256, left : left + 256]
                tile = window.get(f"field/0/{layer}/{level}/{left // 256}/{top // 256}")[1]
                part[:] = numpy.frombuffer(tile, numpy.uint8).reshape(part.shape)
        return picture

    def test_its_outlines_enclose_the_area_of_their_particles(self):
        with self.serve() as served:
            window = served.window()
            window.settled()
            particles = {p["id"]: p for p in window.json("field/0/particles")["particles"]}
            area = dict.fromkeys(particles, 0.0)
            for particle, points in loops(window.get("field/0/outlines")[1]):
                x, y = points[:, 0], points[:, 1]
                area[particle] += 0.5 * float(
                    (x * numpy.roll(y, -1) - y * numpy.roll(x, -1)).sum()
                )
            for number, particle in particles.items():
                self.assertAlmostEqual(
                    abs(area[number]),
                    particle["area_px2"],
                    delta=0.01 + 1e-4 * particle["area_px2"],
                )

    def test_it_tells_why_a_point_is_what_it_is(self):
        with self.serve() as served:
            window = served.window()
            window.settled()
            particle = window.json("field/0/particles")["particles"][0]
            why = window.json(f"field/0/why?x={int(particle['x'])}&y={int(particle['y'])}")
            self.assertEqual((why["phase"], why["particle"]), ("graphite", particle["id"]))
            self.assertGreater(len(why["steps"]), 2)
            self.assertEqual(window.get("field/0/why?x=9999&y=1")[0], 422)
            self.assertEqual(window.get("field/0/why?x=1")[0], 400)

    # ---- who may ask ----

    def test_who_does_not_come_from_its_own_page_is_sent_away(self):
        with self.serve() as served:
            window = served.window()
            own = f"http://{window.at.netloc}"
            port = window.at.port
            for host in [
                "evil.example",
                f"evil.example:{port}",
                "127.0.0.1",
                f"127.0.0.1:{port + 1}",
            ]:
                self.assertEqual(window.ask("GET", "state", Host=host)[0], 403, host)
            self.assertEqual(window.ask("GET", "state", Host=f"localhost:{port}")[0], 200)
            for origin in [
                "http://evil.example",
                "null",
                f"https://{window.at.netloc}",
                own + "/",
            ]:
                self.assertEqual(window.post("undo", WHO, Origin=origin)[0], 403, origin)
                self.assertEqual(window.ask("GET", "state", Origin=origin)[0], 403, origin)
            code, _, _ = window.ask("POST", "undo", "{}", Content_Type="application/json")
            self.assertEqual(code, 403)
            self.assertEqual(window.ask("GET", "", Sec_Fetch_Site="cross-site")[0], 403)
            for kind in ["text/plain", "application/x-www-form-urlencoded", "application/jsonp"]:
                self.assertEqual(window.post("undo", WHO, Content_Type=kind)[0], 415, kind)

    def test_without_the_token_there_is_nothing(self):
        with self.serve() as served:
            window = served.window()
            token = window.at.path.strip("/")
            self.assertRegex(token, "^[0-9a-f]{64}$")
            wrong = ("0" if token[0] != "0" else "1") + token[1:]
            for path in [
                "/",
                "/state",
                f"/{wrong}/",
                f"/{wrong}/state",
                f"/{token}",
                f"/{token}0/state",
                f"/{token[:-1]}/state",
                f"/{token.upper()}x/state",
            ]:
                self.assertEqual(window.ask("GET", path, whole_path=True)[0::2], (404, b""), path)
        with self.serve() as served:
            self.assertNotEqual(served.window().at.path.strip("/"), token)

    def test_no_path_leads_out(self):
        with self.serve() as served:
            window = served.window()
            for path in [
                "../state",
                "..%2fstate",
                "%2e%2e/%2e%2e/etc/passwd",
                "....//etc/passwd",
                "/etc/passwd",
                "page.css/../../x",
                "field/0/../0/thumb",
                "field/00/thumb",
                "field/-1/thumb",
                "field/2/thumb",
                "field/99999999999999999999/thumb",
                "field/0/grey/0/0",
                "field/0/grey/0/0/0/0",
                "field//thumb",
                "review.jsonl",
                "result.json",
                "page.html",
                "page.css%00.js",
                "state/",
            ]:
                self.assertEqual(window.get(path)[0], 404, path)
            for method, path in [
                ("POST", "state"),
                ("PUT", "state"),
                ("DELETE", ""),
                ("GET", "change"),
                ("POST", "page.css"),
            ]:
                code, headers, _ = window.ask(
                    method,
                    path,
                    "{}" if method != "GET" else None,
                    Content_Type="application/json",
                    Origin=f"http://{window.at.netloc}",
                )
                self.assertEqual(code, 405, path)
                self.assertIn(headers["Allow"], ("GET", "POST"))

    def test_every_answer_keeps_the_page_to_itself(self):
        with self.serve() as served:
            window = served.window()
            for path in ["", "state", "page.css", "nothing", "field/0/thumb"]:
                _, headers, _ = window.ask("GET", path)
                self.assertIn("default-src 'none'", headers["Content-Security-Policy"])
                self.assertNotIn("unsafe", headers["Content-Security-Policy"])
                self.assertEqual(headers["X-Content-Type-Options"], "nosniff")
                self.assertEqual(headers["Referrer-Policy"], "no-referrer")
                self.assertEqual(headers["Cross-Origin-Resource-Policy"], "same-origin")
                self.assertIsNone(headers["Access-Control-Allow-Origin"])
            state = window.settled()
            r = state["fields"][0]["r"]
            self.assertEqual(window.ask("GET", "state")[1]["Cache-Control"], "no-store")
            self.assertIn(
                "private", window.ask("GET", f"field/0/label/0/0/0?r={r}")[1]["Cache-Control"]
            )
            self.assertEqual(
                window.ask("GET", f"field/0/label/0/0/0?r={r + 1}")[1]["Cache-Control"],
                "no-store",
            )

    def test_what_is_no_change_changes_nothing(self):
        with self.serve() as served:
            window = served.window()
            before = window.settled()
            good = {"kind": "exclude", "fields": [0], "rect": [1, 1, 9, 9], **WHO}
            for bad in [
                "",
                "{",
                "[]",
                "null",
                "{}",
                json.dumps(good)[:-9],
                "[" * 5000,
                b"\xff\xfe\x00",
                {**good, "kind": "undo"},
                {**good, "kind": 5},
                {**good, "fields": []},
                {**good, "fields": [2]},
                {**good, "fields": [-1]},
                {**good, "fields": [0.5]},
                {**good, "fields": [0, 0]},
                {**good, "rect": [1, 1, 9]},
                {**good, "rect": [1, 1, -9, 9]},
                {**good, "rect": [1, 1, 0, 0]},
                {**good, "rect": [1, 1, "9", 9]},
                {**good, "who": None},
                {**good, "who": 7},
                {**good, "who": "a\u0000b"},
                {**good, "points": [[1, 2], [3]]},
                {**good, "points": [[1, 1e300]]},
                {**good, "rect": [5000, 1, 9, 9]},
                {**good, "kind": "phase", "points": [[1, 1]], "phase": "gold"},
                {**good, "rect": [0, 0, 640, 480]},
                {**good, "kind": "form", "points": [[1, 1]], "form": "VII"},
                {**good, "kind": "scale", "points": [[1, 1], [9, 9]]},
                {**good, "kind": "cut", "points": [[1, 1]]},
            ]:
                code, answer = window.post("change", bad)
                self.assertEqual(code, 422, bad)
                self.assertTrue(answer["error"]["what"], bad)
            large = served.window()  # says how large it is, and is refused before it is sent
            large.line.putrequest("POST", large.at.path + "change")
            for name, value in [
                ("Content-Type", "application/json"),
                ("Origin", f"http://{large.at.netloc}"),
                ("Content-Length", str((1 << 20) + 1)),
            ]:
                large.line.putheader(name, value)
            large.line.endheaders()
            self.assertEqual(large.line.getresponse().status, 413)
            pieces = (b"x" * 65536 for _ in range(17))  # does not say, and is not kept
            code, _ = served.window().post("change", pieces)
            self.assertEqual(code, 413)
            after = served.window().json("state")
            self.assertEqual(after, before)
            self.assertFalse(self.record.exists())

    # ---- what it keeps ----

    def test_two_windows_do_not_lose_each_others_changes(self):
        with self.serve() as served:
            one, two = served.window(), served.window()
            seen = one.settled()["revision"]
            woken = []
            waiting = threading.Thread(
                target=lambda: woken.append(two.json(f"wait?revision={seen}"))
            )
            waiting.start()

            def exclude(window, left):
                for top in range(4):
                    self.change(window, "exclude", rect=[left, 20 * top, 10, 10], revision=seen)

            three = served.window()
            others = threading.Thread(target=exclude, args=(three, 200))
            others.start()
            exclude(one, 100)
            others.join()
            waiting.join()
            self.assertGreater(woken[0]["revision"], seen)
            state = one.json("state")
            self.assertEqual(len(state["record"]), 8)
            self.same_as_measure(state, "--record", self.record)

    def test_a_killed_review_goes_on_where_it_was(self):
        with self.serve() as served:
            window = served.window()
            window.settled()
            before = self.change(window, "exclude", rect=[100, 100, 60, 40])
            self.assertEqual(len(self.record.read_text().splitlines()), 1)
            served.end(signal.SIGKILL)
        with open(self.record, "a", encoding="utf-8") as file:
            file.write('{"seq":2,"at":"20')  # the line under way
        with self.serve() as served:
            after = served.window().settled()
            self.assertEqual(figures(after), figures(before))
            self.assertTrue(after["record_torn"])
            self.assertEqual(after["record"], before["record"])
            code, state = served.window().post("undo", WHO)
            self.assertEqual(code, 200, state)
            self.same_as_measure(state)

    def test_the_same_result_is_not_reviewed_twice_at_once(self):
        with self.serve() as served:
            self.change(served.window(), "exclude", rect=[100, 100, 60, 40])
            done = program.run("review", "--no-browser", *IRON, *self.fields)
            self.assert_one_line_error(done, 4, "another")

    def test_a_signed_result_is_sealed_until_it_is_changed(self):
        self.measure(*IRON, *self.fields, "-o", self.folder, code=0)
        self.assertEqual(program.run("review", "--verify", self.folder).returncode, 1)
        with self.serve(self.folder) as served:
            window = served.window()
            window.settled()
            self.change(window, "exclude", rect=[100, 100, 60, 40])
            code, state = window.post("sign", {"who": "A. Example", "remark": "as seen"})
            self.assertEqual(code, 200, state)
            self.assertTrue(state["signed"]["intact"])
            self.assertEqual(state["signed"]["who"], "A. Example")
            self.same_as_measure(state, "--record", self.record)
            self.assertEqual(window.get("report.html")[0], 200)
            self.assertEqual(program.run("review", "--verify", self.folder).returncode, 0)
            signed = json.loads((self.folder / "result.json").read_text())
            out = self.here / "again"
            self.measure(*IRON, *self.fields, "--record", self.record, "-o", out, code=0)
            replayed = json.loads((out / "result.json").read_text())
            for key in ["phases", "graphite", "fields", "limits", "by_hand"]:
                self.assertEqual(signed.get(key), replayed.get(key), key)
            code, state = window.post("undo", WHO)
            self.assertFalse(state["signed"]["intact"])
            self.assertIn("review.jsonl", state["signed"]["changed"])
        self.assertEqual(program.run("review", "--verify", self.folder).returncode, 1)
        with self.serve(self.folder) as served:
            window = served.window()
            state = window.settled()
            while state["signed"] is None:  # digests are compared when all is measured
                window.json(f"wait?revision={state['revision']}")
                state = window.json("state")
            self.assertFalse(state["signed"]["intact"])

    def test_a_field_that_cannot_be_measured_is_shown_with_the_reason(self):
        Image.fromarray(numpy.full((480, 640), 128, numpy.uint8)).save(
            self.here / "etched" / "blank.png"
        )
        with self.serve(*IRON, self.here / "etched") as served:
            window = served.window()
            state = window.settled()
            blank = state["fields"][0]
            self.assertFalse(blank["measured"])
            self.assertIn("one grey level", blank["error"]["what"])
            self.assertEqual(window.get("field/0/grey/0/0/0")[0], 200)
            self.assertEqual(window.get("field/0/label/0/0/0")[0], 404)
            self.assertFalse(state["concluded"])
            self.assertIsNone(figures(state)["nodularity"])
            self.assertEqual(window.post("sign", {"who": "A. Example"})[0], 422)
            self.change(window, "exclude", fields=[1], rect=[100, 100, 60, 40])

    def test_a_result_is_reviewed_under_its_own_settings(self):
        self.assert_one_line_error(program.run("review", "--no-browser"), 2, "nothing to review")
        self.assert_one_line_error(
            program.run("review", "--no-browser", self.fields[0]), 2, "--material"
        )
        self.measure(*IRON, *self.fields, "-o", self.folder, "--min-feret", "20um", code=0)
        done = program.run("review", "--no-browser", self.folder, "--min-feret", "5um")
        self.assert_one_line_error(done, 2, "own settings")
        with self.serve(self.folder / "result.json") as served:
            self.same_as_measure(served.window().settled(), "--min-feret", "20um")


def mean(picture, level):
    """Area mean over boxes of side 2^level, rounded half up; what is missing is not counted."""
    side = 1 << level
    height, width = picture.shape
    rows = numpy.add.reduceat(picture.astype(numpy.int64), range(0, height, side), axis=0)
    sums = numpy.add.reduceat(rows, range(0, width, side), axis=1)
    down = numpy.diff([*range(0, height, side), height])[:, None]
    across = numpy.diff([*range(0, width, side), width])[None, :]
    return (2 * sums + down * across) // (2 * down * across)


def loops(data):
    (count,), at = struct.unpack_from("<I", data), 4
    for _ in range(count):
        particle, points = struct.unpack_from("<II", data, at)
        at += 8
        yield particle, numpy.frombuffer(data, "<f4", 2 * points, at).reshape(points, 2).astype(
            float
        )
        at += 8 * points
    assert at == len(data)


if __name__ == "__main__":
    unittest.main()
