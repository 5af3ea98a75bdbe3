/* changes.js - changes on their way to the program, one after the other, and what came of them. */
import { whoIsIt } from "./ask.js";
import { Gone, Refused, post } from "./server.js";
import { store, takeState } from "./store.js";
import { byId, figureName, fixed, h, withUnit } from "./words.js";

let last = Promise.resolve();
let underWay = 0;

/* Says it where it is seen, and to a screen reader. `kind`: "", "refused", "other". */
export function note(kind, ...says) {
    const box = byId("note");
    box.className = kind;
    box.replaceChildren(...says.filter(Boolean));
}

/* Figures that differ, "nodularity 95.6 -> 95.1 %", as many as fit a line. */
export function differences(before, after) {
    if (!before) return [];
    const old = new Map(before.figures.map((figure) => [figure.key, figure]));
    return after.figures.flatMap((now) => {
        const was = old.get(now.key);
        const text = (figure) =>
            figure?.value === null || !figure ? "none" : fixed(figure.value, figure.digits);
        if (text(was) === text(now)) return [];
        const name = figureName(now, after.figures);
        return [`${name} ${text(was)} \u2192 ${withUnit(text(now), now.unit)}`];
    });
}

function tellResult(says, before, after) {
    const moved = differences(before, after);
    note(
        "",
        h("b", {}, says),
        moved.length > 0
            ? ` ${moved.slice(0, 3).join("; ")}`
            : " No figure moved in its last digit.",
    );
}

async function send(path, body, says) {
    const before = store.state;
    underWay++;
    document.body.classList.add("busy");
    note("", "Measuring \u2026");
    try {
        const state = await post(path, { ...body, revision: before.revision });
        takeState(state);
        tellResult(says(state), before, state);
        return true;
    } catch (error) {
        if (error instanceof Refused) {
            note(
                "refused",
                h("b", {}, "Not done: "),
                `${error.message}. `,
                error.advice ? `${error.advice[0].toUpperCase()}${error.advice.slice(1)}.` : "",
            );
        } else if (error instanceof Gone) {
            note(
                "refused",
                h("b", {}, "Not recorded: "),
                `${error.message}. Do it again when it is back.`,
            );
        } else throw error;
        return false;
    } finally {
        underWay--;
        document.body.classList.toggle("busy", underWay > 0);
    }
}

/* In the order they were made, each seeing what came of the one before. */
function queued(path, body, says) {
    last = last.then(() => send(path, body, says));
    return last;
}

export const isBusy = () => underWay > 0;

export function change(body) {
    return queued("change", body, (state) => `${lastWords(state)}.`);
}

/* By whom it is done, then done; nobody who does not say it. */
async function byName(path, says) {
    const who = await whoIsIt();
    return who ? queued(path, { who }, () => says) : false;
}

export function undo() {
    if (store.state.can_undo === null) return note("", "There is nothing to undo.");
    return byName("undo", "Undone.");
}

export function redo() {
    if (store.state.can_redo === null) return note("", "There is nothing to do again.");
    return byName("redo", "Done again.");
}

export function sign(who, remark) {
    return queued("sign", { who, remark }, () => "Signed.");
}

/* The newest line of the record, in words. */
export function lastWords(state) {
    const words = state.record.at(-1)?.words ?? "changed";
    return words[0].toUpperCase() + words.slice(1);
}
