/* ask.js - the short question that every change asks: why? (And what, where that is not drawn.)
 *
 * A change without a reason cannot be signed for. The last reason for such a change stands
 * ready, so that Enter is enough; the usual ones are a click away. The name is asked the first
 * time and kept in this browser.
 */
import { store } from "./store.js";
import { byId, h, kept } from "./words.js";

/* Usual reasons, most usual first. */
const REASONS = {
    thresholds: [
        "the grey limit was beside the valley",
        "the etch is weaker here",
        "dark pearlite passed for graphite",
    ],
    exclude: [
        "scratch",
        "stain",
        "pull-out",
        "pore, no graphite",
        "edge of the mount",
        "lettering",
    ],
    cut: ["two nodules touch"],
    join: ["one particle, torn by the threshold", "one particle, parted by polish"],
    phase: ["seen at higher magnification", "free ferrite", "fine pearlite", "pore, no graphite"],
    form: ["outline blurred by etch", "nodule cut at its rim", "looks degenerate to the eye"],
    scale: ["read off the scale bar", "stage micrometer taken on the same day"],
};

const reasonOf = (kind) => kept.get(`why.${kind}`) || REASONS[kind][0];

/* Last one first. */
function reasons(kind) {
    return [...new Set([reasonOf(kind), ...REASONS[kind]])].slice(0, 6);
}

/* Who measured need not be who looks: a name is only known once it was said here. */
export const nameOf = () => kept.get("who");

/* Rows of choices; digits choose while none is typed in. */
function choiceRows(words, choices) {
    return h(
        "fieldset",
        {},
        h("legend", {}, words),
        ...choices.map(({ value, words: says, now }, i) =>
            h(
                "label",
                { class: "choice" },
                h("input", { type: "radio", name: "choice", value, checked: now, required: true }),
                ` ${says} `,
                h("kbd", {}, String(i + 1)),
            ),
        ),
    );
}

/* The reason, and the usual ones a click away. */
function whyRows(box, kind) {
    return [
        h(
            "label",
            { class: "row" },
            "Why?",
            box("why", "text", { value: reasonOf(kind), maxlength: 200, required: true }),
        ),
        h(
            "p",
            { class: "usual", "aria-label": "Usual reasons" },
            ...reasons(kind).map((why) =>
                h("button", { type: "button", value: why, class: "reason" }, why),
            ),
        ),
    ];
}

function fields({ kind, choices, choiceWords, length, all }) {
    const box = (name, type, rest) => h("input", { name, type, autocomplete: "off", ...rest });
    return [
        choices ? choiceRows(choiceWords, choices) : null,
        length
            ? h(
                  "label",
                  { class: "row" },
                  "It stands for ",
                  h(
                      "span",
                      {},
                      box("length", "text", { inputmode: "decimal", required: true, size: 8 }),
                      " \u00b5m",
                  ),
              )
            : null,
        ...(kind in REASONS ? whyRows(box, kind) : []),
        all
            ? h(
                  "label",
                  { class: "check" },
                  h("input", { type: "checkbox", name: "all", checked: all.on }),
                  ` ${all.words}`,
              )
            : null,
        h(
            "label",
            { class: "row who" },
            "Your name, for the record",
            box("who", "text", { value: nameOf(), maxlength: 100, required: true }),
        ),
    ].filter(Boolean);
}

/* A length as people write it: a comma is a point. NaN: none. */
function lengthOf(text) {
    const value = Number(
        text
            .trim()
            .replace(",", ".")
            .replace(/\s*(\u00b5m|um)$/, ""),
    );
    return value > 0 && Number.isFinite(value) ? value : NaN;
}

function answerOf(form, kind) {
    const given = new FormData(form);
    const answer = {
        why: given.get("why")?.trim(),
        who: given.get("who").trim(),
        choice: given.get("choice"),
        length: given.has("length") ? lengthOf(given.get("length")) : null,
        all: given.get("all") === "on",
    };
    if (answer.why) kept.set(`why.${kind}`, answer.why);
    kept.set("who", answer.who);
    return answer;
}

/* Digits choose, and go on to the reason. */
function digit(event, form) {
    const choice = form.querySelectorAll("[name=choice]")[Number(event.key) - 1];
    const typing = event.target.type === "text" && !event.target.dataset.untouched;
    if (!choice || typing) return;
    event.preventDefault();
    choice.checked = true;
    form.elements.why.focus();
    form.elements.why.select();
}

function checkLength(form) {
    const box = form.querySelector("[name=length]"); /* form.elements has a length of its own */
    if (!box) return;
    box.setCustomValidity(Number.isNaN(lengthOf(box.value)) ? "A length above 0, such as 100" : "");
}

/* Asks; `at` is the point of the screen that it is about. Resolves to null when it is dropped. */
export function ask(question) {
    const dialog = byId("ask");
    return new Promise((resolve) => {
        let answer = null;
        const form = h(
            "form",
            { method: "dialog" },
            h("h2", { id: "ask-title" }, question.title),
            ...fields(question),
            h(
                "p",
                { class: "ends" },
                h("button", { type: "submit", class: "main" }, "Record it ", h("kbd", {}, "Enter")),
                h(
                    "button",
                    { type: "button", class: "quiet", onclick: () => dialog.close() },
                    "Drop it ",
                    h("kbd", {}, "Esc"),
                ),
            ),
        );
        form.addEventListener("submit", () => {
            answer = answerOf(form, question.kind);
        });
        form.addEventListener("input", () => checkLength(form));
        form.addEventListener("keydown", (event) => digit(event, form));
        form.addEventListener("click", (event) => {
            if (!event.target.classList.contains("reason")) return;
            form.elements.why.value = event.target.value;
            form.requestSubmit();
        });
        dialog.replaceChildren(form);
        dialog.onclose = () => resolve(answer);
        dialog.showModal();
        place(dialog, question.at);
        checkLength(form);
        begin(form);
    });
}

/* The name of whoever is there, asked where it is not known; "" when it is not said. */
export async function whoIsIt() {
    return nameOf() || ((await ask({ kind: "name", title: "Who is it?" }))?.who ?? "");
}

/* Beside the place, wholly on the page. */
function place(dialog, at) {
    const [x, y] = at ?? [innerWidth / 3, innerHeight / 3];
    const { offsetWidth: wide, offsetHeight: high } = dialog;
    const left = x + 24 + wide < innerWidth ? x + 24 : x - 24 - wide;
    dialog.style.left = `${Math.max(8, left)}px`;
    dialog.style.top = `${Math.max(8, Math.min(y - 40, innerHeight - high - 8))}px`;
}

/* The first thing that is not known yet. */
function begin(form) {
    const named = (name) => form.querySelector(`[name=${name}]`);
    const unknown = nameOf() === "" ? named("who") : null;
    const open =
        named("length") ??
        form.querySelector("[name=choice]:checked") ??
        named("choice") ??
        unknown ??
        named("why");
    open.focus();
    if (open.type === "text") {
        open.select();
        open.dataset.untouched = "yes";
        open.addEventListener("input", () => delete open.dataset.untouched, { once: true });
    }
}
