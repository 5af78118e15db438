"""How many frames per second a graphics processor traces of a live picture, through EGL without a window.

    python benchmarks/bench_live.py [pixels along a side] [internal reflections]

The shader is the page's own (`raylab/live/trace.glsl`), on OpenGL ES 3: a 153-plane brilliant, tilted, under head-shadow; one
stone, one wavelength a pixel, summed up frame by frame in 32-bit floats as at rest. It prints the card's name, the time of a
frame, and the mean of the ledger, which must close. Needs libEGL and a driver with OpenGL ES 3.0 and EXT_color_buffer_float.
"""

from __future__ import annotations

import ctypes as c
import sys
import time
from typing import Any

import numpy as np

import raylab as rl
from raylab.live.live_scene import LiveScene, lights_of
from raylab.live.page import show_data

TEXTURE, FLOAT, RGBA, RGBA32F, R16F, RED, HALF = 0x0DE1, 0x1406, 0x1908, 0x8814, 0x822D, 0x1903, 0x140B
UNIFORM_BUFFER, FRAMEBUFFER, ATTACHMENT = 0x8A11, 0x8D40, 0x8CE0
FRAMES = 60


class Driver:
    """OpenGL ES through EGL; `gl.name(...)` calls glName with numbers, bytes and arrays as they are."""

    def __init__(self) -> None:
        self.egl = c.CDLL("libEGL.so.1")
        self.egl.eglGetProcAddress.restype = c.c_void_p
        for name in ("eglGetDisplay", "eglCreateContext"):
            getattr(self.egl, name).restype = c.c_void_p
        self.begin(self.display())

    def named(self, name: str, result: Any = None) -> Any:
        return c.CFUNCTYPE(result)(self.egl.eglGetProcAddress(name.encode()))

    def display(self) -> int:
        """The first device that can be initialised, graphics cards first."""
        devices, count = (c.c_void_p * 16)(), c.c_int()
        candidates = []
        query = self.egl.eglGetProcAddress(b"eglQueryDevicesEXT")
        if query and c.CFUNCTYPE(c.c_uint)(query)(16, devices, c.byref(count)):
            candidates = [(0x313F, devices[k]) for k in range(count.value)]
        for platform, device in [*candidates, (0x31DD, 0)]:  # EGL_PLATFORM_DEVICE_EXT, EGL_PLATFORM_SURFACELESS_MESA
            found = self.named("eglGetPlatformDisplayEXT", c.c_void_p)(platform, c.c_void_p(device), None)
            if found and self.egl.eglInitialize(c.c_void_p(found), None, None):
                return int(found)
        raise SystemExit("no EGL display")

    def begin(self, display: int) -> None:
        at, config, count = c.c_void_p(display), c.c_void_p(), c.c_int()
        self.egl.eglBindAPI(0x30A0)  # EGL_OPENGL_ES_API
        wanted = (c.c_int * 5)(0x3033, 0, 0x3040, 0x40, 0x3038)  # any surface, OpenGL ES 3
        self.egl.eglChooseConfig(at, wanted, c.byref(config), 1, c.byref(count))
        version = (c.c_int * 5)(0x3098, 3, 0x30FB, 0, 0x3038)
        context = self.egl.eglCreateContext(at, config, None, version)
        if not context or not self.egl.eglMakeCurrent(at, None, None, c.c_void_p(context)):
            raise SystemExit("no OpenGL ES 3 context")

    def __getattr__(self, name: str) -> Any:
        raw = self.named("gl" + name[0].upper() + name[1:], c.c_char_p if name == "getString" else c.c_int)

        def call(*given: Any) -> Any:
            return raw(*(_as_c(one) for one in given))

        setattr(self, name, call)
        return call


def _as_c(one: Any) -> Any:
    if isinstance(one, float):
        return c.c_float(one)
    if isinstance(one, np.ndarray):
        return c.c_void_p(one.ctypes.data)
    return one


def made(call: Any) -> int:
    name = np.zeros(1, np.uint32)
    call(1, name)
    return int(name[0])


def program(gl: Driver, vertex: str, fragment: str) -> int:
    whole = gl.createProgram()
    for kind, text in ((0x8B31, vertex), (0x8B30, fragment)):
        shader = gl.createShader(kind)
        source = c.c_char_p(("#version 300 es\n" + text).encode())
        gl.shaderSource(shader, 1, c.byref(source), None)
        gl.compileShader(shader)
        gl.attachShader(whole, shader)
    gl.linkProgram(whole)
    done = np.zeros(1, np.int32)
    gl.getProgramiv(whole, 0x8B82, done)
    if not done[0]:
        log = c.create_string_buffer(4000)
        gl.getProgramInfoLog(whole, 4000, None, log)
        raise SystemExit(log.value.decode())
    return int(whole)


def texture(gl: Driver, side: int, inner: int, parts: int, kind: int) -> int:
    name = made(gl.genTextures)
    gl.bindTexture(TEXTURE, name)
    gl.texImage2D(TEXTURE, 0, inner, side, side, 0, parts, kind, None)
    for key in (0x2801, 0x2800):
        gl.texParameteri(TEXTURE, key, 0x2600)
    return name


