/* main.js - puts the page together: parts, tabs, keys, the line that tells the next step, and
 * the news of the program. The way of the data: server.js > store.js > all that shows it; what
 * a person does goes through changes.js to the program, and comes back as a new state.
 */
import { isBusy, lastWords, note, redo, undo } from "./changes.js";
import { startFilm } from "./film.js";
import { Histogram } from "./histogram.js";
import { actionOf, showKeys } from "./keys.js";
import { Particles } from "./particles.js";
import { Record } from "./record.js";
import { follow, getJson } from "./server.js";
import { startSheet } from "./sheet.js";
import { startSigning } from "./signing.js";
import { fieldName, isMeasured, look, on, showField, store, takeState } from "./store.js";
import { Tools } from "./tools.js";
import { View } from "./view.js";
import { byId, h, kept, withUnit } from "./words.js";

const TABS = [
    { id: "field", words: "Field", key: "I" },
    { id: "particles", words: "Particles", key: "T" },
    { id: "record", words: "Record", key: "R" },
    { id: "sign", words: "Sign", key: "S" },
];
const PAN = 80; /* CSS pixels, an arrow key */
const BAR = 160; /* CSS pixels that the scale bar may be long */

let view, particles, tools, histogram;

/* ---- the line that tells the next step ---- */

function nextStep() {
    const { field, state, seen } = store;
    if (field.error) return "This field was not measured; the reason stands beside.";
    if (!isMeasured(field)) return "This field is being measured \u2026";
    if (field.pixel_size_um === null) {
        return "No scale is known, so no sizes and counts. L, then draw along a scale bar.";
    }
    if (state.signed?.intact)
        return "Signed. A change would break the seal, and the page would say so.";
    if (seen.size < 2 && state.record.length === 0) {
        if (store.particles.length === 0) {
            return "Hold B for the bare picture. W, then a click, asks why a place is that phase.";
        }
        return (
            "Point at a particle to see what was measured. Hold B for the bare picture; N walks " +
            "through the doubtful particles."
        );
    }
    if (seen.size < state.fields.length) {
        const rest = state.fields.length - seen.size;
        return `Page\u2193 shows the next field. ${rest} not looked at yet.`;
    }
    return "All fields looked at. Correct what is wrong; S when you stand for the figures.";
}

function say(text) {
    const hint = byId("hint"),
        now = text || nextStep();
    if (hint.textContent !== now) hint.textContent = now;
}

/* ---- scale bar ---- */

/* Largest of 1, 2, 5, 10, ... um that fits. */
function barLength(most) {
    const decade = 10 ** Math.floor(Math.log10(most));
    return [5, 2, 1].map((digit) => digit * decade).find((length) => length <= most);
}

function scaleBar() {
    const bar = byId("bar"),
        um = store.field?.pixel_size_um;
    bar.hidden = !um || !view.scale;
    if (bar.hidden) return;
    const length = barLength((BAR * um) / view.scale);
    bar.querySelector("i").style.width = `${(length / um) * view.scale}px`;
    bar.querySelector("span").textContent =
        length >= 1000
            ? withUnit(String(length / 1000), "mm")
            : withUnit(String(Number(length.toPrecision(1))), "\u00b5m");
}

/* ---- tabs ---- */

function openTab(id, focus = true) {
    for (const tab of TABS) {
        const open = tab.id === id,
            button = byId(`tab-${tab.id}`);
        byId(`panel-${tab.id}`).hidden = !open;
        button.setAttribute("aria-selected", String(open));
        button.tabIndex = open ? 0 : -1;
    }
    if (id === "particles") particles.list();
    if (!focus) return;
    const panel = byId(`panel-${id}`);
    (id === "particles"
        ? panel.querySelector(".rows")
        : id === "sign"
          ? (panel.querySelector("form:not([hidden]) input") ?? panel)
          : panel
    ).focus();
}

function makeTabs() {
    byId("tabs").append(
        ...TABS.map(({ id, words, key }) =>
            h(
                "button",
                {
                    type: "button",
                    role: "tab",
                    id: `tab-${id}`,
                    "aria-controls": `panel-${id}`,
                    "aria-keyshortcuts": key,
                    onclick: () => openTab(id, false),
                    onkeydown: (event) => {
                        const by = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
                        if (!by) return;
                        event.preventDefault();
                        event.stopPropagation();
                        const next =
                            TABS[
                                (TABS.findIndex((tab) => tab.id === id) + by + TABS.length) %
                                    TABS.length
                            ];
                        openTab(next.id, false);
                        byId(`tab-${next.id}`).focus();
                    },
                },
                `${words} `,
                h("kbd", {}, key),
            ),
        ),
    );
}

/* ---- light and dark ---- */

function theme(wanted) {
    const dark =
        wanted === "dark" ||
        (wanted !== "light" && matchMedia("(prefers-color-scheme: dark)").matches);
    if (wanted) document.documentElement.dataset.theme = wanted;
    byId("theme").textContent = dark ? "Light" : "Dark";
    byId("theme").onclick = () => {
        const next = dark ? "light" : "dark";
        kept.set("theme", next);
        theme(next);
    };
    view?.draw();
}

