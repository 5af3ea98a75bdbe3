/* signing.js - name and remark under the result, and what the seal tells and does not tell. */
import { nameOf } from "./ask.js";
import { isBusy, sign } from "./changes.js";
import { on, store } from "./store.js";
import { h, kept, plural, time } from "./words.js";

/* What a careful person would look at first; never in the way of signing. */
function before() {
    const { fields, findings } = store.state;
    const unseen = fields.filter(({ index }) => !store.seen.has(index)).length;
    const serious = [...findings, ...fields.flatMap((field) => field.findings)].filter(
        ({ severity }) => severity === "serious",
    ).length;
    const refused = fields.filter(({ error }) => error).length;
    return [
        unseen > 0
            ? `${plural(unseen, "field")} of ${fields.length} not looked at in this window`
            : "",
        serious > 0 ? `${plural(serious, "serious finding")}` : "",
        refused > 0 ? `${plural(refused, "field")} not measured` : "",
    ].filter(Boolean);
}

function sealed({ who, at, remark, digest, intact, changed }) {
    return h(
        "div",
        { class: intact ? "sealed" : "broken" },
        h(
            "p",
            {},
            h(
                "b",
                {},
                intact ? "Signed by " : "Changed since it was signed by ",
                h("bdi", {}, who),
                `, ${time(at)}`,
            ),
        ),
        remark ? h("p", {}, "\u201c", h("bdi", {}, remark), "\u201d") : "",
        intact
            ? h(
                  "p",
                  {},
                  h(
                      "a",
                      { href: "report.html", target: "_blank", rel: "noopener" },
                      "Open the signed report",
                  ),
              )
            : h(
                  "p",
                  {},
                  `No longer as it was: ${changed.join(", ") || "the result"}. ` +
                      "Sign again when it is as you stand for it.",
              ),
        h("p", { class: "digest" }, digest),
    );
}

export function startSigning(panel) {
    const name = h("input", {
        name: "who",
        required: true,
        maxlength: "100",
        autocomplete: "name",
    });
    const remark = h("textarea", { name: "remark", rows: "2", maxlength: "1000" });
    const seal = h("div", {}),
        first = h("div", {});
    const form = h(
        "form",
        {
            onsubmit: async (event) => {
                event.preventDefault();
                if (isBusy()) return;
                kept.set("who", name.value.trim());
                if (await sign(name.value.trim(), remark.value.trim())) remark.value = "";
            },
        },
        h("label", { class: "row" }, "Name", name),
        h("label", { class: "row" }, "Remark", remark),
        h(
            "p",
            { class: "stays" },
            h("button", { type: "submit", class: "main" }, "Sign this result"),
        ),
        h(
            "p",
            { class: "soft" },
            "Signing measures everything once more with the record, writes the report " +
                "and seals it with a digest over pictures, settings, record and figures. The " +
                "seal tells whether anything was changed afterwards. It does not prove who " +
                "signed: that is for your laboratory's own rules.",
        ),
    );
    panel.replaceChildren(seal, first, form);
    const renew = () => {
        const { signed } = store.state,
            open = before();
        seal.replaceChildren(...(signed ? [sealed(signed)] : []));
        first.replaceChildren(
            ...(open.length > 0 && !signed?.intact
                ? [
                      h("p", { class: "soft" }, "Before you sign: "),
                      h("ul", { class: "soft" }, ...open.map((words) => h("li", {}, words))),
                  ]
                : []),
        );
        form.hidden = signed?.intact === true;
        if (name.value === "") name.value = nameOf();
    };
    on("state", renew);
    on("field", renew);
}
