// The outlines of inclusions in the stone in 3D: circles about their middle, and a small cross, so that a speck can be found.

const TURNS = 20;
/** Most inclusions that are drawn; the pictures show them all. */
const MOST = 200;
/** Half a cross, as a share of the stone's radius. */
const CROSS = 0.025;
const NONE = [0, 0, 0];
const add = (point, ...parts) => point.map((at, k) => at + parts.reduce((sum, [length, axis]) => sum + length * axis[k], 0));
const unit = (axis) => axis.map((x) => x / Math.hypot(...axis));
const crossed = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];

/** Segments of all inclusions, `tables` as the server states them, in a stone of this radius. */
export function inclusionLines(tables, radius) {
  return tables.slice(0, MOST).flatMap((one) => outline(one, radius).map((line) => [...line, NONE]));
}

function outline({ shape, center_mm, radius_mm: r, radii_mm, axis, second_axis, normal, corners_mm }, radius) {
  if (shape === "polyhedron") return corners_mm.flatMap((corner, k) => corners_mm.slice(k + 1, k + 4).map((other) => [corner, other]));
  const cross = [[1, 0, 0], [0, 1, 0], [0, 0, 1]].map((way) => [add(center_mm, [-CROSS * radius, way]), add(center_mm, [CROSS * radius, way])]);
  if (shape === "disc") {
    const [x, y, z] = normal;
    const first = unit(crossed(normal, Math.abs(x) < Math.min(Math.abs(y), Math.abs(z)) ? [1, 0, 0] : Math.abs(y) < Math.abs(z) ? [0, 1, 0] : [0, 0, 1]));
    return [...cross, ...circle(center_mm, [r, first], [r, unit(crossed(normal, first))])];
  }
  const [a, b, c] = radii_mm ?? [r, r, r];
  const axes = shape === "sphere" ? [[1, 0, 0], [0, 1, 0], [0, 0, 1]] : [axis, second_axis, crossed(axis, second_axis)];
  const radii = [[a, axes[0]], [b, axes[1]], [c, axes[2]]];
  return [...cross, ...[[0, 1], [1, 2], [2, 0]].flatMap(([k, other]) => circle(center_mm, radii[k], radii[other]))];
}

function circle(middle, [one, first], [other, second]) {
  const at = (k) => add(middle, [one * Math.cos((2 * Math.PI * k) / TURNS), first], [other * Math.sin((2 * Math.PI * k) / TURNS), second]);
  return Array.from({ length: TURNS }, (_, k) => [at(k), at(k + 1)]);
}
