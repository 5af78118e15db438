// One view ray a pixel, followed backwards from the eye through a convex stone. The physics is that of the library:
// Fresnel's equations with the Stokes row (I, Q, U, V) turned from plane to plane of incidence, body colour along the path,
// and every part that leaves booked under one entry of the ledger. Lengths in mm; the stone's frame unless a name says dome.
precision highp float;
precision highp int;
precision highp sampler2D;

const float TURN = 6.283185307179586;
const float MARGIN = 2e-6; // nearer to an edge of a zone or to the girdle plane is inside, or above: rounding of 32-bit directions
const float STEADY = 1e-9; // squared sine of incidence below which every plane is one of incidence

layout(std140) uniform Stone { vec4 planes[MOST_PLANES]; }; // outward unit normal and distance
layout(std140) uniform Light { vec4 zones[2 * MOST_PATCHES]; vec4 lamps[2 * MOST_PATCHES]; };

uniform int count, sloping; // planes, and how many of them stand first and are no side facets
uniform vec2 core; // squared radius and height within which no side facet comes first
uniform uvec4 absorbing[MOST_PLANES / 128]; // a bit for each plane: it ends every path
uniform int inclusionCount;
uniform sampler2D inclusions; // rows of four numbers, 256 beside each other; see baking.py
uniform vec4 waves[4]; // refractive index and absorption in 1/mm, for each of four neighbouring pixels
uniform vec3 weights[4]; // of X, Y and Z
uniform int most; // internal reflections
uniform float least; // weight below which a path ends
uniform bool polarized;

uniform mat3 toDome; // from the stone's frame
uniform int sky, zoneCount, lampCount;
uniform float level, headCos, tray;
uniform sampler2D image;

#ifdef SCATTERS
uniform sampler2D finishes; // of each plane: what its finish is called here, and its albedo or roughness
uniform uint step; // of the frames that a picture adds up
const float DIFFUSES = 2.0, ROUGH = 3.0; // codes of stone/finish.py
uvec3 key; // of a path's random numbers
#endif

#ifdef RAYS
uniform sampler2D rays; // in turn a row of origins and a row of directions
#else
uniform vec3 frame; // middle of the picture on the map plane, and the side of a pixel
uniform vec2 size, jitter; // pixels along both sides, and the place within a pixel
uniform vec3 eye; // in the dome's frame
uniform bool parallel, adds;
uniform sampler2D before0, before1, before2;
#endif

layout(location = 0) out vec4 color; // X, Y, Z, coverage
layout(location = 1) out vec4 ledger; // sky, head, leak, absorbed
layout(location = 2) out vec4 others; // scattered, untraced, glare, square of the luminance

vec3 gone = vec3(0.0); // sky, head, leak
float light = 0.0, absorbed = 0.0, scattered = 0.0, untraced = 0.0, glare = 0.0;
uint path = 0u;
vec4 exits = vec4(0.0);

float texel(int row, int column, ivec2 shape) {
  int turned = column - shape.x * int(floor(float(column) / float(shape.x)));
  return texelFetch(image, ivec2(turned, clamp(row, 0, shape.y - 1)), 0).r;
}

float fromImage(vec3 d) {
  ivec2 shape = textureSize(image, 0);
  float row = acos(clamp(d.z, -1.0, 1.0)) / (0.5 * TURN) * float(shape.y) - 0.5;
  float column = (0.5 - atan(d.y, d.x) / TURN) * float(shape.x) - 0.5;
  int r = int(floor(row)), c = int(floor(column));
  float right = column - float(c), down = row - float(r);
  return mix(mix(texel(r, c, shape), texel(r, c + 1, shape), right), mix(texel(r + 1, c, shape), texel(r + 1, c + 1, shape), right), down);
}

