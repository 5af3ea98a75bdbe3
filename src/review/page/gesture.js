/* gesture.js - points set in the picture, by pointer or by keys, until a drawing is whole.
 *
 * By pointer: a drag draws, a tap sets a single point. By keys: arrows move a cross-hair, Enter
 * sets a point where it stands. Kinds:
 *   one      a point
 *   two      two points; a drag from one to the other does too
 *   line     two points, a straight line between
 *   box      two corners
 *   stroke   a free line; of points, until Enter is pressed twice at one place
 *   outline  the same, closed
 */
const SAME = 3; /* CSS pixels: Enter twice at one place */
const THIN = 2; /* CSS pixels from point to point of a free line */
const ACCENT = "#ffcf33";

const FREE = new Set(["stroke", "outline"]);

export class Gesture {
    /* done(points): the drawing is whole. progress(gesture): it has grown. whole(place): points
     * that a tap at a place stands for by itself, or null. */
    constructor(view, kind, { done, progress, whole }) {
        Object.assign(this, { view, kind, done, progress, whole });
        this.points = [];
        this.live = null; /* where the pointer is */
    }

    get enough() {
        const least = { one: 1, outline: 3 }[this.kind] ?? 2;
        return this.points.length >= least;
    }

    near(a, b) {
        return Math.hypot(a[0] - b[0], a[1] - b[1]) * this.view.scale;
    }

    inside([x, y]) {
        const { width, height } = this.view.tiles.field;
        return [Math.max(0, Math.min(width, x)), Math.max(0, Math.min(height, y))];
    }

    /* ---- by pointer ---- */

    press(place, event) {
        this.began = this.points.length;
        if (event.detail > 1 && FREE.has(this.kind) && this.enough) return this.finish();
        this.points.push(this.inside(place));
        this.drawing = true;
        this.changed();
    }

    move(place) {
        this.live = this.inside(place);
        const last = this.points.at(-1);
        if (this.drawing && FREE.has(this.kind) && this.near(last, this.live) >= THIN) {
            this.points.push(this.live);
        }
        this.changed();
    }

    release(place, tapped) {
        if (!this.drawing) return;
        this.drawing = false;
        this.live = null;
        if (!tapped && !FREE.has(this.kind) && this.kind !== "one")
            this.points.push(this.inside(place));
        const whole = tapped && this.points.length === 1 ? this.whole?.(this.points[0]) : null;
        if (whole) this.points = whole;
        const free = FREE.has(this.kind);
        if (this.enough && (!free || !tapped)) return this.finish();
        this.changed();
    }

    cancel() {
        this.drawing = false;
        this.points.length = this.began ?? 0;
        this.changed();
    }

    /* ---- by keys ---- */

    enter(place) {
        const last = this.points.at(-1);
        if (last && FREE.has(this.kind) && this.enough && this.near(last, place) < SAME) {
            return this.finish();
        }
        if (last && this.near(last, place) < SAME) return;
        this.points.push(this.inside(place));
        const whole = this.points.length === 1 ? this.whole?.(place) : null;
        if (whole) this.points = whole;
        if (this.enough && !FREE.has(this.kind)) return this.finish();
        this.changed();
    }

    /* Takes the last point away; false when there was none. */
    back() {
        if (this.points.length === 0) return false;
        this.points.pop();
        this.changed();
        return true;
    }

    /* ---- */

    changed() {
        this.progress?.(this);
        this.view.draw();
    }

    finish() {
        const points =
            this.kind === "outline" &&
            this.points.length > 3 &&
            this.near(this.points[0], this.points.at(-1)) < SAME
                ? this.points.slice(0, -1)
                : this.points;
        this.points = [...points];
        this.view.draw();
        this.done(this.points.map(([x, y]) => [round(x), round(y)]));
    }

    clear() {
        this.points = [];
        this.live = null;
        this.drawing = false;
        this.changed();
    }

    /* Points with the one under way. */
    get shape() {
        return this.live &&
            this.points.length > 0 &&
            this.kind !== "one" &&
            (this.drawing || !FREE.has(this.kind))
            ? [...this.points, this.live]
            : this.points;
    }

    draw(context) {
        const at = this.shape.map((place) => this.view.toScreen(place));
        if (at.length === 0) return;
        drawShape(context, this.kind, at);
    }
}

const round = (value) => Math.round(value * 10) / 10; /* a tenth of a pixel is finer than a hand */

/* A drawn shape, in points of the screen: dark below, bright above. */
export function drawShape(context, kind, at) {
    context.beginPath();
    if (kind === "box" && at.length > 1) {
        const [[x0, y0]] = at,
            [x1, y1] = at.at(-1);
        context.rect(Math.min(x0, x1), Math.min(y0, y1), Math.abs(x1 - x0), Math.abs(y1 - y0));
    } else {
        for (const point of at) context.lineTo(...point);
        if (kind === "outline") context.closePath();
    }
    const dots = at.length <= 2 ? at : [at[0], at.at(-1)];
    for (const [x, y] of dots) {
        context.moveTo(x + 4, y);
        context.arc(x, y, 4, 0, 2 * Math.PI);
    }
    context.lineWidth = 4;
    context.strokeStyle = "rgba(0, 0, 0, 0.7)";
    context.stroke();
    context.lineWidth = 2;
    context.strokeStyle = ACCENT;
    context.stroke();
}

/* Where the keys are: a cross-hair that leaves its middle free. */
export function drawCross(context, [x, y]) {
    context.beginPath();
    for (const [dx, dy] of [
        [1, 0],
        [-1, 0],
        [0, 1],
        [0, -1],
    ]) {
        context.moveTo(x + 4 * dx, y + 4 * dy);
        context.lineTo(x + 18 * dx, y + 18 * dy);
    }
    context.lineWidth = 4;
    context.strokeStyle = "rgba(0, 0, 0, 0.7)";
    context.stroke();
    context.lineWidth = 1.6;
    context.strokeStyle = ACCENT;
    context.stroke();
}
