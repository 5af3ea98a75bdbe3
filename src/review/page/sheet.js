/* sheet.js - the result beside the picture: specimen, seal, figures with their intervals, limits,
 * and what is to be known of the field that is looked at.
 *
 * Figures stay in view whatever is done; one that moved shows what it was before.
 */
import { NOT, outlineKey } from "./outlines.js";
import { fieldName, hasPicture, isMeasured, on, store } from "./store.js";
import { swatch } from "./tint.js";
import {
    byId,
    fixed,
    h,
    percent,
    plural,
    short,
    significant,
    svg,
    time,
    withUnit,
} from "./words.js";

/* Outcome of a limit: sign and word, so that it does not hang on colour. */
const OUTCOMES = {
    accept: ["\u2714", "meets"],
    reject: ["\u2718", "fails"],
    undecided: ["?", "undecided on"],
};
const VERDICTS = {
    accept: "Accepted",
    reject: "Rejected",
    undecided: "Undecided",
    none: "No limits are set",
};
const LEAD = 5; /* figures that are always shown */
const MARKS = { serious: "!", warning: "\u25b3", note: "\u00b7" };

/* ---- head ---- */

const spaced = (name) => (name ?? "").replaceAll("-", " ");

function head() {
    const { specimen, verdict, limits, signed } = store.state;
    byId("specimen").textContent = specimen.id || "Specimen without a name";
    document.title = `${specimen.id || "keelblock"} \u00b7 review`;
    byId("about").textContent = [spaced(specimen.material), specimen.laboratory]
        .filter(Boolean)
        .join(" \u00b7 ");
    byId("seal").replaceChildren(...sealLine(signed));
    byId("seal").className = !signed ? "open" : signed.intact ? "sealed" : "broken";
    if (store.state.concluded === false) return h("p", { class: "verdict" }, progress());
    return h(
        "p",
        { class: `verdict ${verdict}` },
        h("b", {}, `${OUTCOMES[verdict]?.[0] ?? ""} ${VERDICTS[verdict] ?? verdict}`),
        limits.length > 0 ? ` \u00b7 ${plural(limits.length, "limit")}` : "",
    );
}

/* Before all fields are measured there is no figure of the specimen. */
function progress() {
    const { fields } = store.state;
    const refused = fields.filter(({ error }) => error).length;
    const done = fields.filter((field) => field.error || isMeasured(field)).length;
    if (done < fields.length) return `Measuring: ${done} of ${plural(fields.length, "field")} done`;
    return refused > 0
        ? `No figures: ${plural(refused, "field")} not measured`
        : "Measuring \u2026";
}

function sealLine(signed) {
    if (!signed) return ["Not signed yet"];
    if (signed.intact) {
        return [h("b", {}, "Signed by ", h("bdi", {}, signed.who)), `, ${time(signed.at)}`];
    }
    return [
        h("b", {}, "Changed since it was signed"),
        ` by ${signed.who}: `,
        signed.changed.join(", ") || "the result",
        ". Not signed as it stands.",
    ];
}

/* ---- figures ---- */

export const shownValue = ({ value, digits }) => fixed(value, digits);

function figureRow(figure, before) {
    const { key, words, value, low, high, unit, of, digits, reason } = figure;
    const limit = store.state.limits.filter((one) => one.key === key);
    const name = h("dt", {}, words, of ? h("small", {}, ` ${of}`) : "");
    if (value === null) {
        return h(
            "div",
            { class: "figure none", "data-key": key },
            name,
            h("dd", {}, h("small", {}, reason || "not measured")),
        );
    }
    const interval =
        low !== null && high !== null && low !== undefined
            ? `${fixed(low, digits)} \u2026 ${fixed(high, digits)}`
            : "no interval";
    const was =
        before && before.value !== null && shownValue(before) !== shownValue(figure)
            ? h("span", { class: "was" }, `was ${shownValue(before)}`)
            : null;
    return h(
        "div",
        { class: `figure ${limit[0]?.outcome ?? ""}`, "data-key": key },
        name,
        h(
            "dd",
            {},
            h(
                "b",
                { class: "value", "data-value": String(value) },
                withUnit(fixed(value, digits), unit),
            ),
            was,
            h("span", { class: "interval" }, interval),
            ...limit.map((one) => h("span", { class: `limit ${one.outcome}` }, limitWords(one))),
        ),
    );
}

/* A limit without the name that stands above it. */
function limitWords({ words, text, outcome }) {
    const bare = text.startsWith(words) ? text.slice(words.length).trim() : text;
    const [sign, says] = OUTCOMES[outcome] ?? ["", outcome];
    return h(
        "span",
        { title: `${says} ${text}`, "aria-label": `${says} ${text}` },
        `${sign} ${bare}`,
    );
}

/* Figures that one asks for, opened and closed by hand and left so. */
function folded(words, rows, open = false) {
    if (rows.length === 0) return "";
    const kind = words.replace(/^\d+ /, "")[0];
    const fold = h("details", { open: unfolded.get(kind) ?? open });
    fold.append(h("summary", {}, words), h("dl", {}, ...rows));
    fold.addEventListener("toggle", () => unfolded.set(kind, fold.open));
    return fold;
}

const unfolded = new Map();

