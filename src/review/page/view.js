/* view.js - the picture: zoom, pan, and what is drawn over it.
 *
 * Places are pixels of the upright picture, (0, 0) its upper left corner, so that the centre of
 * the first pixel is (0.5, 0.5). The view is the place in its middle and a scale, CSS pixels a
 * pixel. Whoever draws over the picture registers a layer; a tool that takes the pointer sets
 * `grip`. Two fingers always zoom and pan, whatever tool is in hand.
 */
import { hasPicture, on, store } from "./store.js";
import { SIDE, Tiles } from "./tiles.js";
import { phaseOfGrey, tintTable } from "./tint.js";

const MOST_SCALE = 32; /* CSS pixels a pixel */
const STEP = 1.25; /* of zoom, a key or a notch of the wheel */
const TAP = 4; /* CSS pixels that a finger may wander and still tap */
const FIELDS_KEPT = 3;
const HATCHED_TO = 3; /* device pixels a pixel: beyond, a hatch would hide what is looked at */

export class View {
    constructor(canvas) {
        this.canvas = canvas;
        this.context = canvas.getContext("2d", { alpha: false });
        this.layers = []; /* functions (context, view), drawn in CSS pixels */
        this.grip = null; /* {press, move, release, cancel}: a tool that has the pointer */
        this.hover = () => {}; /* (place or null) */
        this.tap = () => {}; /* (place) */
        this.pointers = new Map();
        this.kept = new Map();
        this.scale = 0; /* 0: not fitted yet */
        this.x = this.y = 0;
        this.how = { stamp: 0, table: tintTable(1, true), preview: null };
        this.listen();
        new ResizeObserver(() => this.resized()).observe(canvas);
        on("look", () => this.relook());
        on("state", () => this.refield());
    }

    /* ---- what is shown ---- */

    show(field) {
        this.scale = 0;
        if (!hasPicture(field)) {
            this.tiles = null;
            return this.draw();
        }
        this.tiles = this.kept.get(field.index);
        if (!this.tiles) this.tiles = new Tiles(field, () => this.draw());
        this.kept.delete(field.index);
        this.kept.set(field.index, this.tiles);
        if (this.kept.size > FIELDS_KEPT) this.kept.delete(this.kept.keys().next().value);
        this.refield();
        this.fit();
    }

    /* Asks again for what did not come. */
    again() {
        for (const tiles of this.kept.values()) tiles.again();
        this.draw();
    }

    refield() {
        for (const [index, tiles] of this.kept) tiles.field = store.state.fields[index];
        if (!this.tiles && hasPicture(store.field)) this.show(store.field);
        else this.relook();
    }

    relook() {
        if (!this.tiles) return;
        const strength = store.bare ? 0 : store.strength;
        const hatched = this.scale * this.ratio <= HATCHED_TO;
        const levels = store.preview?.levels;
        const preview = levels ? phaseOfGrey(levels, store.field.classes) : null;
        const key = `${strength} ${hatched} ${levels ?? ""}`;
        if (key !== this.how.key) {
            const table =
                this.how.strength === strength && this.how.hatched === hatched
                    ? this.how.table
                    : tintTable(strength, hatched);
            this.how = { key, strength, hatched, table, preview, stamp: this.how.stamp + 1 };
        }
        this.draw();
    }

    resized() {
        const whole = this.scale === 0 || this.scale === this.fitScale;
        this.width = this.canvas.clientWidth;
        this.height = this.canvas.clientHeight;
        this.ratio = window.devicePixelRatio || 1;
        this.canvas.width = Math.round(this.width * this.ratio);
        this.canvas.height = Math.round(this.height * this.ratio);
        if (this.tiles && whole) this.fit();
        this.draw(true);
    }

    /* ---- where ---- */

    toScreen([x, y]) {
        return [
            (x - this.x) * this.scale + this.width / 2,
            (y - this.y) * this.scale + this.height / 2,
        ];
    }

    toPlace([x, y]) {
        return [
            (x - this.width / 2) / this.scale + this.x,
            (y - this.height / 2) / this.scale + this.y,
        ];
    }

    inside([x, y]) {
        return x >= 0 && y >= 0 && x < this.tiles.field.width && y < this.tiles.field.height;
    }

