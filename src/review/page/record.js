/* record.js - what people did, as a list: when, who, why, and which figures it moved.
 *
 * Nothing is ever taken off the record: what was undone stays, struck through.
 */
import { redo, undo } from "./changes.js";
import { drawShape } from "./gesture.js";
import { fieldName, on, showField, store } from "./store.js";
import { figureName, fixed, h, time, withUnit } from "./words.js";

const SHAPES = {
    exclude: "outline",
    cut: "stroke",
    join: "line",
    scale: "line",
    phase: "one",
    form: "one",
};
const QUIET = new Set(["undo", "redo", "sign"]);

/* Points of an entry in the picture; a rectangle by its corners. */
function placeOf({ points, rect }) {
    if (points?.length > 0) return points;
    if (!rect) return [];
    const [x, y, w, tall] = rect;
    return [
        [x, y],
        [x + w, y],
        [x + w, y + tall],
        [x, y + tall],
    ];
}

/* "nodularity 95.6 -> 95.1 %" for the figures that moved. */
function moved({ before, after }) {
    if (!before || !after) return "";
    const { figures } = store.state;
    return figures
        .flatMap((figure) => {
            const { key, digits, unit } = figure;
            const text = (value) =>
                value === null || value === undefined ? "none" : fixed(value, digits);
            const [was, now] = [text(before[key]), text(after[key])];
            return was === now
                ? []
                : [`${figureName(figure, figures)} ${was} \u2192 ${withUnit(now, unit)}`];
        })
        .join("; ");
}

/* The fields that it is for, where there is more than one to choose from. */
function of(fields) {
    const all = store.state.fields;
    if (!fields?.length || all.length < 2) return "";
    return ` \u00b7 ${fields.length === 1 ? fieldName(all[fields[0]]) : `${fields.length} fields`}`;
}

export class Record {
    constructor(view, panel) {
        Object.assign(this, { view, panel, marked: null });
        view.layers.push((context) => this.draw(context));
        on("state", () => this.list());
    }

    list() {
        const { activeElement: at } = document; /* the list is made anew: stay where the keys are */
        const buttons = () => [...this.panel.querySelectorAll("button")];
        const focused = buttons().indexOf(at);
        this.build();
        if (focused >= 0) (buttons()[focused]?.disabled ? this.panel : buttons()[focused])?.focus();
    }

    build() {
        const { record, can_undo: undoable, can_redo: redoable } = store.state;
        const button = (words, key, able, does) =>
            h(
                "button",
                { type: "button", disabled: able === null, onclick: () => does() },
                `${words} `,
                h("kbd", {}, key),
            );
        this.panel.replaceChildren(
            h(
                "p",
                { class: "line" },
                button("Undo", "Z", undoable, undo),
                button("Redo", "Y", redoable, redo),
            ),
            record.length === 0
                ? h(
                      "p",
                      { class: "soft" },
                      "Nothing was changed by hand. What you do is listed here, with your " +
                          "reason and what it did to the figures.",
                  )
                : h(
                      "ol",
                      { class: "record", reversed: true },
                      ...[...record].reverse().map((entry) => this.entry(entry)),
                  ),
        );
    }

    entry(entry) {
        const { seq, at, who, why, kind, fields, words, active } = entry;
        const figures = moved(entry);
        const quiet = QUIET.has(kind);
        return h(
            "li",
            { value: String(seq), class: quiet ? "quiet" : active ? "" : "undone" },
            h(
                "button",
                {
                    type: "button",
                    class: "entry",
                    onmouseenter: () => this.mark(entry),
                    onmouseleave: () => this.mark(null),
                    onfocus: () => this.mark(entry),
                    onblur: () => this.mark(null),
                    onclick: () => this.goTo(entry),
                },
                h("b", {}, words),
                !quiet && !active ? h("span", { class: "soft" }, " undone") : "",
            ),
            why ? h("p", {}, "\u201c", h("bdi", {}, why), "\u201d") : "",
            h("p", { class: "soft" }, h("bdi", {}, who || "no name"), `, ${time(at)}${of(fields)}`),
            figures ? h("p", { class: "soft moved" }, figures) : "",
        );
    }

    mark(entry) {
        this.marked = entry;
        this.view.draw();
    }

    goTo(entry) {
        const [index] = entry.fields ?? [];
        if (index === undefined) return;
        if (index !== store.index) showField(index);
        const points = placeOf(entry);
        if (points.length === 0) return;
        const xs = points.map(([x]) => x),
            ys = points.map(([, y]) => y);
        const left = Math.min(...xs),
            top = Math.min(...ys);
        this.view.reveal(
            [left, top, Math.max(20, Math.max(...xs) - left), Math.max(20, Math.max(...ys) - top)],
            0.25,
        );
        this.marked = entry;
    }

    /* The place of the entry that is pointed at, and the cuts, which nothing else shows. */
    draw(context) {
        if (store.bare) return;
        const cuts = store.state.record.filter(({ kind, active }) => kind === "cut" && active);
        for (const entry of new Set([...cuts, ...(this.marked ? [this.marked] : [])])) {
            if (!entry.fields?.includes(store.index)) continue;
            const at = placeOf(entry).map((place) => this.view.toScreen(place));
            if (at.length > 0) drawShape(context, SHAPES[entry.kind] ?? "one", at);
        }
    }
}
