// Draws one direction of an equirectangular picture into a canvas. Axes as everywhere in underfoot: x right, y up,
// z forward; yaw positive to the right, pitch positive up; d = Ry(yaw) Rx(pitch) d_camera; the picture's centre looks
// forward and the seam is at +-180 degrees.

const vertexShader = `#version 300 es
out vec2 at;
void main() {
  at = vec2(gl_VertexID == 1 ? 3 : -1, gl_VertexID == 2 ? 3 : -1);
  gl_Position = vec4(at, 0, 1);
}`;

// Keys' cubic (a = -1/2) by nine bilinear reads: the embedded picture is nearly always magnified.
const fragmentShader = `#version 300 es
precision highp float;
uniform sampler2D around;
uniform vec2 size, plane, yaw, pitch;
in vec2 at;
out vec4 colour;

vec4 cubic(vec2 place) {
  vec2 texel = place * size, first = floor(texel - 0.5) + 0.5, f = texel - first;
  vec2 w0 = f * (-0.5 + f * (1.0 - 0.5 * f));
  vec2 w1 = 1.0 + f * f * (-2.5 + 1.5 * f);
  vec2 w2 = f * (0.5 + f * (2.0 - 1.5 * f));
  vec2 w3 = f * f * (-0.5 + 0.5 * f);
  vec2 middle = w1 + w2;
  vec2 a = (first - 1.0) / size, b = (first + w2 / middle) / size, c = (first + 2.0) / size;
  return texture(around, vec2(a.x, a.y)) * w0.x * w0.y + texture(around, vec2(b.x, a.y)) * middle.x * w0.y
       + texture(around, vec2(c.x, a.y)) * w3.x * w0.y + texture(around, vec2(a.x, b.y)) * w0.x * middle.y
       + texture(around, vec2(b.x, b.y)) * middle.x * middle.y + texture(around, vec2(c.x, b.y)) * w3.x * middle.y
       + texture(around, vec2(a.x, c.y)) * w0.x * w3.y + texture(around, vec2(b.x, c.y)) * middle.x * w3.y
       + texture(around, vec2(c.x, c.y)) * w3.x * w3.y;
}

void main() {
  vec3 d = normalize(vec3(at * plane, 1));
  d = vec3(d.x, d.y * pitch.x + d.z * pitch.y, d.z * pitch.x - d.y * pitch.y);
  d = vec3(d.x * yaw.x + d.z * yaw.y, d.y, d.z * yaw.x - d.x * yaw.y);
  float turn = 6.28318530718;
  vec2 place = vec2(atan(d.x, d.z) / turn + 0.5, 0.5 - asin(clamp(d.y, -1.0, 1.0)) * 2.0 / turn);
  colour = vec4(cubic(place).rgb, 1);
}`;

function compile(gl, kind, source) {
  const shader = gl.createShader(kind);
  gl.shaderSource(shader, source);
  gl.compileShader(shader);
  if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost())
    throw new Error(gl.getShaderInfoLog(shader));
  return shader;
}

function link(gl) {
  const program = gl.createProgram();
  gl.attachShader(program, compile(gl, gl.VERTEX_SHADER, vertexShader));
  gl.attachShader(program, compile(gl, gl.FRAGMENT_SHADER, fragmentShader));
  gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS) && !gl.isContextLost())
    throw new Error(gl.getProgramInfoLog(program));
  gl.useProgram(program);
  return program;
}

// { show(bitmap), draw(view), clear() }, or null where the browser has no WebGL 2. draw says whether there was a picture
// to draw. view: yaw, pitch in radians,
// plane: tangents of half the field across and down.
function sphereRenderer(canvas) {
  const gl = canvas.getContext('webgl2', { alpha: false, antialias: false, depth: false, stencil: false });
  if (gl === null)
    return null;
  let places = {};
  let size = null;
  const start = () => {
    const program = link(gl);
    for (const name of ['size', 'plane', 'yaw', 'pitch'])
      places[name] = gl.getUniformLocation(program, name);
    gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.REPEAT);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.LINEAR);
    gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.LINEAR);
    size = null;
  };
  start();
  canvas.addEventListener('webglcontextlost', event => event.preventDefault());
  canvas.addEventListener('webglcontextrestored', () => {
    start();
    canvas.dispatchEvent(new Event('renew'));
  });
  return {
    show(bitmap) {
      size = [bitmap.width, bitmap.height];
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, gl.RGBA, gl.UNSIGNED_BYTE, bitmap);
    },
    clear() {
      size = null;
    },
    draw(view) {
      gl.viewport(0, 0, canvas.width, canvas.height);
      gl.clearColor(0.07, 0.07, 0.07, 1);
      gl.clear(gl.COLOR_BUFFER_BIT);
      if (size === null)
        return false;
      gl.uniform2f(places.size, ...size);
      gl.uniform2f(places.plane, ...view.plane);
      gl.uniform2f(places.yaw, Math.cos(view.yaw), Math.sin(view.yaw));
      gl.uniform2f(places.pitch, Math.cos(view.pitch), Math.sin(view.pitch));
      gl.drawArrays(gl.TRIANGLES, 0, 3);
      return true;
    },
  };
}
