// Sums of a whole picture in 8 x 8 parts, each number relative to what a white would have.
precision highp float;
precision highp int;
precision highp sampler2D;

uniform sampler2D sums0, sums1, sums2;
uniform vec3 totals[4];
uniform float frames;

layout(location = 0) out vec4 color; // X, Y, Z, coverage
layout(location = 1) out vec4 ledger; // sky, head, leak, absorbed
layout(location = 2) out vec4 others; // scattered, untraced, glare, square of the luminance

void main() {
  ivec2 part = ivec2(gl_FragCoord.xy), size = textureSize(sums0, 0), per = (size + 7) / 8;
  color = ledger = others = vec4(0.0);
  for (int y = part.y * per.y; y < min((part.y + 1) * per.y, size.y); y++) {
    vec4 row0 = vec4(0.0), row1 = vec4(0.0), row2 = vec4(0.0);
    for (int x = part.x * per.x; x < min((part.x + 1) * per.x, size.x); x++) {
      ivec2 at = ivec2(x, y);
      vec3 total = totals[(x & 1) + 2 * (y & 1)];
      row0 += texelFetch(sums0, at, 0) / vec4(total, frames);
      row1 += texelFetch(sums1, at, 0) / total.y;
      row2 += texelFetch(sums2, at, 0) / total.y;
    }
    color += row0;
    ledger += row1;
    others += row2;
  }
}
