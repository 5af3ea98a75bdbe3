/* outlines.js - the outlines of particles, over the picture.
 *
 * As on paper: bright where a particle counts, rose where it counts and is no nodule, white and
 * dashed where it does not count. A few are drawn straight away. Thousands take longer than a
 * frame: they are drawn on a sheet of their own, a little in each frame while the view stands
 * still, and until it is ready the one before is shown, moved and stretched with the picture.
 */
const LEAST_BOX = 3; /* CSS pixels: a smaller particle is not outlined */
const LEAST_DASHED = 12; /* CSS pixels: nor a smaller one dashed */
const STEP = 1.2; /* CSS pixels from corner to corner of a drawn outline */
const AT_ONCE = 250; /* outlines that are drawn straight away */
const SLICE_MS = 10; /* of a frame, for a sheet */

const COUNTS = "rgb(0, 232, 190)",
    NO_NODULE = "rgb(255, 96, 208)";
export const NOT = "rgb(255, 255, 255)"; /* counting; dashed */

/* What the colours say of the particles of a field, those that are there. */
export function outlineKey(particles, material) {
    const counts = particles.filter(({ state }) => state === "counts");
    const kinds = [
        [COUNTS, "nodule", counts.some(({ nodule }) => nodule)],
        [NO_NODULE, "no nodule", counts.some(({ nodule }) => !nodule)],
        [NOT, "not counted", counts.length < particles.length],
    ];
    if (material === "grey-iron") kinds.splice(0, 2, [NO_NODULE, "counts", counts.length > 0]);
    return kinds.filter(([, , there]) => there).map(([colour, words]) => ({ colour, words }));
}

function colourOf({ state, nodule }) {
    if (state !== "counts") return NOT;
    return nodule ? COUNTS : NO_NODULE;
}

export class Outlines {
    constructor(view) {
        this.view = view;
        this.loops = [];
        this.shown = this.making = null; /* sheets */
    }

    /* Loops of particles, by the particles' ids. */
    take(loops, byId) {
        this.loops = loops.filter(({ id }) => byId.has(id));
        for (const loop of this.loops) loop.colour = colourOf(byId.get(loop.id));
        this.shown = this.making = null;
    }

    /* All in view; those of the `marked` ids bold. */
    draw(context, marked) {
        const { view } = this;
        const inView = this.loops.filter(({ box }) => isSeen(box, view));
        if (inView.length <= AT_ONCE) for (const loop of inView) stroke(context, loop, view, false);
        else this.sheet(context, inView);
        for (const loop of inView) if (marked.has(loop.id)) stroke(context, loop, view, true);
    }

    sheet(context, inView) {
        const { view } = this;
        if (!this.shown?.fits(view)) {
            if (this.making?.fits(view)) this.making.go();
            else this.making = new Sheet(view, inView);
            if (this.making.done) this.shown = this.making;
            else view.draw();
        }
        this.shown?.put(context, view);
    }
}

/* Outlines of one view on a canvas of their own. */
class Sheet {
    constructor({ x, y, scale, width, height, ratio }, loops) {
        Object.assign(this, { x, y, scale, width, height, ratio, loops, next: 0 });
    }

    fits(view) {
        return ["x", "y", "scale", "width", "height", "ratio"].every(
            (key) => this[key] === view[key],
        );
    }

    get done() {
        return this.next === this.loops.length;
    }

    /* Draws some more. */
    go() {
        if (!this.canvas) {
            this.canvas = document.createElement("canvas");
            this.canvas.width = Math.round(this.width * this.ratio);
            this.canvas.height = Math.round(this.height * this.ratio);
            this.context = this.canvas.getContext("2d");
            this.context.scale(this.ratio, this.ratio);
        }
        const until = performance.now() + SLICE_MS;
        while (!this.done && performance.now() < until) {
            stroke(this.context, this.loops[this.next++], this, false);
        }
    }

    /* Where its part of the picture lies now. */
    put(context, view) {
        const wide = (this.width * view.scale) / this.scale,
            high = (this.height * view.scale) / this.scale;
        const x = (this.x - view.x) * view.scale + view.width / 2 - wide / 2,
            y = (this.y - view.y) * view.scale + view.height / 2 - high / 2;
        context.drawImage(this.canvas, x, y, wide, high);
    }
}

function isSeen([left, top, wide, high], { x, y, scale, width, height }) {
    return (
        Math.max(wide, high) * scale >= LEAST_BOX &&
        (left - x) * scale < width / 2 &&
        (left + wide - x) * scale > -width / 2 &&
        (top - y) * scale < height / 2 &&
        (top + high - y) * scale > -height / 2
    );
}

/* One outline in a view: dark below, its colour above. */
function stroke(context, { points, box, colour }, { x, y, scale, width, height }, bold) {
    const step = 2 * Math.max(1, Math.round(STEP / scale));
    const across = width / 2 - x * scale,
        down = height / 2 - y * scale;
    context.beginPath();
    for (let i = 0; i < points.length; i += step) {
        context.lineTo(points[i] * scale + across, points[i + 1] * scale + down);
    }
    context.closePath();
    const dashed = colour === NOT && Math.max(box[2], box[3]) * scale >= LEAST_DASHED;
    context.setLineDash(dashed ? [5, 4] : []);
    context.lineWidth = bold ? 5 : 2.6;
    context.strokeStyle = "rgba(0, 0, 0, 0.55)";
    context.stroke();
    context.lineWidth = bold ? 2.6 : 1.3;
    context.strokeStyle = colour;
    context.stroke();
}

/* Outlines as the program sends them: little-endian; count of loops; of each the particle, the
 * count of points, and x and y of each. */
export function readOutlines(bytes) {
    const words = new DataView(bytes);
    const loops = [];
    for (let i = 0, at = 4; i < words.getUint32(0, true); i++) {
        const id = words.getUint32(at, true),
            count = words.getUint32(at + 4, true);
        const points = new Float32Array(bytes.slice(at + 8, at + 8 + 8 * count));
        loops.push({ id, points, box: boxOf(points) });
        at += 8 + 8 * count;
    }
    return loops;
}

function boxOf(points) {
    let left = Infinity,
        top = Infinity,
        right = -Infinity,
        bottom = -Infinity;
    for (let i = 0; i < points.length; i += 2) {
        left = Math.min(left, points[i]);
        right = Math.max(right, points[i]);
        top = Math.min(top, points[i + 1]);
        bottom = Math.max(bottom, points[i + 1]);
    }
    return [left, top, right - left, bottom - top];
}

/* The ids of loops round a place an odd number of times: a hole in a particle is no part of it. */
export function around(loops, place) {
    const hit = new Set();
    for (const { id, box, points } of loops) {
        if (!contains(box, place) || !crosses(points, place)) continue;
        if (!hit.delete(id)) hit.add(id);
    }
    return [...hit];
}

export const contains = ([x, y, w, tall], [px, py]) =>
    px >= x && py >= y && px <= x + w && py <= y + tall;

/* Even-odd rule: a ray to the right crosses the outline an odd number of times. */
function crosses(points, [x, y]) {
    let odd = false;
    for (let i = 0, j = points.length - 2; i < points.length; j = i, i += 2) {
        const above = points[i + 1] > y;
        if (above === points[j + 1] > y) continue;
        const share = (y - points[i + 1]) / (points[j + 1] - points[i + 1]);
        if (x < points[i] + share * (points[j] - points[i])) odd = !odd;
    }
    return odd;
}
