// The loop that draws stones live. Nothing runs while nothing changes, while the page is hidden or the stones are out of sight, or
// once a resting picture has all its frames.
//
// Who shows stones extends `Stage` by `dome` (as the tracer holds it), `view(side, picture)` (see `Tracer.add`), `look(picture)` (see
// `Tracer.develop`) and, where something is to be said beside the pictures, `tell(frame)`.

import { COARSE_SIDE, LEAST, Pace } from "./pace.js";
import { Picture } from "./picture.js";
import { Tracer } from "./tracer.js";

const MOVING = { most: 24, least: 5e-3, polarized: true };
const COARSE = { most: 12, least: 1e-2, polarized: true };
const RESTING = { most: 200, least: 1e-4, polarized: true };
/** A picture counts as moving this long after the last movement, ms. */
const SETTLES_MS = 160;
/** Work for the graphics processor at a time while a picture rests, ms, and the least of it: less is mostly waiting. */
const PORTION_MS = 40;
const PORTION_PIXELS = 4096;
/** How long a resting picture goes on, ms. */
const LONGEST_REST_MS = 60_000;
/** The longest time of a frame of a slow machine's smaller resting picture, and of the whole one, ms. */
const SMALLER_MS = 250;
const WHOLE_MS = 4000;
const MOST_SIDE = 1000;
/** How many times as long a pixel of the resting picture takes as one that moves, until it is known. */
const REST_OVER_MOVING = 6;

export class Stage {
  /** `data`: what the tracer is given. `watched`: the element in which the stones are seen. */
  constructor(data, watched) {
    Object.assign(this, {
      data, moving: new Pace(), resting: new Pace(), movedAt: 0, restedFor: 0, done: false, next: 0, pictures: [], full: LEAST,
      tracer: null, hidden: document.hidden, outside: false, canvas: document.createElement("canvas"),
    });
    this.canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      this.tracer = null;
    });
    this.canvas.addEventListener("webglcontextrestored", () => this.begin());
    document.addEventListener("visibilitychange", () => {
      this.hidden = document.hidden;
      this.wake();
    });
    new IntersectionObserver((entries) => {
      this.outside = !entries.at(-1).isIntersecting;
      this.wake();
    }).observe(watched);
    this.loop();
  }

  /** Build what the graphics processor holds; returns why that is impossible, or an empty text. */
  begin() {
    try {
      this.tracer = new Tracer(this.canvas, this.data);
    } catch (error) {
      return error.message.split("\n")[0];
    }
    this.pictures = this.pictures.map(({ number, canvas }) => new Picture(this.tracer, number, canvas));
    this.changed();
    return "";
  }

  /** Pictures of `side` pixels a side, within what is sensible. */
  fit(side) {
    const full = Math.min(MOST_SIDE, Math.max(LEAST, Math.round(side)));
    this.full = full;
    let other = false;
    for (const canvas of [this.canvas, ...this.pictures.map((one) => one.canvas)]) {
      if (canvas.width === full && canvas.height === full) continue;
      canvas.width = canvas.height = full;
      other = true;
    }
    if (other) this.changed();
  }

  /** What is shown is another now: draw it, coarse while it goes on changing. */
  changed() {
    Object.assign(this, { movedAt: performance.now(), restedFor: 0, done: false, next: 0 });
    for (const one of this.pictures) one.restart();
    this.tell?.();
    this.wake();
  }

  /** The traced light stays; only how it is drawn has changed. */
  redraw() {
    for (const one of this.pictures) one.show(this.look(one));
    this.tell?.();
  }

  /** Whether the stones move by themselves. */
  get rocks() {
    return false;
  }

  get sleeps() {
    return !this.tracer || !this.pictures.length || this.hidden || this.outside || (this.done && !this.rocks);
  }

  wake() {
    this.awake?.();
  }

  async loop() {
    await null; // until who extends the stage is built
    for (;;) {
      while (this.sleeps) await new Promise((resolve) => { this.awake = resolve; });
      const now = await new Promise(requestAnimationFrame);
      if (this.sleeps) continue;
      if (this.rocks) this.advance(now);
      if (this.rocks || performance.now() - this.movedAt < SETTLES_MS) await this.move();
      else await this.settle();
    }
  }

  /** One moving frame of every stone. */
  async move() {
    const { pictures, full, moving, dome } = this;
    const side = moving.side(pictures.length, full);
    const room = (moving.perMs * 20) / (pictures.length * side * side);
    const frames = side < full ? 1 : Math.min(4, Math.max(1, Math.floor(room)));
    const start = performance.now();
    for (const one of pictures) {
      one.move(side, frames, dome, this.view(side, one), side < COARSE_SIDE ? COARSE : MOVING);
      one.show(this.look(one));
    }
    await this.tracer.finished();
    const took = performance.now() - start;
    moving.learn(pictures.length * frames * side * side, took);
    this.shown(took, side);
  }

  /** A portion of the resting pictures. */
  async settle() {
    const { pictures, full, moving, resting, dome } = this;
    if (!resting.frames && moving.frames > 1) resting.perMs = moving.perMs / REST_OVER_MOVING; // the first frame waits for compilers
    const within = (ms) => Math.min(full, Math.max(LEAST, 2 * Math.floor(Math.sqrt((resting.perMs * ms) / pictures.length) / 2)));
    const sides = [within(SMALLER_MS), within(WHOLE_MS)];
    const portion = Math.max(PORTION_PIXELS, resting.perMs * PORTION_MS);
    const start = performance.now();
    let drawn = 0;
    let fresh = false; // whether each stone has a new picture; the last one may have begun another within this portion
    while (drawn < portion && !this.done) {
      const one = pictures[this.next];
      drawn += one.settle(portion - drawn, sides, dome, (side) => this.view(side, one), RESTING);
      if (one.row) continue;
      if (one.fresh) one.show(this.look(one));
      fresh ||= one.fresh && one === pictures.at(-1);
      this.next = (this.next + 1) % pictures.length;
      this.done = pictures.every((each) => this.complete(each));
    }
    await this.tracer.finished();
    const took = performance.now() - start;
    this.restedFor += took;
    if (drawn) resting.learn(drawn, took);
    if (fresh || this.done) this.shown(took, pictures[0].shown?.side);
  }

  complete({ frames, number }) {
    return frames >= this.tracer.mostFrames(this.tracer.stones[number]) || (frames >= 16 && frames % 4 === 0 && this.restedFor > LONGEST_REST_MS);
  }

  /** A frame has been drawn, in `took` ms, `side` pixels a side. */
  shown(took, side) {
    this.tell?.({ took, side });
  }
}
