// The page of stones traced live: pose, light and exposure as its controls and its address say.

import { listen } from "./controls.js";
import { Picture } from "./picture.js";
import { SIZES, anglesOf, linkOf, readLink, rocked, rotationOf, squared } from "./pose.js";
import { Screen } from "./screen.js";
import { Stage } from "./stage.js";

/** Ends of the maps' colours: luminance by its mean, the others fixed. */
const RANGES = { luminance: (mean) => [0, Math.min(Math.max(2.5 * mean, 1e-6), 1)], contrast: () => [-1, 1], leak: () => [0, 1], untraced: () => [0, 0.1] };

export class Live extends Stage {
  constructor(root, data) {
    super(data, root.querySelector("[data-stones]"));
    const link = readLink(location.hash);
    const known = (list, name) => Math.max(0, list.findIndex((one) => one.name === name));
    Object.assign(this, {
      root, means: [], lamp: null, screen: new Screen(),
      state: {
        turn: rotationOf({ ...data.view, ...link }), dome: known(data.domes, link.light), exposure: link.exposure ?? data.exposure,
        zoom: link.zoom ?? 1, size: link.size ?? 0, map: data.maps.findIndex((one) => one.name === link.map), distance: data.view.distance,
      },
    });
    const calm = matchMedia("(prefers-reduced-motion: reduce)");
    this.rock = calm.matches || location.hash.length > 1 ? null : this.rocking();
    calm.addEventListener("change", () => { if (calm.matches) this.rest(); });
    const missing = this.begin();
    if (missing) {
      const line = root.querySelector("[data-missing]");
      line.textContent = `These are still pictures, because ${missing}.`;
      line.hidden = false;
      return;
    }
    root.dataset.live = "";
    this.pictures = [...root.querySelectorAll("[data-stone] canvas")].map((canvas, k) => new Picture(this.tracer, k, canvas));
    this.resize();
    listen(this);
    this.watch();
  }

  watch() {
    const sized = new ResizeObserver(() => this.resize());
    for (const { canvas } of this.pictures) sized.observe(canvas);
    addEventListener("hashchange", () => {
      if (location.hash === this.link) return;
      const { exposure, zoom, size, light, ...angles } = readLink(location.hash);
      const dome = this.data.domes.findIndex((one) => one.name === light);
      Object.assign(this.state, { exposure: exposure ?? this.state.exposure, zoom: zoom ?? this.state.zoom, size: size ?? 0, dome: dome < 0 ? this.state.dome : dome });
      this.turnTo(rotationOf({ ...this.angles, ...angles }));
    });
  }

  /** Canvases as large as they are seen. */
  resize() {
    this.fit(this.pictures[0].canvas.clientWidth * devicePixelRatio);
    if (this.state.size) this.changed(); // a picture of true size shows more or less of the plane now
  }

  turnTo(matrix) {
    this.state.turn = squared(matrix);
    this.changed();
  }

  get rocks() {
    return Boolean(this.rock);
  }

  advance(now) {
    this.state.turn = rocked(this.rock.start, (now - this.rock.at) / 1000);
  }

  rocking() {
    return { start: anglesOf(this.state.turn), at: performance.now() };
  }

  /** The stones stop rocking by themselves, or begin to from where they are. */
  rest(rocks = false) {
    this.rock = rocks ? this.rocking() : null;
    this.changed();
  }

  get angles() {
    return anglesOf(this.state.turn);
  }

  get link() {
    const { state, data } = this;
    return linkOf(this.angles, { ...state, light: data.domes[state.dome].name, map: data.maps[state.map]?.name ?? "color" });
  }

  /** Half of what a picture shows where the stones fill it, mm: all on one scale, in every pose. */
  get filled() {
    const { distance } = this.state;
    const radius = Math.max(...this.data.stones.map((one) => one.radius));
    return 1.02 * radius * (distance ? distance / (distance - radius) : 1);
  }

  /** Half of what a picture shows, mm. */
  get half() {
    const { size, zoom } = this.state;
    return size ? (0.5 * this.pictures[0].canvas.clientWidth) / (size * this.screen.perMm) : this.filled / zoom;
  }

  view(side) {
    const { turn, distance } = this.state;
    return { turn, middle: [0, 0], pixel: (2 * this.half) / side, eye: distance ? [0, 0, distance] : null };
  }

  look({ number }) {
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

  /** Weigh what is shown, and tell the page. */
  shown(took, side) {
    if (!this.tracer) return;
    this.means = this.pictures.map(({ shown }) => (shown?.frames ? this.tracer.means(shown) : null));
    super.shown(took, side);
  }
}

/** Show the stones of a page. */
export function start(root, data) {
  root.shownLive = new Live(root, data);
}
