/* particles.js - the particles of a field: what was measured, the list, the walk.
 *
 * The list is sorted by any measure; the walk goes through the doubtful ones, nearest to a class
 * border first, for there a second look is worth most.
 */
import { Outlines, around, contains, readOutlines } from "./outlines.js";
import { getBytes, getJson } from "./server.js";
import { isMeasured, on, select, store, tell } from "./store.js";
import { byId, h, kept, significant, withUnit } from "./words.js";

const SHOWN_AT_ONCE = 150; /* rows of the list */
/* Up to here a particle is called doubtful: 0.05 of a shape factor, by which two people differ;
 * common practice, no published source. The walk goes on and says so. */
const DOUBTFUL = 0.5;
/* What can be listed: key, words, unit, and which end comes first. */
const MEASURES = [
    { key: "doubt", words: "doubt, most first", up: true },
    { key: "shape_factor", words: "shape factor, smallest first", up: true },
    { key: "feret", words: "max. Feret, largest first" },
    { key: "area", words: "area, largest first" },
    { key: "diameter", words: "diameter, largest first" },
    { key: "circularity", words: "circularity, smallest first", up: true },
    { key: "solidity", words: "solidity, smallest first", up: true },
    { key: "aspect", words: "aspect ratio, largest first" },
    { key: "form", words: "form" },
    { key: "size_class", words: "size class", up: true },
    { key: "id", words: "number", up: true },
];

/* Value and unit of a measure, in the specimen where the scale is known, else in pixels. */
function measured(particle, key) {
    const square = key === "area" ? "2" : "";
    for (const unit of [`um${square}`, `px${square}`]) {
        const value = particle[`${key}_${unit}`];
        if (value !== undefined && value !== null) return { value, unit };
    }
    return { value: particle[key] ?? null, unit: "" };
}

function shown(particle, key) {
    const { value, unit } = measured(particle, key);
    if (value === null || value === "") return "\u2013";
    return typeof value === "number" && key !== "id" && key !== "size_class"
        ? withUnit(significant(value), unit)
        : String(value);
}

export class Particles {
    constructor(view, panel, { say }) {
        this.view = view;
        this.panel = panel;
        this.say = say;
        this.outlines = new Outlines(view);
        this.sort = kept.get("sort") || "doubt";
        this.rows = SHOWN_AT_ONCE;
        view.layers.push((context) => this.draw(context));
        view.hover = (place) => this.point(place);
        view.tap = (place) => this.pick(place);
        on("field", () => this.load());
        on("state", () => this.load());
        on("selected", () => this.list());
        on("look", () => this.tag());
        this.frame();
    }

    /* ---- from the program ---- */

    async load() {
        const { index, r } = store.field,
            nothing = !isMeasured(store.field);
        if (this.have === `${index} ${r} ${nothing}`) return;
        const other = this.index !== index;
        this.have = `${index} ${r} ${nothing}`;
        this.index = index;
        if (other || nothing) this.take([], []);
        this.ready = nothing; /* else when those of this revision are there */
        if (nothing) return;
        const asked = this.have;
        try {
            const [{ particles }, outlines] = await Promise.all([
                getJson(`field/${index}/particles?r=${r}`),
                getBytes(`field/${index}/outlines?r=${r}`),
            ]);
            if (asked === this.have) this.take(particles, readOutlines(outlines));
        } catch {
            if (asked === this.have) this.have = ""; /* asked again with the next state */
        }
    }

    take(particles, loops) {
        const at = this.selected()?.box;
        store.particles = particles;
        this.ready = true;
        for (const p of particles) p.form = p.form === "-" ? "" : p.form; /* it has none */
        this.byId = new Map(particles.map((particle) => [particle.id, particle]));
        this.outlines.take(loops, this.byId);
        this.hovered = null;
        /* numbers may have changed: stay with the particle that is where the selected one was */
        if (at) {
            const middle = [at[0] + at[2] / 2, at[1] + at[3] / 2];
            store.selected = particles.find((p) => contains(p.box, middle))?.id ?? null;
        }
        this.rows = SHOWN_AT_ONCE;
        this.list();
        this.view.draw();
        tell("particles");
    }

    selected() {
        return this.byId?.get(store.selected) ?? null;
    }

    /* The particle at a place; a hole in it is no part of it. */
    find(place) {
        return this.byId?.get(around(this.outlines.loops, place).pop()) ?? null;
    }