/** Radiance of sky, zones and lamps towards a unit direction in the dome's frame. */
float radiance(vec3 d) {
  float found = level;
  if (sky == 1) found = level * (1.0 + 2.0 * max(d.z, 0.0)) / 3.0;
  else if (sky == 2) found = fromImage(d);
  for (int k = 0; k < zoneCount; k++) {
    vec4 edges = zones[2 * k]; // sines of both elevations, azimuth and span
    bool inside = d.z >= edges.x - MARGIN && d.z <= edges.y + MARGIN;
    if (inside && edges.w < TURN) inside = mod(atan(d.y, d.x) - edges.z + MARGIN, TURN) <= edges.w + 2.0 * MARGIN;
    if (inside) found = zones[2 * k + 1].x;
  }
  for (int k = 0; k < lampCount; k++) if (dot(d, lamps[2 * k].xyz) >= lamps[2 * k].w) found = lamps[2 * k + 1].x;
  return found;
}

void book(float weight, vec3 d) {
  vec3 seen = toDome * d;
  if (seen.z >= headCos) {
    gone.y += weight;
  } else if (d.z < -MARGIN) {
    gone.z += weight;
    light += weight * tray;
  } else {
    gone.x += weight;
    light += weight * radiance(seen);
  }
}

bool absorbs(int f) {
  return ((absorbing[f >> 7][(f >> 5) & 3] >> uint(f & 31)) & 1u) == 1u;
}

void note(int f, int number) {
  if (number < 12) path = (path * 31u + uint(f + 1)) & 0xffffffu;
}

/** The facet that a ray from inside meets next, and how far away; a ray leaves facet `from` by its number. */
int nextFacet(vec3 o, vec3 v, int from, out float far) {
  float num = 1e30, den = 1.0;
  int found = -1;
  for (int k = 0; k < sloping; k++) {
    float c = dot(planes[k].xyz, v), s = max(planes[k].w - dot(planes[k].xyz, o), 0.0);
    if (c > 0.0 && k != from && s * den < num * c) { num = s; den = c; found = k; }
  }
  vec3 end = o + num / den * v;
  if (!(dot(end.xy, end.xy) <= core.x && abs(end.z) <= core.y)) {
    for (int k = sloping; k < count; k++) {
      float c = dot(planes[k].xyz, v), s = max(planes[k].w - dot(planes[k].xyz, o), 0.0);
      if (c > 0.0 && k != from && s * den < num * c) { num = s; den = c; found = k; }
    }
  }
  far = num / den;
  return found;
}

vec4 inclusionRow(int k) {
  return texelFetch(inclusions, ivec2(k & 255, k >> 8), 0);
}

bool meetsEllipsoid(vec3 w, vec3 v, float far, int row) {
  vec3 a, b;
  for (int k = 0; k < 3; k++) {
    vec3 axis = inclusionRow(row + k).xyz;
    a[k] = dot(axis, w);
    b[k] = dot(axis, v);
  }
  vec3 apart = a - clamp(dot(a, b) / dot(b, b), 0.0, far) * b;
  return dot(apart, apart) < 1.0;
}

bool meetsDisc(vec3 w, vec3 v, float far, vec3 normal, float radius) {
  float c = dot(normal, v);
  if (c == 0.0) return false;
  float t = dot(normal, w) / c;
  vec3 apart = w - t * v;
  return t >= 0.0 && t <= far && dot(apart, apart) < radius * radius;
}

bool meetsPolyhedron(vec3 o, vec3 v, float far, int begin, int end) {
  float enter = 0.0, leave = far;
  for (int k = begin; k < end; k++) {
    vec4 face = inclusionRow(k);
    float c = dot(face.xyz, v), s = face.w - dot(face.xyz, o);
    if (c > 0.0) leave = min(leave, s / c);
    else if (c < 0.0) enter = max(enter, s / c);
    else if (s < 0.0) return false;
  }
  return enter < leave;
}

