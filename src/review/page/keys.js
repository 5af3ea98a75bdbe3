/* keys.js - every key in one table: what it does, and how `?` tells of it. */
import { TOOLS } from "./tools.js";
import { byId, h } from "./words.js";

/* Keys as the browser names them, how they are shown, and in words what they do. */
const LOOK = [
    { keys: ["+", "="], show: "+", does: "nearer", run: ({ view }) => view.zoomStep(1) },
    { keys: ["-"], show: "\u2212", does: "farther", run: ({ view }) => view.zoomStep(-1) },
    { keys: ["0"], show: "0", does: "the whole field", run: ({ view }) => view.fit() },
    {
        keys: ["1"],
        show: "1",
        does: "one pixel on one of the screen",
        run: ({ view }) => view.native(),
    },
    { keys: [], show: "arrows", does: "move the picture, or the cross of a tool" },
    { keys: [], show: "hold B", does: "the bare picture" },
    { keys: ["["], show: "[", does: "weaker tint", run: ({ tint }) => tint(-0.2) },
    { keys: ["]"], show: "]", does: "stronger tint", run: ({ tint }) => tint(0.2) },
    { keys: ["PageDown", "."], show: "Page\u2193", does: "next field", run: ({ turn }) => turn(1) },
    {
        keys: ["PageUp", ","],
        show: "Page\u2191",
        does: "field before",
        run: ({ turn }) => turn(-1),
    },
    { keys: ["n"], show: "N", does: "next doubtful particle", run: ({ walk }) => walk(1) },
    { keys: ["N"], show: "\u21e7N", does: "back to the one before", run: ({ walk }) => walk(-1) },
];
const RESULT = [
    { keys: ["g"], show: "G", does: "grey levels and thresholds", run: ({ grey }) => grey() },
    { keys: ["z"], show: "Z", does: "undo", run: ({ undo }) => undo() },
    { keys: ["y"], show: "Y", does: "redo", run: ({ redo }) => redo() },
    { keys: ["i"], show: "I", does: "this field", run: ({ tab }) => tab("field") },
    { keys: ["t"], show: "T", does: "list of particles", run: ({ tab }) => tab("particles") },
    { keys: ["r"], show: "R", does: "record", run: ({ tab }) => tab("record") },
    { keys: ["s"], show: "S", does: "sign", run: ({ tab }) => tab("sign") },
    { keys: ["?"], show: "?", does: "these keys", run: () => showKeys() },
];
const DRAWING = [
    { show: "Enter", does: "sets a point; twice at one place ends a line" },
    { show: "\u21e7 arrows", does: "larger steps" },
    { show: "\u232b", does: "takes the last point away" },
    { show: "Esc", does: "drops the drawing, then the tool" },
    { show: "Space, drag", does: "moves the picture with a tool in hand" },
];

export const ACTIONS = [...LOOK, ...RESULT];

export const actionOf = (key) => ACTIONS.find(({ keys }) => keys.includes(key));

function list(words, rows) {
    return h(
        "section",
        {},
        h("h3", {}, words),
        h(
            "dl",
            {},
            ...rows.map(({ show, does }) =>
                h("div", {}, h("dt", {}, h("kbd", {}, show)), h("dd", {}, does)),
            ),
        ),
    );
}

export function showKeys() {
    const dialog = byId("help");
    if (dialog.open) return dialog.close();
    dialog.replaceChildren(
        h("h2", { id: "help-title" }, "Look, correct, sign"),
        h(
            "p",
            {},
            "Look at each field: is what is tinted what it is called? Walk through the doubtful " +
                "particles. Correct what is wrong; each correction asks for a reason, is " +
                "measured at once and put on record. When the figures are what you stand for, " +
                "sign.",
        ),
        h(
            "div",
            { class: "columns" },
            list("Look", LOOK),
            list("Correct", [
                ...TOOLS.map(({ key, word, hint }) => ({
                    show: key.toUpperCase(),
                    does: `${word}: ${hint[0].toLowerCase()}${hint.slice(1)}`,
                })),
                ...DRAWING,
            ]),
            list("Result", RESULT),
        ),
        h(
            "form",
            { method: "dialog" },
            h("button", { class: "main", autofocus: true }, "Close ", h("kbd", {}, "Esc")),
        ),
    );
    dialog.showModal();
}
