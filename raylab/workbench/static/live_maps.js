// The map in colour that the browser traces itself (raylab/live): tilt and exposure are seen with the next frame, the stone follows
// with raylab's pictures. Where it can't be traced, the luminance stands in as grey, with a line that says why.

import { ownDome } from "./domes.js";
import { Picture } from "./live/picture.js";
import { rotationOf } from "./live/pose.js";
import { Stage } from "./live/stage.js";

/** The live picture in the list of maps. Its values, which the pointer reads, are those of luminance. */
export const LIVE = {
  name: "live", title: "colour, live", readout: "luminance", unit: "", signed: false,
  definition: "The stone as a person sees it under daylight, traced by this browser with each movement; white is the brightest direction of the dome, divided by the exposure",
};
const SIDES = ["a", "b"];
const linear = (c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);

export class LiveMaps extends Stage {
  constructor(workbench, maps) {
    super({ stones: [], domes: [], maps: [] }, maps.root);
    Object.assign(this, { workbench, maps, asked: null, lit: "", shows: "", fault: "", faults: {}, keys: [] });
    workbench.addEventListener("change", () => this.follow());
    workbench.addEventListener("answer", ({ detail: { side } }) => this.take(side));
    workbench.addEventListener("light", ({ detail }) => this.light(detail));
    workbench.addEventListener("link", () => {
      this.asked = null; // what was asked on a link that was cut is lost
      this.follow();
    });
  }

  get wanted() {
    return this.workbench.state.maps.includes(LIVE.name);
  }

  get sleeps() {
    return !this.wanted || super.sleeps;
  }

  /** The controls have changed. */
  follow() {
    if (!this.wanted) return;
    this.ask();
    this.arrange();
    const { tilt_deg, tilt_azimuth_deg, exposure } = this.workbench.state;
    const shows = JSON.stringify([tilt_deg, tilt_azimuth_deg]);
    if (shows !== this.shows) this.changed();
    else if (exposure !== this.exposure) this.redraw();
    Object.assign(this, { shows, exposure });
  }

  /** Ask for the light where another one is held, and with it for the shaders. */
  ask() {
    const { state, link } = this.workbench;
    const key = JSON.stringify([state.dome, ownDome(state)]);
    if (key === (this.asked?.key ?? this.lit)) return;
    this.asked = { key, id: ++this.workbench.number };
    link.ask({ kind: "light", id: this.asked.id, ...this.workbench.scene("a") });
  }

  light({ id, live, error, overtaken }) {
    if (id !== this.asked?.id || overtaken) return;
    this.lit = this.asked.key;
    this.asked = null;
    this.fault = error?.text ?? "";
    if (error) return this.maps.draw();
    Object.assign(this.data, live);
    if (this.tracer) this.tracer.putDome(0, live.domes[0]);
    else this.fault = this.begin();
    this.arrange();
    this.changed();
    return this.maps.draw();
  }

  /** A picture has come, and with it the stone. */
  take(side) {
    const live = this.workbench.answers[side]?.live;
    if (!live) return;
    const number = SIDES.indexOf(side);
    const key = JSON.stringify(live);
    if (key !== this.keys[number]) { // the exact picture brings the same stone as the coarse one before it
      this.keys[number] = key;
      this.faults[side] = live.fault ?? "";
      if (live.fault) {
        delete this.data.stones[number];
      } else {
        this.data.stones[number] = live;
        this.tracer?.putStone(number, live);
      }
      this.changed();
    }
    this.follow();
  }

  /** One picture for each stone that is shown and can be. */
  arrange() {
    if (!this.tracer) return;
    const seen = this.workbench.sides.filter((side) => this.workbench.shapes[side]); // one that undo brings back comes with its picture
    const numbers = seen.map((side) => SIDES.indexOf(side)).filter((number) => this.data.stones[number]);
    if (numbers.join() === this.pictures.map(({ number }) => number).join()) return;
    const kept = numbers.map((number) => this.pictures.find((one) => one.number === number));
    for (const one of this.pictures) if (!kept.includes(one)) one.free();
    this.pictures = kept.map((one, k) => one ?? new Picture(this.tracer, numbers[k], document.createElement("canvas")));
    this.fit(this.full);
    this.changed(); // whose turn it is to be drawn begins anew with the pictures
  }

  get dome() {
    return this.tracer.domes[0];
  }

  view(side, one) {
    const { tilt_deg: tilt, tilt_azimuth_deg: azimuth } = this.workbench.state;
    one.turn = rotationOf({ tilt, azimuth, turn: 0 });
    const { middle, half } = this.maps.sight(SIDES[one.number], one.turn);
    return { turn: one.turn, middle, pixel: (2 * half) / side, eye: null };
  }

  look() {
    const [red, green, blue] = getComputedStyle(this.maps.figures[0].box).backgroundColor.match(/[\d.]+/g).map((c) => linear(c / 255));
    return { exposure: this.workbench.state.exposure ?? 1, backdrop: 0.2126 * red + 0.7152 * green + 0.0722 * blue, map: null };
  }

  redraw() {
    super.redraw();
    this.maps.drawLive();
  }

  tell(frame) {
    if (frame) this.maps.drawLive();
  }

  /** The picture of a stone, with `canvas` and `turn`; undefined while there is none. */
  picture(side) {
    return this.faultOf(side) ? undefined : this.pictures.find(({ number, shown }) => SIDES[number] === side && shown);
  }

  /** Why a stone can't be traced here, or an empty text. */
  faultOf(side) {
    return this.fault || this.faults[side] || "";
  }

  /** What stands below the picture of a stone. */
  words(side) {
    const fault = this.faultOf(side);
    if (fault) return `not traced live, luminance in grey instead: ${fault}`;
    const one = this.picture(side);
    if (!one) return "luminance in grey until the stone is traced here";
    return `as seen under daylight, traced here: ${one.shown.frames > 1 ? `${one.shown.frames} frames` : "coarse as yet"}`;
  }

  /** The page needs it no more. */
  end() {
    this.tracer?.gl.getExtension("WEBGL_lose_context")?.loseContext();
    this.tracer = null;
  }
}
