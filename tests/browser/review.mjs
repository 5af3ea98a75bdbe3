// review.mjs - look, correct, sign: a person's way through the page of `keelblock review`.
//
// Fields are drawn by `keelblock render`. What the page shows is compared with result.json and with
// `keelblock measure --record`, which know nothing of the page.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import * as program from "./program.mjs";
import * as hand from "./window.mjs";

let server, page, large;

before(async () => {
    large = program.makeResult("large", { fields: 1, size: "4000x3000" }); // while others run
    await Promise.all([hand.startBrowser(), program.makeResult("iron")]);
    server = await program.review("iron");
});

after(async () => {
    await hand.stopBrowser();
    await program.endAll();
});

/* The largest particle that counts, of the field on the page. */
const largest = () =>
    page.evaluate(async () => {
        const { store } = await import("./store.js");
        return store.particles
            .filter(({ state }) => state === "counts")
            .sort((a, b) => b.box[2] * b.box[3] - a.box[2] * a.box[3])[0];
    });

const counted = async () => (await program.state(server)).fields[0].counts.counts;

/* A place of the picture in the middle of nothing but matrix. */
const plain = () =>
    page.evaluate(() => {
        const { particles, view } = globalThis.keelblock;
        const { width, height } = view.tiles.field;
        const free = ([x, y]) =>
            [-15, 0, 15].every((dx) =>
                [-15, 0, 15].every((dy) => !particles.find([x + dx, y + dy])),
            );
        for (let y = 60; y < height - 60; y += 10) {
            for (let x = 60; x < width - 60; x += 10) if (free([x, y])) return [x, y];
        }
        throw new Error("graphite everywhere");
    });

/* Values of result.json under the page's keys, as numbers. */
function same(shown, measured) {
    let compared = 0;
    for (const [key, pair] of Object.entries(shown)) {
        const figure = measured.figures[key];
        if (!pair || !figure) continue;
        assert.equal(Number(pair[0].toPrecision(6)), figure.value, key);
        compared++;
    }
    assert.ok(compared >= 4, `only ${compared} figures have a name in result.json`);
}

test("the page opens, draws the field, and shows the figures of the result", async (t) => {
    const begun = performance.now();
    page = await hand.open(server);
    t.diagnostic(`open and drawn after ${Math.round(performance.now() - begun)} ms`);
    same(await hand.figures(page), program.result("iron"));
    const graphite = await largest();
    const [r, g, b] = await hand.colourAt(page, [graphite.x, graphite.y]);
    assert.ok(b > r + 20 && g < 120, `graphite is dark blue, not ${r},${g},${b}`);
    assert.equal(await page.$$eval("#film li", (fields) => fields.length), 2);
});

test("the bare picture shows while a key is held", async () => {
    const { x, y } = await largest();
    await page.focus("#picture");
    await page.keyboard.down("b");
    await hand.frame(page);
    const [r, g, b] = await hand.colourAt(page, [x, y]);
    assert.ok(r === g && g === b, "grey");
    await page.keyboard.up("b");
    await hand.frame(page);
    assert.notDeepEqual(await hand.colourAt(page, [x, y]), [r, g, b, 255]);
});

test("the pointer on a particle shows what was measured and that it counts", async () => {
    const { id, x, y } = await largest();
    await page.mouse.move(...(await hand.onScreen(page, [x, y])));
    await hand.frame(page);
    const tag = await hand.text(page, "#tag");
    assert.match(tag, new RegExp(`Particle ${id}\\b`));
    assert.match(tag, /counts/);
    assert.match(tag, /shape factor/);
});

test("a threshold that is dragged moves the phases live; let go, they are measured", async () => {
    const was = await hand.figures(page);
    const place = await plain();
    const grip = await page.$(".grip:last-of-type");
    const { x, y, width, height } = await grip.boundingBox();
    await page.mouse.move(x + width / 2, y + height / 2);
    await hand.settled(page);
    const colour = await hand.colourAt(page, place);
    await page.mouse.down();
    await page.mouse.move(x + width / 2 + 20, y + height / 2, { steps: 5 });
    await hand.frame(page);
    assert.match(await hand.text(page, "#preview"), /Preview, by grey level alone/);
    const level = () => page.$eval(".grip:last-of-type", (at) => at.getAttribute("aria-valuenow"));
    const dragged = await level();
    assert.notDeepEqual(await hand.colourAt(page, place), colour, "coloured anew");
    assert.deepEqual(await hand.figures(page), was, "nothing is measured yet");
    await page.mouse.up();
    await hand.because(page, "the etch is weaker here");
    assert.notDeepEqual(await hand.figures(page), was);
    assert.equal(await page.$eval("#preview", ({ hidden }) => hidden), true);
    const { fields } = await program.state(server);
    assert.equal(await level(), dragged, "measured where it was let go");
    assert.equal(fields[0].thresholds.at(-1).origin, "by hand");
    assert.equal(fields[1].thresholds.at(-1).origin, "found");
});

