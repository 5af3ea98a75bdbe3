/* histogram.js - grey levels of the field, and the thresholds that part them.
 *
 * While a threshold is dragged, the picture in view is coloured by grey level alone, and
 * labelled so. When it is let go, the reason is asked, the program measures with it, and the
 * phases proper come. A threshold is a slider for the keyboard and for screen readers: arrows
 * move it by one level, Shift by ten, Enter takes it, Esc puts it back.
 */
import { ask } from "./ask.js";
import { change } from "./changes.js";
import { isMeasured, look, on, store } from "./store.js";
import { LOOKS, PHASES } from "./tint.js";
import { h, short, svg } from "./words.js";

const WIDE = 256,
    HIGH = 72; /* of the drawing, units */

const WORDS = { dark: "dark threshold", bright: "bright threshold", threshold: "threshold" };

/* Threshold in levels of the file, where evened tiles up to `level8` are below it: the dark one is
 * the last level below, the bright one the first above, as options and job file have them. */
function fileLevel({ grey_low: low, grey_high: high }, { name }, level8) {
    const level = name === "bright" ? level8 + 1 : level8;
    return low + (level / 255) * (high - low);
}

export class Histogram {
    constructor(panel) {
        this.box = h("div", { class: "histogram" });
        panel.append(this.box);
        this.levels = null; /* while one is moved */
        on("field", () => this.build());
        on("state", () => {
            if (!this.levels) this.build();
        });
    }

    build() {
        const { field } = store;
        this.levels = null;
        const none = !isMeasured(field) || field.thresholds.length === 0;
        this.box.hidden = none;
        if (none) return;
        this.drawing = svg("svg", {
            viewBox: `0 0 ${WIDE} ${HIGH}`,
            preserveAspectRatio: "none",
            "aria-hidden": "true",
        });
        this.grips = field.thresholds.map((threshold, i) => this.grip(threshold, i));
        const byHand = field.thresholds.some(({ origin }) => origin === "by hand");
        this.box.replaceChildren(
            h("h2", {}, "Grey levels ", h("kbd", {}, "G")),
            h(
                "div",
                { class: "plot", onpointerenter: () => this.ready() },
                this.drawing,
                ...this.grips,
            ),
            h(
                "p",
                { class: "line soft" },
                (this.words = h("span", {})),
                byHand
                    ? h(
                          "button",
                          { type: "button", class: "quiet", onclick: () => this.reset() },
                          "As found",
                      )
                    : null,
            ),
        );
        this.draw();
    }

    /* The evened tiles are fetched before the first drag needs them. */
    ready() {
        if (store.evenedSoon) return;
        look({ evenedSoon: true });
    }

    grip(threshold, i) {
        const grip = h("div", {
            class: "grip",
            role: "slider",
            tabindex: "0",
            "aria-valuemin": "0",
            "aria-valuemax": "255",
            "aria-orientation": "horizontal",
            "aria-label": WORDS[threshold.name] ?? threshold.name,
            onfocus: () => this.ready(),
            onkeydown: (event) => this.key(event, i),
            onblur: () => this.blur(),
            onpointerdown: (event) => {
                event.preventDefault();
                grip.focus();
                grip.setPointerCapture(event.pointerId);
                this.begin();
            },
            onpointermove: (event) => {
                if (grip.hasPointerCapture(event.pointerId)) this.move(i, this.levelAt(event));
            },
            onlostpointercapture: () => this.take(i),
        });
        return grip;
    }

    levelAt(event) {
        const box = this.drawing.getBoundingClientRect();
        return Math.round(((event.clientX - box.left) / box.width) * WIDE - 0.5);
    }

    now() {
        return this.levels ?? store.field.thresholds.map(({ level8 }) => level8);
    }

    begin() {
        this.levels ??= this.now();
        this.from ??= [...this.levels];
    }

    /* Thresholds do not pass each other. */
    move(i, level) {
        this.begin();
        const levels = [...this.levels];
        const least = i > 0 ? levels[i - 1] + 1 : 0;
        const most = i + 1 < levels.length ? levels[i + 1] - 1 : 254;
        levels[i] = Math.max(least, Math.min(most, level));
        if (levels[i] === this.levels[i]) return;
        this.levels = levels;
        look({ preview: { levels } });
        this.draw();
    }

    key(event, i) {
        const by = {
            ArrowLeft: -1,
            ArrowDown: -1,
            ArrowRight: 1,
            ArrowUp: 1,
            PageDown: -10,
            PageUp: 10,
        }[event.key];
        if (by) this.move(i, Math.round(this.now()[i]) + by * (event.shiftKey ? 10 : 1));
        else if (event.key === "Enter") this.take(i);
        else if (event.key === "Escape" && this.levels) this.drop();
        else return;
        event.preventDefault();
        event.stopPropagation();
    }

