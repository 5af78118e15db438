// How a stone is held: rotations as nine numbers, row by row, that take the stone's axes to the dome's, and the angles of a view.

const RAD = Math.PI / 180;

export const times = (a, b) => a.map((_, k) => {
  const row = 3 * Math.floor(k / 3);
  const column = k % 3;
  return a[row] * b[column] + a[row + 1] * b[3 + column] + a[row + 2] * b[6 + column];
});

export const turned = (m) => [m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8]];

/** The rotation about a unit axis by an angle in degrees. */
export function about([x, y, z], degrees) {
  const c = Math.cos(degrees * RAD);
  const s = Math.sin(degrees * RAD);
  const d = 1 - c;
  return [
    c + x * x * d, x * y * d - z * s, x * z * d + y * s,
    y * x * d + z * s, c + y * y * d, y * z * d - x * s,
    z * x * d - y * s, z * y * d + x * s, c + z * z * d,
  ];
}

const tilting = (tilt, azimuth) => about([-Math.sin(azimuth * RAD), Math.cos(azimuth * RAD), 0], tilt);

/** The stone turns about its own axis, then its table leans by `tilt` towards `azimuth`. */
export const rotationOf = ({ tilt, azimuth, turn }) => times(tilting(tilt, azimuth), about([0, 0, 1], turn));

/** The angles of a rotation, degrees: tilt 0 to 180, azimuth and turn -180 to 180. */
export function anglesOf(m) {
  const tilt = Math.atan2(Math.hypot(m[2], m[5]), m[8]) / RAD;
  const azimuth = Math.hypot(m[2], m[5]) > 1e-9 ? Math.atan2(m[5], m[2]) / RAD : 0;
  const own = times(turned(tilting(tilt, azimuth)), m);
  return { tilt, azimuth, turn: Math.atan2(own[3], own[0]) / RAD };
}

/** A rotation freed of rounding: its rows at right angles and of length one. */
export function squared(m) {
  const unit = (v) => v.map((x) => x / Math.hypot(...v));
  const a = unit(m.slice(0, 3));
  const along = a[0] * m[3] + a[1] * m[4] + a[2] * m[5];
  const b = unit([m[3] - along * a[0], m[4] - along * a[1], m[5] - along * a[2]]);
  return [...a, ...b, a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
}

/** The table's normal on its way around by itself: it leans to one side and the other, and the side moves on. */
export function rocked(start, seconds) {
  const towards = start.azimuth + 9 * seconds;
  const lean = 14 * Math.sin(0.9 * seconds);
  return times(about([-Math.sin(towards * RAD), Math.cos(towards * RAD), 0], lean), rotationOf(start));
}

/** Magnifications of a stone on a screen of known pixels; 0 stands for as large as there is room. */
export const SIZES = [0, 1, 3, 10];
const KEYS = { tilt: [0, 180], azimuth: [-360, 360], turn: [-3600, 3600], exposure: [1 / 64, 256], zoom: [1, 8], size: [0, 10] };

/** What a link's fragment says, as far as it is a number in its range; light and map are names to be looked up. */
export function readLink(fragment) {
  const found = {};
  for (const [key, text] of new URLSearchParams(fragment.replace(/^#/, ""))) {
    if (key === "light" || key === "map") found[key] = text;
    const value = Number(text);
    if (key === "size" && !SIZES.includes(value)) continue;
    if (key in KEYS && text !== "" && value >= KEYS[key][0] && value <= KEYS[key][1]) found[key] = value;
  }
  return found;
}

export function linkOf({ tilt, azimuth, turn }, { exposure, zoom, size, light, map }) {
  const short = (x) => String(Number(x.toFixed(2)));
  const parts = { tilt: short(tilt), azimuth: short(azimuth), turn: short(turn), light, exposure: String(Number(exposure.toPrecision(4))) };
  if (size) parts.size = String(size);
  else if (zoom !== 1) parts.zoom = short(zoom);
  if (map !== "color") parts.map = map;
  return `#${new URLSearchParams(parts)}`;
}
