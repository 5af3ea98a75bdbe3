/* tiles.js - the parts of a field's picture that are at hand, and those that are on their way.
 *
 * A field is cut into tiles of 256 x 256 pixels at levels that halve its size. Only tiles in
 * view are asked for, the middle first and a few at a time; what leaves the view before its
 * turn is not asked for any more. A tile that is missing is shown from a coarser one, a tile
 * whose phases are old is shown old until the new ones are there: nothing flickers.
 */
import { getBytes } from "./server.js";
import { paint, paintPreview } from "./tint.js";

export const SIDE = 256;
const AT_ONCE = 4; /* a browser grants six to a server, and one of them waits for news */
const LEAST_KEPT = 320; /* tiles of 64 kB a layer and 256 kB of colours */
const COLOURING_MS = 60; /* a frame; what is left is coloured in the next */

const scratch = new ImageData(SIDE, SIDE);
const colours = new Uint32Array(scratch.data.buffer);

export class Tiles {
    constructor(field, changed) {
        this.field = field; /* of the state; replaced when a new state comes */
        this.changed = changed; /* called when there is more to show */
        this.tiles = new Map();
        this.wanted = [];
        this.running = 0;
        this.levels = Math.max(0, Math.ceil(Math.log2(Math.max(field.width, field.height) / SIDE)));
    }

    /* Tile (x, y) of a level, made empty when it is new. */
    tile(level, x, y) {
        const key = `${level}/${x}/${y}`;
        let tile = this.tiles.get(key);
        if (tile) {
            this.tiles.delete(key); /* to the end: the first are the longest unused */
        } else {
            const across = Math.ceil(this.field.width / 2 ** level);
            const down = Math.ceil(this.field.height / 2 ** level);
            tile = {
                key,
                level,
                x,
                y,
                grey: null,
                label: null,
                labelR: -1,
                evened: null,
                canvas: null,
                stamp: -1,
                loading: false,
                width: Math.min(SIDE, across - x * SIDE),
                height: Math.min(SIDE, down - y * SIDE),
            };
        }
        this.tiles.set(key, tile);
        return tile;
    }

    complete(tile, evened) {
        return (
            tile.grey !== null && tile.labelR === this.field.r && (!evened || tile.evened !== null)
        );
    }

    /* What the next frames need, most urgent first. */
    want(tiles, evened) {
        this.evened = evened;
        this.wanted = tiles.filter((tile) => !this.complete(tile, evened));
        this.forget(tiles.length);
        while (this.running < AT_ONCE && this.next()) {
            /* started */
        }
    }

    next() {
        const tile = this.wanted.find((one) => !one.loading && !one.failed);
        if (!tile) return false;
        this.running++;
        this.load(tile, this.evened).finally(() => {
            this.running--;
            tile.loading = false;
            this.wanted = this.wanted.filter(
                (one) => one !== tile || !this.complete(one, this.evened),
            );
            this.changed();
            this.next();
        });
        return true;
    }

    async load(tile, evened) {
        tile.loading = true;
        const { index, r } = this.field;
        const place = `${tile.level}/${tile.x}/${tile.y}`;
        const layer = async (name, query = "") =>
            new Uint8Array(await getBytes(`field/${index}/${name}/${place}${query}`));
        try {
            tile.grey ??= await layer("grey");
            if (tile.labelR !== r) {
                tile.label = await layer("label", `?r=${r}`);
                tile.labelR = r;
                tile.stamp = -1;
            }
            if (evened) tile.evened ??= await layer("evened");
        } catch {
            tile.failed = true; /* asked for again when the program answers */
        }
    }

    /* After a time without answers. */
    again() {
        for (const tile of this.tiles.values()) tile.failed = false;
    }

    forget(inView) {
        const most = Math.max(LEAST_KEPT, 2 * inView);
        for (const [key, tile] of this.tiles) {
            if (this.tiles.size <= most) return;
            if (!tile.loading && tile.level < this.levels) this.tiles.delete(key);
        }
    }

    /* Colours tiles anew where `how` ({stamp, table, preview}) is not how they are coloured.
     * Returns false when time ran out. */
    colour(tiles, how) {
        const until = performance.now() + COLOURING_MS;
        for (const tile of tiles) {
            const old =
                tile.labelR !== this.field.r && tile.canvas !== null && how.preview === null;
            if (tile.grey === null || tile.label === null || tile.stamp === how.stamp || old)
                continue;
            if (how.preview !== null && tile.evened === null && tile.canvas !== null) continue;
            this.paintTile(tile, how);
            if (performance.now() > until) return false;
        }
        return true;
    }

    paintTile(tile, how) {
        const out =
            tile.width === SIDE && tile.height === SIDE
                ? scratch
                : new ImageData(tile.width, tile.height);
        const to = out === scratch ? colours : new Uint32Array(out.data.buffer);
        if (how.preview !== null && tile.evened !== null) {
            paintPreview(tile, tile.x * SIDE, tile.y * SIDE, how.table, how.preview, to);
        } else {
            paint(tile, tile.x * SIDE, tile.y * SIDE, how.table, to);
        }
        if (tile.canvas === null) {
            tile.canvas = document.createElement("canvas");
            tile.canvas.width = tile.width;
            tile.canvas.height = tile.height;
            tile.context = tile.canvas.getContext("2d", { alpha: false });
        }
        tile.context.putImageData(out, 0, 0);
        tile.stamp = how.stamp;
    }

    /* What can be shown in place of a tile that cannot: {canvas, x, y, width, height}, a part of
     * the nearest coarser one; null: none. */
    standIn(tile) {
        for (let up = 1; tile.level + up <= this.levels; up++) {
            const factor = 2 ** up;
            const x = Math.floor(tile.x / factor),
                y = Math.floor(tile.y / factor);
            const coarse = this.tiles.get(`${tile.level + up}/${x}/${y}`);
            if (coarse?.canvas) {
                return {
                    canvas: coarse.canvas,
                    x: (tile.x * SIDE) / factor - x * SIDE,
                    y: (tile.y * SIDE) / factor - y * SIDE,
                    width: tile.width / factor,
                    height: tile.height / factor,
                };
            }
        }
        return null;
    }
}