/** The part of its light that inclusions let pass on a straight way inside. */
float passing(vec3 o, vec3 v, float far) {
  float left = 1.0;
  for (int k = 0; k < inclusionCount; k++) {
    vec4 ball = inclusionRow(5 * k);
    vec3 w = ball.xyz - o, apart = w - clamp(dot(w, v), 0.0, far) * v;
    if (dot(apart, apart) >= ball.w * ball.w) continue;
    vec4 about = inclusionRow(5 * k + 1); // kind, transmittance, first face, number of faces
    bool met;
    if (about.x == 0.0) met = meetsEllipsoid(w, v, far, 5 * k + 2);
    else if (about.x == 1.0) met = meetsDisc(w, v, far, inclusionRow(5 * k + 2).xyz, ball.w);
    else met = meetsPolyhedron(o, v, far, int(about.z), int(about.z + about.w));
    if (met) left *= about.y;
  }
  return left;
}

/** The facet where a ray from outside enters, -1 for a miss. */
int firstFacet(vec3 o, vec3 v, out float far) {
  float enter = -1e30, leave = 1e30;
  int found = -1;
  for (int k = 0; k < count; k++) {
    float c = dot(planes[k].xyz, v), s = planes[k].w - dot(planes[k].xyz, o);
    if (c < 0.0) {
      if (s / c > enter) { enter = s / c; found = k; }
    } else if (c > 0.0) {
      leave = min(leave, s / c);
    } else if (s < 0.0) {
      leave = -1e30;
    }
  }
  far = enter;
  return enter < leave ? found : -1;
}

/** Fresnel's equations at a surface, n the ratio of the indices: the reflection's Stokes numbers a, b, c, d and, transmitted,
 * of I and of Q, with the cosine of refraction (0 at total reflection). */
void meet(float cosI, float n, out vec4 r, out vec3 t) {
  float sin2 = n * n * (1.0 - cosI * cosI), root = sqrt(abs(1.0 - sin2));
  if (sin2 >= 1.0) {
    float lead = root * cosI * (n - 1.0 / n), base = cosI * cosI + root * root, over = 1.0 / (base * base + lead * lead);
    r = vec4(1.0, 0.0, (base * base - lead * lead) * over, 2.0 * lead * base * over);
    t = vec3(0.0);
    return;
  }
  float overS = 1.0 / (n * cosI + root), overP = 1.0 / (cosI + n * root);
  float rs = (n * cosI - root) * overS, rp = (cosI - n * root) * overP, flow = 4.0 * n * cosI * root;
  float ts = flow * overS * overS, tp = flow * overP * overP;
  r = vec4(0.5 * (rs * rs + rp * rp), 0.5 * (rs * rs - rp * rp), rs * rp, 0.0);
  t = vec3(0.5 * (ts + tp), 0.5 * (ts - tp), root);
}

vec3 across(vec3 v) {
  return normalize(abs(v.x) < 0.5 ? vec3(0.0, -v.z, v.y) : vec3(-v.y, v.x, 0.0));
}

vec3 axisOfIncidence(vec3 v, vec3 n, vec3 e) {
  vec3 s = cross(v, n);
  float sine2 = dot(s, s);
  return sine2 >= STEADY ? s * inversesqrt(sine2) : e;
}

#ifdef SCATTERS
/** Two random numbers in [0, 1) for the facet that the path meets after `met` others: pcg3d of Jarzynski and Olano, JCGT 9(3)
 * (2020) 20, from memory. */
vec2 randomPair(int met) {
  uvec3 k = (key + uvec3(0u, 0u, met)) * 1664525u + 1013904223u;
  k.x += k.y * k.z;
  k.y += k.z * k.x;
  k.z += k.x * k.y;
  k ^= k >> 16u;
  k.x += k.y * k.z;
  k.y += k.z * k.x;
  return vec2(k.xy >> 8u) / 16777216.0;
}

/** A random direction about n by the cosine law. */
vec3 cosineAbout(vec3 n, int met) {
  vec2 drawn = randomPair(met);
  vec3 a = across(n);
  float angle = TURN * drawn.y;
  return normalize(sqrt(drawn.x) * (cos(angle) * a + sin(angle) * cross(n, a)) + sqrt(1.0 - drawn.x) * n);
}

