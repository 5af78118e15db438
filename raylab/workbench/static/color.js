// Numbers to colours: the tables of 256 steps that the server makes of matplotlib's colour maps.

const STEPS = 256;

/** How a map is coloured: { table, low, high, signed }. A signed map has zero in the middle of its colours. */
export function shareOf(value, { low, high, signed }) {
  if (signed) return value < 0 ? 0.5 * (1 - value / low) : 0.5 + (0.5 * value) / high;
  return (value - low) / (high - low);
}

/**
 * A map as a picture, y downward; transparent off the stone. With `light` (share of each view ray that meets the chosen
 * facet), what it doesn't meet is faint.
 */
export function paint(values, scale, light) {
  const n = values.side;
  const image = new ImageData(n, n);
  const out = new Uint32Array(image.data.buffer);
  const table = packed(scale.table);
  const { low, high, signed } = scale;
  const below = signed ? -0.5 / low : 1 / (high - low);
  const above = signed ? 0.5 / high : below;
  const base = signed ? 0.5 : -low * below;
  for (let row = 0; row < n; row++) {
    let from = row * n;
    let to = (n - 1 - row) * n;
    for (let k = 0; k < n; k++, from++, to++) {
      const value = values[from];
      if (value !== value) continue;
      const share = base + value * (value < 0 ? below : above);
      const step = share <= 0 ? 0 : share >= 1 ? STEPS - 1 : (share * STEPS) | 0;
      out[to] = light ? faded(table[step], light[from]) : table[step];
    }
  }
  return image;
}

/** 8-bit red, green, blue of a table as opaque pixels (little-endian RGBA). */
function packed(table) {
  if (table.packed) return table.packed;
  const out = new Uint32Array(STEPS);
  for (let k = 0; k < STEPS; k++) out[k] = 0xff000000 | (table[3 * k + 2] << 16) | (table[3 * k + 1] << 8) | table[3 * k];
  Object.defineProperty(table, "packed", { value: out });
  return out;
}

function faded(pixel, share) {
  const alpha = 26 + 229 * Math.sqrt(share > 1 ? 1 : share > 0 ? share : 0);
  return (pixel & 0x00ffffff) | (alpha << 24);
}

/** Draw a colour bar into a canvas of one row. */
export function paintBar(canvas, scale) {
  if (canvas.painted === scale.table) return;
  canvas.painted = scale.table;
  canvas.width = STEPS;
  canvas.height = 1;
  const image = new ImageData(STEPS, 1);
  new Uint32Array(image.data.buffer).set(packed(scale.table));
  canvas.getContext("2d").putImageData(image, 0, 0);
}
