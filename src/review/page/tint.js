/* tint.js - the colours of the phases, the same as on paper (src/report/palette.c).
 *
 * A pixel is coloured by one look-up: a table holds the colour of each pair of phase and grey
 * level, with and without the ink of a hatch. Changing the strength of the tint, or a
 * threshold, is another table. The phases differ in lightness and, where two might be mistaken,
 * by a hatch, so that they stay apart in grey print and for every kind of colour blindness.
 */
export const PHASES = [
    "excluded",
    "graphite",
    "ferrite",
    "pearlite",
    "cementite",
    "matrix",
    "other",
];

const RISING = 1,
    FALLING = 2,
    CROSS = 4,
    DOTS = 8;
const PERIOD = 11; /* pixels from line to line of a hatch */

/* Colour, share of it in 256 parts, hatch: the rows of src/report/palette.c. */
export const LOOKS = [
    { rgb: [128, 128, 128], tint: 96, hatch: CROSS },
    { rgb: [20, 50, 140], tint: 104, hatch: 0 },
    { rgb: [252, 220, 120], tint: 92, hatch: 0 },
    { rgb: [192, 80, 60], tint: 76, hatch: RISING },
    { rgb: [110, 200, 205], tint: 112, hatch: DOTS },
    { rgb: [236, 226, 200], tint: 80, hatch: 0 },
    { rgb: [120, 60, 130], tint: 112, hatch: FALLING },
];

const wrapped = (value) => ((value % PERIOD) + PERIOD) % PERIOD;

/* Kinds of hatch that have ink at a place, one bit each. */
function inkAt(x, y) {
    const rising = wrapped(x + y) === 0,
        falling = wrapped(x - y) === 0;
    return (
        (rising ? RISING | CROSS : 0) |
        (falling ? FALLING | CROSS : 0) |
        (wrapped(x) < 2 && wrapped(y) < 2 ? DOTS : 0)
    );
}

const INK = Uint8Array.from({ length: PERIOD * PERIOD }, (_, i) =>
    inkAt(i % PERIOD, Math.floor(i / PERIOD)),
);

function colour(phase, grey, inked, strength) {
    const { rgb, tint } = LOOKS[phase];
    const share = Math.min(tint * strength, 224); /* some of the picture always shows */
    const light = inked ? 1 - 0.25 * Math.min(strength, 1.6) : 1;
    const [r, g, b] = rgb.map((c) => ((grey * (256 - share) + c * share) / 256) * light);
    return (255 << 24) | (b << 16) | (g << 8) | r;
}

/* Table of colours [ink << 11 | phase << 8 | grey]; without hatches where pixels are large. */
export function tintTable(strength, hatched) {
    const table = new Uint32Array(16 << 11);
    for (let ink = 0; ink < 16; ink++) {
        for (let phase = 0; phase < LOOKS.length; phase++) {
            const inked = hatched && (ink & LOOKS[phase].hatch) !== 0;
            for (let grey = 0; grey < 256; grey++) {
                table[(ink << 11) | (phase << 8) | grey] = colour(phase, grey, inked, strength);
            }
        }
    }
    return table;
}

/* Phase of each grey level by thresholds alone: a level up to a threshold is below it. */
export function phaseOfGrey(levels, classes) {
    return Uint8Array.from({ length: 256 }, (_, grey) => {
        const above = levels.filter((level) => grey > level).length;
        return Math.max(0, PHASES.indexOf(classes[Math.min(above, classes.length - 1)]));
    });
}

/* Row by row: where the row begins in the pattern of ink. */
const inkRow = (y) => INK.subarray((y % PERIOD) * PERIOD, ((y % PERIOD) + 1) * PERIOD);

/* Colours a tile whose upper left pixel is (left, top) of its level. */
export function paint(tile, left, top, table, out) {
    const { width, height, grey, label } = tile;
    for (let y = 0, i = 0; y < height; y++) {
        const ink = inkRow(top + y);
        for (let x = 0, at = left % PERIOD; x < width; x++, i++) {
            out[i] = table[(ink[at] << 11) | (label[i] << 8) | grey[i]];
            at = at + 1 === PERIOD ? 0 : at + 1;
        }
    }
}

/* The same from the evened picture by grey alone; what is left out stays so. */
export function paintPreview(tile, left, top, table, phase, out) {
    const { width, height, evened, label } = tile;
    for (let y = 0, i = 0; y < height; y++) {
        const ink = inkRow(top + y);
        for (let x = 0, at = left % PERIOD; x < width; x++, i++) {
            const grey = evened[i];
            out[i] = table[(ink[at] << 11) | ((label[i] === 0 ? 0 : phase[grey]) << 8) | grey];
            at = at + 1 === PERIOD ? 0 : at + 1;
        }
    }
}

/* A patch of a phase for legends, as an element. */
export function swatch(word) {
    const phase = Math.max(0, PHASES.indexOf(word));
    const canvas = document.createElement("canvas");
    canvas.className = "swatch";
    canvas.width = 22;
    canvas.height = 14;
    const context = canvas.getContext("2d");
    const image = context.createImageData(22, 14);
    const grey = { 1: 60, 2: 215, 3: 140, 4: 220, 5: 215 }[phase] ?? 150;
    paint(
        {
            width: 22,
            height: 14,
            grey: new Uint8Array(308).fill(grey),
            label: new Uint8Array(308).fill(phase),
        },
        0,
        0,
        tintTable(1.6, true),
        new Uint32Array(image.data.buffer),
    );
    context.putImageData(image, 0, 0);
    return canvas;
}