    /* Left with Tab while moved: nothing is recorded unasked. */
    blur() {
        if (this.levels && !this.asking) this.drop();
    }

    drop() {
        this.levels = this.from = null;
        look({ preview: null });
        this.draw();
    }

    moved() {
        return this.levels !== null && this.levels.some((level, i) => level !== this.from[i]);
    }

    async take(i) {
        if (!this.moved()) return this.drop();
        const { field } = store;
        const box = this.grips[i].getBoundingClientRect();
        this.asking = true;
        const alike = alikeFields(field);
        const answer = await ask({
            kind: "thresholds",
            title:
                `${WORDS[field.thresholds[i].name]} at ` +
                `${short(fileLevel(field, field.thresholds[i], this.levels[i]))}`,
            at: [box.left - 60, box.top],
            all:
                alike.length > 1
                    ? { words: `for all ${alike.length} fields taken like this one`, on: false }
                    : null,
        });
        if (answer) await change(this.body(answer, i, alike));
        this.asking = false;
        this.drop();
        this.build();
        this.grips[i]?.focus();
    }

    /* The one that was moved by its new level; the others stay as they are, found or by hand. */
    body(answer, i, alike) {
        const { field } = store;
        const body = {
            kind: "thresholds",
            who: answer.who,
            why: answer.why,
            dark: null,
            bright: null,
            fields: answer.all ? alike : [store.index],
        };
        field.thresholds.forEach(({ name, level, origin }, k) => {
            const key = name === "bright" ? "bright" : "dark";
            if (k === i) body[key] = fileLevel(field, field.thresholds[k], this.levels[k]);
            else if (origin === "by hand") body[key] = level;
        });
        return body;
    }

    async reset() {
        const answer = await ask({
            kind: "thresholds",
            title: "Thresholds as found",
            at: [this.box.getBoundingClientRect().left - 60, this.box.getBoundingClientRect().top],
        });
        if (!answer) return;
        await change({
            kind: "thresholds",
            fields: [store.index],
            dark: null,
            bright: null,
            who: answer.who,
            why: answer.why,
        });
    }

    focus() {
        this.grips?.[0]?.focus();
    }

    draw() {
        const { field } = store;
        const levels = this.now();
        const root = field.histogram.map(Math.sqrt); /* small classes are seen too */
        const top = Math.max(...root, 1);
        this.drawing.replaceChildren(
            ...field.classes.map((word, k) => {
                const from = k > 0 ? Math.floor(levels[k - 1]) + 1 : 0;
                const to = k < levels.length ? Math.floor(levels[k]) : 255;
                return this.bars(root, top, from, to, word);
            }),
        );
        this.grips.forEach((grip, i) => {
            const level = this.levels
                ? fileLevel(field, field.thresholds[i], levels[i])
                : field.thresholds[i].level;
            grip.style.left = `${((levels[i] + 1) / WIDE) * 100}%`;
            grip.setAttribute("aria-valuenow", String(Math.round(levels[i])));
            grip.setAttribute(
                "aria-valuetext",
                `${short(level)}: ${field.classes[i] ?? ""} below, ` +
                    `${field.classes[i + 1] ?? ""} above`,
            );
            grip.dataset.level = short(level);
        });
        this.words.textContent = this.levels
            ? "By grey alone. Let go or press Enter to measure."
            : `Drag a limit, or G and the arrow keys. ${field.thresholds
                  .map(({ name, origin }) => `${WORDS[name] ?? name} ${origin}`)
                  .join(", ")}.`;
    }

    bars(root, top, from, to, word) {
        const phase = Math.max(0, PHASES.indexOf(word));
        let path = `M${from} ${HIGH}`;
        for (let level = from; level <= to; level++) {
            const y = (HIGH - (root[level] / top) * (HIGH - 4)).toFixed(1);
            path += `L${level} ${y}H${level + 1}`;
        }
        return svg("path", {
            d: `${path}V${HIGH}Z`,
            fill: `rgb(${LOOKS[phase].rgb.join(",")})`,
            class: "bars",
        });
    }
}

/* Fields of the same contrast with the same classes. */
function alikeFields(field) {
    return store.state.fields
        .filter(
            (other) =>
                isMeasured(other) &&
                other.contrast === field.contrast &&
                String(other.classes) === String(field.classes),
        )
        .map(({ index }) => index);
}