/* Those that limits hang on and the first few; the others folded. */
function figures(before) {
    const old = new Map((before?.figures ?? []).map((figure) => [figure.key, figure]));
    const { figures: all, limits } = store.state;
    const limited = new Set(limits.map(({ key }) => key));
    const row = (figure) => figureRow(figure, old.get(figure.key));
    const given = all.filter(({ value }) => value !== null);
    const lead = given.filter(({ key }, i) => i < LEAD || limited.has(key));
    const more = given.filter((figure) => !lead.includes(figure));
    const missing = all.filter(({ value }) => value === null);
    const loose = limits.filter(({ key }) => !all.some((figure) => figure.key === key));
    byId("figures").replaceChildren(
        head(),
        h("dl", {}, ...lead.map(row)),
        ...loose.map(({ words, text, outcome }) =>
            h(
                "p",
                { class: `limit ${outcome}` },
                `${OUTCOMES[outcome]?.[0] ?? ""} ${words}: ${text}`,
            ),
        ),
        folded(plural(more.length, "more figure"), more.map(row)),
        store.state.concluded === false
            ? "" /* all for the one reason that stands above */
            : folded(
                  `${missing.length} not given, and why`,
                  missing.map(row),
                  given.length === 0,
              ),
    );
}

/* ---- the field ---- */

export function findingList(findings) {
    return h(
        "ul",
        { class: "findings" },
        ...findings.map(({ severity, text }) =>
            h(
                "li",
                { class: severity },
                h("i", { "aria-hidden": "true" }, MARKS[severity] ?? "\u00b7"),
                h("span", {}, text),
            ),
        ),
    );
}

const COUNT_WORDS = {
    counts: "count",
    on_frame: "cut by the frame",
    on_exclusion: "at what is left out",
    under_size: "under size",
    no_scale: "without scale",
};

function facts(field) {
    const row = (words, value) =>
        value ? h("div", {}, h("dt", {}, words), h("dd", {}, value)) : null;
    const nodules = store.state.specimen.material !== "grey-iron"; /* flakes have no nodularity */
    const counts = Object.entries(COUNT_WORDS)
        .filter(([key]) => field.counts?.[key] > 0)
        .map(([key, words]) => `${field.counts[key]} ${words}`)
        .join(", ");
    const scale =
        field.pixel_size_um === null
            ? "not known; draw along a scale bar with L"
            : `${short(field.pixel_size_um)} \u00b5m a pixel, ${field.scale_source ?? ""}`;
    return h(
        "dl",
        { class: "facts" },
        ...[
            row("particles", counts),
            row(
                "nodularity",
                nodules && field.nodularity_percent != null
                    ? withUnit(significant(field.nodularity_percent), "%")
                    : "",
            ),
            row(
                "nodules",
                nodules && field.nodules_per_mm2 != null
                    ? withUnit(significant(field.nodules_per_mm2), "/mm\u00b2")
                    : "",
            ),
            row(
                "pearlite of the matrix",
                field.pearlite_of_matrix != null ? percent(field.pearlite_of_matrix) : "",
            ),
            row("scale", scale),
            row("seen", field.contrast),
            row("preparation", field.fitness),
        ].filter(Boolean),
    );
}

function fieldPanel(panel) {
    const { field } = store;
    const about = h(
        "h2",
        {},
        fieldName(field),
        h(
            "small",
            {},
            ` ${store.index + 1} of ${store.state.fields.length}`,
            hasPicture(field) ? `, ${field.width} \u00d7 ${field.height}` : "",
        ),
    );
    if (field.error) {
        panel.replaceChildren(
            about,
            h(
                "p",
                { class: "refusal" },
                h("b", {}, "Not measured: "),
                `${field.error.what}. `,
                field.error.do ?? "",
            ),
        );
        return;
    }
    if (!isMeasured(field)) {
        panel.replaceChildren(about, h("p", { class: "soft" }, "Being measured \u2026"));
        return;
    }
    panel.replaceChildren(
        about,
        findingList(field.findings),
        facts(field),
        store.state.findings.length > 0 ? h("h2", {}, "Of the whole result") : "",
        findingList(store.state.findings),
    );
}

function legend() {
    const { phases } = store.field;
    byId("phases").replaceChildren(
        ...(!phases
            ? []
            : Object.entries(phases)
                  .filter(([, fraction]) => fraction !== null && fraction > 0)
                  .map(([word, fraction]) =>
                      h("li", {}, swatch(word), `${word} `, h("b", {}, percent(fraction))),
                  )),
        ...outlineKey(store.particles, store.state.specimen.material).map(({ colour, words }) =>
            h("li", { class: "outlined" }, sample(colour), words),
        ),
    );
}

/* A piece of an outline, as the picture has it. */
function sample(colour) {
    const dashes = colour === NOT ? { "stroke-dasharray": "5 4" } : {};
    const line = (stroke, width, more = {}) =>
        svg("line", { x1: 0, y1: 3, x2: 22, y2: 3, stroke, "stroke-width": width, ...more });
    return svg(
        "svg",
        { width: 22, height: 6, "aria-hidden": "true" },
        line("#555", 5),
        line(colour, 2.5, dashes),
    );
}

export function startSheet(panel) {
    on("state", (before) => {
        figures(before);
        fieldPanel(panel);
        legend();
    });
    on("field", () => {
        fieldPanel(panel);
        legend();
    });
    on("particles", legend);
}