    /* The whole field. */
    fit() {
        if (!this.width || !this.tiles) return;
        const { width, height } = this.tiles.field;
        this.fitScale = Math.min(this.width / width, this.height / height);
        this.moveTo(width / 2, height / 2, this.fitScale);
    }

    /* One pixel of the picture on one of the screen. */
    native() {
        this.moveTo(this.x, this.y, 1 / this.ratio);
    }

    moveTo(x, y, scale = this.scale) {
        if (!this.tiles) return;
        const { width, height } = this.tiles.field;
        this.scale = Math.max(Math.min(this.fitScale, 1) / 2, Math.min(MOST_SCALE, scale));
        /* some of the picture always stays in sight */
        this.x = Math.max(0, Math.min(width, x));
        this.y = Math.max(0, Math.min(height, y));
        this.relook();
    }

    pan(dx, dy) {
        this.moveTo(this.x - dx / this.scale, this.y - dy / this.scale);
    }

    /* Zooms about a point of the screen, which keeps its place. */
    zoom(factor, at = [this.width / 2, this.height / 2]) {
        const before = this.toPlace(at);
        this.moveTo(this.x, this.y, this.scale * factor);
        const after = this.toPlace(at);
        this.moveTo(this.x + before[0] - after[0], this.y + before[1] - after[1]);
    }

    zoomStep(steps) {
        this.zoom(STEP ** steps);
    }

    /* Brings a box [x, y, w, h] into the middle; zooms only where it is too small or too large. */
    reveal([x, y, w, h], share = 0.25) {
        const room = Math.min((this.width * share) / w, (this.height * share) / h, 8 / this.ratio);
        const near = this.scale > room / 1.6 && this.scale < room * 1.6;
        this.moveTo(x + w / 2, y + h / 2, near ? this.scale : room);
    }

    /* Pans just enough that a place is in sight. */
    follow(place) {
        const margin = 40;
        const [x, y] = this.toScreen(place);
        const over = (at, size) => Math.max(0, margin - at) - Math.max(0, at - size + margin);
        const dx = over(x, this.width),
            dy = over(y, this.height);
        if (dx || dy) this.pan(dx, dy);
    }

    /* ---- drawing ---- */

    draw(now = false) {
        if (now) return void this.paint();
        if (this.frame) return;
        this.frame = requestAnimationFrame(() => this.paint());
    }

    paint() {
        cancelAnimationFrame(this.frame);
        this.frame = 0;
        if (!this.tiles || !this.width) return this.blank();
        const level = Math.round(Math.log2(1 / (this.scale * this.ratio)));
        const wanted = this.visible(Math.max(0, Math.min(this.tiles.levels, level)));
        const top = this.tiles.tile(this.tiles.levels, 0, 0);
        const evened = store.preview !== null || store.evenedSoon === true;
        this.tiles.want([top, ...wanted], evened);
        const begun = performance.now();
        const done = this.tiles.colour([top, ...wanted], this.how);
        this.blank();
        this.context.imageSmoothingEnabled = this.scale * this.ratio < 2;
        for (const tile of wanted) this.drawTile(tile);
        this.lastPaint = performance.now() - begun;
        this.context.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
        for (const layer of this.layers) {
            this.context.save();
            layer(this.context, this);
            this.context.restore();
        }
        if (!done) this.draw();
    }

    blank() {
        this.context.setTransform(1, 0, 0, 1, 0, 0);
        this.context.fillStyle = getComputedStyle(this.canvas).backgroundColor;
        this.context.fillRect(0, 0, this.canvas.width, this.canvas.height);
    }

    /* Tiles of a level that are in view, the middle first. */
    visible(level) {
        const side = SIDE * 2 ** level;
        const { width, height } = this.tiles.field;
        const [left, top] = this.toPlace([0, 0]),
            [right, bottom] = this.toPlace([this.width, this.height]);
        const first = (at) => Math.max(0, Math.floor(at / side));
        const last = (at, size) => Math.min(Math.ceil(size / side) - 1, Math.floor(at / side));
        const tiles = [];
        for (let y = first(top); y <= last(bottom, height); y++) {
            for (let x = first(left); x <= last(right, width); x++) {
                tiles.push(this.tiles.tile(level, x, y));
            }
        }
        const away = ({ x, y }) => Math.hypot((x + 0.5) * side - this.x, (y + 0.5) * side - this.y);
        return tiles.sort((a, b) => away(a) - away(b));
    }

