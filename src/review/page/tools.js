/* tools.js - what can be corrected in the picture: each tool a word, a key, a drawing, a
 * reason.
 *
 * A tool stays in hand until Esc or its key again, for what is wrong is seldom wrong once.
 * While one is in hand, arrows move a cross-hair and Enter sets a point; without, arrows move
 * the picture.
 */
import { ask } from "./ask.js";
import { change, note } from "./changes.js";
import { Gesture, drawCross } from "./gesture.js";
import { getJson } from "./server.js";
import { isMeasured, on, store } from "./store.js";
import { byId, fixed, h } from "./words.js";

const END = "Enter twice ends it";

/* What a tool is called, its key, what is drawn, and what to do next, by pointer and by keys. */
export const TOOLS = [
    {
        id: "box",
        word: "Leave out",
        key: "x",
        kind: "exclude",
        shape: "box",
        hint: "Drag a box over what is no specimen.",
        keys: "Enter sets one corner, then the other.",
    },
    {
        id: "outline",
        word: "Outline",
        key: "o",
        kind: "exclude",
        shape: "outline",
        hint: "Draw round what is to be left out.",
        keys: `Enter sets corners; ${END}.`,
    },
    {
        id: "cut",
        word: "Cut",
        key: "c",
        kind: "cut",
        graphite: true,
        shape: "stroke",
        hint: "Draw a stroke between two nodules that touch.",
        keys: `Enter sets points; ${END}.`,
    },
    {
        id: "join",
        word: "Join",
        key: "j",
        kind: "join",
        graphite: true,
        shape: "two",
        hint: "Click the two parts of a particle that was torn.",
        keys: "Enter sets each point.",
    },
    {
        id: "phase",
        word: "Phase",
        key: "p",
        kind: "phase",
        shape: "one",
        hint: "Click a region to give it another phase.",
        keys: "Enter takes the one under the cross.",
    },
    {
        id: "form",
        word: "Form",
        key: "f",
        kind: "form",
        graphite: true,
        shape: "one",
        hint: "Click a particle to give it another form.",
        keys: "Enter takes the one under the cross.",
    },
    {
        id: "scale",
        word: "Scale",
        key: "l",
        kind: "scale",
        shape: "line",
        hint: "Draw along a scale bar, or click one that was found.",
        keys: "Enter sets one end, then the other.",
    },
    {
        id: "why",
        word: "Ask why",
        key: "w",
        shape: "one",
        hint: "Click anywhere to see step by step why it is that phase.",
        keys: "Enter asks.",
    },
];

export class Tools {
    constructor(view, particles, say) {
        Object.assign(this, { view, particles, say });
        this.tool = null;
        this.cross = null;
        view.layers.push((context) => this.draw(context));
        byId("tools").append(
            ...TOOLS.map((tool) =>
                h(
                    "button",
                    {
                        type: "button",
                        id: `tool-${tool.id}`,
                        "aria-pressed": "false",
                        "aria-keyshortcuts": tool.key,
                        onclick: () => this.take(tool),
                    },
                    `${tool.word} `,
                    h("kbd", {}, tool.key.toUpperCase()),
                ),
            ),
        );
        on("field", () => this.put());
        on("state", () => this.offer());
        on("selected", () => this.toSelected());
    }

    /* Steel has no graphite to cut, join or name a form of. */
    offer() {
        const graphite = store.state.phases.some(({ word }) => word === "graphite");
        for (const { id, graphite: needed } of TOOLS) {
            byId(`tool-${id}`).hidden = needed === true && !graphite;
        }
    }

    byKey(key) {
        const tool = TOOLS.find((one) => one.key === key);
        if (tool && !byId(`tool-${tool.id}`).hidden) this.take(tool);
        return tool !== undefined;
    }

