/* server.js - all talk with the program that serves this page.
 *
 * The program is the only writer. A change goes there, is measured and put on record, and comes
 * back as a new state; this window and all others hear of it by waiting for the next revision.
 * Where the program does not answer, nothing is done here in its place: the page says so and asks
 * again until it answers.
 */
const RETRY_MS = 1000;

/* A change that the program cannot apply: what is wrong, and what to do. */
export class Refused extends Error {
    constructor({ what, do: advice }) {
        super(what);
        this.advice = advice ?? "";
    }
}

/* No answer at all. */
export class Gone extends Error {}

async function fetched(path, options) {
    let response;
    try {
        response = await fetch(path, options);
    } catch (error) {
        if (error.name === "AbortError") throw error;
        throw new Gone("the program does not answer");
    }
    if (response.status === 422 || response.status === 409) {
        throw new Refused((await response.json()).error);
    }
    if (!response.ok) throw new Gone(`the program answered ${response.status}`);
    return response;
}

export async function getJson(path, signal) {
    return (await fetched(path, { signal })).json();
}

export async function getBytes(path, signal) {
    return (await fetched(path, { signal })).arrayBuffer();
}

export async function post(path, body) {
    const response = await fetched(path, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(body),
    });
    return response.json();
}

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

/* Calls `changed` with each state that is newer than revision(), and `reached` with false and true
 * when the program stops and begins to answer. Never returns. */
export async function follow(revision, changed, reached) {
    let there = true;
    for (;;) {
        try {
            const { revision: now } = there
                ? await getJson(`wait?revision=${revision()}`)
                : {
                      revision: -1,
                  }; /* back after a pause: take what there is, also from a new start */
            if (now !== revision() || !there) changed(await getJson("state"));
            if (!there) reached(true);
            there = true;
        } catch {
            if (there) reached(false);
            there = false;
            await pause(RETRY_MS);
        }
    }
}