    point(place) {
        const particle = place && !store.preview ? this.find(place) : null;
        if (particle === this.hovered) return;
        this.hovered = particle;
        this.view.draw();
    }

    pick(place) {
        select(this.find(place)?.id ?? null);
        this.view.draw();
    }

    draw(context) {
        if (!store.bare && !store.preview) {
            this.outlines.draw(context, new Set([this.hovered?.id, store.selected]));
        }
        this.tag();
    }

    /* What was measured, beside the particle. */
    tag() {
        const tag = byId("tag"),
            particle = this.hovered ?? this.selected();
        tag.hidden = !particle || store.bare || store.preview !== null;
        if (tag.hidden) return;
        if (this.tagged !== particle) {
            this.tagged = particle;
            tag.replaceChildren(...tagLines(particle));
        }
        const [x, y, w, tall] = particle.box,
            { view } = this;
        const [left, top] = view.toScreen([x, y]),
            right = view.toScreen([x + w, y + tall])[0];
        const wide = tag.offsetWidth,
            high = tag.offsetHeight,
            gap = 14;
        const beside =
            right + gap + wide < view.width ? right + gap : Math.max(8, left - gap - wide);
        tag.style.left = `${Math.round(Math.min(beside, view.width - wide - 8))}px`;
        tag.style.top = `${Math.round(Math.max(8, Math.min(top, view.height - high - 8)))}px`;
    }

    /* ---- list ---- */

    frame() {
        this.order = h(
            "select",
            {
                id: "sort",
                "aria-label": "Sorted by",
                onchange: () => this.sortBy(this.order.value),
            },
            ...MEASURES.map(({ key, words }) =>
                h("option", { value: key, selected: key === this.sort }, words),
            ),
        );
        this.counting = h(
            "label",
            { class: "check" },
            h("input", {
                type: "checkbox",
                checked: kept.get("counting") === "yes",
                onchange: (event) => {
                    kept.set("counting", event.target.checked ? "yes" : "");
                    this.list();
                },
            }),
            " only counting",
        );
        this.body = h("div", {
            class: "rows",
            role: "listbox",
            "aria-label": "Particles",
            tabindex: "0",
            onkeydown: (event) => this.listKey(event),
        });
        const step = (words, key, by) =>
            h(
                "button",
                { type: "button", onclick: () => this.walk(by) },
                `${words} `,
                h("kbd", {}, key),
            );
        this.panel.replaceChildren(
            h("p", { class: "line" }, step("Next doubtful", "N", 1), step("Back", "\u21e7N", -1)),
            h("p", { class: "line" }, this.order, this.counting),
            this.body,
        );
    }

    sortBy(key) {
        this.sort = key;
        kept.set("sort", key);
        this.rows = SHOWN_AT_ONCE;
        this.list();
    }

    sorted() {
        const { up } = MEASURES.find(({ key }) => key === this.sort) ?? MEASURES[0];
        const only = this.counting.querySelector("input").checked;
        return store.particles
            .filter((p) => !only || p.state === "counts")
            .sort(
                (a, b) =>
                    compare(measured(a, this.sort).value, measured(b, this.sort).value, up) ||
                    a.id - b.id,
            );
    }

    list() {
        if (this.panel.hidden) return;
        const sorted = this.sorted();
        const at = sorted.findIndex(({ id }) => id === store.selected);
        this.rows = Math.max(this.rows, at + 20);
        const rest = sorted.length - this.rows;
        this.body.replaceChildren(
            ...sorted.slice(0, this.rows).map((p) => this.row(p)),
            ...(rest > 0
                ? [
                      h(
                          "button",
                          {
                              type: "button",
                              onclick: () => {
                                  this.rows += SHOWN_AT_ONCE;
                                  this.list();
                              },
                          },
                          `${rest} more`,
                      ),
                  ]
                : []),
        );
        if (sorted.length === 0) this.body.append(h("p", { class: "soft" }, "No particle here."));
        const row = this.body.querySelector("[aria-selected=true]");
        this.body.setAttribute("aria-activedescendant", row?.id ?? "");
        row?.scrollIntoView({ block: "nearest" });
    }

