"""How many frames per second a graphics card draws of a live picture while the stone turns, through EGL without a window.

    pip install moderngl glcontext        # for this benchmark alone
    python benchmarks/bench_live_card.py [pixels along a side] [internal reflections] [frames]

The shaders are the page's own texts (`raylab/live/*.glsl`), under the header that the page gives them (OpenGL 4.3 and later
take the language of OpenGL ES 3). A 153-plane brilliant under head-shadow, one stone, turns by a degree a frame. Every frame is
traced into 32-bit floats, four wavelengths over neighbouring pixels, and developed in colour, as the page does while a stone
moves; its time ends with glFinish. Two lines: paths end below 0.5 % of their light, as on the page while stones move, and below
0.01 %, as at rest. Each ends with the ledger of the last frame, whose sum must be one.

Needs libEGL and a driver of OpenGL 4.3; where a machine has several devices, `GLCONTEXT_DEVICE_INDEX` chooses among them.
"""

from __future__ import annotations

import sys
import time
from typing import Any

import moderngl
import numpy as np

import raylab as rl
from raylab.live.live_scene import LiveScene, lights_of
from raylab.live.page import show_data

USUAL = (800, 20, 200)
LIBRARIES = {"libgl": "libGL.so.1", "libegl": "libEGL.so.1"}
WARMING = 5
"""Frames that aren't counted."""
LEASTS = {"moving": 5e-3, "at rest": 1e-4}
"""Weights below which a path ends: `MOVING` and `RESTING` of `raylab/live/static/stage.js`."""
WAVES = (8, 24, 40, 56)
"""Those of a moving picture's four neighbouring pixels, as `Tracer.waves(0)` of `raylab/live/static/tracer.js` gives them."""


def program(context: moderngl.Context, vertex: str, fragment: str, defines: str = "") -> moderngl.Program:
    header = "#version 300 es\n"
    return context.program(vertex_shader=header + vertex, fragment_shader=header + defines + fragment)


def put(program: moderngl.Program, values: dict[str, Any]) -> None:
    """Give uniforms their numbers; arrays go as they are, in rows for matrices."""
    for name, value in values.items():
        held = program[name]
        if isinstance(value, np.ndarray):
            held.write(np.ascontiguousarray(value.T if value.shape == (3, 3) else value).tobytes())
        else:
            held.value = value


class Bench:
    """A stone and a light on the card; `seconds` draws a frame."""

    def __init__(self, side: int, most: int) -> None:
        self.context = moderngl.create_context(standalone=True, backend="egl", require=430, **LIBRARIES)
        self.stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
        scene = LiveScene((self.stone,), lights_of("head-shadow"))
        data = show_data(scene)
        baked, dome, limits, light = data["stones"][0], data["domes"][0], data["limits"], data["light"]
        shaders = data["shaders"]
        sizes = f"#define MOST_PLANES {limits['planes']}\n#define MOST_PATCHES {limits['patches']}\n"
        self.trace = program(self.context, shaders["square"], shaders["trace"], sizes)
        self.develop = program(self.context, shaders["square"], shaders["develop"])
        self._upload_blocks(baked["planes"], limits)
        self.sums = [self.context.texture((side, side), 4, dtype="f4") for _ in range(3)]
        self.film = self.context.framebuffer(self.sums)
        self.screen = self.context.framebuffer([self.context.texture((side, side), 4)])
        self.triangles = {one: self.context.vertex_array(one, []) for one in (self.trace, self.develop)}
        colors = np.array(light["weights"], "f4").reshape(-1, 3)[list(WAVES)]
        waves = np.array([[baked["indices"][w], baked["absorptions"][w], 0, 0] for w in WAVES], "f4")
        named = {"count": len(self.stone), "sloping": baked["sloping"], "core": tuple(baked["core"]), "most": most}
        named |= {"absorbing": np.array(baked["absorbing"], "u4"), "inclusionCount": baked["inclusionCount"]}
        named |= {"polarized": True, "parallel": True, "adds": False, "sky": dome["sky"], "level": dome["level"]}
        named |= {
            "headCos": dome["head"],
            "tray": dome["tray"],
            "zoneCount": len(dome["zones"]),
            "lampCount": len(dome["lamps"]),
        }
        named |= {"waves": waves, "weights": colors, "size": (side, side), "jitter": (0.0, 0.0)}
        named |= {"frame": (0.0, 0.0, 2.0 * scene.half_mm / side)}
        put(self.trace, named)
        shown = {f"sums{k}": k for k in range(3)} | {"totals": colors, "white": tuple(light["white"]), "frames": 1.0}
        shown |= {"toScreen": np.array(light["toScreen"], "f4").reshape(3, 3), "luminance": tuple(light["luminance"])}
        shown |= {"exposure": 1.0, "backdrop": 0.03, "window": True, "shown": 0}
        put(self.develop, shown)
        self.total = colors[:, 1]

    def _upload_blocks(self, planes: list[float], limits: dict[str, int]) -> None:
        """The stone's planes; no dome of zones or lamps is asked for."""
        held = np.zeros(4 * limits["planes"], "f4")
        held[: len(planes)] = planes
        self.blocks = [self.context.buffer(held.tobytes()), self.context.buffer(reserve=64 * limits["patches"])]
        for k, name in enumerate(("Stone", "Light")):
            self.trace[name].binding = k
            self.blocks[k].bind_to_uniform_block(k)

    def seconds(self, turn_deg: float, least: float) -> float:
        """Trace and develop one frame; the time until the card has drawn it."""
        turn = rl.View(tilt_deg=12, tilt_azimuth_deg=30, turn_deg=turn_deg).rotation().astype("f4")
        start = time.perf_counter()
        put(self.trace, {"toDome": turn, "least": least})
        self.film.use()
        self.triangles[self.trace].render(moderngl.TRIANGLES, vertices=3)
        self.screen.use()
        for k, one in enumerate(self.sums):
            one.use(k)
        self.triangles[self.develop].render(moderngl.TRIANGLES, vertices=3)
        self.context.finish()
        return time.perf_counter() - start

    def ledger(self) -> np.ndarray:
        """(6,) entries of the last frame, means over the stone: sky, head, leak, absorbed, scattered, untraced."""
        color, ledger, others = (np.frombuffer(one.read(), "f4").reshape(*one.size[::-1], 4) for one in self.sums)
        each = np.arange(len(color)) % 2
        total = self.total[each[None, :] + 2 * each[:, None]]
        entries = np.concatenate([ledger, others[..., :2]], axis=-1) / total[..., None]
        return entries.sum(axis=(0, 1), dtype=float) / color[..., 3].sum(dtype=float)


def main() -> None:
    side, most, frames = (int(word) for word in [*sys.argv[1:], *USUAL[len(sys.argv) - 1 :]])
    bench = Bench(side, most)
    info = bench.context.info
    print(f"{info['GL_RENDERER']} - {info['GL_VERSION']}")
    print(f"{side} x {side} pixels, {len(bench.stone)} planes, at most {most} reflections, {frames} frames:")
    for name, least in LEASTS.items():
        spans = [bench.seconds(float(k), least) for k in range(-WARMING, frames)][WARMING:]
        total, entries = sum(spans), bench.ledger()
        median, longest = 1e3 * np.median(spans), 1e3 * max(spans)
        print(
            f"paths end below {100 * least:g} % ({name}): {frames / total:.1f} frames/s; a frame {median:.2f} ms (median),"
            f" {longest:.2f} ms (longest); ledger {entries.round(4).tolist()}, sum {entries.sum():.6f}"
        )


if __name__ == "__main__":
    main()
