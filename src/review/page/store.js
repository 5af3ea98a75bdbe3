/* store.js - what the page shows: the program's last state, and what this window looks at.
 *
 * Modules hear of changes by name:
 *   state     the program's state is new; called with the state before, or null
 *   field     another field is looked at
 *   particles the particles of the field looked at have come, or come anew
 *   selected  another particle is selected, or none
 *   look      strength of the tint, bare picture, preview: how the same thing is shown
 */
const listeners = new Map();

export function on(name, listener) {
    if (!listeners.has(name)) listeners.set(name, []);
    listeners.get(name).push(listener);
}

export function tell(name, ...details) {
    for (const listener of listeners.get(name) ?? []) listener(...details);
}

export const store = {
    state: null,
    index: 0 /* of the field looked at */,
    seen: new Set() /* fields that were looked at in this window */,
    particles: [] /* of that field */,
    selected: null /* id of a particle */,
    strength: 1 /* of the tint: 1 as on paper */,
    bare: false /* the picture alone, while a key is held */,
    preview: null /* {levels: [grey, ...]} while a threshold is dragged */,

    get field() {
        return this.state.fields[this.index];
    },
};

/* A field waits for its turn until it is measured or refused; of some that are refused there is a
 * picture all the same. */
export const isMeasured = (field) => !field.error && field.measured !== false;

/* The file's name, with its folder where another field's is the same. */
export function fieldName({ name, file, index }) {
    const alike = store.state.fields.some((other) => other.name === name && other.index !== index);
    return alike ? file.split("/").slice(-2).join("/") : name;
}

export const hasPicture = (field) => field.width > 0;

export function takeState(state) {
    const before = store.state;
    if (
        before !== null &&
        state.revision < before.revision &&
        state.version === before.version &&
        !state.fresh
    ) {
        return; /* an answer that was overtaken by a later one */
    }
    store.state = state;
    store.index = Math.min(store.index, state.fields.length - 1);
    tell("state", before);
}

export function showField(index) {
    if (index < 0 || index >= store.state.fields.length) return;
    store.index = index;
    store.seen.add(index);
    store.selected = null;
    store.particles = [];
    tell("field");
}

export function select(id) {
    if (store.selected === id) return;
    store.selected = id;
    tell("selected");
}

/* Changes how the picture is shown. */
export function look(change) {
    Object.assign(store, change);
    tell("look");
}
