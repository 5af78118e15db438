// One stone's picture: a coarse one while it moves, and at rest one that gathers frames, smaller first on a slow machine.

/** Frames of the smaller picture before the whole one begins. */
const SMALLER_FRAMES = 16;

export class Picture {
  constructor(tracer, number, canvas) {
    Object.assign(this, { tracer, number, canvas, coarse: null, smaller: null, whole: null, shown: null });
    this.restart();
  }

  /** The resting picture begins anew. */
  restart() {
    this.smaller?.clear();
    this.whole?.clear();
    Object.assign(this, { stage: "smaller", sides: null, row: 0 });
  }

  plate(which, side) {
    if (this[which]?.side !== side) {
      if (this.shown === this[which]) this.shown = null;
      this[which]?.free();
      this[which] = this.tracer.plate(side);
    }
    return this[which];
  }

  free() {
    for (const one of [this.coarse, this.smaller, this.whole]) one?.free();
  }

  /** One moving picture of some frames. */
  move(side, frames, dome, view, quality) {
    const plate = this.plate("coarse", side);
    plate.clear();
    for (let n = 0; n < frames; n += 1) this.tracer.add(plate, this.number, dome, view, quality);
    this.shown = plate;
  }

  /**
   * Draw up to about `pixels` of the resting picture, whole rows of one frame; returns how many, and sets `fresh` where the
   * frame is done. `sides` are those of the smaller and of the whole picture; they count when the picture begins.
   */
  settle(pixels, sides, dome, viewOf, quality) {
    this.sides ??= sides;
    const [smaller, whole] = this.sides;
    if (this.stage === "smaller" && (smaller >= whole || this.smaller?.frames >= SMALLER_FRAMES)) this.stage = "whole";
    const plate = this.plate(this.stage, this.stage === "whole" ? whole : smaller);
    const { side } = plate;
    const from = this.row;
    const to = Math.min(side, from + Math.max(4, Math.ceil(pixels / side)));
    this.tracer.add(plate, this.number, dome, viewOf(side), quality, [from, to]);
    this.row = to < side ? to : 0;
    const even = plate.frames % 4 === 0; // all pixels have had the same wavelengths
    this.fresh = !this.row && (even || (plate.frames < 4 && this.shown === this.coarse));
    if (this.fresh) this.shown = plate;
    return (to - from) * side;
  }

  /** Frames of the whole picture that are done. */
  get frames() {
    return this.stage === "whole" && !this.row ? this.whole.frames : 0;
  }

  /** Develop what there is and put it onto the stone's own canvas. */
  show(look) {
    const plate = this.shown;
    if (!plate?.frames) return;
    this.tracer.develop(plate, look);
    const { canvas } = this;
    const ink = canvas.getContext("2d");
    ink.imageSmoothingQuality = "high";
    ink.drawImage(this.tracer.canvas, 0, this.tracer.canvas.height - plate.side, plate.side, plate.side, 0, 0, canvas.width, canvas.height);
  }
}