test("undo brings every figure back to the digit, redo takes it away again", async () => {
    const changed = await hand.figures(page);
    await hand.pressed(page, "z");
    same(await hand.figures(page), program.result("iron"));
    await hand.pressed(page, "y");
    assert.deepEqual(await hand.figures(page), changed);
    await hand.pressed(page, "z");
});

test("a box leaves out what is in it", async () => {
    const {
        box: [x, y, w, h],
    } = await largest();
    const before = await counted();
    await page.click("#tool-box");
    await hand.draw(page, [x - 4, y - 4], [x + w + 4, y + h + 4]);
    await hand.because(page, "stain");
    assert.ok((await counted()) < before);
    const [entry] = program.recordLines("iron").slice(-1);
    assert.equal(entry.kind, "exclude");
    assert.equal(entry.who, "T. Alder");
    assert.equal(entry.why, "stain");
});

test("a stroke cuts a particle in two, and joining makes it one again", async () => {
    const {
        x,
        box: [, y, , h],
    } = await largest();
    const before = await counted();
    await page.keyboard.press("c");
    await hand.draw(page, [x, y - 5], [x, y + h / 2], [x, y + h + 5]);
    await hand.because(page, "two nodules touch");
    assert.equal(await counted(), before + 1);
    await page.keyboard.press("j");
    await hand.draw(page, [x - h / 4, y + h / 2], [x + h / 4, y + h / 2]);
    await hand.because(page, "one particle, torn by the threshold");
    assert.equal(await counted(), before);
    await page.keyboard.press("Escape");
});

test("an outline, another phase and a scale drawn in the picture are obeyed", async () => {
    const [x, y] = await plain();
    await page.keyboard.press("o");
    await hand.draw(page, [x - 14, y - 14], [x + 14, y - 14], [x + 14, y + 14], [x - 14, y + 14]);
    await hand.because(page, "stain");
    await page.keyboard.press("p");
    const { x: px, y: py } = await largest();
    await page.mouse.click(...(await hand.onScreen(page, [px, py])));
    await hand.because(page, "pore, no graphite", { choice: "excluded" });
    await page.keyboard.press("l");
    await hand.draw(page, [100, 200], [300, 200]);
    await hand.because(page, "read off the scale bar", { length: "88" });
    await page.keyboard.press("Escape");
    const { fields } = await program.state(server);
    assert.ok(Math.abs(fields[0].pixel_size_um - 0.44) < 0.003, String(fields[0].pixel_size_um));
    const kinds = program.recordLines("iron").slice(-3);
    assert.deepEqual(
        kinds.map(({ kind }) => kind),
        ["exclude", "phase", "scale"],
    );
    assert.equal(kinds[1].phase, "excluded");
});

test("what cannot be done is refused with what to do, and is not recorded", async () => {
    const lines = program.recordLines("iron").length;
    const [x, y] = await plain();
    await page.keyboard.press("j");
    await hand.draw(page, [x - 8, y], [x + 8, y]);
    await hand.because(page, "one particle, torn by the threshold");
    assert.match(await hand.text(page, "#note"), /Not done: .{10,}/);
    assert.equal(program.recordLines("iron").length, lines);
    await page.keyboard.press("Escape");
});

test("two windows keep each other's changes and tell of them", async () => {
    const other = await hand.open(server, { width: 1024, height: 700 });
    const lines = program.recordLines("iron").length;
    const [x, y] = await plain();
    await page.focus("#picture");
    await page.keyboard.press("x");
    await hand.draw(page, [x - 12, y - 12], [x, y]);
    await hand.because(page, "scratch");
    await other.waitForFunction(() =>
        /in another window/.test(document.querySelector("#note").innerText),
    );
    await other.focus("#picture");
    await other.keyboard.press("x");
    await hand.draw(other, [x + 2, y + 2], [x + 14, y + 14]);
    await hand.because(other, "pore, no graphite");
    await page.waitForFunction(() =>
        /in another window/.test(document.querySelector("#note").innerText),
    );
    await hand.settled(page);
    assert.equal(program.recordLines("iron").length, lines + 2);
    assert.deepEqual(await hand.figures(page), await hand.figures(other));
    await other.close();
});

