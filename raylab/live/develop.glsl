// From sums of X, Y, Z and of the ledger to a colour on the screen, or to a false-colour map.
precision highp float;
precision highp int;
precision highp sampler2D;

uniform sampler2D sums0, sums1, sums2;
uniform vec3 totals[4]; // sums of the weights of X, Y, Z for each of four neighbouring pixels: what a white would have
uniform vec3 white; // X, Y, Z
uniform mat3 toScreen; // X, Y, Z to linear sRGB, white-balanced
uniform vec3 luminance; // of linear sRGB
uniform float exposure, backdrop, frames;
uniform bool window; // few frames: each pixel with three neighbours, so that all bands of the spectrum are there
uniform int shown; // 0 colour, else a map: 1 luminance, 2 contrast, 3 leak, 4 untraced
uniform float mean; // luminance of the stone
uniform vec2 range; // ends of the map's colours
uniform sampler2D colors; // 256 colours

out vec4 pixel;

vec3 intoGamut(vec3 linear) {
  float bright = dot(linear, luminance), neutral = clamp(bright, 0.0, 1.0), part = 1.0;
  vec3 away = linear - neutral;
  for (int k = 0; k < 3; k++) {
    float span = away[k] > 0.0 ? 1.0 - neutral : neutral;
    if (abs(away[k]) > span) part = min(part, span / abs(away[k]));
  }
  if (bright < 0.0 || bright > 1.0) part = 0.0;
  return clamp(neutral + part * away, 0.0, 1.0);
}

vec3 encoded(vec3 linear) {
  return mix(1.055 * pow(max(linear, 0.0031308), vec3(1.0 / 2.4)) - 0.055, 12.92 * linear, vec3(lessThanEqual(linear, vec3(0.0031308))));
}

void main() {
  ivec2 at = ivec2(gl_FragCoord.xy), last = textureSize(sums0, 0) - 1;
  vec4 color = vec4(0.0), ledger = vec4(0.0), others = vec4(0.0);
  vec3 total = vec3(0.0);
  int steps = window ? 2 : 1;
  for (int y = 0; y < steps; y++) {
    for (int x = 0; x < steps; x++) {
      ivec2 from = min(at + ivec2(x, y), last);
      color += texelFetch(sums0, from, 0);
      ledger += texelFetch(sums1, from, 0);
      others += texelFetch(sums2, from, 0);
      total += totals[(from.x & 1) + 2 * (from.y & 1)];
    }
  }
  vec3 share = color.xyz / total;
  float covered = color.w / (frames * float(steps * steps));
  if (shown == 0) {
    vec3 linear = exposure * (toScreen * (share * white)) + (1.0 - covered) * backdrop;
    pixel = vec4(encoded(intoGamut(linear)), 1.0);
    return;
  }
  float met = max(dot(ledger, vec4(1.0)) + others.x + others.y, 1e-9); // the whole ledger
  float value = (shown == 3 ? ledger.z : shown == 4 ? others.y : color.y) / met;
  if (shown == 2) value = value / mean - 1.0;
  float place = clamp((value - range.x) / (range.y - range.x), 0.0, 1.0);
  vec3 tint = texelFetch(colors, ivec2(int(place * 255.0 + 0.5), 0), 0).rgb;
  pixel = vec4(mix(encoded(vec3(backdrop)), tint, covered), 1.0);
}
