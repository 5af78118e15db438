// The shader's door: uploads stones and lights, adds frames to plates, develops plates into colours.

/** Rows of inclusions beside each other in their texture, as the shader has it. */
const INCLUSION_LINE = 256;

/** Sums of one stone's picture: three textures, how many frames are in them, and the weights that each pixel's sums hold. */
class Plate {
  constructor(tracer, side) {
    Object.assign(this, { tracer, side, frames: 0, totals: new Float32Array(12), film: tracer.film(side) });
  }

  /** Begin anew; the next frame doesn't add. */
  clear() {
    this.frames = 0;
    this.totals.fill(0);
  }

  free() {
    this.tracer.discard(this.film);
  }
}

class Program {
  constructor(gl, vertex, fragment) {
    Object.assign(this, { gl, id: gl.createProgram(), places: {} });
    for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, `#version 300 es\n${text}`);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost()) throw new Error(gl.getShaderInfoLog(shader));
      gl.attachShader(this.id, shader);
    }
    gl.linkProgram(this.id);
    if (!gl.getProgramParameter(this.id, gl.LINK_STATUS) && !gl.isContextLost()) throw new Error(gl.getProgramInfoLog(this.id));
  }

  /** Use the program with these uniforms: [kind of gl.uniform..., value]. */
  use(values) {
    this.gl.useProgram(this.id);
    for (const [name, [kind, value]] of Object.entries(values)) {
      const at = (this.places[name] ??= this.gl.getUniformLocation(this.id, name));
      if (kind === "Matrix3fv") this.gl.uniformMatrix3fv(at, true, value);
      else this.gl[`uniform${kind}`](at, value);
    }
  }
}

export class Tracer {
  constructor(canvas, data) {
    const gl = canvas.getContext("webgl2", { alpha: false, antialias: false, depth: false, powerPreference: "high-performance" });
    if (!gl) throw new Error("this browser has no WebGL 2");
    const whole = gl.getExtension("EXT_color_buffer_float");
    if (!whole && !gl.getExtension("EXT_color_buffer_half_float")) throw new Error("this browser's WebGL 2 has no textures of floats to draw into");
    Object.assign(this, { gl, canvas, data, spare: null, format: whole ? gl.RGBA32F : gl.RGBA16F, whole });
    const { square, develop, sums } = data.shaders;
    this.limits = `#define MOST_PLANES ${data.limits.planes}\n#define MOST_PATCHES ${data.limits.patches}\n`;
    this.programs = { develop: new Program(gl, square, develop), sums: new Program(gl, square, sums) };
    this.tracing();
    gl.bindVertexArray(gl.createVertexArray());
    Object.assign(this, { stones: [], domes: [] });
    data.stones.forEach((stone, number) => this.putStone(number, stone));
    data.domes.forEach((dome, number) => this.putDome(number, dome));
    this.maps = data.maps.map((map) => this.texture(256, 1, gl.RGB8, gl.RGB, gl.UNSIGNED_BYTE, bytesOf(map.colors)));
    this.parts = this.film(8);
  }

  /** The tracing program with these words defined: SCATTERS for a stone that scatters light, RAYS for single rays. A stone that
   * doesn't scatter is traced without any of it. */
  tracing(...words) {
    const { gl, programs } = this;
    const name = ["trace", ...words].join(" ");
    if (programs[name]) return programs[name];
    const defined = words.map((word) => `#define ${word}\n`).join("");
    const made = new Program(gl, this.data.shaders.square, defined + this.limits + this.data.shaders.trace);
    ["Stone", "Light"].forEach((block, k) => gl.uniformBlockBinding(made.id, gl.getUniformBlockIndex(made.id, block), k));
    return (programs[name] = made);
  }

  /** Upload a stone in the place of stone `number`. */
  putStone(number, stone) {
    const { gl } = this;
    if (this.stones[number]) {
      gl.deleteBuffer(this.stones[number].block);
      gl.deleteTexture(this.stones[number].inside);
      gl.deleteTexture(this.stones[number].surface);
    }
    const lines = Math.max(1, Math.ceil(stone.inclusions.length / (4 * INCLUSION_LINE)));
    const inside = new Float32Array(4 * INCLUSION_LINE * lines);
    inside.set(stone.inclusions);
    const scatters = stone.finishes.length > 0;
    this.stones[number] = {
      ...stone, scatters, block: this.block(stone.planes, 4 * this.data.limits.planes), absorbing: new Uint32Array(stone.absorbing),
      inside: this.texture(INCLUSION_LINE, lines, gl.RGBA32F, gl.RGBA, gl.FLOAT, inside),
      surface: scatters ? this.texture(stone.finishes.length / 2, 1, gl.RG32F, gl.RG, gl.FLOAT, new Float32Array(stone.finishes)) : null,
    };
  }