/* ---- keys ---- */

const typing = (target) =>
    target.matches("input:not([type=range], [type=checkbox], [type=radio]), " + "textarea, select");

const actions = {
    get view() {
        return view;
    },
    tint: (by) => setStrength(store.strength + by),
    turn: (by) => showField(store.index + by),
    walk: (by) => particles.walk(by),
    grey: () => {
        openTab("field", false);
        histogram.focus();
    },
    undo,
    redo,
    tab: (id) => openTab(id),
};

function setStrength(strength) {
    const value = Math.max(0, Math.min(2, Math.round(strength * 10) / 10));
    byId("strength").value = String(value);
    look({ strength: value });
}

function arrows(event) {
    const by = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[
        event.key
    ];
    if (!by || event.target !== view.canvas) return false;
    const step = event.shiftKey ? 3 * PAN : PAN;
    view.pan(by[0] * step, by[1] * step);
    return true;
}

/* Undo and redo as everywhere. */
function withControl(event) {
    const key = event.key.toLowerCase();
    if (key !== "z" && key !== "y") return false;
    if (key === "y" || event.shiftKey) redo();
    else undo();
    return true;
}

function keyDown(event) {
    if (document.querySelector("dialog[open]") || typing(event.target) || event.altKey) return;
    if (event.ctrlKey || event.metaKey) {
        if (withControl(event)) event.preventDefault();
        return;
    }
    if (pressed(event)) event.preventDefault();
}

/* True when the key meant something. */
function pressed(event) {
    const onCanvas = event.target === view.canvas;
    if (event.key === " " && onCanvas) {
        view.spaceHeld = true;
        return true;
    }
    if (tools.tool && (onCanvas || event.key === "Escape") && tools.key(event)) return true;
    if (arrows(event)) return true;
    if (event.key.toLowerCase() === "b") {
        if (!store.bare) look({ bare: true });
        return true;
    }
    if (event.key === "Escape") {
        note("");
        view.tap([-1, -1]);
        return true;
    }
    const action = actionOf(event.key) ?? actionOf(event.key.toLowerCase());
    if (action) action.run(actions);
    return action !== undefined || tools.byKey(event.key.toLowerCase());
}

function keyUp(event) {
    if (event.key === " ") view.spaceHeld = false;
    if (event.key.toLowerCase() === "b" && store.bare) look({ bare: false });
}

/* ---- news ---- */

/* A state that another window, or the program itself, brought about. */
function news(state) {
    const before = store.state;
    if (isBusy()) return; /* the answer under way brings it */
    takeState(state);
    if (before.record.length < state.record.length) {
        note(
            "other",
            h("b", {}, `${state.record.at(-1).who || "Somebody"}, in another window: `),
            `${lastWords(state)}.`,
        );
    }
}

function reached(there) {
    const gone = byId("gone");
    gone.hidden = there;
    gone.textContent = there
        ? ""
        : "The program that serves this page does not answer. What was done is " +
          "on record. Start keelblock review again and open the address that it gives.";
    if (there) {
        view.again();
        note("", "The program answers again.");
    }
}

/* ---- start ---- */

function parts() {
    view = new View(byId("picture"));
    particles = new Particles(view, byId("panel-particles"), { say });
    histogram = new Histogram(byId("panel-field"));
    const about = h("div", {});
    byId("panel-field").append(about);
    startSheet(about);
    const record = new Record(view, byId("panel-record"));
    startSigning(byId("panel-sign"));
    startFilm();
    tools = new Tools(view, particles, say);
    view.layers.push(scaleBar);
    return { view, particles, tools, histogram, record };
}

function namePicture() {
    byId("picture").setAttribute(
        "aria-label",
        `Picture of field ${store.index + 1}, ${fieldName(store.field)}`,
    );
}

function listen() {
    on("field", () => {
        namePicture();
        view.show(store.field);
        say("");
    });
    on("state", () => {
        namePicture();
        if (!tools.tool) say("");
    });
    on("particles", () => {
        if (!tools.tool) say("");
    });
    on("look", () => {
        byId("preview").hidden = store.preview === null;
    });
    byId("strength").addEventListener("input", (event) => setStrength(Number(event.target.value)));
    byId("keys").addEventListener("click", showKeys);
    addEventListener("keydown", keyDown);
    addEventListener("keyup", keyUp);
    addEventListener("blur", () => look({ bare: false }));
}

async function start() {
    makeTabs();
    const all = parts();
    theme(kept.get("theme"));
    openTab("field", false);
    listen();
    for (;;) {
        try {
            takeState(await getJson("state"));
            break;
        } catch {
            reached(false);
            await new Promise((done) => setTimeout(done, 1000));
        }
    }
    byId("gone").hidden = true;
    showField(
        Math.max(
            0,
            store.state.fields.findIndex(({ error }) => !error),
        ),
    );
    view.canvas.focus({ preventScroll: true });
    document.body.classList.add("ready");
    globalThis.keelblock = all; /* for whoever looks under the page */
    follow(() => store.state.revision, news, reached);
}

start();
