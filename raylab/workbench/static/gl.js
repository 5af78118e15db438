// WebGL 2 in the few shapes that the stone needs: filled facets and lines of any width, without a depth buffer.

const FACES = [`#version 300 es
in vec3 point; in vec3 normal; in float facet;
uniform mat3 turn; uniform vec2 scale; uniform float chosen, hovered;
out float shade; flat out float mark;
void main() {
  vec3 n = turn * normal;
  gl_Position = vec4((turn * point).xy * scale, 0.0, 1.0);
  shade = 0.5 + 0.5 * abs(dot(n, normalize(vec3(0.35, 0.5, 0.8))));
  mark = facet == chosen ? 1.0 : (facet == hovered ? 0.5 : 0.0);
}`, `#version 300 es
precision highp float;
in float shade; flat in float mark;
uniform vec3 body, accent; uniform float alpha;
out vec4 color;
void main() {
  float cover = mark > 0.7 ? 0.85 : alpha + 0.25 * mark;
  vec3 tone = mix(body * shade, accent, mark > 0.7 ? 0.9 : mark * 0.5);
  color = vec4(tone * cover, cover);
}`];

// Each line is a quad; `corner` says which end and which side a vertex stands for. With `side` 1 or -1 only edges of facets
// that face the eye, or that face away, are drawn.
const LINES = [`#version 300 es
in vec3 from; in vec3 to; in vec2 corner; in vec3 normal;
uniform mat3 turn; uniform vec2 scale, pixels; uniform float width, side;
void main() {
  if (side * (turn * normal).z < 0.0) { gl_Position = vec4(2.0, 2.0, 2.0, 1.0); return; }
  vec2 a = (turn * from).xy * scale * pixels, b = (turn * to).xy * scale * pixels;
  vec2 along = b - a; float far = length(along);
  along = far > 1e-6 ? along / far : vec2(1.0, 0.0);
  vec2 at = mix(a, b, corner.x) + (corner.x * 2.0 - 1.0) * along * width * 0.4 + vec2(-along.y, along.x) * corner.y * width;
  gl_Position = vec4(at / pixels, 0.0, 1.0);
}`, `#version 300 es
precision highp float;
uniform vec4 ink;
out vec4 color;
void main() { color = vec4(ink.rgb * ink.a, ink.a); }`];

export class Painter {
  /** Throws an Error where the browser offers no WebGL 2. */
  constructor(canvas) {
    const gl = canvas.getContext("webgl2", { antialias: true, alpha: true, premultipliedAlpha: true });
    if (!gl) throw new Error("no WebGL 2");
    this.gl = gl;
    this.canvas = canvas;
    this.programs = { faces: program(gl, ...FACES), lines: program(gl, ...LINES) };
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
  }

  clear() {
    const { gl, canvas } = this;
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT);
  }

  /** Triangles of facets: rows of point (3), normal (3), facet. The returned mesh is drawn with `faces`. */
  mesh(old, rows) {
    return this.fill(old, this.programs.faces, rows, [["point", 3], ["normal", 3], ["facet", 1]]);
  }

  /** Line segments: rows of [from (3), to (3), normal (3) of the facet whose edge it is; 0, 0, 0 for a line of its own]. */
  segments(old, lines) {
    const corners = [0, -1, 1, -1, 1, 1, 0, -1, 1, 1, 0, 1];
    const rows = new Float32Array(lines.length * 6 * 11);
    lines.forEach(([from, to, normal], line) => {
      for (let k = 0; k < 6; k++) {
        const at = (6 * line + k) * 11;
        rows.set(from, at);
        rows.set(to, at + 3);
        rows[at + 6] = corners[2 * k];
        rows[at + 7] = corners[2 * k + 1];
        rows.set(normal, at + 8);
      }
    });
    return this.fill(old, this.programs.lines, rows, [["from", 3], ["to", 3], ["corner", 2], ["normal", 3]]);
  }

  fill(old, owner, rows, parts) {
    const { gl } = this;
    const mesh = old ?? { array: gl.createVertexArray(), buffer: gl.createBuffer(), count: 0 };
    const stride = parts.reduce((sum, [, size]) => sum + size, 0);
    gl.bindVertexArray(mesh.array);
    gl.bindBuffer(gl.ARRAY_BUFFER, mesh.buffer);
    gl.bufferData(gl.ARRAY_BUFFER, rows, gl.DYNAMIC_DRAW);
    let at = 0;
    for (const [name, size] of parts) {
      const location = gl.getAttribLocation(owner.program, name);
      gl.enableVertexAttribArray(location);
      gl.vertexAttribPointer(location, size, gl.FLOAT, false, 4 * stride, 4 * at);
      at += size;
    }
    mesh.count = rows.length / stride;
    return mesh;
  }

  /** Facets that face the eye (`ahead`), or that face away: each covers its part of the body once. */
  faces(mesh, ahead, values) {
    const { gl } = this;
    gl.enable(gl.CULL_FACE);
    gl.cullFace(ahead ? gl.BACK : gl.FRONT);
    this.draw(this.programs.faces, mesh, values);
    gl.disable(gl.CULL_FACE);
  }

  lines(mesh, values) {
    if (mesh?.count) this.draw(this.programs.lines, mesh, { side: 0, ...values });
  }

  draw(owner, mesh, values) {
    const { gl } = this;
    gl.useProgram(owner.program);
    for (const [name, value] of Object.entries(values)) set(gl, owner.locations[name], value);
    gl.bindVertexArray(mesh.array);
    gl.drawArrays(gl.TRIANGLES, 0, mesh.count);
  }
}

function set(gl, location, value) {
  if (typeof value === "number") gl.uniform1f(location, value);
  else if (value.length === 9) gl.uniformMatrix3fv(location, true, value);
  else gl[`uniform${value.length}fv`](location, value);
}

function program(gl, vertex, fragment) {
  const made = gl.createProgram();
  for (const [kind, source] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, source);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
    gl.attachShader(made, shader);
  }
  gl.linkProgram(made);
  if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made));
  const locations = {};
  for (let k = 0; k < gl.getProgramParameter(made, gl.ACTIVE_UNIFORMS); k++) {
    const { name } = gl.getActiveUniform(made, k);
    locations[name] = gl.getUniformLocation(made, name);
  }
  return { program: made, locations };
}
