// How many pixels a machine draws in a given time, learnt from the frames before.

/** Longest time of a moving frame, ms, and that of a machine too slow to show `COARSE_SIDE` pixels a side within it. */
const AIM_MS = 28;
const SLOW_MS = 85;
export const COARSE_SIDE = 160;
export const LEAST = 64;

export class Pace {
  constructor() {
    this.perMs = 60;
    this.frames = 0;
  }

  learn(pixels, ms) {
    const seen = pixels / Math.max(ms, 0.5);
    this.frames += 1;
    this.perMs = this.frames < 3 ? seen : this.perMs * (seen / this.perMs) ** (seen < this.perMs ? 0.6 : 0.3);
  }

  /** Pixels along each side of one of several moving pictures. */
  side(pictures, full) {
    const within = (ms) => Math.sqrt((this.perMs * ms) / pictures);
    const side = within(AIM_MS) < COARSE_SIDE ? Math.min(COARSE_SIDE, within(SLOW_MS)) : within(AIM_MS);
    return Math.min(full, Math.max(LEAST, 2 * Math.floor(side / 2)));
  }
}