/** The normal of a random mirror that the direction w sees on a rough facet of normal n, see tracers/microfacets.py. */
vec3 mirrorSeen(vec3 w, vec3 n, float roughness, int met) {
  vec2 drawn = randomPair(met);
  vec3 a = across(n), b = cross(n, a);
  vec3 s = normalize(vec3(roughness * dot(w, a), roughness * dot(w, b), dot(w, n))); // the mirrors stretched to a half ball
  float aside = length(s.xy);
  vec3 u = aside > 0.0 ? vec3(-s.y, s.x, 0.0) / aside : vec3(1.0, 0.0, 0.0);
  float radius = sqrt(drawn.x), x = radius * cos(TURN * drawn.y), y = radius * sin(TURN * drawn.y);
  y = mix(sqrt(max(1.0 - x * x, 0.0)), y, 0.5 + 0.5 * s.z); // what is seen of the side below the equator
  vec3 h = x * u + y * cross(s, u) + sqrt(max(1.0 - x * x - y * y, 0.0)) * s;
  h = normalize(vec3(roughness * h.xy, max(h.z, 1e-12)));
  return h.x * a + h.y * b + h.z * n;
}

/** Smith's share of the mirrors that a direction at this cosine from a rough facet sees. */
float seenShare(float cosine, float roughness) {
  return cosine <= 0.0 ? 0.0 : 2.0 / (1.0 + sqrt(1.0 + roughness * roughness * (1.0 - cosine * cosine) / (cosine * cosine)));
}
#endif

/** Follow a ray; false where it misses the stone. */
bool follow(vec3 o, vec3 v, float index, float perMm) {
  float far;
  int last = firstFacet(o, v, far);
  if (last < 0) return false;
  note(last, 0);
  if (absorbs(last)) {
    scattered += 1.0;
    return true;
  }
  vec3 n = planes[last].xyz;
#ifdef SCATTERS
  vec3 facet = n;
  vec2 finish = texelFetch(finishes, ivec2(last, 0), 0).xy;
  if (finish.x == DIFFUSES) {
    scattered += 1.0 - finish.y;
    glare += finish.y;
    book(finish.y, cosineAbout(n, 0));
    return true;
  }
  if (finish.x == ROUGH) n = mirrorSeen(-v, facet, finish.y, 0);
#endif
  float cosI = clamp(-dot(n, v), 0.0, 1.0);
  vec4 r;
  vec3 t;
  meet(cosI, 1.0 / index, r, t);
  vec3 back = normalize(v + 2.0 * cosI * n), e = axisOfIncidence(v, n, across(v));
  o += far * v;
  v = normalize(v / index + (cosI / index - t.z) * n);
#ifdef SCATTERS
  if (finish.x == ROUGH) {
    float reflects = seenShare(dot(back, facet), finish.y), passes = seenShare(-dot(v, facet), finish.y);
    untraced += r.x * (1.0 - reflects) + t.x * (1.0 - passes);
    r *= reflects;
    t *= passes;
  }
#endif
  glare += r.x;
  book(r.x, back);
  vec4 stokes = vec4(t.x, polarized ? t.y : 0.0, 0.0, 0.0);
  int met = 0;
  for (; met < most && stokes.x >= least; met++) {
    int f = nextFacet(o, v, last, far);
    if (f < 0) break;
    note(f, met + 1);
    float left = exp(-perMm * far) * passing(o, v, far);
    o += far * v;
    absorbed += stokes.x * (1.0 - left);
    stokes *= left;
    if (absorbs(f)) {
      scattered += stokes.x;
      stokes = vec4(0.0);
      break;
    }
    last = f;
    n = planes[f].xyz;
#ifdef SCATTERS
    facet = n;
    finish = texelFetch(finishes, ivec2(f, 0), 0).xy;
    if (finish.x == DIFFUSES) {
      scattered += stokes.x * (1.0 - finish.y);
      stokes = vec4(finish.y * stokes.x, 0.0, 0.0, 0.0);
      v = cosineAbout(-n, met + 1);
      e = across(v);
      continue;
    }
    if (finish.x == ROUGH) n = -mirrorSeen(-v, -facet, finish.y, met + 1);
#endif
    cosI = clamp(dot(n, v), 0.0, 1.0);
    meet(cosI, index, r, t);
    if (polarized) {
      vec3 s = axisOfIncidence(v, n, e);
      float cosine = dot(e, s), sine = dot(cross(e, v), s);
      float cos2 = cosine * cosine - sine * sine, sin2 = 2.0 * cosine * sine;
      stokes.yz = vec2(cos2 * stokes.y + sin2 * stokes.z, cos2 * stokes.z - sin2 * stokes.y);
      e = s;
    }
    float leaves = t.x * stokes.x + t.y * stokes.y;
    if (leaves > 0.0) {
      vec3 beyond = normalize(index * v + (t.z - index * cosI) * n);
#ifdef SCATTERS
      if (finish.x == ROUGH) {
        float passes = seenShare(dot(beyond, facet), finish.y);
        untraced += leaves * (1.0 - passes);
        leaves *= passes;
      }
#endif
      book(leaves, beyond);
    }
    if (met < 4) exits[met] = leaves;
    stokes = vec4(r.x * stokes.x + r.y * stokes.y, r.y * stokes.x + r.x * stokes.y, r.z * stokes.z - r.w * stokes.w, r.z * stokes.w + r.w * stokes.z);
    if (!polarized) stokes.yzw = vec3(0.0);
    v = normalize(v - 2.0 * cosI * n);
#ifdef SCATTERS
    if (finish.x == ROUGH) {
      float reflects = seenShare(-dot(v, facet), finish.y);
      untraced += stokes.x * (1.0 - reflects);
      stokes *= reflects;
    }
#endif
  }
  untraced += stokes.x;
  return true;
}

