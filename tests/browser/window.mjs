// window.mjs - a browser window on the page, and hands on it. Every complaint of the browser and
// every request that leaves the server is kept, for a test that asks for them.
import puppeteer from "puppeteer-core";

export const complaints = [];
export const strangers = [];

let browser;

export async function startBrowser() {
    browser = await puppeteer.launch({
        executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
        headless: true, // the new headless mode: the whole browser, without a screen
        args: [
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--hide-scrollbars",
            "--force-color-profile=srgb",
        ],
    });
}

export const stopBrowser = () => browser?.close();

/* Opens the page and waits until the picture is there. */
export async function open(server, { width = 1280, height = 800, dark = false } = {}) {
    const context = await browser.createBrowserContext();
    const page = await context.newPage();
    page.on("console", (message) => {
        if (["error", "warn"].includes(message.type())) complaints.push(message.text());
    });
    page.on("pageerror", (error) => complaints.push(error.stack ?? String(error)));
    page.on("request", (sent) => {
        const where = sent.url();
        const own = where.startsWith(server.address) || /^(data|blob):/.test(where);
        if (!own) strangers.push(where);
    });
    await page.setViewport({ width, height });
    const scheme = { name: "prefers-color-scheme", value: dark ? "dark" : "light" };
    await page.emulateMediaFeatures([scheme]);
    await page.goto(server.address);
    await page.waitForSelector("body.ready");
    await settled(page);
    return page;
}

/* No tile is on its way and no change is being measured. */
export async function settled(page) {
    await page.waitForFunction(() => {
        const { view, particles } = globalThis.keelblock;
        return (
            !document.body.classList.contains("busy") &&
            view.tiles !== null &&
            view.tiles.running === 0 &&
            view.tiles.wanted.length === 0 &&
            particles.have !== "" &&
            particles.ready
        );
    });
    await frame(page);
}

/* Until the next frame is drawn. */
export const frame = (page) =>
    page.evaluate(
        () =>
            new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done()))),
    );

export const text = (page, selector) => page.$eval(selector, (element) => element.innerText);

/* A place of the picture as a point of the window. */
export const onScreen = (page, place) =>
    page.evaluate((at) => {
        const { view } = globalThis.keelblock;
        const box = view.canvas.getBoundingClientRect();
        const [x, y] = view.toScreen(at);
        return [box.left + x, box.top + y];
    }, place);

/* Presses at the first place of the picture, draws through the others, lets go at the last. */
export async function draw(page, ...places) {
    const [first, ...rest] = await Promise.all(places.map((place) => onScreen(page, place)));
    await page.mouse.move(...first);
    await page.mouse.down();
    for (const point of rest) await page.mouse.move(...point, { steps: 4 });
    await page.mouse.up();
}

/* Until the page says what came of a change. */
export async function told(page) {
    await page.waitForFunction(() => {
        const said = document.querySelector("#note").innerText;
        return said !== "" && !said.startsWith("Measuring");
    });
    await settled(page);
}

const silence = (page) => page.evaluate(() => document.querySelector("#note").replaceChildren());

/* A key that changes something, and what came of it. */
export async function pressed(page, key) {
    await silence(page);
    await page.focus("#picture");
    await page.keyboard.press(key);
    await told(page);
}

/* Answers the question that a change asks, as a person who writes a reason. */
export async function because(page, why, { choice, length } = {}) {
    await page.waitForSelector("#ask[open]");
    await silence(page);
    if (choice) await page.click(`#ask [value="${choice}"]`);
    if (length) await page.type("#ask [name=length]", length);
    const fill = (name, words) =>
        page.$eval(
            `#ask [name=${name}]`,
            (box, text) => {
                box.value = text;
            },
            words,
        );
    await fill("why", why);
    await fill("who", "T. Alder");
    await page.click("#ask button[type=submit]");
    await told(page);
}

/* Key of a figure -> [value, text as shown]. */
export const figures = (page) =>
    page.$$eval("#figures [data-key]", (rows) =>
        Object.fromEntries(
            rows.map((row) => {
                const value = row.querySelector(".value");
                return [
                    row.dataset.key,
                    value ? [Number(value.dataset.value), value.textContent] : null,
                ];
            }),
        ),
    );

/* Colours of the picture at a place, as drawn. */
export const colourAt = (page, place) =>
    page.evaluate((at) => {
        const { view } = globalThis.keelblock;
        const [x, y] = view.toScreen(at).map((v) => Math.floor(v * view.ratio));
        return [...view.context.getImageData(x, y, 1, 1).data];
    }, place);