  /** Upload a dome in the place of dome `number`. */
  putDome(number, dome) {
    if (this.domes[number]) {
      this.gl.deleteBuffer(this.domes[number].block);
      this.gl.deleteTexture(this.domes[number].texture);
    }
    this.domes[number] = { ...dome, block: this.patches(dome), texture: this.sky(dome.image) };
  }

  block(numbers, length) {
    const { gl } = this;
    const held = new Float32Array(length);
    held.set(numbers);
    const buffer = gl.createBuffer();
    gl.bindBuffer(gl.UNIFORM_BUFFER, buffer);
    gl.bufferData(gl.UNIFORM_BUFFER, held, gl.STATIC_DRAW);
    return buffer;
  }

  /** Zones and lamps as the shader's block holds them. */
  patches({ zones, lamps }) {
    const most = 8 * this.data.limits.patches;
    const rows = (patches) => patches.flatMap((row) => [...row, 0, 0, 0]);
    const held = new Float32Array(2 * most);
    held.set(rows(zones));
    held.set(rows(lamps), most);
    return this.block(held, 2 * most);
  }

  texture(width, height, format, parts, kind, content) {
    const { gl } = this;
    const texture = gl.createTexture();
    gl.bindTexture(gl.TEXTURE_2D, texture);
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.texImage2D(gl.TEXTURE_2D, 0, format, width, height, 0, parts, kind, content);
    for (const side of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, side, gl.NEAREST);
    return texture;
  }

  sky(image) {
    const { gl } = this;
    const halves = image ? new Uint16Array(bytesOf(image.halves).buffer) : new Uint16Array(1);
    return this.texture(image?.width ?? 1, image?.height ?? 1, gl.R16F, gl.RED, gl.HALF_FLOAT, halves);
  }