    /* Edges on whole device pixels, so that no seam shows. */
    drawTile(tile) {
        const size = 2 ** tile.level;
        const edge = (place) => this.toScreen(place).map((at) => Math.round(at * this.ratio));
        const x = tile.x * SIDE,
            y = tile.y * SIDE;
        const [left, top] = edge([x * size, y * size]);
        const [right, bottom] = edge([(x + tile.width) * size, (y + tile.height) * size]);
        const shown = tile.canvas
            ? { canvas: tile.canvas, x: 0, y: 0, width: tile.width, height: tile.height }
            : this.tiles.standIn(tile);
        if (!shown) return;
        this.context.drawImage(
            shown.canvas,
            shown.x,
            shown.y,
            shown.width,
            shown.height,
            left,
            top,
            right - left,
            bottom - top,
        );
    }

    /* ---- pointer and wheel ---- */

    listen() {
        const { canvas } = this;
        canvas.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
        canvas.addEventListener("pointerdown", (event) => this.down(event));
        canvas.addEventListener("pointermove", (event) => this.move(event));
        canvas.addEventListener("pointerup", (event) => this.up(event, true));
        canvas.addEventListener("pointercancel", (event) => this.up(event, false));
        canvas.addEventListener("pointerleave", () => this.hover(null));
        canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    }

    at(event) {
        const box = this.canvas.getBoundingClientRect();
        return [event.clientX - box.left, event.clientY - box.top];
    }

    wheel(event) {
        event.preventDefault();
        const lines = event.deltaMode === 1 ? 33 : 1; /* a notch is 3 lines or 100 pixels */
        const notches = (event.deltaY * lines) / 100;
        /* a pinch on a touch pad comes as a wheel with Ctrl held and small steps */
        this.zoom(STEP ** -(event.ctrlKey ? notches * 6 : notches), this.at(event));
    }

    down(event) {
        this.canvas.focus({ preventScroll: true });
        this.canvas.setPointerCapture(event.pointerId);
        this.pointers.set(event.pointerId, this.at(event));
        this.wandered = 0;
        if (this.pointers.size === 2) {
            this.grip?.cancel();
            this.gripping = false;
        } else if (event.button === 0 && this.grip && !this.spaceHeld) {
            this.gripping = true;
            this.grip.press(this.toPlace(this.at(event)), event);
        }
    }

    move(event) {
        const at = this.at(event),
            from = this.pointers.get(event.pointerId);
        if (!from) return this.hovered(at);
        this.wandered += Math.hypot(at[0] - from[0], at[1] - from[1]);
        if (this.pointers.size === 2) {
            this.pinch(event.pointerId, at);
        } else if (this.gripping) {
            this.grip?.move(this.toPlace(at));
        } else if (this.wandered > TAP) {
            this.pan(at[0] - from[0], at[1] - from[1]);
        }
        this.pointers.set(event.pointerId, at);
    }

    hovered(at) {
        const place = this.toPlace(at);
        if (this.grip) this.grip.move(place);
        this.hover(place);
    }

    pinch(id, to) {
        const other = [...this.pointers].find(([pointer]) => pointer !== id)[1];
        const from = this.pointers.get(id);
        const apart = (a, b) => Math.max(1, Math.hypot(a[0] - b[0], a[1] - b[1]));
        this.pan((to[0] - from[0]) / 2, (to[1] - from[1]) / 2);
        this.zoom(apart(to, other) / apart(from, other), [
            (to[0] + other[0]) / 2,
            (to[1] + other[1]) / 2,
        ]);
    }

    up(event, done) {
        const pinched = this.pointers.size > 1;
        this.pointers.delete(event.pointerId);
        if (pinched) {
            this.wandered = TAP + 1; /* the other finger does not tap when it is lifted */
            return;
        }
        const place = this.toPlace(this.at(event));
        if (this.gripping) {
            this.gripping = false;
            if (done) this.grip?.release(place, this.wandered <= TAP);
            else this.grip?.cancel();
        } else if (done && this.wandered <= TAP && event.button === 0) {
            this.tap(place);
        }
    }
}