    /* Takes a tool in hand; the one in hand is put down. */
    take(tool) {
        const particle = this.particles.selected();
        if (this.tool === tool && !(tool.id === "form" && particle)) return this.put();
        this.put();
        if (!isMeasured(store.field)) return this.say("This field is not measured.");
        this.tool = tool;
        this.gesture = new Gesture(this.view, tool.shape, {
            done: (points) => this.drawn(points),
            progress: (gesture) => this.progress(gesture),
            whole: (place) => (tool.id === "scale" ? barAt(place) : null),
        });
        this.view.grip = this.gesture;
        this.mark();
        this.say(`${tool.hint} By keys: arrows; ${tool.keys}`);
        this.view.canvas.focus({ preventScroll: true });
        /* a particle that was walked to is what the next correction is most likely about */
        this.cross = particle ? [particle.x, particle.y] : null;
        if (particle && tool.id === "form") this.drawn([[particle.x, particle.y]]);
        this.view.draw();
    }

    /* The cross goes along on the walk through the particles. */
    toSelected() {
        const particle = this.particles.selected();
        if (this.tool && particle) this.cross = [particle.x, particle.y];
    }

    put() {
        if (!this.tool) return false;
        this.tool = null;
        this.view.grip = null;
        this.cross = null;
        this.mark();
        this.say("");
        this.view.draw();
        return true;
    }

    mark() {
        for (const tool of TOOLS) {
            byId(`tool-${tool.id}`).setAttribute("aria-pressed", String(tool === this.tool));
        }
        this.view.canvas.classList.toggle("drawing", this.tool !== null);
    }

    /* ---- keys in the picture ---- */

    /* True when the key was for the tool in hand. */
    key(event) {
        if (!this.tool) return false;
        const step = (event.shiftKey ? 24 : 4) / this.view.scale;
        const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[
            event.key
        ];
        if (by) {
            const [x, y] = this.cross ?? [this.view.x, this.view.y];
            this.cross = this.gesture.inside([x + by[0] * step, y + by[1] * step]);
            this.gesture.live = this.cross;
            this.view.follow(this.cross);
            this.view.draw();
        } else if (event.key === "Enter") {
            this.cross ??= [this.view.x, this.view.y];
            this.gesture.enter(this.cross);
        } else if (event.key === "Backspace") {
            this.gesture.back();
        } else if (event.key === "Escape") {
            if (!this.gesture.back()) this.put();
            else if (this.gesture.points.length > 0) this.gesture.clear();
        } else return false;
        return true;
    }

    draw(context) {
        if (!this.tool) return;
        if (this.tool.id === "scale") this.drawBars(context);
        this.gesture.draw(context);
        if (this.cross) drawCross(context, this.view.toScreen(this.cross));
    }

    drawBars(context) {
        for (const bar of store.field.bars ?? []) {
            const [x, y] = this.view.toScreen([bar.x, bar.y]);
            context.setLineDash([6, 4]);
            context.lineWidth = 2;
            context.strokeStyle = "#ffcf33";
            context.strokeRect(
                x - 4,
                y - 4,
                bar.w * this.view.scale + 8,
                bar.h * this.view.scale + 8,
            );
            context.setLineDash([]);
        }
    }

    progress(gesture) {
        if (this.tool?.id !== "scale" || gesture.shape.length < 2) return;
        const [[x0, y0], [x1, y1]] = [gesture.shape[0], gesture.shape.at(-1)];
        this.say(`${fixed(Math.hypot(x1 - x0, y1 - y0), 1)} pixels long.`, true);
    }

    /* ---- a drawing that is whole ---- */

    async drawn(points) {
        const { tool, gesture } = this;
        const at = this.onPage(points.at(-1));
        if (tool.id === "why") {
            await this.why(points[0]);
        } else {
            const body = await this.question(tool, points, at);
            if (body) await change({ kind: tool.kind, fields: [store.index], ...body });
        }
        gesture.clear();
        this.view.canvas.focus({ preventScroll: true });
    }

    onPage(place) {
        const box = this.view.canvas.getBoundingClientRect();
        const [x, y] = this.view.toScreen(place);
        return [box.left + x, box.top + y];
    }