/** Follow the pixel's ray and return the square of its luminance. Where light is scattered, two paths go on from the same ray:
 * what is booked is their mean, and the product of their luminances has no part of the chance in each. */
float trace(vec3 o, vec3 v, vec2 medium, out bool hit) {
#ifdef SCATTERS
  float first = 0.0;
  for (int k = 0; k < 2; k++) {
    key = uvec3(gl_FragCoord.xy, 512u * step + 256u * uint(k));
    hit = follow(o, v, medium.x, medium.y);
    if (k == 0) first = light;
  }
  float product = first * (light - first);
  gone *= 0.5;
  light *= 0.5;
  absorbed *= 0.5;
  scattered *= 0.5;
  untraced *= 0.5;
  glare *= 0.5;
  return product;
#else
  hit = follow(o, v, medium.x, medium.y);
  return light * light;
#endif
}

void main() {
  ivec2 at = ivec2(gl_FragCoord.xy);
  bool hit;
#ifdef RAYS
  trace(texelFetch(rays, ivec2(at.x, 2 * at.y), 0).xyz, texelFetch(rays, ivec2(at.x, 2 * at.y + 1), 0).xyz, waves[0].xy, hit);
  color = vec4(glare, float(path), light, hit ? 1.0 : 0.0);
  ledger = vec4(gone, absorbed);
  others = vec4(scattered, untraced, exits.x, exits.y);
#else
  int k = (at.x & 1) + 2 * (at.y & 1);
  vec3 onMap = vec3(frame.xy + (vec2(at) + jitter - 0.5 * size) * frame.z, 0.0);
  vec3 v = parallel ? vec3(0.0, 0.0, -1.0) : normalize(onMap - eye);
  float square = trace(onMap * toDome, v * toDome, waves[k].xy, hit);
  color = vec4(light * weights[k], hit ? 1.0 : 0.0);
  ledger = vec4(gone, absorbed) * weights[k].y;
  others = vec4(scattered, untraced, glare, square) * weights[k].y;
  if (adds) {
    color += texelFetch(before0, at, 0);
    ledger += texelFetch(before1, at, 0);
    others += texelFetch(before2, at, 0);
  }
#endif
}