    row(particle) {
        const key = this.sort === "doubt" || this.sort === "form" ? "shape_factor" : this.sort;
        const words =
            particle.state !== "counts"
                ? particle.state_words
                : this.sort === "doubt"
                  ? (particle.doubt_words ?? "")
                  : "";
        return h(
            "div",
            {
                role: "option",
                id: `particle-${particle.id}`,
                class: `row ${particle.state}`,
                "aria-selected": String(particle.id === store.selected),
                onclick: () => this.goTo(particle),
            },
            h("b", {}, String(particle.id)),
            h(
                "span",
                {},
                particle.form ? `form ${particle.form}${particle.by_hand ? " by hand" : ""}` : "",
            ),
            h(
                "span",
                { class: "n" },
                key === "id" ? shown(particle, "feret") : shown(particle, key),
            ),
            h("small", {}, words),
        );
    }

    listKey(event) {
        const by = { ArrowDown: 1, ArrowUp: -1, PageDown: 10, PageUp: -10 }[event.key];
        if (!by) return;
        event.preventDefault();
        event.stopPropagation();
        const sorted = this.sorted();
        const at = sorted.findIndex(({ id }) => id === store.selected);
        const next = sorted[Math.max(0, Math.min(sorted.length - 1, at + by))];
        if (next) this.goTo(next);
    }

    goTo(particle) {
        store.selected = null;
        this.view.reveal(particle.box);
        select(particle.id);
        this.view.draw();
        this.say(spoken(particle));
    }

    /* The next particle that counts, nearest to a class border first. */
    walk(by) {
        const doubtful = store.particles
            .filter(({ doubt }) => doubt !== null && doubt !== undefined && doubt < 1)
            .sort((a, b) => a.doubt - b.doubt || a.id - b.id);
        if (doubtful.length === 0) {
            return this.say(
                store.particles.some(({ state }) => state === "counts")
                    ? "No particle of this field is near a class border."
                    : "No particle of this field counts, so none is doubtful.",
            );
        }
        const at = doubtful.findIndex(({ id }) => id === store.selected);
        const next =
            at < 0
                ? by > 0
                    ? 0
                    : doubtful.length - 1
                : (at + by + doubtful.length) % doubtful.length;
        this.goTo(doubtful[next]);
        const near = doubtful.filter(({ doubt }) => doubt < DOUBTFUL).length;
        const rank =
            next < near
                ? `Doubtful ${next + 1} of ${near}`
                : `Beyond the ${near} doubtful, ${next + 1} of ${doubtful.length}`;
        this.say(
            `${rank}: ${doubtful[next].doubt_words}. ` +
                "N goes on, F gives another form.",
        );
    }
}

function spoken(particle) {
    return (
        `Particle ${particle.id}, ${particle.form ? `form ${particle.form}, ` : ""}` +
        `${particle.state_words}.`
    );
}

/* Flakes are no nodules, and nobody asks whether they are. */
function asNodule({ state, nodule }) {
    if (state !== "counts" || store.state.specimen.material === "grey-iron") return "";
    return nodule ? ", as a nodule" : ", not as a nodule";
}

function tagLines(particle) {
    const pair = (words, key) => [h("span", {}, words), h("b", {}, shown(particle, key))];
    const form = particle.form
        ? `form ${particle.form}${particle.by_hand ? `, by hand (was ${particle.form_found})` : ""}`
        : "";
    return [
        h(
            "p",
            {},
            h("b", {}, `Particle ${particle.id}`),
            form ? ` \u00b7 ${form}` : "",
            particle.parted ? " \u00b7 parted" : "",
        ),
        h("p", {}, `${particle.state_words}${asNodule(particle)}`),
        particle.doubt_words ? h("p", { class: "soft" }, particle.doubt_words) : null,
        h(
            "p",
            { class: "pairs" },
            ...[
                pair("shape factor", "shape_factor"),
                pair("max. Feret", "feret"),
                pair("circularity", "circularity"),
                pair("diameter", "diameter"),
                pair("solidity", "solidity"),
                pair("area", "area"),
                pair("aspect", "aspect"),
                pair("size class", "size_class"),
            ].flat(),
        ),
    ].filter(Boolean);
}

/* Missing values last. */
function compare(a, b, up) {
    const none = (value) => value === null || value === undefined || value === "";
    if (none(a) || none(b)) return none(a) - none(b);
    const by = typeof a === "string" ? a.localeCompare(b) : a - b;
    return up ? by : -by;
}
