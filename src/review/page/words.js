/* words.js - how things are said and put on the page: elements, numbers, times.
 *
 * A number is shown with the decimals that the program gave for it, so that page, terminal and
 * paper say the same. Text from the program is only ever set as text, never as markup.
 */

/* h("p", {class: "soft", onclick: f}, "text", element, ...): an element. */
export function h(tag, given = {}, ...children) {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(given)) {
        if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
        else if (value === true) element.setAttribute(name, "");
        else if (value !== false && value !== null && value !== undefined) {
            element.setAttribute(name, value);
        }
    }
    element.append(...children.filter((child) => child !== null && child !== undefined));
    return element;
}

const SVG = "http://www.w3.org/2000/svg";

/* The same for a drawing. */
export function svg(tag, given = {}, ...children) {
    const element = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(given)) element.setAttribute(name, value);
    element.append(...children);
    return element;
}

export const byId = (id) => document.getElementById(id);

/* A figure's name, with what it is a share of where another has the same one. */
export function figureName({ key, words, of }, figures) {
    const alike = figures.some((other) => other.words === words && other.key !== key);
    return alike ? `${words} ${of}` : words;
}

/* A value that lies exactly between two that can be shown goes to the even one, as C prints it. */
function tieToEven(value, digits) {
    const twice = value * 2 * 10 ** digits;
    const tie = Number.isInteger(value * 2 ** (digits + 1)) && Math.abs(twice % 2) === 1;
    return tie ? (2 * Math.round(twice / 4)) / 10 ** digits : value;
}

/* Number with a count of decimals, below 0 rounded before the point; a minus that is one. */
export function fixed(value, digits) {
    const tens = 10 ** Math.max(0, -digits),
        decimals = Math.max(0, digits);
    const rounded = tens > 1 ? Math.round(value / tens) * tens : tieToEven(value, decimals);
    return rounded.toFixed(decimals).replace("-", "\u2212");
}

/* Three significant digits, no more decimals than these need. */
export function significant(value, digits = 3) {
    if (value === 0) return "0";
    const before = Math.floor(Math.log10(Math.abs(value))) + 1;
    return fixed(value, Math.min(6, Math.max(0, digits - before)));
}

/* A value as short as its digits allow: 80, 80.5. */
export const short = (value, digits = 4) =>
    String(Number(value.toPrecision(digits))).replace("-", "\u2212");

/* "95.6 %", with a blank that does not break. */
export function withUnit(text, unit) {
    return unit ? `${text}\u00a0${plainUnit(unit)}` : text;
}

export function plainUnit(unit) {
    return unit
        .replace("1/mm2", "/mm\u00b2")
        .replace("mm2", "mm\u00b2")
        .replace("um2", "\u00b5m\u00b2")
        .replace("um", "\u00b5m");
}

export const percent = (fraction, digits = 1) => withUnit(fixed(100 * fraction, digits), "%");

export function time(at) {
    const date = new Date(at);
    if (Number.isNaN(date.getTime())) return at;
    const today = date.toDateString() === new Date().toDateString();
    return date.toLocaleString(
        undefined,
        today
            ? { hour: "2-digit", minute: "2-digit" }
            : {
                  day: "numeric",
                  month: "short",
                  year: "numeric",
                  hour: "2-digit",
                  minute: "2-digit",
              },
    );
}

export const plural = (count, one, many = `${one}s`) => `${count} ${count === 1 ? one : many}`;

/* What this browser keeps for its user: name, usual reasons, light or dark. */
export const kept = {
    get(key) {
        try {
            return localStorage.getItem(`keelblock.${key}`) ?? "";
        } catch {
            return "";
        }
    },
    set(key, value) {
        try {
            localStorage.setItem(`keelblock.${key}`, value);
        } catch {
            /* a browser that keeps nothing: asked again next time */
        }
    },
};