  /** Three textures of sums and the frame buffer that draws into them. */
  film(width, height = width) {
    const { gl } = this;
    const half = this.format === gl.RGBA16F;
    const textures = [0, 1, 2].map(() => this.texture(width, height, this.format, gl.RGBA, half ? gl.HALF_FLOAT : gl.FLOAT, null));
    const frame = gl.createFramebuffer();
    gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
    textures.forEach((one, k) => gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0 + k, gl.TEXTURE_2D, one, 0));
    gl.drawBuffers(textures.map((_, k) => gl.COLOR_ATTACHMENT0 + k));
    return { side: width, textures, frame };
  }

  discard({ textures, frame }) {
    for (const one of textures) this.gl.deleteTexture(one);
    this.gl.deleteFramebuffer(frame);
  }

  /** Frames that a picture at rest gathers: each wavelength at four places of a pixel, and four times as many where light is
   * scattered at random. Sums in 16-bit floats would lose more. */
  mostFrames({ scatters }) {
    return this.data.light.nodes.length * (this.whole ? (scatters ? 16 : 4) : 1);
  }

  plate(side) {
    return new Plate(this, side);
  }

  bound(names, textures) {
    const { gl } = this;
    return Object.fromEntries(names.map((name, k) => {
      gl.activeTexture(gl.TEXTURE0 + k);
      gl.bindTexture(gl.TEXTURE_2D, textures[k]);
      return [name, ["1i", k]];
    }));
  }

  draw(frame, width, height) {
    const { gl } = this;
    gl.bindFramebuffer(gl.FRAMEBUFFER, frame);
    gl.viewport(0, 0, width, height);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }

  /** The wavelengths of a frame for four neighbouring pixels. Four frames show each pixel every quarter of the spectrum, and
   * as many frames as there are wavelengths show it each of them once. */
  waves(number) {
    const quarter = this.data.light.nodes.length / 4;
    const within = (Math.floor(quarter / 2) + Math.floor(number / 4) * coprime(quarter)) % quarter;
    return [0, 1, 2, 3].map((k) => ((number + k) % 4) * quarter + within);
  }

  /** Where within each pixel a frame looks: in places that fill it evenly, the first in its corner, which are multiples of powers
   * of the plastic number. Four frames share one, and the random numbers of scattered light, so that all quarters of the spectrum
   * see the same. */
  place(number) {
    const step = Math.floor(number / 4);
    return [(step * 0.7548776662466927) % 1, (step * 0.5698402909980532) % 1];
  }

  /** What a stone and a light are to the shader, in the frame `number` of those that add up; `textures` by the names of others. */
  subject(stone, dome, turn, waves, number, { most, least, polarized }, textures) {
    const { gl } = this;
    gl.bindBufferBase(gl.UNIFORM_BUFFER, 0, stone.block);
    gl.bindBufferBase(gl.UNIFORM_BUFFER, 1, dome.block);
    const all = { ...textures, image: dome.texture, inclusions: stone.inside, ...(stone.scatters && { finishes: stone.surface }) };
    return {
      ...this.bound(Object.keys(all), Object.values(all)), ...(stone.scatters && { step: ["1ui", Math.floor(number / 4)] }),
      inclusionCount: ["1i", stone.inclusionCount], count: ["1i", stone.planes.length / 4], sloping: ["1i", stone.sloping], core: ["2fv", stone.core], absorbing: ["4uiv", stone.absorbing],
      waves: ["4fv", waves.flatMap((w) => [stone.indices[w], stone.absorptions[w], 0, 0])],
      most: ["1i", most], least: ["1f", least], polarized: ["1i", Number(polarized)], toDome: ["Matrix3fv", turn],
      sky: ["1i", dome.sky], level: ["1f", dome.level], headCos: ["1f", dome.head], tray: ["1f", dome.tray],
      zoneCount: ["1i", dome.zones.length], lampCount: ["1i", dome.lamps.length],
    };
  }

  /**
   * Add rows of a frame to a plate; the last rows complete it.
   * `view` is { turn, middle, pixel, eye }, in mm, eye null for a parallel view.
   */
  add(plate, number, dome, view, quality, rows = [0, plate.side]) {
    const { gl } = this;
    if (this.spare?.side !== plate.side) {
      if (this.spare) this.discard(this.spare);
      this.spare = this.film(plate.side);
    }
    const waves = quality.waves ?? this.waves(plate.frames);
    const weights = waves.flatMap((w) => this.data.light.weights.slice(3 * w, 3 * w + 3));
    const stone = this.stones[number];
    const [before0, before1, before2] = plate.film.textures;
    this.tracing(...(stone.scatters ? ["SCATTERS"] : [])).use({
      ...this.subject(stone, dome, view.turn, waves, plate.frames, quality, { before0, before1, before2 }),
      weights: ["3fv", weights], frame: ["3fv", [...view.middle, view.pixel]], size: ["2fv", [plate.side, plate.side]],
      jitter: ["2fv", quality.jitter ?? this.place(plate.frames)], eye: ["3fv", view.eye ?? [0, 0, 0]],
      parallel: ["1i", Number(!view.eye)], adds: ["1i", Number(plate.frames > 0)],
    });
    gl.enable(gl.SCISSOR_TEST);
    gl.scissor(0, rows[0], plate.side, rows[1] - rows[0]);
    this.draw(this.spare.frame, plate.side, plate.side);
    gl.disable(gl.SCISSOR_TEST);
    if (rows[1] < plate.side) return;
    [plate.film, this.spare] = [this.spare, plate.film];
    plate.frames += 1;
    weights.forEach((weight, k) => { plate.totals[k] += weight; });
  }

  sums(plate) {
    return { ...this.bound(["sums0", "sums1", "sums2"], plate.film.textures), totals: ["3fv", plate.totals], frames: ["1f", plate.frames] };
  }

  /** Draw a plate into the lower left corner of the canvas; `map` null for colour, else { number, range, mean }. */
  develop(plate, { exposure, backdrop, map }) {
    const { gl } = this;
    const { white, toScreen, luminance } = this.data.light;
    const uniforms = this.sums(plate);
    gl.activeTexture(gl.TEXTURE3);
    gl.bindTexture(gl.TEXTURE_2D, this.maps[map?.number ?? 0]);
    this.programs.develop.use({
      ...uniforms, colors: ["1i", 3], white: ["3fv", white], toScreen: ["Matrix3fv", toScreen], luminance: ["3fv", luminance],
      exposure: ["1f", exposure], backdrop: ["1f", backdrop], window: ["1i", Number(plate.frames < 4)],
      shown: ["1i", map ? map.number + 1 : 0], mean: ["1f", map?.mean || 1], range: ["2fv", map?.range ?? [0, 1]],
    });
    gl.bindFramebuffer(gl.FRAMEBUFFER, null);
    const gray = backdrop <= 0.0031308 ? 12.92 * backdrop : 1.055 * backdrop ** (1 / 2.4) - 0.055;
    gl.clearColor(gray, gray, gray, 1); // what lies around is mixed into the border when the picture is enlarged
    gl.clear(gl.COLOR_BUFFER_BIT);
    this.draw(null, plate.side, plate.side);
  }

  /** Means over the stone of what a plate holds: XYZ relative to white, the six entries of the ledger, glare, contrast. */
  means(plate) {
    this.programs.sums.use(this.sums(plate));
    this.draw(this.parts.frame, 8, 8);
    const [color, ledger, others] = this.read(this.parts, 8, 8).map((values) => [0, 1, 2, 3].map((k) => {
      let sum = 0;
      for (let j = k; j < values.length; j += 4) sum += values[j];
      return sum;
    }));
    const covered = color[3] || 1;
    const [sky, head, leak, absorbed, scattered, untraced, glare, square] = [...ledger, ...others].map((x) => x / covered);
    const luminance = color[1] / covered;
    const contrast = luminance > 0 ? Math.sqrt(Math.max(square - luminance ** 2, 0)) / luminance : 0;
    return { xyz: color.slice(0, 3).map((x) => x / covered), luminance, contrast, sky, head, leak, absorbed, scattered, untraced, glare };
  }

  /** The numbers of three textures, rows from below. */
  read(film, width, height) {
    const { gl } = this;
    gl.bindFramebuffer(gl.FRAMEBUFFER, film.frame);
    return [0, 1, 2].map((k) => {
      const values = new Float32Array(4 * width * height);
      gl.readBuffer(gl.COLOR_ATTACHMENT0 + k);
      gl.readPixels(0, 0, width, height, gl.RGBA, gl.FLOAT, values);
      return values;
    });
  }

  /** What becomes of single rays, 2 x 3 numbers each (origin in mm and direction, stone's frame), at one wavelength. */
  rays(numbers, stone, dome, turn, wave, quality) {
    const { gl } = this;
    const width = 256;
    const count = numbers.length / 6;
    const height = Math.ceil(count / width);
    const held = new Float32Array(8 * width * height);
    for (let k = 0; k < count; k += 1) {
      const at = 8 * width * Math.floor(k / width) + 4 * (k % width);
      held.set(numbers.slice(6 * k, 6 * k + 3), at);
      held.set(numbers.slice(6 * k + 3, 6 * k + 6), at + 4 * width);
    }
    const given = this.texture(width, 2 * height, gl.RGBA32F, gl.RGBA, gl.FLOAT, held);
    const film = this.film(width, height);
    const seen = this.stones[stone];
    this.tracing("RAYS", ...(seen.scatters ? ["SCATTERS"] : [])).use(this.subject(seen, this.domes[dome], turn, [wave, wave, wave, wave], 0, quality, { rays: given }));
    this.draw(film.frame, width, height);
    const found = this.read(film, width, height).map((values) => [...values.slice(0, 4 * count)]);
    this.discard(film);
    gl.deleteTexture(given);
    return found;
  }

  /** Resolves when all that was asked for is drawn. */
  finished() {
    const { gl } = this;
    const fence = gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0);
    gl.flush();
    return new Promise((resolve) => {
      const look = () => {
        if (!gl.isContextLost() && gl.getSyncParameter(fence, gl.SYNC_STATUS) !== gl.SIGNALED) return setTimeout(look, 1);
        gl.deleteSync(fence);
        return resolve();
      };
      setTimeout(look, 0);
    });
  }
}

export function bytesOf(text) {
  return Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
}

/** A step near the golden section of `count` that visits all of it. */
function coprime(count) {
  const divisor = (a, b) => (b ? divisor(b, a % b) : a);
  let step = Math.max(1, Math.round(0.618 * count));
  while (divisor(step, count) > 1) step += 1;
  return step;
}
