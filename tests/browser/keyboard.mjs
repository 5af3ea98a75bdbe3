// keyboard.mjs - the whole way by keys alone; names, contrast and sizes for those who need them.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import * as program from "./program.mjs";
import * as hand from "./window.mjs";

let server, page;

before(async () => {
    await Promise.all([hand.startBrowser(), program.makeResult("keys", { fields: 2, seed: 31 })]);
    server = await program.review("keys");
    page = await hand.open(server);
});

after(async () => {
    await hand.stopBrowser();
    await program.endAll();
});

async function press(...keys) {
    for (const key of keys) await page.keyboard.press(key);
}

/* Enter takes the reason that stands ready. The name is typed the first time. */
async function taken(name = false) {
    await page.waitForSelector("#ask[open]");
    if (name) {
        while (!(await page.evaluate(() => document.activeElement.name === "who")))
            await press("Tab");
        await page.keyboard.type("K. Rowan");
    }
    await press("Enter");
    await page.waitForSelector("#ask:not([open])");
    await hand.settled(page);
}

test("by keys alone: a box, a form, a threshold, undo, the record, signing", async () => {
    await press("x", "Enter");
    for (let i = 0; i < 4; i++) await page.keyboard.press("ArrowRight");
    await press("ArrowDown", "ArrowDown", "ArrowDown", "Enter");
    await taken(true);
    await press("Escape");
    await press("n", "f");
    await page.waitForSelector("#ask[open]");
    await press("4");
    await taken();
    await press("Escape", "g", "PageUp", "Enter");
    await taken();
    await press("z");
    await hand.settled(page);
    assert.deepEqual(
        program.recordLines("keys").map(({ kind }) => kind),
        ["exclude", "form", "thresholds", "undo"],
    );
    assert.ok(program.recordLines("keys").every(({ who }) => who === "K. Rowan"));
    await press("r");
    assert.match(await hand.text(page, "#panel-record"), /K\. Rowan/);
    await press("PageDown", "s");
    await page.waitForFunction(() => document.activeElement.name === "who");
    await press("Tab");
    await page.keyboard.type("by keys");
    await press("Tab", "Enter");
    await page.waitForSelector("#seal.sealed");
    assert.equal((await program.keelblock("review", "--verify", "keys")).code, 0);
});

test("whoever does not know the page is told what to do next, and every key", async () => {
    assert.match(await hand.text(page, "#hint"), /.{20,}/);
    await page.focus("#picture");
    await press("?");
    const help = await hand.text(page, "#help");
    for (const words of ["Leave out", "Cut", "undo", "hold B", "next doubtful"]) {
        assert.ok(help.includes(words), words);
    }
    await press("Escape");
});

test("everything that can be used has a name", async () => {
    const nameless = [];
    const walk = (node) => {
        const used = [
            "button",
            "textbox",
            "slider",
            "checkbox",
            "combobox",
            "tab",
            "radio",
            "option",
        ];
        if (used.includes(node.role) && !node.name) nameless.push(node.role);
        (node.children ?? []).forEach(walk);
    };
    for (const key of ["i", "t", "r", "s"]) {
        await page.focus("#picture");
        await press(key);
        walk(await page.accessibility.snapshot());
    }
    assert.deepEqual(nameless, []);
});

/* WCAG 2.2, success criterion 1.4.3: 4.5 : 1, with relative luminance as it defines it. */
const faint = (where) =>
    where.evaluate(() => {
        const numbers = (colour) => colour.match(/[\d.]+/g).map(Number);
        const luminance = ([r, g, b]) =>
            [r, g, b]
                .map((v) => v / 255)
                .map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
                .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
        const ground = (element) => {
            for (let at = element; at; at = at.parentElement) {
                const colour = numbers(getComputedStyle(at).backgroundColor);
                if (colour[3] !== 0) return colour;
            }
            return [255, 255, 255];
        };
        const texts = [...document.querySelectorAll("body *")].filter(
            (element) =>
                element.checkVisibility() &&
                !element.disabled &&
                [...element.childNodes].some(
                    (node) => node.nodeType === Node.TEXT_NODE && node.textContent.trim() !== "",
                ),
        );
        return texts.flatMap((element) => {
            const [a, b] = [numbers(getComputedStyle(element).color), ground(element)].map(
                luminance,
            );
            const contrast = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
            return contrast < 4.5
                ? [`${element.innerText.slice(0, 30)}: ${contrast.toFixed(2)}`]
                : [];
        });
    });

test("text stands out, in light and in dark", async () => {
    for (const dark of [false, true]) {
        const shown = await hand.open(server, { dark });
        for (const key of ["i", "t", "r", "s", "x"]) {
            await shown.focus("#picture");
            await shown.keyboard.press(key);
            assert.deepEqual(await faint(shown), [], `${dark ? "dark" : "light"}, ${key}`);
        }
        await shown.close();
    }
});

test("nothing runs out of the window, from a small laptop to a large screen", async () => {
    for (const [width, height] of [
        [1024, 700],
        [1280, 800],
        [1920, 1080],
    ]) {
        const shown = await hand.open(server, { width, height });
        const wide = await shown.evaluate(() =>
            [...document.querySelectorAll("#tools button, #tabs button, #film, #figures, #legend")]
                .filter((element) => {
                    const { right, bottom } = element.getBoundingClientRect();
                    return right > innerWidth + 1 || bottom > innerHeight + 1;
                })
                .map(({ id, innerText }) => id || innerText),
        );
        assert.deepEqual(wide, [], `${width} x ${height}`);
        const picture = await shown.$eval(
            "#picture",
            ({ clientWidth: w, clientHeight: h }) => w * h,
        );
        assert.ok(picture > 0.45 * width * height, "the picture comes first");
        await shown.close();
    }
});

test("two fingers zoom about the place between them", async () => {
    const touch = await hand.open(server);
    const scale = await touch.evaluate(() => keelblock.view.scale);
    const session = await touch.createCDPSession();
    const fingers = (apart) => [-1, 1].map((side, id) => ({ x: 400 + side * apart, y: 300, id }));
    const send = (type, touchPoints) =>
        session.send("Input.dispatchTouchEvent", { type, touchPoints });
    await send("touchStart", fingers(40));
    for (const apart of [60, 80, 100, 120]) await send("touchMove", fingers(apart));
    await send("touchEnd", []);
    const after = await touch.evaluate(() => keelblock.view.scale);
    assert.ok(Math.abs(after / scale - 3) < 0.3, `${after / scale} instead of 3`);
    await touch.close();
});
