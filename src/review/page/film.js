/* film.js - the fields in a row, each with what was found about it. */
import { fieldName, isMeasured, on, showField, store } from "./store.js";
import { byId, h, plural } from "./words.js";

const MARKS = { "not fit": "!", usable: "\u25b3" };

function wordsOf(field) {
    if (field.error) return "not measured";
    if (!isMeasured(field)) return "being measured";
    const telling = field.findings.filter(({ severity }) => severity !== "note").length;
    return [field.fitness, telling > 0 ? plural(telling, "finding") : ""]
        .filter(Boolean)
        .join(", ");
}

function frame(field) {
    const words = wordsOf(field),
        mark = field.error ? "!" : MARKS[field.fitness];
    return h(
        "li",
        {},
        h(
            "button",
            {
                type: "button",
                "data-index": String(field.index),
                "aria-label": `Field ${field.index + 1}, ${fieldName(field)}: ${words}`,
                title: `${fieldName(field)}: ${words}`,
                onclick: () => showField(field.index),
            },
            !isMeasured(field)
                ? h("span", { class: "empty" })
                : h("img", {
                      src: `field/${field.index}/thumb?r=${field.r}`,
                      alt: "",
                      loading: "lazy",
                      draggable: "false",
                  }),
            h(
                "span",
                {},
                mark
                    ? h(
                          "i",
                          {
                              class:
                                  field.error || field.fitness === "not fit"
                                      ? "serious"
                                      : "warning",
                          },
                          mark,
                      )
                    : "",
                ` ${fieldName(field)}`,
            ),
        ),
    );
}

export function startFilm() {
    const film = byId("film");
    let shown = "";
    const renew = () => {
        const { fields } = store.state;
        film.hidden = fields.length < 2;
        const now = JSON.stringify(
            fields.map((f) => [f.r, f.measured, f.error, f.findings.length]),
        );
        if (now !== shown) film.replaceChildren(...fields.map(frame));
        shown = now;
        for (const button of film.querySelectorAll("button")) {
            const here = Number(button.dataset.index) === store.index;
            button.setAttribute("aria-current", String(here));
            if (here) button.scrollIntoView({ block: "nearest", inline: "nearest" });
        }
    };
    on("state", renew);
    on("field", renew);
}