    /* Asks what the drawing does not say; the change's own part of it, or null. */
    async question(tool, points, at) {
        const asked = (question) => ask({ kind: tool.kind, at, ...question });
        const by = (answer, body) =>
            answer ? { who: answer.who, why: answer.why, ...body(answer) } : null;
        switch (tool.id) {
            case "box":
                return by(await asked({ title: "Leave this out" }), () => ({
                    rect: boxOf(points),
                }));
            case "outline":
                return by(await asked({ title: "Leave this out" }), () => ({ points }));
            case "cut":
                return by(await asked({ title: "Cut here" }), () => ({ points }));
            case "join":
                return by(await asked({ title: "Join these two" }), () => ({ points }));
            case "phase":
                return by(
                    await asked({
                        title: "This region is",
                        choiceWords: "Phase",
                        choices: phaseChoices(),
                    }),
                    ({ choice }) => ({ points, phase: choice }),
                );
            case "form":
                return this.formQuestion(points, asked, by);
            default:
                return this.scaleQuestion(points, asked, by);
        }
    }

    async formQuestion(points, asked, by) {
        const particle = this.particles.find(points[0]);
        if (!particle) {
            note("refused", "There is no particle. Point at one that is outlined.");
            return null;
        }
        return by(
            await asked({
                title: `Particle ${particle.id} is of`,
                choiceWords: "Form",
                choices: store.state.forms.map((form) => ({
                    value: form,
                    words: `form ${form}`,
                    now: form === particle.form,
                })),
            }),
            ({ choice }) => ({ points, form: choice }),
        );
    }

    async scaleQuestion(points, asked, by) {
        const [[x0, y0], [x1, y1]] = points;
        const pixels = Math.hypot(x1 - x0, y1 - y0);
        if (pixels < 2) return null;
        const others = store.state.fields.filter(
            (f) => isMeasured(f) && f.pixel_size_um === null,
        ).length;
        const all =
            store.state.fields.length > 1
                ? { words: `for all ${store.state.fields.length} fields`, on: others > 1 }
                : null;
        const answer = await asked({ title: `${fixed(pixels, 1)} pixels`, length: true, all });
        return by(answer, ({ length, all: every }) => ({
            points,
            length_um: length,
            ...(every ? { fields: store.state.fields.map(({ index }) => index) } : {}),
        }));
    }

    /* How a point became what it is. */
    async why([x, y]) {
        const place = `x=${Math.floor(x)}&y=${Math.floor(y)}`;
        try {
            const { phase, steps } = await getJson(`field/${store.index}/why?${place}`);
            note(
                "steps",
                h("b", {}, `${Math.floor(x)}, ${Math.floor(y)}: ${phase ?? "left out"}`),
                h("ol", {}, ...steps.map((step) => h("li", {}, step.says))),
            );
        } catch (error) {
            note("refused", error.message);
        }
    }
}

/* Phases to choose from, and none of them last. */
function phaseChoices() {
    const none = ({ word }) => word === "excluded";
    const phases = store.state.phases.filter((phase) => !none(phase));
    return [
        ...phases.map(({ word }) => ({ value: word, words: word })),
        ...store.state.phases.filter(none).map(({ word }) => ({
            value: word,
            words: "none: leave it out",
        })),
    ];
}

/* Ends of the scale bar that was found at a place, or null. */
function barAt([px, py]) {
    const bar = (store.field.bars ?? []).find(
        ({ x, y, w, h: tall }) =>
            px >= x - 6 && px <= x + w + 6 && py >= y - 6 && py <= y + tall + 6,
    );
    if (!bar) return null;
    const middle = bar.y + bar.h / 2,
        left = bar.x + (bar.w - bar.length_px) / 2;
    return [
        [left, middle],
        [left + bar.length_px, middle],
    ];
}

function boxOf(points) {
    const [[x0, y0], [x1, y1]] = points;
    const x = Math.floor(Math.min(x0, x1)),
        y = Math.floor(Math.min(y0, y1));
    return [
        x,
        y,
        Math.max(1, Math.ceil(Math.max(x0, x1)) - x),
        Math.max(1, Math.ceil(Math.max(y0, y1)) - y),
    ];
}
