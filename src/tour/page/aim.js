// Where the look-around view looks, and how hands move it: drag, wheel, pinch, keys. Degrees.

const fieldLimits = [20, 120]; // of the picture's longer side
const aim = { yaw: 0, pitch: 0, field: 90 };
const canvas = byId('view');
const calm = window.matchMedia('(prefers-reduced-motion: reduce)');
let aimChanged = () => {};

const radians = degrees => degrees * Math.PI / 180;
const degrees = angle => angle * 180 / Math.PI;
const clamp = (value, low, high) => Math.min(high, Math.max(low, value));
const wrapped = yaw => ((yaw + 180) % 360 + 360) % 360 - 180;

// Tangents of half the field across and down.
function aimPlane() {
  const [width, height] = [canvas.clientWidth || 1, canvas.clientHeight || 1];
  const half = Math.tan(radians(aim.field) / 2);
  return width >= height ? [half, half * height / width] : [half * width / height, half];
}

// The field across the picture's width.
function acrossField() {
  return 2 * degrees(Math.atan(aimPlane()[0]));
}

function setAcrossField(across) {
  const [width, height] = [canvas.clientWidth || 1, canvas.clientHeight || 1];
  const half = Math.tan(radians(clamp(across, 1, 170)) / 2) * Math.max(1, height / width);
  aim.field = clamp(2 * degrees(Math.atan(half)), ...fieldLimits);
}

function aimAt(yaw, pitch) {
  aim.yaw = wrapped(yaw);
  aim.pitch = clamp(pitch, -90, 90);
  aimChanged();
}

function zoomBy(factor) {
  aim.field = clamp(aim.field * factor, ...fieldLimits);
  aimChanged();
}

// What is under the pointer stays under it: a pixel at the centre is this many degrees.
function dragBy(dx, dy) {
  const step = degrees(2 * aimPlane()[0] / (canvas.clientWidth || 1));
  aimAt(aim.yaw - dx * step / Math.max(0.35, Math.cos(radians(aim.pitch))), aim.pitch + dy * step);
}

const pointers = new Map(); // id -> { x, y }
const glide = { vx: 0, vy: 0, time: 0, frame: 0 };

function stopGlide() {
  cancelAnimationFrame(glide.frame);
  glide.frame = 0;
}

// After the hand has let go the view comes to rest in about a third of a second.
function startGlide() {
  if (calm.matches || performance.now() - glide.time > 60 || Math.hypot(glide.vx, glide.vy) < 0.1)
    return;
  let last = performance.now();
  const move = now => {
    const passed = Math.max(0, Math.min(40, now - last));
    last = now;
    dragBy(glide.vx * passed, glide.vy * passed);
    const rest = Math.exp(-passed / 110);
    glide.vx *= rest;
    glide.vy *= rest;
    glide.frame = Math.hypot(glide.vx, glide.vy) > 0.01 ? requestAnimationFrame(move) : 0;
  };
  glide.frame = requestAnimationFrame(move);
}

function spread() {
  const [a, b] = [...pointers.values()];
  return { x: (a.x + b.x) / 2, y: (a.y + b.y) / 2, distance: Math.hypot(a.x - b.x, a.y - b.y) };
}

canvas.addEventListener('pointerdown', event => {
  if (event.pointerType === 'mouse' && event.button !== 0)
    return;
  stopGlide();
  canvas.setPointerCapture(event.pointerId);
  pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
  glide.vx = glide.vy = 0;
});

function moveOne(from, event) {
  const now = performance.now();
  const [dx, dy, passed] = [event.clientX - from.x, event.clientY - from.y, Math.max(1, now - glide.time)];
  Object.assign(glide, { vx: 0.6 * glide.vx + 0.4 * dx / passed, vy: 0.6 * glide.vy + 0.4 * dy / passed, time: now });
  dragBy(dx, dy);
}

canvas.addEventListener('pointermove', event => {
  const from = pointers.get(event.pointerId);
  if (from === undefined)
    return;
  const to = { x: event.clientX, y: event.clientY };
  if (pointers.size === 1) {
    moveOne(from, event);
    pointers.set(event.pointerId, to);
  } else if (pointers.size === 2) {
    const before = spread();
    pointers.set(event.pointerId, to);
    const after = spread();
    dragBy(after.x - before.x, after.y - before.y);
    if (after.distance > 10 && before.distance > 10)
      zoomBy(before.distance / after.distance);
  }
});

for (const name of ['pointerup', 'pointercancel'])
  canvas.addEventListener(name, event => {
    if (pointers.delete(event.pointerId) && pointers.size === 0 && name === 'pointerup')
      startGlide();
  });

canvas.addEventListener('wheel', event => {
  event.preventDefault();
  stopGlide();
  const lines = event.deltaMode === WheelEvent.DOM_DELTA_LINE ? 16 : 1;
  zoomBy(Math.exp(clamp(event.deltaY * lines, -240, 240) * (event.ctrlKey ? 0.006 : 0.0012)));
}, { passive: false });

const presets = [
  ['1', 'Ahead', 0, 0],
  ['2', 'Right', 90, 0],
  ['3', 'Seam', 180, 0],
  ['4', 'Left', -90, 0],
  ['5', 'Up', 0, 90],
  ['6', 'Down', 0, -90],
];

for (const [key, text, yaw, pitch] of presets)
  byId('presets').append(make('button', {
    type: 'button', title: `${text} (${key})`, 'aria-keyshortcuts': key,
    click: () => { stopGlide(); aimAt(yaw, pitch); },
  }, text));
byId('presets').append(
  make('button.icon', { type: 'button', title: 'Nearer (+)', 'aria-label': 'Nearer', click: () => zoomBy(0.8) }, icon('in')),
  make('button.icon', { type: 'button', title: 'Wider (\u2212)', 'aria-label': 'Wider', click: () => zoomBy(1.25) }, icon('out')));

// True when the key moved the view. Shift makes small steps.
function aimKey(event) {
  const step = aim.field / (event.shiftKey ? 90 : 12);
  const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
  const preset = presets.find(([key]) => key === event.key);
  stopGlide();
  if (moves[event.key] !== undefined)
    aimAt(aim.yaw + moves[event.key][0], aim.pitch + moves[event.key][1]);
  else if (preset !== undefined)
    aimAt(preset[2], preset[3]);
  else if (event.key === 'Home')
    aimAt(0, 0);
  else if (event.key === '+' || event.key === '=')
    zoomBy(0.8);
  else if (event.key === '-')
    zoomBy(1.25);
  else
    return false;
  return true;
}