test("measuring with the record gives the page's figures to the digit", async () => {
    const done = await program.keelblock(
        "measure",
        ...program.asked("iron"),
        "--record",
        "iron/review.jsonl",
        "-o",
        "again",
    );
    assert.ok(done.code <= 1, done.stderr);
    const shown = await hand.figures(page);
    same(shown, program.result("again"));
    // and as they are written: "nodule count   107 /mm2  61 ... 186"
    const said = done.stdout.replaceAll("\u00a0", " ");
    for (const [key, words] of [
        ["nodularity", "nodularity by area"],
        ["nodules_per_mm2", "nodule count"],
        ["pearlite_of_matrix", "pearlite, of the matrix"],
        ["graphite", "graphite, of"],
    ]) {
        const [number, unit] = shown[key][1].replaceAll("\u00a0", " ").split(" ");
        assert.match(said, new RegExp(`${words}[^\\n]* ${number} +${unit}`), key);
    }
});

test("killed and started again, the record is whole and the page says what happens", async () => {
    const figures = await hand.figures(page),
        record = program.recordLines("iron");
    await server.kill("SIGKILL");
    await page.waitForSelector("#gone:not([hidden])");
    assert.match(await hand.text(page, "#gone"), /does not answer/);
    await page.close();
    hand.complaints.length = 0; // of a server that is gone
    server = await program.review("iron");
    page = await hand.open(server);
    assert.deepEqual(program.recordLines("iron"), record);
    assert.deepEqual(await hand.figures(page), figures);
    await page.keyboard.press("z");
    await page.waitForSelector("#ask[open]");
    await page.keyboard.type("T. Alder");
    await page.keyboard.press("Enter");
    await hand.told(page);
    const [undone] = program.recordLines("iron").slice(-1);
    assert.equal(undone.kind, "undo", "undo goes on where it was");
    assert.equal(undone.of, record.at(-1).seq);
});

test("a signed result holds until it is changed", async () => {
    assert.notEqual((await program.keelblock("review", "--verify", "iron")).code, 0, "not signed");
    await page.keyboard.press("s");
    await page.$eval("#panel-sign [name=who]", (box) => {
        box.value = "T. Alder";
    });
    await page.type("#panel-sign [name=remark]", "fields 1 and 2 looked at");
    await page.click("#panel-sign button[type=submit]");
    await page.waitForSelector("#seal.sealed");
    assert.match(await hand.text(page, "#seal"), /Signed by T\. Alder/);
    const verified = await program.keelblock("review", "--verify", "iron");
    assert.equal(verified.code, 0, verified.stdout + verified.stderr);
    same(await hand.figures(page), program.result("iron"));
    const report = await program.request(server, { path: `/${server.token}/report.html` });
    assert.match(report.body, /T\. Alder/);
    await page.focus("#picture");
    await page.keyboard.press("z");
    await page.waitForSelector("#seal.broken");
    await hand.settled(page);
    assert.equal((await program.keelblock("review", "--verify", "iron")).code, 1);
});

test("the preview of a threshold on 12 megapixels follows the hand", async (t) => {
    await large;
    const own = await program.review("large");
    const wide = await hand.open(own, { width: 1920, height: 1080 });
    await wide.keyboard.press("g");
    await hand.settled(wide);
    for (const view of ["whole field", "native pixels"]) {
        if (view === "native pixels") await wide.evaluate(() => keelblock.view.native());
        await hand.settled(wide);
        const times = await wide.evaluate(async () => {
            const grip = document.activeElement,
                taken = [];
            const shown = () =>
                new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
            for (let i = 0; i < 12; i++) {
                const begun = performance.now();
                grip.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight" }));
                await shown();
                taken.push(performance.now() - begun);
            }
            return taken.sort((a, b) => a - b);
        });
        t.diagnostic(
            `${view}: preview drawn after ${times[6].toFixed(0)} ms (median), ` +
                `${times[11].toFixed(0)} ms (slowest of 12)`,
        );
        assert.ok(times[6] < 1000);
    }
    await wide.close();
    await own.kill();
});

test("the browser had nothing to complain of, and asked nobody but the program", () => {
    /* a change that is refused is answered with 422, which the browser notes */
    const own = hand.complaints.filter((text) => !/status of 422/.test(text));
    assert.deepEqual(own, []);
    assert.deepEqual(hand.strangers, []);
});
