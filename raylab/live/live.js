// Stones traced live: the state of what is shown, and the loop that draws it. Nothing runs while nothing changes, while the
// page is hidden, or once a resting picture has all its frames.

import { listen } from "./controls.js";
import { COARSE_SIDE, LEAST, Pace } from "./pace.js";
import { Picture } from "./picture.js";
import { anglesOf, linkOf, readLink, rocked, rotationOf, squared } from "./pose.js";
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
/** Ends of the maps' colours: luminance by its mean, the others fixed. */
const RANGES = { luminance: (mean) => [0, Math.min(Math.max(2.5 * mean, 1e-6), 1)], contrast: () => [-1, 1], leak: () => [0, 1], untraced: () => [0, 0.1] };

export class Live {
  constructor(root, data) {
    const link = readLink(location.hash);
    const known = (list, name) => Math.max(0, list.findIndex((one) => one.name === name));
    Object.assign(this, {
      root, data, moving: new Pace(), resting: new Pace(), movedAt: 0, restedFor: 0, done: false, next: 0, means: [], lamp: null,
      pictures: [], hidden: document.hidden, outside: false, canvas: document.createElement("canvas"),
      state: {
        turn: rotationOf({ ...data.view, ...link }), dome: known(data.domes, link.light), exposure: link.exposure ?? data.exposure,
        zoom: link.zoom ?? 1, map: data.maps.findIndex((one) => one.name === link.map), distance: data.view.distance,
      },
    });
    const calm = matchMedia("(prefers-reduced-motion: reduce)");
    this.rock = calm.matches || location.hash.length > 1 ? null : this.rocking();
    calm.addEventListener("change", () => { if (calm.matches) this.rest(); });
    this.canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      this.tracer = null;
    });
    this.canvas.addEventListener("webglcontextrestored", () => this.begin());
    if (!this.begin()) return;
    listen(this);
    this.watch();
    this.loop();
  }

  /** Build what the graphics processor holds; without WebGL 2 the still pictures stay, and a line says why. */
  begin() {
    try {
      this.tracer = new Tracer(this.canvas, this.data);
    } catch (error) {
      const line = this.root.querySelector("[data-missing]");
      line.textContent = `These are still pictures, because ${error.message.split("\n")[0]}.`;
      line.hidden = false;
      return false;
    }
    this.root.dataset.live = "";
    this.pictures = [...this.root.querySelectorAll("[data-stone] canvas")].map((canvas, k) => new Picture(this.tracer, k, canvas));
    this.resize();
    return true;
  }

  watch() {
    document.addEventListener("visibilitychange", () => {
      this.hidden = document.hidden;
      this.wake();
    });
    const sized = new ResizeObserver(() => this.resize());
    for (const { canvas } of this.pictures) sized.observe(canvas);
    new IntersectionObserver((entries) => {
      this.outside = !entries.at(-1).isIntersecting;
      this.wake();
    }).observe(this.root.querySelector("[data-stones]"));
    addEventListener("hashchange", () => {
      if (location.hash === this.link) return;
      const { exposure, zoom, light, ...angles } = readLink(location.hash);
      const dome = this.data.domes.findIndex((one) => one.name === light);
      Object.assign(this.state, { exposure: exposure ?? this.state.exposure, zoom: zoom ?? this.state.zoom, dome: dome < 0 ? this.state.dome : dome });
      this.turnTo(rotationOf({ ...this.angles, ...angles }));
    });
  }

  /** Canvases as large as they are seen. */
  resize() {
    const side = Math.round(this.pictures[0].canvas.clientWidth * devicePixelRatio);
    const full = Math.min(MOST_SIDE, Math.max(LEAST, side));
    if (full === this.full) return;
    this.full = full;
    for (const canvas of [this.canvas, ...this.pictures.map((one) => one.canvas)]) canvas.width = canvas.height = full;
    this.changed();
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
    for (const one of this.pictures) one.show(this.look(one.number));
    this.tell?.();
  }

  turnTo(matrix) {
    this.state.turn = squared(matrix);
    this.changed();
  }

  rocking() {
    return { start: anglesOf(this.state.turn), at: performance.now() };
  }

  /** The stones stop rocking by themselves, or begin to from where they are. */
  rest(rocks = false) {
    this.rock = rocks ? this.rocking() : null;
    this.changed();
  }

  wake() {
    this.awake?.();
  }

  get angles() {
    return anglesOf(this.state.turn);
  }

  get link() {
    const { state, data } = this;
    return linkOf(this.angles, { ...state, light: data.domes[state.dome].name, map: data.maps[state.map]?.name ?? "color" });
  }

  /** Half of what a picture shows, mm: all stones on one scale. */
  get half() {
    const { distance, zoom } = this.state;
    const radius = Math.max(...this.data.stones.map((one) => one.radius));
    return ((1.02 * radius) / zoom) * (distance ? distance / (distance - radius) : 1);
  }

  view(side) {
    const { turn, distance } = this.state;
    return { turn, middle: [0, 0], pixel: (2 * this.half) / side, eye: distance ? [0, 0, distance] : null };
  }

  look(number) {
    const { exposure, map } = this.state;
    const mean = this.means[number]?.luminance ?? 0;
    const backdrop = this.backdrop ?? 0.03;
    return { exposure, backdrop, map: map < 0 ? null : { number: map, mean, range: RANGES[this.data.maps[map].name](mean) } };
  }

  /** The light, with the lamp that a hand holds, if any. */
  get dome() {
    const dome = this.tracer.domes[this.state.dome];
    if (!this.lamp) return dome;
    if (this.held) this.tracer.gl.deleteBuffer(this.held.block);
    this.held = { ...dome, lamps: [...dome.lamps, this.lamp] };
    this.held.block = this.tracer.patches(this.held);
    return this.held;
  }

  get sleeps() {
    return !this.tracer || this.hidden || this.outside || (this.done && !this.rock);
  }

  async loop() {
    for (;;) {
      while (this.sleeps) await new Promise((resolve) => { this.awake = resolve; });
      const now = await new Promise(requestAnimationFrame);
      if (this.sleeps) continue;
      if (this.rock) this.state.turn = rocked(this.rock.start, (now - this.rock.at) / 1000);
      if (this.rock || performance.now() - this.movedAt < SETTLES_MS) await this.move();
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
      one.move(side, frames, dome, this.view(side), side < COARSE_SIDE ? COARSE : MOVING);
      one.show(this.look(one.number));
    }
    await this.tracer.finished();
    const took = performance.now() - start;
    moving.learn(pictures.length * frames * side * side, took);
    this.weigh(took, side);
  }

  /** A portion of the resting pictures. */
  async settle() {
    const { pictures, full, resting, dome } = this;
    const within = (ms) => Math.min(full, Math.max(LEAST, 2 * Math.floor(Math.sqrt((resting.perMs * ms) / pictures.length) / 2)));
    const sides = [within(SMALLER_MS), within(WHOLE_MS)];
    const portion = Math.max(PORTION_PIXELS, resting.perMs * PORTION_MS);
    const start = performance.now();
    let drawn = 0;
    while (drawn < portion && !this.done) {
      const one = pictures[this.next];
      drawn += one.settle(portion - drawn, sides, dome, (side) => this.view(side), RESTING);
      if (one.row) continue;
      if (one.fresh) one.show(this.look(one.number));
      this.next = (this.next + 1) % pictures.length;
      this.done = pictures.every((each) => this.complete(each));
    }
    await this.tracer.finished();
    const took = performance.now() - start;
    this.restedFor += took;
    if (drawn) resting.learn(drawn, took);
    if (pictures.at(-1).fresh || this.done) this.weigh(took, pictures[0].shown?.side);
  }

  complete({ frames }) {
    return frames >= this.tracer.mostFrames || (frames >= 16 && frames % 4 === 0 && this.restedFor > LONGEST_REST_MS);
  }

  /** Weigh what is shown, and tell the page. */
  weigh(took, side) {
    if (!this.tracer) return;
    this.means = this.pictures.map(({ shown }) => (shown?.frames ? this.tracer.means(shown) : null));
    this.tell?.({ took, side });
  }
}

/** Show the stones of a page. */
export function start(root, data) {
  root.shownLive = new Live(root, data);
}
