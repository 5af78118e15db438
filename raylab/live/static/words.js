// What is shown, in words and numbers.

const SIDES = ["the right", "the upper right", "above", "the upper left", "the left", "the lower left", "below", "the lower right"];

export const ENTRIES = [
  ["sky", "sky"], ["head", "head"], ["leak", "below the girdle"],
  ["absorbed", "absorbed"], ["scattered", "taken by unpolished facets"], ["untraced", "untraced"],
];

export const percent = (share) => `${(100 * share).toFixed(share < 0.0995 ? 1 : 0)} %`;

export function poseInWords({ tilt, azimuth, turn }) {
  const round = Math.round(tilt);
  const spun = Math.round(turn) ? `, turned ${Math.round(turn)} degrees about its axis` : "";
  if (round === 0) return `face-up${spun}`;
  if (round === 180) return `from below${spun}`;
  const side = SIDES[((Math.round(azimuth / 45) % 8) + 8) % 8];
  return `tilted ${round} degrees towards ${side}${spun}`;
}

/** One stone's light in a sentence, for whoever can't see the picture. */
export function lightInWords(name, means) {
  const parts = ENTRIES.filter(([key]) => means[key] >= 0.005).map(([key, words]) => `${words} ${percent(means[key])}`);
  return `${name}: mean luminance ${means.luminance.toFixed(3)} of the light's brightest, contrast ${means.contrast.toFixed(2)}; where its light comes from: ${parts.join(", ")}.`;
}

/** A round length in mm that fits into a quarter of a picture `across` mm wide. */
export function scaleLength(across) {
  const decade = 10 ** Math.floor(Math.log10(across / 4));
  return [5, 2, 1].map((step) => step * decade).find((length) => length <= across / 4);
}