def film(gl: Driver, side: int) -> tuple[int, list[int]]:
    frame, textures = made(gl.genFramebuffers), [texture(gl, side, RGBA32F, RGBA, FLOAT) for _ in range(3)]
    gl.bindFramebuffer(FRAMEBUFFER, frame)
    for k, name in enumerate(textures):
        gl.framebufferTexture2D(FRAMEBUFFER, ATTACHMENT + k, TEXTURE, name, 0)
    gl.drawBuffers(3, np.array([ATTACHMENT, ATTACHMENT + 1, ATTACHMENT + 2], np.uint32))
    if gl.checkFramebufferStatus(FRAMEBUFFER) != 0x8CD5:
        raise SystemExit("no textures of 32-bit floats to draw into")
    return frame, textures


def main() -> None:
    side, most = (int(word) for word in [*sys.argv[1:], *("800", "20")[len(sys.argv) - 1 :]])
    stone = rl.round_brilliant(table_pct=57, crown_angle_deg=34.5, pavilion_angle_deg=40.75)
    view = rl.View(tilt_deg=12, tilt_azimuth_deg=30)
    scene = LiveScene((stone,), lights_of("head-shadow"), view)
    data = show_data(scene)
    baked, dome, limits = data["stones"][0], data["domes"][0], data["limits"]
    gl = Driver()
    print(gl.getString(0x1F01).decode(), "-", gl.getString(0x1F02).decode())
    gl.bindVertexArray(made(gl.genVertexArrays))
    sizes = f"#define MOST_PLANES {limits['planes']}\n#define MOST_PATCHES {limits['patches']}\n"
    trace = program(gl, data["shaders"]["square"], sizes + data["shaders"]["trace"])
    gl.useProgram(trace)
    blocks = {"Stone": np.zeros(4 * limits["planes"], np.float32), "Light": np.zeros(16 * limits["patches"], np.float32)}
    blocks["Stone"][: len(baked["planes"])] = baked["planes"]
    for k, (name, numbers) in enumerate(blocks.items()):
        buffer = made(gl.genBuffers)
        gl.bindBuffer(UNIFORM_BUFFER, buffer)
        gl.bufferData(UNIFORM_BUFFER, c.c_ssize_t(numbers.nbytes), numbers, 0x88E4)
        gl.bindBufferBase(UNIFORM_BUFFER, k, buffer)
        gl.uniformBlockBinding(trace, gl.getUniformBlockIndex(trace, c.c_char_p(name.encode())), k)

    def place(name: str) -> int:
        return int(gl.getUniformLocation(trace, c.c_char_p(name.encode())))

    whole = {
        "count": len(stone),
        "sloping": baked["sloping"],
        "most": most,
        "polarized": 1,
        "parallel": 1,
        "sky": 0,
        "zoneCount": 0,
        "lampCount": 0,
    }
    for name, number in whole.items():
        gl.uniform1i(place(name), number)
    for name, number in {"least": 1e-4, "level": dome["level"], "headCos": dome["head"], "tray": dome["tray"]}.items():
        gl.uniform1f(place(name), float(number))
    middle = [3, 19, 35, 51]
    waves = np.array([[baked["indices"][w], baked["absorptions"][w], 0, 0] for w in middle], np.float32)
    gl.uniform4fv(place("waves"), 4, waves)
    gl.uniform3fv(place("weights"), 4, np.ones(12, np.float32))
    gl.uniform4uiv(place("rough"), limits["planes"] // 128, np.zeros(limits["planes"] // 32, np.uint32))
    gl.uniform2fv(place("core"), 1, np.array(baked["core"], np.float32))
    gl.uniform2fv(place("size"), 1, np.array([side, side], np.float32))
    gl.uniform3fv(place("frame"), 1, np.array([0, 0, 2 * scene.half_mm / side], np.float32))
    gl.uniformMatrix3fv(place("toDome"), 1, 1, view.rotation().astype(np.float32).ravel())
    films = [film(gl, side), film(gl, side)]
    image = texture(gl, 1, R16F, RED, HALF)
    for k, name in enumerate(("before0", "before1", "before2", "image")):
        gl.uniform1i(place(name), k)
    gl.viewport(0, 0, side, side)
    spans = []
    for number in range(FRAMES + 5):
        start = time.perf_counter()
        for k, name in enumerate([*films[number % 2][1], image]):
            gl.activeTexture(0x84C0 + k)
            gl.bindTexture(TEXTURE, name)
        gl.uniform1i(place("adds"), int(number > 0))
        gl.uniform2fv(place("jitter"), 1, np.array([number * 0.7548776662 % 1, number * 0.5698402910 % 1], np.float32))
        gl.bindFramebuffer(FRAMEBUFFER, films[1 - number % 2][0])
        gl.drawArrays(4, 0, 3)
        gl.finish()
        spans.append(time.perf_counter() - start)
    found = []
    for k in range(3):
        numbers = np.empty((side * side, 4), np.float32)
        gl.readBuffer(ATTACHMENT + k)
        gl.readPixels(0, 0, side, side, RGBA, FLOAT, numbers)
        found.append(numbers.sum(axis=0, dtype=float))
    covered = found[0][3]
    entries = np.array([*found[1], *found[2][:2]]) / covered
    frame = float(np.median(spans[5:]))
    print(f"{side} x {side} pixels, {len(stone)} planes, {most} reflections:")
    print(f"{1e3 * frame:.2f} ms a frame, {1 / frame:.1f} frames/s")
    print("sky, head, leak, absorbed, scattered, untraced:", entries.round(4).tolist(), "sum", round(float(entries.sum()), 6))


if __name__ == "__main__":
    main()
